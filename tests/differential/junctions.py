"""Generated junctions: valid files with rules right and subtly wrong.

In: a random source and how many situations a junction may have. Out: the text of a file.
``python -m tests.differential.junctions FOLDER COUNT [ROOM [FIRST]]`` writes so many files, for
``clearproof farm junctions FOLDER``.

First the track is drawn and built; from what it is found to be, signals are placed at
random gaps. Rules then follow the routes the signals turn out to have, and are spoiled in
the ways in which people get them wrong.
"""

import sys
from functools import lru_cache
from pathlib import Path
from random import Random

from hypothesis import strategies as st

from tests.differential.rules import OWN_ASPECTS, Writer
from tests.differential.track_parts import Draft, track_text, write_track
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.modules.expand import read
from verifier.language.source import Source
from verifier.plan.build import build
from verifier.plan.model import Joint, Plan, Port
from verifier.world.world import World, check_circles


def built(text: str) -> Plan:
    """The plan of a text, circles not looked for. Raises InputError."""
    return _or_raise(_built(text))


def checked(text: str) -> Plan:
    """The plan of a text, as ``verifier.load_text`` has it. Raises InputError."""
    return _or_raise(_checked(text))


def _or_raise(found: Plan | InputError) -> Plan:
    if isinstance(found, InputError):
        raise found
    return found


# What is written in steps is read after each of them, and once more when all is written.
@lru_cache(32)
def _built(text: str) -> Plan | InputError:
    source = Source("junction", text)
    try:
        return build(source, read(source))
    except InputError as error:
        return error


@lru_cache(32)
def _checked(text: str) -> Plan | InputError:
    try:
        plan = built(text)
        check_circles(World(plan))
    except InputError as error:
        return error
    return plan


def junctions(room: int) -> st.SearchStrategy[str]:
    """Texts of junctions with about ``room`` situations at most."""
    return st.randoms(use_true_random=False).map(lambda r: write_junction(r, room))


def write_junction(r: Random, room: int, *, memory: bool = False) -> str:
    """``memory``: rules may ask relays, timers and direction of traffic."""
    draft = write_track(r, r.choice([room / 12, room / 3, room]))
    track = track_text(draft)
    panel = [*_panel(draft), *(_memory(draft) if memory else ())]
    if r.random() < 0.3:
        panel += r.sample(OWN_ASPECTS, r.randint(1, 3))
    plan = built("\n".join(track))
    posts = _posts(r, plan)
    while True:
        heads = {name: r.choice([1, 1, 2, 2, 3]) for name in posts}
        bare = [_bare_signal(name, place, heads[name]) for name, place in posts.items()]
        try:
            plan = built("\n".join([*track, *panel, *bare]))
            break
        except InputError as error:  # a route that runs back into itself: leave a signal out
            if {d.code for d in error.diagnostics} != {"CP310"}:
                raise
            posts.pop(r.choice(list(posts)))
        if not posts:  # nothing to prove: better luck with other track
            return write_junction(r, room, memory=memory)
    writer = Writer(r, plan)
    head_lines = {name: _heads(name, count) for name, count in heads.items() if name in posts}
    rules = writer.everything(posts, head_lines)
    return "\n".join([*track, *panel, *rules]) + "\n"


def _panel(d: Draft) -> list[str]:
    panel = []
    if d.r.random() < 0.4 and d.takes(3):
        panel.append("lever L1 positions left, normal, right")
    if d.r.random() < 0.15 and d.takes(2):
        panel.append("lever L2 positions locked, free")
    if d.r.random() < 0.2 and d.takes(2):
        panel.append("button Call")
    return panel


def _memory(d: Draft) -> list[str]:
    """Some things that remember. What makes them act is nothing to a single situation."""
    block = next(iter(d.blocks))
    found = []
    for i in range(d.r.randint(1, 2)):
        if d.takes(2):
            found.append(f"relay R{i} picks when R{i} down")
    if d.r.random() < 0.4 and d.takes(3):
        found.append("timer X 3 s runs while not X done")
    if d.r.random() < 0.4 and d.takes(2):
        found.append(
            f"traffic Way on {block} rightward when Way leftward leftward when Way rightward"
        )
    return found


def _posts(r: Random, plan: Plan) -> dict[str, str]:
    """Signals by name, and where they stand, as a file says it."""
    places: list[str] = []
    for joint in plan.track.joints:
        for near, far in ((joint.a, joint.b), (joint.b, joint.a)):
            ahead = plan.track.pieces[far.piece].kind
            if joint.kind != "=" and ahead not in ("edge", "bumper"):
                places.append(f"{_step(near, plan, True)} {_join(joint)} {_step(far, plan, False)}")
    r.shuffle(places)
    return {f"S{i}": place for i, place in enumerate(places[: r.randint(1, 5)], 1)}


def _join(joint: Joint) -> str:
    return f"{joint.kind}({joint.gap})"


def _step(port: Port, plan: Plan, left: bool) -> str:
    """One side of a gap, with its leg where that makes a difference."""
    piece = plan.track.pieces[port.piece]
    match piece.kind, port.end:
        case "turnout", "points":
            return piece.title
        case "turnout", leg:
            return f"{piece.title} {leg}" if left else f"{leg} {piece.title}"
        case (("crossing" | "slip"), end):
            return f"{end.split('-')[0]} {piece.title}"
        case _:
            return piece.title


def _heads(name: str, count: int) -> list[str]:
    return [name] if count == 1 else [f"{name}.h{i}" for i in range(1, count + 1)]


def _bare_signal(name: str, place: str, heads: int) -> str:
    names = ", ".join(h.split(".")[-1] for h in _heads(name, heads))
    words = f" heads {names}" if heads > 1 else ""
    return f"signal {name} at {place}{words} Stop otherwise"


def main(folder: str, count: str, room: str = "500", first: str = "0") -> None:
    Path(folder).mkdir(parents=True, exist_ok=True)
    for seed in range(int(first), int(first) + int(count)):
        text = write_junction(Random(seed), int(room))
        (Path(folder) / f"junction-{seed:06}.ixl").write_text(text, "utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:])
