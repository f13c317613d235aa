"""Place labels beside the rows of a terminal drawing, so that none covers anything.

Input: the layout, and the labels in order of importance. Output: where each label goes,
or which band between two rows must grow for one that found no room.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from verifier.drawing.layout import GridLayout
from verifier.drawing.svg_placer import BELOW

FARTHEST = 5
SECOND_TRIES = 3
# Clear columns kept between a label and track, and between two labels.
BY_TRACK, BY_LABEL = 1, 2
# What is tried in turn: how many anchors of other labels may be covered, how far from the
# row, by how much margins may be narrower.
ANY = 1000
_ATTEMPTS = (
    (0, 1, 0),
    (0, 1, 1),
    (0, 2, 0),
    *((ANY, distance, closer) for distance in range(1, FARTHEST + 1) for closer in (0, 1)),
)


@dataclass(frozen=True, slots=True)
class TextLabel:
    """A text for what stands at ``anchor`` on the row at ``y``. ``sides``: above, below,
    or both in order of preference. ``places``: (leftmost column, text), best first.
    ``parts``: labels to place instead where this one finds no room."""

    name: str
    anchor: int
    y: int
    sides: tuple[int, ...]
    places: tuple[tuple[int, str], ...]
    parts: tuple["TextLabel", ...] = ()


@dataclass(frozen=True, slots=True)
class PlacedTextLabel:
    """A label in its place; ``leader`` is the line that ties it to its anchor."""

    label: TextLabel
    x: int
    y: int
    text: str
    leader: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Placement:
    """``crowded`` are the labels without room, each with the band that should grow: the
    number of the row above that band, -1 for the one above the first row."""

    put: tuple[PlacedTextLabel, ...]
    crowded: tuple[tuple[TextLabel, int], ...]

    @property
    def homeless(self) -> tuple[TextLabel, ...]:
        """Each label without room, once."""
        return tuple(dict.fromkeys(label for label, _ in self.crowded))


@dataclass(slots=True)
class _Taken:
    """What is taken already, line by line."""

    layout: GridLayout
    # Line by line: from, to, and the columns to keep clear on both sides.
    taken: dict[int, list[tuple[int, int, int]]] = field(default_factory=dict)
    # Row, anchor and line of labels that stand right over what they are for.
    stacks: set[tuple[int, int, int]] = field(default_factory=set)

    def take(self, y: int, low: int, high: int, margin: int) -> None:
        self.taken.setdefault(y, []).append((low, high, margin))

    def free(self, y: int, low: int, high: int, closer: int) -> bool:
        """Whether these columns are free, with margins narrower by ``closer``."""
        return all(
            high + margin - closer < a or b + margin - closer < low
            for a, b, margin in self.taken.get(y, ())
        )

    def leader(
        self, label: TextLabel, side: int, distance: int
    ) -> tuple[tuple[int, int], ...] | None:
        """The leader from a row to a label so far from it, None where something is in the
        way. A label for the same thing is not: they stand one above the other."""
        spots = []
        for y in range(label.y + side, label.y + side * distance, side):
            if (label.y, label.anchor, y) in self.stacks:
                continue
            if not self.free(y, label.anchor, label.anchor, 1):
                return None
            spots.append((label.anchor, y))
        return tuple(spots)

    def band(self, y: int, side: int) -> tuple[int, int | None]:
        """The band on one side of the row at ``y``: its number and its height."""
        rows = self.layout.rows
        i = rows.index(y)
        upper = i if side == BELOW else i - 1
        inner = 0 <= upper < len(rows) - 1
        return upper, rows[upper + 1] - rows[upper] - 1 if inner else None


def place_labels(layout: GridLayout, labels: Sequence[TextLabel]) -> Placement:
    """Labels in order; those that find no room are tried once more, first and in parts."""
    best = _place_all(layout, labels)
    for _ in range(SECOND_TRIES):
        if not best.crowded:
            break
        first = best.homeless
        parts = (part for label in first for part in label.parts or (label,))
        labels = [*parts, *(label for label in labels if label not in first)]
        again = _place_all(layout, labels)
        if len(again.homeless) < len(best.homeless):
            best = again
    return best


def _place_all(layout: GridLayout, labels: Sequence[TextLabel]) -> Placement:
    page = _Taken(layout)
    for slant in layout.slants.values():
        for step in range(1, abs(slant.to_y - slant.y)):
            x, y = slant.x + slant.side * step, slant.y + slant.down * step
            page.take(y, x, x, BY_TRACK)
    for bend in layout.bends:
        for y in range(bend.top, bend.bottom + 1):
            page.take(y, bend.x, bend.x, BY_TRACK)
    anchors: dict[tuple[int, int], set[int]] = {}
    for label in labels:
        for side in label.sides:
            anchors.setdefault((label.y, side), set()).add(label.anchor)
    put: list[PlacedTextLabel] = []
    crowded: list[tuple[TextLabel, int]] = []
    for label in labels:
        found = _place(page, label, anchors)
        if found is None:
            crowded += [(label, page.band(label.y, side)[0]) for side in label.sides]
            continue
        put.append(found)
        last = found.x + len(found.text) - 1
        page.take(found.y, found.x, last, BY_LABEL)
        if found.x <= label.anchor <= last:
            page.stacks.add((label.y, label.anchor, found.y))
        for x, y in found.leader:
            page.take(y, x, x, BY_TRACK)
    return Placement(tuple(put), tuple(crowded))


def _place(
    page: _Taken, label: TextLabel, anchors: Mapping[tuple[int, int], Collection[int]]
) -> PlacedTextLabel | None:
    """The best free place. One that leaves clear what other labels stand for is better
    than one that does not, and one left of the drawing's edge worse than any."""
    for most_covered, distance, closer in _ATTEMPTS:
        for side in label.sides:
            if not _belongs(page.band(label.y, side)[1], distance):
                continue
            leader = page.leader(label, side, distance)
            if leader is None:
                continue
            others = [o for o in anchors[label.y, side] if o != label.anchor]
            y = label.y + side * distance
            for x, text in sorted(label.places, key=lambda place: place[0] < 0):
                last = x + len(text) - 1
                if not page.free(y, x, last, closer):
                    continue
                if sum(x - 1 <= other <= last + 1 for other in others) <= most_covered:
                    return PlacedTextLabel(label, x, y, text, leader)
    return None


def _belongs(height: int | None, distance: int) -> bool:
    """Whether a label this far from its row is not taken for one of the next row: it is
    nearer to its own, or has a leader and leaves the next row's nearest line free."""
    if height is None:
        return True
    beyond = height + 1 - distance
    return beyond > 1 and (distance == 1 or beyond >= 2)


def grown(heights: Sequence[int], bands: Iterable[int]) -> tuple[int, ...]:
    """Row heights with one more line in each of these bands."""
    bands = set(bands)
    extra, new = 0, []
    for i, height in enumerate(heights):
        extra += 1 if i - 1 in bands and i else 0
        new.append(height + extra)
    return tuple(new)
