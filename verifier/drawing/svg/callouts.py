"""What a finding puts on top of a drawing: hatched routes, rings, numbers, triangles.

Input: the inked board, with where each thing is, and what to mark. Output: SVG. The drawing
underneath is the same with and without.
"""

from collections.abc import Iterator, Mapping, Sequence
from html import escape
from itertools import pairwise
from math import ceil

from verifier.drawing.overlay import Hatched, Mark
from verifier.drawing.svg import template
from verifier.drawing.svg.placed_layout import PlacedLayout
from verifier.drawing.svg.placer import Box, Occupancy, Point
from verifier.plan.model import Port

Spots = Mapping[tuple[str, str], Box]

_EVERY, _HALF = 7.0, 4.0  # pixels between strokes of a hatching; half its height, below names
_NUMBER = 15.0
_RING = 12.0
_AROUND = ((1, 0), (-1, 0), (1, -1), (-1, -1), (1, 1), (-1, 1), (0, -1), (0, 1))
_AWAY = (1.0, 6.0, 13.0, 21.0, 30.0, 42.0)


def hatching(board: PlacedLayout, hatched: Sequence[Hatched]) -> Iterator[str]:
    """Each route as short strokes across its rail, rising or falling to the right."""
    for route in hatched:
        up = -1 if route.slope == "rising" else 1
        strokes = [
            f"M{template.number(x - 3)} {template.number(y - up * _HALF)}"
            f"L{template.number(x + 3)} {template.number(y + up * _HALF)}"
            for move in route.moves
            for x, y in _every(
                _over(board, Port(move.piece, move.enter), Port(move.piece, move.leave))
            )
        ]
        yield (
            f'<g class="route"><title>{escape(route.name)}</title>'
            f'<path class="hatch {route.slope}" d="{"".join(strokes)}"/></g>\n'
        )


def _over(board: PlacedLayout, enter: Port, leave: Port) -> list[Point]:
    return list(dict.fromkeys([*reversed(board.ways.way(enter)), *board.ways.way(leave)]))


def _every(points: Sequence[Point]) -> Iterator[Point]:
    """Places along a line, evenly spaced."""
    for a, b in pairwise(points):
        long = template.distance(a, b)
        count = max(ceil(long / _EVERY), 1)
        for n in range(count):
            yield template.along(a, b, long * (n + 0.5) / count)


def call_outs(board: PlacedLayout, spots: Spots, marks: Sequence[Mark]) -> Iterator[str]:
    """Each mark at its thing: rings about it, numbers and triangles beside it."""
    page = board.page.copied()
    for mark in sorted(marks, key=lambda mark: mark.why != "conflict"):
        spot = _spot(board, spots, mark)
        if spot is None:
            continue
        if mark.why == "conflict":
            yield f'<g class="meeting"><title>{escape(f"conflict at {mark.name}")}</title>'
            yield template.circle(spot.middle, _RING, "spot") + "</g>\n"
            page.take(Box(spot.middle[0] - _RING, spot.middle[1] - _RING, 2 * _RING, 2 * _RING))
            continue
        box, far = _beside(board.frame, page, spot)
        page.take(box)
        yield _called(mark, box, spot if far else None)


def _spot(board: PlacedLayout, spots: Spots, mark: Mark) -> Box | None:
    if mark.kind == "piece" and mark.name in board.layout.cells:
        x, y = board.ways.hub(mark.name)
        return Box(x - 6, y - 6, 12, 12)
    return spots.get((mark.kind, mark.name))


def _beside(frame: Box, page: Occupancy, spot: Box) -> tuple[Box, bool]:
    """The nearest free place beside a thing, and whether that is so far that it needs a line."""
    for away in _AWAY:
        for dx, dy in _AROUND:
            box = _place(spot, dx, dy, away)
            inside = (
                frame.x <= box.x and box.right <= frame.right
                and frame.y <= box.y and box.bottom <= frame.bottom
            )  # fmt: skip
            if inside and page.free(box):
                return box, away > _AWAY[2]
    return _place(spot, 1, -1, -_NUMBER / 2), False


def _place(spot: Box, dx: int, dy: int, away: float) -> Box:
    x = (spot.x - _NUMBER - away, spot.middle[0] - _NUMBER / 2, spot.right + away)[dx + 1]
    y = (spot.y - _NUMBER - away, spot.middle[1] - _NUMBER / 2, spot.bottom + away)[dy + 1]
    return Box(x, y, _NUMBER, _NUMBER)


def _called(mark: Mark, box: Box, tied_to: Box | None) -> str:
    x, y = box.middle
    body = template.stroke((x, y), tied_to.middle, "f") if tied_to else ""
    if mark.why == "changed":
        body += template.shape([(x, y - 6), (x + 7, y + 6), (x - 7, y + 6)], "o")
        return f'<g class="changed"><title>{escape(f"{mark.name} has changed")}</title>{body}</g>\n'
    body += template.circle((x, y), _NUMBER / 2, "s")
    body += template.text((x, y + 3.5), str(mark.number), "m c")
    title = f"{mark.number}: {mark.name}"
    return f'<g class="call" data-number="{mark.number}"><title>{escape(title)}</title>{body}</g>\n'
