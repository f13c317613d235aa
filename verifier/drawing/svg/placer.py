"""Place what stands beside the track in an SVG drawing: signals, names, wiring.

Input: track as line segments, and the things to place, most important first, each with its
size in CSS pixels and where it would like to stand. Output: where each stands, such that
none covers another or any track, and which could not be placed.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import pairwise

from verifier.drawing.label_placer import BELOW, Others, place_all

Point = tuple[float, float]

# Clear room between a thing and track, between two things, around a leader.
BY_TRACK, BY_THING, BY_LEADER = 3.0, 4.0, 2.0
# How far from its track a thing may stand, in steps.
STEP, FARTHEST = 7.0, 7
_SLAB = 80.0


@dataclass(frozen=True, slots=True)
class Box:
    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        return self.x + self.width

    @property
    def bottom(self) -> float:
        return self.y + self.height

    @property
    def middle(self) -> Point:
        return self.x + self.width / 2, self.y + self.height / 2

    def grown(self, by: float) -> "Box":
        return Box(self.x - by, self.y - by, self.width + 2 * by, self.height + 2 * by)

    def widened(self, by: float) -> "Box":
        return Box(self.x, self.y, self.width + by, self.height)

    def meets(self, other: "Box") -> bool:
        return (
            self.x < other.right
            and other.x < self.right
            and self.y < other.bottom
            and other.y < self.bottom
        )

    def crossed_by(self, a: Point, b: Point) -> bool:
        """Whether the line from ``a`` to ``b`` touches it."""
        low, high = 0.0, 1.0
        for start, end, least, most in (
            (a[0], b[0], self.x, self.right),
            (a[1], b[1], self.y, self.bottom),
        ):
            by = end - start
            if by == 0:
                if not least <= start <= most:
                    return False
                continue
            enters, leaves = sorted(((least - start) / by, (most - start) / by))
            low, high = max(low, enters), min(high, leaves)
            if low > high:
                return False
        return True


@dataclass(frozen=True, slots=True)
class SvgLabel:
    """A thing for what lies at ``anchor`` on a row of track. ``lefts``: where its left edge
    may be, best first; ``off``: how far from the track it would like to stand. ``tied``: it
    stands at its track and nowhere else, however long that takes to find."""

    kind: str
    name: str
    width: float
    height: float
    anchor: Point
    sides: tuple[int, ...]
    lefts: tuple[float, ...]
    off: float
    tied: bool = False

    def untied(self) -> "SvgLabel":
        """The same, to be placed wherever there is room at all."""
        near = self.lefts[0]
        aside = (near + way * step for step in range(10, 150, 14) for way in (1, -1))
        return replace(self, lefts=(*self.lefts, *aside), tied=False)


@dataclass(frozen=True, slots=True)
class PlacedSvgLabel:
    """A thing in its place. ``leader``: the line that ties it to its anchor, where it stands
    away from it. ``apart``: it stands below the drawing, for want of room at its track."""

    label: SvgLabel
    box: Box
    side: int
    leader: tuple[Point, Point] | None
    apart: bool = False


@dataclass(slots=True)
class Occupancy:
    """What is taken already, in upright slabs so that a long line takes no longer per mile."""

    boxes: dict[int, list[Box]] = field(default_factory=dict)
    lines: dict[int, list[tuple[Point, Point]]] = field(default_factory=dict)

    def copied(self) -> "Occupancy":
        return Occupancy(
            {slab: [*boxes] for slab, boxes in self.boxes.items()},
            {slab: [*lines] for slab, lines in self.lines.items()},
        )

    def take(self, box: Box) -> None:
        for slab in _slabs(box.x, box.right):
            self.boxes.setdefault(slab, []).append(box)

    def draw(self, points: Sequence[Point]) -> None:
        for a, b in pairwise(points):
            for slab in _slabs(min(a[0], b[0]), max(a[0], b[0])):
                self.lines.setdefault(slab, []).append((a, b))

    def free(self, box: Box) -> bool:
        by_things, by_track = box.grown(BY_THING), box.grown(BY_TRACK)
        for slab in _slabs(by_things.x, by_things.right):
            if any(by_things.meets(other) for other in self.boxes.get(slab, ())):
                return False
            if any(by_track.crossed_by(a, b) for a, b in self.lines.get(slab, ())):
                return False
        return True

    def between(self, box: Box, anchor: Point, side: int) -> bool:
        """Whether some track lies between a thing and its own track."""
        low, high = sorted((anchor[1], box.middle[1]))
        strip = Box(box.x, low + 0.5, box.width, max(high - low - 1, 0))
        return any(
            strip.crossed_by(a, b)
            for slab in _slabs(strip.x, strip.right)
            for a, b in self.lines.get(slab, ())
        )


def _slabs(low: float, high: float) -> range:
    return range(int(low // _SLAB), int(high // _SLAB) + 1)


def place(
    page: Occupancy, labels: Sequence[SvgLabel]
) -> tuple[list[PlacedSvgLabel], list[SvgLabel]]:
    """Each label in its place on the page, in order; and those for which there is none.

    Where it can, a label leaves clear what others on its side stand for."""

    def take(placed: PlacedSvgLabel) -> None:
        page.take(placed.box)
        if placed.leader:
            page.take(_around(placed.leader))

    return place_all(labels, partial(_find, page), take)


def _find(page: Occupancy, label: SvgLabel, others: Others) -> PlacedSvgLabel | None:
    best: PlacedSvgLabel | None = None
    for step in range(1 if label.tied else FARTHEST):
        for candidate in _candidates(page, label, step):
            box = candidate.box
            if not any(box.x - 2 < x < box.right + 2 for x in others[candidate.side]):
                return candidate
            best = best or candidate
    return best


def _candidates(page: Occupancy, label: SvgLabel, step: int) -> Iterator[PlacedSvgLabel]:
    off = label.off + step * STEP
    for side in label.sides:
        y = label.anchor[1] + (off if side == BELOW else -off - label.height)
        for left in label.lefts:
            box = Box(left, y, label.width, label.height)
            if not page.free(box) or page.between(box, label.anchor, side):
                continue
            leader = _leader(label, box, side) if step else None
            if leader is None or _leads(page, leader):
                yield PlacedSvgLabel(label, box, side, leader)


def _leader(label: SvgLabel, box: Box, side: int) -> tuple[Point, Point]:
    x = min(max(label.anchor[0], box.x), box.right)
    start = label.anchor[1] + side * (BY_TRACK + BY_LEADER)
    return (x, start), (x, box.y - 1 if side == BELOW else box.bottom + 1)


def _around(leader: tuple[Point, Point]) -> Box:
    (x, y1), (_, y2) = leader
    return Box(x - 1, min(y1, y2), 2, abs(y2 - y1))


def _leads(page: Occupancy, leader: tuple[Point, Point]) -> bool:
    box = _around(leader).grown(BY_LEADER)
    return not any(
        box.meets(other) for slab in _slabs(box.x, box.right) for other in page.boxes.get(slab, ())
    )


def below(
    page: Occupancy, labels: Sequence[SvgLabel], left: float, bottom: float
) -> list[PlacedSvgLabel]:
    """Labels one below another under the drawing."""
    put = []
    for label in labels:
        box = Box(left, bottom + 2 * BY_THING, label.width, label.height)
        bottom = box.bottom
        page.take(box)
        put.append(PlacedSvgLabel(label, box, label.sides[0], None, apart=True))
    return put


def around_all(boxes: Iterable[Box]) -> Box:
    """The smallest box about them all."""
    boxes = list(boxes)
    if not boxes:
        return Box(0, 0, 0, 0)
    x, y = min(b.x for b in boxes), min(b.y for b in boxes)
    return Box(x, y, max(b.right for b in boxes) - x, max(b.bottom for b in boxes) - y)
