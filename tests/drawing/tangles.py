"""Track joined at random, as text: for drawing what nobody would think of drawing."""

import random
from collections.abc import Iterator

from tests.drawing.samples import load
from verifier.language.diagnostics.diagnostic import InputError
from verifier.plan.model import Plan

Ends = list[tuple[str | None, str | None]]  # as the first thing on a line, as the last


def tangle(chance: random.Random) -> str:
    """A file with up to six turnouts and two crossings, joined at random. Not every one
    is a plan: some run back into themselves before a signal, for instance."""
    blocks: list[str] = []
    lines: list[str] = []
    ends: Ends = []
    for i in range(chance.randint(0, 6)):
        blocks.append(f"P{i}")
        lines.append(f"turnout T{i} in P{i}")
        leg = chance.choice(["normal", "reverse"])
        ends += [
            (f"{leg} T{i}", f"T{i} {leg}"),
            (f"T{i} normal", f"normal T{i}"),
            (f"T{i} reverse", f"reverse T{i}"),
        ]
    for i in range(chance.randint(0, 2)):
        blocks.append(f"D{i}")
        lines.append(f"{chance.choice(['crossing', 'slip'])} X{i} in D{i}")
        for way in ("along", "across"):
            ends += [(None, f"{way} X{i}"), (f"{way} X{i}", None)]
    if not ends:
        ends = [("S0", "S0"), ("S0", "S0")]
        blocks.append("S0")
    chance.shuffle(ends)
    tracks: list[str] = []
    signals: list[str] = []
    edges = 0
    while ends:
        first, last = ends.pop()
        mates = [i for i, end in enumerate(ends) if (first and end[1]) or (end[0] and last)]
        if mates and chance.random() < 0.75:
            mate = ends.pop(chance.choice(mates))
            start, stop = (first, mate[1]) if first and mate[1] else (mate[0], last)
        else:
            edge = f"E{edges}"
            edges += 1
            lines.append(f"{chance.choice(['edge', 'edge', 'bumper'])} {edge}")
            start, stop = (first, edge) if first else (edge, last)
        assert start and stop
        if chance.random() < 0.6:
            block = f"B{len(blocks)}"
            blocks.append(block)
            tracks.append(f"track {start} {_join(start)} {block} {_join(stop)} {stop}")
            if _join(start) == "|" and chance.random() < 0.4:
                signals.append(f"signal S{len(signals)} at {start} | {block}\n  Stop otherwise")
            if _join(start) == "|" and chance.random() < 0.4:
                back = _the_other_way(start)
                signals.append(f"signal S{len(signals)} at {block} | {back}\n  Stop otherwise")
        else:
            tracks.append(f"track {start} {chance.choice(['|', '||'])} {stop}")
    chance.shuffle(tracks)
    return "\n".join([f"block {', '.join(blocks)}", *lines, *tracks, *signals])


def _join(step: str) -> str:
    return "=" if step[0] == "E" else "|"


def _the_other_way(step: str) -> str:
    """A step as one writes it where the move comes from the right."""
    words = step.split()
    if words[0] in ("normal", "reverse"):
        return words[1]
    return " ".join(reversed(words)) if words[0].startswith("T") else step


def tangles(first: int) -> Iterator[tuple[Plan, random.Random]]:
    """Those of twenty that load, each with the chance that goes on from it; some always do."""
    loaded = 0
    for seed in range(first, first + 20):
        chance = random.Random(seed)
        try:
            plan = load(tangle(chance))
        except InputError:
            continue
        loaded += 1
        yield plan, chance
    assert loaded >= 3
