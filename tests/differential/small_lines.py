"""Generated lines of two or three blocks, so small that every state can be visited.

In: a random source. Out: the text of a file with signals, trains and at most two of relays,
timers and directions of traffic, under rules at random.
"""

from collections.abc import Iterator
from random import Random

from tests.differential.junctions import built
from tests.differential.locked import Locker, with_locks_that_hold

# Each with the gaps at which signals may stand.
LINES = (
    ("block A, B\ntrack West = A | B = East", [("A", "B")]),
    ("block A, B, C\ntrack West = A | B | C = East", [("A", "B"), ("B", "C")]),
    (
        "edge Yard leaving only\nblock A, B\nturnout T1 in B\n"
        "track West = A | normal T1 = East\ntrack Yard = reverse T1",
        [("A", "T1")],
    ),
)
PANEL = "lever Lever-T1 positions normal, reverse\nbutton Push1, Push2\n"


def write_line(r: Random) -> str:
    track, gaps = r.choice(LINES)
    west = r.choice(["", " entering only", " entering only", " leaving only"])
    east = r.choice(["", " leaving only", " leaving only"])
    track = f"edge West{west}\nedge East{east}\n{track}"
    places = [f"{one} | {other}" for gap in gaps for one, other in (gap, gap[::-1])]
    signals = list(enumerate(r.sample(places, r.randint(1, 2))))
    bare = [f"signal S{i} at {place}  Clear when A clear  Stop otherwise" for i, place in signals]
    writer = Locker(r, built("\n".join([PANEL, track, *bare]) + "\n"))
    kept = r.sample(list(writer.memory), min(len(writer.memory), r.randint(0, 2)))
    writer.memory = {name: writer.memory[name] for name in kept}
    writer.order = kept
    lines = [*PANEL.splitlines(), "aspect Grade flashing red stop and proceed"]
    for line in track.splitlines():
        lines.append(line)
        if line.startswith("turnout"):
            lines += writer.thrown("T1", "turnout")
    for i, place in signals:
        lines.append(f"signal S{i} at {place}")
        shown = ("Clear", r.choice(["Approach", "Approach", "Restricting", "Grade"]))
        lines += [f"  {aspect} when {writer.when()}" for aspect in shown]
        lines.append("  Stop otherwise")
    lines += [*writer.remembered(), *_running(r)]
    return "\n".join(with_locks_that_hold(lines)) + "\n"


def with_detectors(r: Random, text: str) -> str:
    """The same line with detectors that miss some stock, on supplies that may be lost."""
    lines = ["supply Bus", "supply Rail track power", "district North fed by Rail"]
    for line in text.splitlines():
        if not line.startswith("block "):
            lines.append(line)
            continue
        for name in line.removeprefix("block ").split(", "):
            if r.random() < 0.3:
                lines.append(f"block {name}")
                continue
            lines.append(f"block {name} 600 mm in North feeders f{name}-1, f{name}-2")
            through = ", ".join(f"f{name}-{i}" for i in range(1, r.choice([2, 3, 3])))
            kind = r.choice([f"current-sensing through {through}", "spot at 0 mm, 600 mm"])
            kind += f" on {name}" if "spot" in kind else ""
            power = " without track power reads occupied" if "current" in kind else ""
            lines.append(
                f"detector D-{name} {kind}{power if r.random() < 0.5 else ''} powered by Bus"
                f"{r.choice(['', ' output closed when occupied'])}"
                f"{r.choice(['', '', '', ' hold 4 s'])}"
            )
    lines += r.choice([[], ["trains 300 mm to 900 mm"],
                       ["trains 300 mm to 900 mm, detectable at both ends"]])  # fmt: skip
    built, supply = r.choice(["of relays", "as one program"]), r.choice(["Bus", "Rail"])
    lines += r.choice([[], [f"built {built} powered by {supply}"]])
    return "\n".join(lines) + "\n"


def _running(r: Random) -> Iterator[str]:
    yield "trains obey signals"
    if r.random() < 0.3:
        yield f"trains need {r.choice(['3 s', '10 s'])} to stop"
    if r.random() < 0.5:
        yield "trains never reverse"
    if r.random() < 0.2:
        yield "trains start on A"
    if r.random() < 0.5:
        yield 'assume "one button" never Push2 pressed'
    if r.random() < 0.3:
        yield 'assume "one train" never train on A and train on B'
    if r.random() < 0.2:
        yield 'assume "S0 is held" always S0 at stop or Push1 pressed or B vacant'
