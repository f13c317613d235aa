"""How current divides between the feeders of one stretch of rail: nodal analysis with intervals.

In: where feeders are joined to a rail, their resistance and that of the rail, each as an interval.
Out: the least and the most of the current of stock at some point that flows through some of the
feeders, as a share of 1. Lengths in meters, resistances in ohms.

The supply end of all feeders is one node; the rail is a line of nodes, with a feeder at each.
Stock at x draws through all feeders. By reciprocity the share of some of them is the voltage at x
with the supply end of these held at 1 V, of the others at 0 V, and no stock: the node equations of
a ladder, solved exactly by two-terminal equivalents from both ends.

The bounds are exact but for rounding, by three facts:

- The share is a linear fraction in each single resistance, so that it is monotone in it. Over a box
  of resistances it is least and most at corners of the box.
- Feeders carry current toward stock only. More resistance in a counted feeder takes from the
  share, in any other it adds to it. More resistance in the rail takes from the feeders beyond:
  where all of these are counted it lowers the share, where none is it raises it. Only where both
  kinds are beyond are both ends tried.
- Between feeders the voltage is monotone along the rail, beyond the last one constant, so that over
  a stretch it is least and most at its ends or at a feeder.

A rail joint may be open (resistance without limit). If no feeder reaches stock, it draws nothing.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise, product
from math import inf

# More combinations of ends than this are not tried: the share may then be anything.
MAX_CORNERS = 256
# What floats may be off by, generously.
ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Between:
    """An amount that lies somewhere between two others, both included; ``most`` may be without
    limit."""

    least: float
    most: float

    def times(self, factor: float) -> "Between":
        return Between(self.least * factor, self.most * factor if factor else 0.0)


ANYTHING = Between(0.0, 1.0)


@dataclass(frozen=True, slots=True)
class Tap:
    """A feeder: where it is joined to the rail, its resistance, and whether its current counts."""

    at: float
    ohms: Between
    counted: bool


@dataclass(frozen=True, slots=True)
class _Source:
    """A two-terminal equivalent: volts behind ohms."""

    volts: float
    ohms: float

    def beyond(self, ohms: float) -> "_Source":
        return _Source(self.volts, self.ohms + ohms)


_NOTHING = _Source(0.0, inf)


def _beside(one: _Source, other: _Source) -> _Source:
    if one.ohms == inf or other.ohms == inf:
        return other if one.ohms == inf else one
    both = one.ohms + other.ohms
    if both == 0:
        return _Source((one.volts + other.volts) / 2, 0.0)
    volts = (one.volts * other.ohms + other.volts * one.ohms) / both
    return _Source(volts, one.ohms * other.ohms / both)


def share(taps: Sequence[tuple[float, bool]], rails: Sequence[float], at: int) -> float | None:
    """The share of the counted feeders in the current drawn at node ``at``; None where no feeder
    reaches it. ``taps``: each node's resistance to the supply (without limit: none) and whether it
    counts; ``rails``: the resistance from each node to the next."""
    sources = [_Source(float(counted), ohms) for ohms, counted in taps]

    def toward(numbers: Sequence[int]) -> _Source:
        """What is seen from ``at`` past the nearest of some nodes, given the farthest first."""
        found = _NOTHING
        for number in numbers:
            rail = rails[number if number < at else number - 1]
            found = _beside(found, sources[number]).beyond(rail)
        return found

    left, right = toward(range(at)), toward(range(len(taps) - 1, at, -1))
    found = _beside(_beside(left, sources[at]), right)
    return None if found.ohms == inf else found.volts


def share_at(taps: Sequence[Tap], rail: Between, x: float) -> Between:
    """The least and the most share of the counted feeders for stock at ``x``; ``rail`` is one
    meter of it."""
    if not taps:
        return ANYTHING
    # Stock stands at a node of its own, which is no feeder.
    stock = Tap(x, Between(inf, inf), counted=False)
    nodes = sorted([*taps, stock], key=lambda tap: tap.at)
    at = next(i for i, node in enumerate(nodes) if node is stock)
    steps = [rail.times(after.at - before.at) for before, after in pairwise(nodes)]
    return Between(
        max(0.0, min(_corners(nodes, steps, at, lowest=True), default=0.0) - ROUNDING),
        min(1.0, max(_corners(nodes, steps, at, lowest=False), default=1.0) + ROUNDING),
    )


def _corners(
    nodes: Sequence[Tap], steps: Sequence[Between], at: int, *, lowest: bool
) -> Iterator[float]:
    """The shares at the corners among which the lowest, or highest, one is."""
    taps = [
        (tap.ohms.most if tap.counted == lowest else tap.ohms.least, tap.counted) for tap in nodes
    ]
    ends: list[tuple[float, ...]] = []
    for number, step in enumerate(steps):
        beyond = nodes[: number + 1] if number < at else nodes[number + 1 :]
        counted = {tap.counted for tap in beyond if tap.ohms.least < inf}
        if len(counted) == 1:
            ends.append((step.most if counted == {lowest} else step.least,))
        else:
            ends.append((step.least, step.most))
    corners = 1
    for end in ends:
        corners *= len(end)
    if corners > MAX_CORNERS:
        yield 0.0 if lowest else 1.0
        return
    for rails in product(*ends):
        found = share(taps, rails, at)
        if found is not None:
            yield found


def share_along(taps: Sequence[Tap], rail: Between, first: float, last: float) -> Between:
    """The same for stock anywhere from ``first`` to ``last``."""
    places = {first, last, *(tap.at for tap in taps if first < tap.at < last)}
    found = [share_at(taps, rail, x) for x in places]
    return Between(min(f.least for f in found), max(f.most for f in found))
