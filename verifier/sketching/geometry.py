"""Where the ends of a piece lie on the graph paper, in its squares: ``x`` to the right, ``y`` down.

A place in the text is one spot or two. Plain track reaches from the first to the second; points
and crossings have their hub halfway across, on the row of their straight track, and one end of
their other track at the second spot. An end of the plan is its one spot.
"""

from collections.abc import Mapping
from typing import NamedTuple

from verifier.plan.model import Piece


class Spot(NamedTuple):
    """A point of the graph paper."""

    x: float
    y: float

    def moved(self, by: "Spot") -> "Spot":
        return Spot(self.x + by.x, self.y + by.y)

    def apart(self, other: "Spot") -> float:
        return float(((self.x - other.x) ** 2 + (self.y - other.y) ** 2) ** 0.5)


# A place: what is written of it, two spots or, of an end of the plan, one.
Place = tuple[Spot, ...]

# How long a block is drawn at first, from end to end.
LENGTH = 6.0
# How far the ends of points and crossings lie from their hub at first, either way.
HALF = 2.0
ORIGIN = Spot(0, 0)


def ends_of(piece: Piece, place: Place) -> Mapping[str, Spot]:
    """Where each end of a piece lies that is drawn at ``place``."""
    if piece.kind in ("edge", "bumper"):
        return {"end": place[0]}
    first, last = place if len(place) > 1 else around(piece, place[0])
    if piece.kind == "plain":
        return {"left": first, "right": last}
    if piece.kind == "turnout":
        return {"points": first, "normal": Spot(last.x, first.y), "reverse": last}
    row = (first.y + last.y) / 2
    return {
        "along-left": Spot(first.x, row),
        "along-right": Spot(last.x, row),
        "across-left": first,
        "across-right": last,
    }


def around(piece: Piece, hub: Spot) -> Place:
    """The place of a piece whose hub is known: as it is drawn at first."""
    x, y = hub
    if piece.kind in ("edge", "bumper"):
        return (hub,)
    if piece.kind == "plain":
        return Spot(x - LENGTH / 2, y), Spot(x + LENGTH / 2, y)
    if piece.kind == "turnout":
        return Spot(x - HALF, y), Spot(x + HALF, y + HALF)
    return Spot(x - HALF, y + HALF), Spot(x + HALF, y - HALF)


def hub(piece: Piece, ends: Mapping[str, Spot]) -> Spot:
    """The frog or diamond of a piece; the middle of plain track."""
    spots = [*ends.values()]
    if piece.kind == "turnout":
        points, normal = ends["points"], ends["normal"]
        return Spot((points.x + normal.x) / 2, points.y)
    return Spot(
        (min(s.x for s in spots) + max(s.x for s in spots)) / 2,
        (min(s.y for s in spots) + max(s.y for s in spots)) / 2,
    )


def place_from(piece: Piece, ends: Mapping[str, Spot]) -> Place:
    """The place that gives these ends: the inverse of :func:`ends_of`."""
    if piece.kind in ("edge", "bumper"):
        return (ends["end"],)
    if piece.kind == "plain":
        return ends["left"], ends["right"]
    if piece.kind == "turnout":
        return ends["points"], ends["reverse"]
    return ends["across-left"], ends["across-right"]


def mirrored(place: Place, about: float) -> Place:
    """The place with left and right exchanged about a column."""
    return tuple(Spot(2 * about - x, y) for x, y in place)
