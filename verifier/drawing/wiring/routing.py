"""Which wires of a page are drawn from end to end, and along which way, so that none crosses.

In: where the pins of a page stand. Out: for each wire a line; a wire without one is drawn as two
ends that name each other. Ordering left and right sides so that no line crosses is planarity of a
two-layer drawing with one side fixed: the most lines that do not cross are a longest increasing
subsequence, so no graph library is needed.
"""

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Crossing:
    """A wire that goes over the lanes between the two sides of a page: the heights of its ends."""

    wire: int
    start: float
    end: float


def uncrossed(wires: Sequence[Crossing]) -> tuple[Crossing, ...]:
    """The most of the wires of which no two change places, from the top."""
    ordered = sorted(wires, key=lambda one: (one.start, one.end))
    tails: list[float] = []
    ending: list[int] = []  # by length, the wire that the best row of this length ends with
    before: list[int | None] = []
    for n, one in enumerate(ordered):
        length = bisect_left(tails, one.end)
        before.append(ending[length - 1] if length else None)
        tails[length:] = [one.end, *tails[length + 1 :]]
        ending[length:] = [n, *ending[length + 1 :]]
    chosen = []
    at = ending[-1] if ending else None
    while at is not None:
        chosen.append(ordered[at])
        at = before[at]
    return tuple(reversed(chosen))


def lanes(wires: Sequence[Crossing]) -> Mapping[int, int]:
    """A lane for each wire, counted from the left, such that no two touch. Wires as from
    :func:`uncrossed`; one that runs straight has lane 0, and needs none.

    Of wires that go down the upper one turns further right, of those that go up further left; those
    of the one kind do not meet those of the other."""
    found: dict[int, int] = {}
    for way, group in groupby(wires, key=lambda one: (one.end > one.start) - (one.end < one.start)):
        those = [one.wire for one in group]
        numbers = range(len(those))
        found |= dict(zip(those, reversed(numbers) if way > 0 else numbers, strict=True))
        if way == 0:
            found |= dict.fromkeys(those, 0)
    return found
