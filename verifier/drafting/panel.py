"""The panel of a draft: levers, buttons, keys, directions of traffic and timers, as text."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from math import ceil

from verifier.drafting.levers import LEFT, REVERSE, RIGHT
from verifier.drafting.rules import Drafting
from verifier.drafting.single import Stretch
from verifier.drafting.words import comment
from verifier.language.syntax import tree

# What a draft takes trains to need to stop, in seconds, where the file does not say.
_TO_STOP = 20


def panel(
    drafting: Drafting, machines: Sequence[str], statements: Sequence[tree.Statement]
) -> Iterator[str]:
    """The levers, buttons and keys. ``machines``: levers that throw points."""
    stretches = drafting.stretches.all
    if drafting.keys:
        yield "\n# -- Keys"
        yield from comment(
            "Whoever throws a switch turns its key to reverse first: that puts the signals there "
            "to Stop."
        )
        yield from _levers(list(drafting.keys.values()), ("normal", "reverse"))
    thrown: dict[str, set[str]] = defaultdict(set)
    for named in drafting.names.values():
        if named.lever:
            thrown[named.lever].add(named.position)
    by_positions: dict[tuple[str, ...], list[str]] = defaultdict(list)
    for lever, at in thrown.items():
        ways = (
            *(p for p in (LEFT,) if p in at),
            "normal",
            *(p for p in (RIGHT, REVERSE) if p in at),
        )
        by_positions[ways].append(lever)
    if by_positions or machines or stretches or drafting.buttons is not None:
        yield "\n# -- Panel"
    if by_positions:
        yield from comment(
            "A signal lever that is reversed clears its signal, and locks those of trains that it "
            "would meet."
            if drafting.frame
            else "A signal lever clears signals for trains that way; its middle holds them at Stop."
        )
    for positions, levers in by_positions.items():
        yield from _levers(levers, positions)
    told: set[str] = set()
    for lever, locked in drafting.apart.frame_locks().items() if drafting.frame else ():
        told.add(lever)  # a lock works both ways
        if held := [f"{other} normal" for other in locked if other not in told]:
            yield f"lever {lever} reverse locks {', '.join(held)}"
    yield from _buttons(drafting)
    yield from _directions(drafting)
    if machines:
        yield from comment("These throw switches and derails, unless something locks them.")
        yield from _levers(machines, ("normal", "reverse"))
    if drafting.automatic:
        yield "\n# -- Trains"
        yield from comment(
            "The signals work by themselves: they clear when track, switches and the other signals "
            "allow it. Of two that meet, one at a switch or crossing goes first, else the earlier "
            "one in this file; but never where it has no train and the other one has."
        )
    running = tree.of_kind(statements, tree.Running)
    if not any(s.kind == "obey signals" for s in running):
        yield "\ntrains obey signals"
    if drafting.times:
        yield from _times(drafting)


def _times(drafting: Drafting) -> Iterator[str]:
    """How long trains need to stop, and a timer for each signal."""
    given = drafting.routing.plan.locking.running.to_stop
    yield "\n# -- Time locking"
    if given is None:
        yield from comment("A train that saw a signal clear may pass it so long after.")
        yield f"trains need {_TO_STOP} s to stop"
    yield from comment(
        "Once a signal is put back, what it locked stays locked until its time is over: half as "
        "long again."
    )
    seconds = ceil((_TO_STOP if given is None else given) * 3 / 2)
    for key, timer in drafting.times.items():
        yield f"timer {timer} {seconds} s runs while {drafting.names[key].name} at stop"


def _buttons(drafting: Drafting) -> Iterator[str]:
    """The buttons of an entrance-exit panel."""
    if drafting.buttons is None:
        return
    sets = drafting.buttons.sets.values()
    yield from comment(
        "To set a route, hold the button at its signal (entrance) and press the one where it ends "
        "(exit). Its relay then picks, unless a route that it would meet is set, and throws the "
        "points; the signal clears once they lie. The relay drops when the train comes in; for "
        "the next one let go of the entrance, and press again. A "
        "cancel button takes back the routes of its place."
    )
    for all_of in ([s.entrance for s in sets], [s.exit for s in sets], [s.cancel for s in sets]):
        names = list(dict.fromkeys(all_of))
        for i in range(0, len(names), 6):
            yield f"button {', '.join(names[i : i + 6])}"
    if drafting.built:
        return
    powered = f" {drafting.wired.powered}" if drafting.wired is not None else ""
    locked = any(stretch.way for stretch in drafting.stretches.all)
    if locked or drafting.wired is not None:
        # A relay that drops may otherwise free the direction, or points that another one then
        # locks as they were told before, within the same step.
        yield ""
        yield from comment(
            "One program, so that signals are at Stop before the direction of traffic turns."
            if locked
            else "One program, so that points are told where to lie before a signal counts on them."
        )
        yield f"built as one program{powered}"
    else:
        yield f"\nbuilt of relays{powered}"


def _directions(drafting: Drafting) -> Iterator[str]:
    """The levers of single track, and the direction of traffic where it is locked."""
    stretches = drafting.stretches.all
    if not stretches:
        return
    locked = any(stretch.way for stretch in stretches)
    yield from comment(
        "A traffic lever asks for the direction in which trains may run on single track. It turns "
        "only while the track is clear and the signals that lead there are at stop."
        if locked
        else "A traffic lever sets the direction in which trains may run on single track: signals "
        "the other way stay at Stop."
    )
    yield from _levers([stretch.lever for stretch in stretches], (LEFT, RIGHT))
    for stretch in stretches:
        if stretch.way:
            yield from _traffic(stretch, drafting)
    if drafting.stretches.single and drafting.routing.plan.locking.running.reverse_on is None:
        routing = drafting.routing
        pieces = [
            piece for piece in routing.plan.track.pieces if piece in drafting.stretches.single
        ]
        yield from comment(
            "A train that turned back there would meet the one that follows it. If yours do so, "
            "draft with --single-track traffic."
        )
        blocks = dict.fromkeys(map(routing.block_of, pieces))
        yield f"crew promises not to reverse on {', '.join(blocks)}"


def _traffic(stretch: Stretch, drafting: Drafting) -> Iterator[str]:
    blocks = dict.fromkeys(drafting.routing.block_of(piece) for piece in stretch.pieces)
    yield f"traffic {stretch.way} on {', '.join(blocks)}"
    yield f"  rightward when {stretch.lever} right"
    yield f"  leftward when {stretch.lever} left"
    yield f"  locked while {' or '.join(drafting.direction_lock(stretch))}"


def _levers(levers: Sequence[str], positions: Iterable[str]) -> Iterator[str]:
    for i in range(0, len(levers), 8):
        yield f"lever {', '.join(levers[i : i + 8])} positions {', '.join(positions)}"
