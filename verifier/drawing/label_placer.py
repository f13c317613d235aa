"""Place labels one after another: the search that both drawings share.

Input: labels, the most important first, and a page that knows what is taken. Output: where each
label stands, and the labels for which there is no room.
"""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from typing import Protocol, TypeVar

ABOVE, BELOW = -1, 1


class Anchored(Protocol):
    """A label for what stands at ``anchor``, a column and a row of track; it stands above or
    below that row, on one of ``sides``."""

    @property
    def anchor(self) -> tuple[float, float]: ...

    @property
    def sides(self) -> tuple[int, ...]: ...


L = TypeVar("L", bound=Anchored)
P = TypeVar("P")
# By side, the columns of what other labels of the same row stand for.
Others = Mapping[int, Collection[float]]


def place_all(
    labels: Sequence[L], find: Callable[[L, Others], P | None], take: Callable[[P], None]
) -> tuple[list[P], list[L]]:
    """Each label where ``find`` puts it, in order, and the labels without a place. ``take``
    marks a place as taken."""
    anchors: dict[tuple[float, int], set[float]] = defaultdict(set)
    for label in labels:
        for side in label.sides:
            anchors[label.anchor[1], side].add(label.anchor[0])
    placed: list[P] = []
    homeless: list[L] = []
    for label in labels:
        x, y = label.anchor
        found = find(label, {side: anchors[y, side] - {x} for side in label.sides})
        if found is None:
            homeless.append(label)
        else:
            placed.append(found)
            take(found)
    return placed, homeless


def grown(heights: Sequence[int], bands: Iterable[int]) -> tuple[int, ...]:
    """Row heights with one more line in each of these bands, each named by the number of the
    row above it; -1 is the band above the first row."""
    bands = set(bands)
    extra, new = 0, []
    for i, height in enumerate(heights):
        extra += 1 if i - 1 in bands and i else 0
        new.append(height + extra)
    return tuple(new)
