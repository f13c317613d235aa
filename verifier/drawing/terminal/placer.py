"""Place labels beside the rows of a terminal drawing, so that none covers anything.

Input: the layout, and the labels in order of importance. Output: where each label goes,
or which band between two rows must grow for one that found no room.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from verifier.drawing.label_placer import BELOW, Others, place_all
from verifier.drawing.layout import GridLayout

FARTHEST = 5
SECOND_TRIES = 3
# Clear columns kept between a label and track, and between two labels.
BY_TRACK, BY_LABEL = 1, 2
# What is tried in turn: whether anchors of other labels may be covered, how far from the row,
# by how much margins may be narrower.
_ATTEMPTS = (
    (False, 1, 0),
    (False, 1, 1),
    (False, 2, 0),
    *((True, distance, closer) for distance in range(1, FARTHEST + 1) for closer in (0, 1)),
)


@dataclass(frozen=True, slots=True)
class TextLabel:
    """A text for what stands at ``anchor``, a column and a row. ``sides``: above, below,
    or both in order of preference. ``places``: (leftmost column, text), best first.
    ``parts``: labels to place instead where this one finds no room."""

    name: str
    anchor: tuple[int, int]
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
class _Page:
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
        x, row = label.anchor
        for y in range(row + side, row + side * distance, side):
            if (row, x, y) in self.stacks:
                continue
            if not self.free(y, x, x, 1):
                return None
            spots.append((x, y))
        return tuple(spots)

    def put(self, placed: PlacedTextLabel) -> None:
        """Take the room of a label and of its leader."""
        x, y = placed.label.anchor
        last = placed.x + len(placed.text) - 1
        self.take(placed.y, placed.x, last, BY_LABEL)
        if placed.x <= x <= last:
            self.stacks.add((y, x, placed.y))
        for leader_x, leader_y in placed.leader:
            self.take(leader_y, leader_x, leader_x, BY_TRACK)

    def find(self, label: TextLabel, others: Others) -> PlacedTextLabel | None:
        """The best free place. One that leaves clear what other labels stand for is better
        than one that does not, and one left of the drawing's edge worse than any."""
        row = label.anchor[1]
        for may_cover, distance, closer in _ATTEMPTS:
            for side in label.sides:
                if not _belongs(self.band(row, side)[1], distance):
                    continue
                leader = self.leader(label, side, distance)
                if leader is None:
                    continue
                y = row + side * distance
                for x, text in sorted(label.places, key=lambda place: place[0] < 0):
                    last = x + len(text) - 1
                    covers = any(x - 1 <= other <= last + 1 for other in others[side])
                    if self.free(y, x, last, closer) and (may_cover or not covers):
                        return PlacedTextLabel(label, x, y, text, leader)
        return None

    def band(self, y: int, side: int) -> tuple[int, int | None]:
        """The band on one side of the row at ``y``: its number and its height."""
        rows = self.layout.rows
        i = rows.index(y)
        upper = i if side == BELOW else i - 1
        inner = 0 <= upper < len(rows) - 1
        return upper, rows[upper + 1] - rows[upper] - 1 if inner else None


def place_labels(layout: GridLayout, labels: Sequence[TextLabel]) -> Placement:
    """Labels in order; those that find no room are tried once more, first and in parts."""
    best = _place_once(layout, labels)
    for _ in range(SECOND_TRIES):
        if not best.crowded:
            break
        first = best.homeless
        parts = (part for label in first for part in label.parts or (label,))
        labels = [*parts, *(label for label in labels if label not in first)]
        again = _place_once(layout, labels)
        if len(again.homeless) < len(best.homeless):
            best = again
    return best


def _place_once(layout: GridLayout, labels: Sequence[TextLabel]) -> Placement:
    page = _Page(layout)
    for slant in layout.slants.values():
        for step in range(1, abs(slant.to_y - slant.y)):
            x, y = slant.x + slant.side * step, slant.y + slant.down * step
            page.take(y, x, x, BY_TRACK)
    for bend in layout.bends:
        for y in range(bend.top, bend.bottom + 1):
            page.take(y, bend.x, bend.x, BY_TRACK)
    placed, homeless = place_all(labels, page.find, page.put)
    bands = ((label, page.band(label.anchor[1], side)[0])
             for label in homeless for side in label.sides)  # fmt: skip
    return Placement(tuple(placed), tuple(bands))


def _belongs(height: int | None, distance: int) -> bool:
    """Whether a label this far from its row is not taken for one of the next row: it is
    nearer to its own, or has a leader and leaves the next row's nearest line free."""
    if height is None:
        return True
    beyond = height + 1 - distance
    return beyond > 1 and (distance == 1 or beyond >= 2)
