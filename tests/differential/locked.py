"""Generated junctions with memory, time and locks, and trains that run by all sorts of rules.

In: a random source and how many situations the junction may have without memory. Out: the text
of a file: a generated junction (:mod:`tests.differential.junctions`) with relays, timers,
directions of traffic, ways to throw and to lock what moves, and statements about trains added at
random. Most of these make no sense, which is as well: what is compared is what they come to.
"""

import re
from collections.abc import Collection, Iterator
from random import Random

import verifier
from tests.differential.junctions import built, write_junction
from tests.differential.rules import Writer
from verifier.plan.model import Plan

TIMES = ("2 s", "5 s", "8 s", "30 s")


class Locker(Writer):
    """Writes conditions that may speak of memory."""

    def __init__(self, r: Random, plan: Plan):
        super().__init__(r, plan)
        self.heads = {s.name: [h.name for h in s.heads] for s in plan.signals.values()}
        self.names = list(plan.conditions)
        self.any_signal = r.choice([0.0, 0.3])
        self.memory = {f"R{i}": ("up", "down") for i in range(1, r.randint(1, 4))}
        self.memory |= {f"Time{i}": ("running", "done") for i in range(1, r.randint(1, 3))}
        if r.random() < 0.6:
            self.memory["Way"] = ("rightward", "leftward")
        self.order = r.sample(list(self.memory), len(self.memory))
        # Points that people throw.
        self.by_people: list[str] = []

    def fact(self, *, truth: bool) -> str:
        r = self.r
        if self.memory and r.random() < 0.35:
            name = r.choice(list(self.memory))
            return f"{name} {r.choice(self.memory[name])}"
        if r.random() < 0.2:
            return f"{r.choice(['Push1', 'Push2'])} pressed"
        return super().fact(truth=truth)

    def when(self) -> str:
        return self.condition(self.r.randint(0, 2))

    # -------------------------------------------------------------- statements

    def remembered(self) -> Iterator[str]:
        """The statements of relays, timers and directions of traffic, in any order."""
        r = self.r
        for name in self.order:
            if name.startswith("R"):
                yield f"relay {name} picks when {self.when()}"
                if r.random() < 0.7:
                    yield f"  sticks while {self.when()}"
                for way in ("pick", "release"):
                    if r.random() < 0.3:
                        yield f"  slow to {way} {r.choice(TIMES)}"
            elif name.startswith("Time"):
                yield f"timer {name} {r.choice(TIMES)} runs while {self.when()}"
            else:
                blocks = r.sample(
                    list(self.plan.blocks), r.randint(1, min(2, len(self.plan.blocks)))
                )
                yield f"traffic {name} on {', '.join(blocks)}"
                yield f"  rightward when {self.when()}"
                yield f"  leftward when {self.when()}"
                if r.random() < 0.5:
                    yield f"  locked while {self.when()}"

    def thrown(self, points: str, kind: str) -> Iterator[str]:
        """How one turnout, slip, derail or gate is thrown and locked; or what it is
        pipe-connected to."""
        r = self.r
        if kind == "derail" and r.random() < 0.4:
            known = (p.name for p in self.plan.track.pieces.values())
            switches = [name for name in known if name.startswith(("T", "P"))]
            leg = r.choice(["", " derailing when reverse"])
            yield f"  pipe-connected to {r.choice(switches)}{leg}"
            return
        by = r.choice(["anyone", "hand", "lever", "buttons", "rule"])
        self.by_people += [points] if by != "rule" else []
        words = {"hand": "hand", "lever": f"Lever-{points}", "buttons": "Push1, Push2"}
        if by in words:
            yield f"  thrown by {words[by]}"
        elif by == "rule":
            away = {"derail": "non-derailing", "gate": "open"}.get(kind, "reverse")
            yield f"  thrown {away} when {self.when()}"
        if r.random() < 0.5:
            yield f"  locked while {self.when()}"
        if by == "hand" and r.random() < 0.6:
            yield f"  electric lock released when {self.when()}"
        if r.random() < 0.3:
            yield "  motor snap"
        if kind == "turnout" and r.random() < 0.2:
            yield "  no contacts"

    def running(self) -> Iterator[str]:
        """How trains run."""
        r, blocks = self.r, list(self.plan.blocks)
        yield "trains obey signals"
        if r.random() < 0.5:
            yield f"trains need {r.choice(['3 s', '10 s', '20 s'])} to stop"
        match r.randrange(4):
            case 0:
                yield "trains never reverse"
            case 1:
                yield f"trains reverse on {', '.join(r.sample(blocks, min(2, len(blocks))))}"
            case _:
                pass
        if r.random() < 0.5:
            yield f"trains start on {', '.join(r.sample(blocks, min(2, len(blocks))))}"

    def promised(self, thrown: list[str]) -> Iterator[str]:
        """What the crew promises, of the points that people throw and of blocks."""
        r, blocks = self.r, list(self.plan.blocks)
        some = r.sample(blocks, r.randint(1, min(3, len(blocks))))
        yield f"crew promises one {r.choice(['train', 'direction'])} at a time on {', '.join(some)}"
        for points in thrown:
            for when in ("under a train", "ahead of a train", "under clear signals",
                         "before a train can stop"):  # fmt: skip
                if r.random() < 0.5:
                    yield f"crew promises not to throw {points} {when}"
        yield f"crew promises not to reverse on {r.choice(blocks)}"


# The codes of promises that say nothing.
PROMISES = {"CP752", "CP753", "CP754", "CP755"}


def write_locked(r: Random, room: int) -> str:
    text = write_junction(r, room)
    writer = Locker(r, built(text))
    lines = ["button Push1, Push2"]
    for line in text.splitlines():
        if line.startswith("edge ") and " only" not in line and r.random() < 0.2:
            line += f" entering when {writer.when()}"
        elif " when " in line and line.startswith("  ") and r.random() < 0.4:
            shows, _, when = line.partition(" when ")
            line = (
                f"{shows} when ({when}) {r.choice(['and', 'and', 'or'])} {writer.fact(truth=False)}"
            )
        lines.append(line)
        found = re.match(r"(turnout|slip|derail|gate) (\S+) (in|on)", line)
        if found:
            clauses = list(writer.thrown(found[2], found[1]))
            if any(f"Lever-{found[2]}" in clause for clause in clauses):
                lines.insert(0, f"lever Lever-{found[2]} positions normal, reverse")
            lines += clauses
    lines += [*writer.remembered(), *writer.running()]
    if r.random() < 0.4:
        lines = with_promises(lines, list(writer.promised(writer.by_people)))
    if r.random() < 0.4:
        lines.append(r.choice(["built as one program", "built of relays"]))
    return "\n".join(with_locks_that_hold(lines)) + "\n"


def with_locks_that_hold(lines: list[str]) -> list[str]:
    """Without the locks that are refused: by contacts that report nothing, or those that hold
    always or never."""
    if refused(lines, PROMISES | {"CP776"}):
        lines = [line for line in lines if line != "  no contacts"]
    vain = refused(lines, {"CP777"})
    return [line for number, line in enumerate(lines, 1) if number not in vain]


def with_promises(lines: list[str], promises: list[str]) -> list[str]:
    """Most promises that say nothing are refused: those are left out."""
    while True:
        told = refused([*lines, *promises], PROMISES | {"CP776"})
        left = [p for at, p in enumerate(promises, len(lines) + 1) if at not in told]
        if len(left) == len(promises):
            return lines + (promises if not told else [])
        promises = left


def refused(lines: list[str], codes: Collection[str]) -> set[int]:
    """The lines, from 1, of a file that are refused with one of these codes."""
    try:
        built("\n".join(lines) + "\n")
    except verifier.InputError as error:
        return {d.span.line for d in error.diagnostics if d.code in codes}
    return set()
