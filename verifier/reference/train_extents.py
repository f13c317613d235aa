"""Where trains may stand over the spots of a block, by exact critical positions.

In: the spots, the block's length and the lengths of trains, in meters. Out: every set of spots
that one train on the block can cover, each with a train that does. The method is exact: nothing
changes between two neighboring critical values, so each of them and one value between each two
stand for all.
"""

from collections.abc import Iterable, Iterator
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
    """Every set of spots that a train can cover, with the shortest train that does."""
    found: dict[tuple[int, ...], TrainPosition] = {}
    for way in geometry.each_way:
        for covers, train in _on_one_way(geometry, way):
            found.setdefault(covers, train)
    return found


def _on_one_way(
    geometry: Geometry, way: tuple[int, ...]
) -> Iterator[tuple[tuple[int, ...], TrainPosition]]:
    """The same on one way through the block, which passes some of the spots."""
    spots = [(i, geometry.spots[i]) for i in way]
    for length in _between(_lengths(geometry), geometry.shortest, geometry.longest):
        marks = {Fraction(0) - length, geometry.length}
        marks |= {m for _, spot in spots for m in (spot, spot - length)}
        for start in _between(marks, -length, geometry.length):
            on_the_block = start < geometry.length and start + length > 0
            if on_the_block:
                covers = tuple(i for i, at in spots if start <= at <= start + length)
                yield covers, TrainPosition(start, length)


def _lengths(geometry: Geometry) -> set[Fraction]:
    """Lengths of trains at which the sets that they can cover may change."""
    marks = (Fraction(0), geometry.length, *geometry.spots)
    return {b - a for a in marks for b in marks if b > a}


def _between(marks: Iterable[Fraction], low: Fraction, high: Fraction | None) -> list[Fraction]:
    """The marks from ``low`` to ``high``, both included, and a value between each two. Without
    ``high``: one beyond the last."""
    marks = {low, *marks}
    end = max(marks) + 1 if high is None else high
    inside = sorted({end, *(mark for mark in marks if low <= mark <= end)})
    halves = [(a + b) / 2 for a, b in pairwise(inside)]
    return sorted({*inside, *halves})
