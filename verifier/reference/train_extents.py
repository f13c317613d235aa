"""Where trains may stand over the spots of a block, by exact critical positions.

In: the spots, the block's length and the lengths of trains. Out: every set of spots that
one train standing on the block can cover, each with a train that does. No solver, no
sampling: between two neighboring critical values nothing changes, so looking at each of
them, and once between each two, looks at everything.
"""

from collections.abc import Iterable
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

from verifier.plan.wiring.equipment import Geometry


class TrainPosition(NamedTuple):
    """A train of some ``length`` whose left end is ``start`` meters from the left end of
    the block (negative: it reaches out of it)."""

    start: Fraction
    length: Fraction


@lru_cache(maxsize=4096)
def train_positions(geometry: Geometry) -> dict[tuple[int, ...], TrainPosition]:
    """Every set of spots that a train can cover, with the shortest train found that does."""
    found: dict[tuple[int, ...], TrainPosition] = {}
    for length in _between(_lengths(geometry), geometry.shortest, geometry.longest):
        marks = {Fraction(0) - length, geometry.length}
        marks |= {m for spot in geometry.spots for m in (spot, spot - length)}
        for start in _between(marks, -length, geometry.length):
            on_the_block = start < geometry.length and start + length > 0
            if on_the_block:
                covers = tuple(
                    i for i, at in enumerate(geometry.spots) if start <= at <= start + length
                )
                found.setdefault(covers, TrainPosition(start, length))
    return found


def _lengths(geometry: Geometry) -> set[Fraction]:
    """Lengths at which what a train can cover may change."""
    marks = (Fraction(0), geometry.length, *geometry.spots)
    return {b - a for a in marks for b in marks if b > a}


def _between(marks: Iterable[Fraction], low: Fraction, high: Fraction | None) -> list[Fraction]:
    """The marks from ``low`` to ``high``, these two, and a value between each two. Without
    ``high``: one beyond the last."""
    inside = sorted({low, *(m for m in marks if m >= low and (high is None or m <= high))}
                    | (set() if high is None else {high}))  # fmt: skip
    if high is None:
        inside.append(inside[-1] + 1)
    halves = [(a + b) / 2 for a, b in pairwise(inside)]
    return sorted({*inside, *halves})
