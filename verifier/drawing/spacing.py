"""From strips on rows to coordinates: the column of each node, and what clashes.

Input: a sketch, the width of every node, the height (``y``) of every strip. Output: the
``x`` of every node, such that nothing on a strip overlaps, legs run at one column per row, and
what a leg leads to stands beyond its end. Units are abstract.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise, takewhile
from typing import NamedTuple

from verifier.drawing.sketch import LEFT, RIGHT, Link, Sketch

# Clear room kept between a leg that passes a row and what stands on that row.
CLEAR = 2
MAX_PUSHES = 4


class Size(NamedTuple):
    """Width of a node, and the place within it where legs leave (frog or diamond)."""

    width: int
    hub: int


class Sizes(NamedTuple):
    """The size of every node, and the width of a joint."""

    nodes: tuple[Size, ...]
    joint: int


class Bound(NamedTuple):
    """Node ``then`` stands at least ``by`` to the right of node ``first``."""

    first: int
    then: int
    by: int


class Clash(NamedTuple):
    """A link that runs into a strip, or into another link."""

    link: int
    strip: int | None
    other: int | None = None


@dataclass(frozen=True, slots=True)
class Spaced:
    """``x`` by node; ``reach`` by strip: leftmost and rightmost place its rails take."""

    x: tuple[int, ...]
    reach: Mapping[int, tuple[int, int]]
    clashes: tuple[Clash, ...]


def inner_bounds(sketch: Sketch, sizes: Sizes) -> tuple[Bound, ...]:
    """Bounds between neighbors on one strip."""
    return tuple(
        Bound(a, b, sizes.nodes[a].width + sizes.joint)
        for strip in sketch.strips
        for a, b in pairwise(strip.nodes)
    )


def space(
    sketch: Sketch,
    sizes: Sizes,
    y: Mapping[int, int],
    inner: Sequence[Bound],
    *,
    align: bool = False,
) -> Spaced | None:
    """Coordinates for the strips in ``y``; None where the lengths cannot be made to fit.
    ``align``: right-hand ends of the plan stand in one column where nothing is in the way."""
    spacer = _Spacer(sketch, sizes, y)
    bounds = [*inner, *spacer.link_bounds()]
    x = _solve(len(sketch.nodes), bounds)
    if x is None:
        return None
    for _ in range(MAX_PUSHES):
        pushes = (push for clash in spacer.spaced(x).clashes for push in spacer.pushes(clash))
        solutions = ((push, _solve(len(x), [*bounds, push], x)) for push in pushes)
        push, pushed = next((found for found in solutions if found[1] is not None), (None, None))
        if push is None or pushed is None:
            break
        bounds.append(push)
        x = pushed
    _close_up(sketch, bounds, x, y)
    spaced = spacer.spaced(x)
    if align:
        ends = [sketch.strips[n].nodes[-1] for n in y]
        ends = [node for node in ends if sketch.nodes[node].ends_at_right]
        column = max((x[node] for node in ends), default=0)
        for node in ends:
            places = [column if n == node else place for n, place in enumerate(spaced.x)]
            moved = spacer.spaced(places)
            if len(moved.clashes) <= len(spaced.clashes):
                spaced = moved
    return spaced


def order(sketch: Sketch, sizes: Sizes) -> list[int]:
    """Roughly how far right each node stands, before anything is on a row."""
    bounds = [*inner_bounds(sketch, sizes)]
    for link in sketch.links:
        if not link.turns:
            first, then = (link.a, link.b) if link.b_side == LEFT else (link.b, link.a)
            bounds.append(Bound(first, then, sizes.nodes[first].width + sizes.joint))
    x = _solve(len(sketch.nodes), bounds)
    assert x is not None  # a sketch has no link that runs backwards
    return x


def _solve(
    count: int, bounds: Sequence[Bound], start: Sequence[int] | None = None
) -> list[int] | None:
    """The leftmost places that keep all bounds; None where bounds go round in a circle."""
    x = list(start) if start else [0] * count
    for _ in range(count + 2):
        moved = False
        for first, then, by in bounds:
            if x[first] + by > x[then]:
                x[then] = x[first] + by
                moved = True
        if not moved:
            low = min(x, default=0)
            return [place - low for place in x] if low < 0 else x
    return None


def _close_up(sketch: Sketch, bounds: Sequence[Bound], x: list[int], y: Mapping[int, int]) -> None:
    """Move track that begins at a bumper or a loose end close to what it leads to."""
    limits: dict[int, list[Bound]] = {}
    for bound in bounds:
        limits.setdefault(bound.first, []).append(bound)
    led_to = {link.b for link in sketch.links if link.b_leg is None and link.b_side == LEFT}
    for n in y:
        nodes = sketch.strips[n].nodes
        if nodes[0] in led_to or sketch.nodes[nodes[0]].kind not in ("bumper", "cut", "torn"):
            continue
        lead = list(takewhile(lambda node: not sketch.nodes[node].legs, nodes))
        for node in reversed(lead):
            ahead = [x[b.then] - b.by for b in limits.get(node, ())]
            x[node] = max([x[node]] + ([min(ahead)] if ahead else []))


def corner(link: Link, x: Sequence[int], sizes: Sizes, drop: int) -> int:
    """Where a leg reaches the row of the strip it leads to."""
    assert link.leg is not None
    return x[link.a] + sizes.nodes[link.a].hub + link.leg.side * abs(drop)


class _Spacer:
    """One sketch with its strips at the heights ``y``."""

    def __init__(self, sketch: Sketch, sizes: Sizes, y: Mapping[int, int]):
        self._sketch, self._sizes, self._y = sketch, sizes, y
        self._strip_of = strip_of = sketch.strip_of
        # The links between these strips, each with its height difference.
        self._links = [
            (n, link, y[strip_of[link.b]] - y[strip_of[link.a]])
            for n, link in enumerate(sketch.links)
            if strip_of[link.a] in y and strip_of[link.b] in y
        ]

    def link_bounds(self) -> Iterator[Bound]:
        nodes, joint = self._sizes
        for _, link, drop in self._links:
            if link.leg is None:
                continue
            a, b = link.a, link.b
            by = nodes[a].hub + link.leg.side * abs(drop)
            if link.b_leg:
                yield Bound(a, b, by - nodes[b].hub)
                yield Bound(b, a, nodes[b].hub - by)
            elif link.b_side == LEFT:
                yield Bound(a, b, by + 1 + joint)
            else:
                yield Bound(b, a, nodes[b].width + joint - by)

    def pushes(self, clash: Clash) -> Iterator[Bound]:
        """Bounds that would clear a leg of a strip it runs into: move the leg beyond the
        strip's free right end, or the strip's free left end beyond the leg."""
        if clash.strip is None or clash.link < 0:
            return
        link = self._sketch.links[clash.link]
        strip = self._sketch.strips[clash.strip]
        if link.leg is None or clash.strip in (self._strip_of[link.a], self._strip_of[link.b]):
            return
        steps = abs(self._y[clash.strip] - self._y[self._strip_of[link.a]])
        at = self._sizes.nodes[link.a].hub + link.leg.side * steps
        links = self._sketch.links
        joined = {(self._strip_of[k.b], k.b_side) for k in links if k.b_leg is None}
        last = strip.nodes[-1]
        if (clash.strip, RIGHT) not in joined:
            yield Bound(last, link.a, self._sizes.nodes[last].width - 1 + CLEAR - at)
        if (clash.strip, LEFT) not in joined:
            yield Bound(link.a, strip.nodes[0], at + CLEAR)

    def spaced(self, x: Sequence[int]) -> Spaced:
        """The nodes at these places, with all that touches and must not."""
        reach = self._reach(x)
        return Spaced(tuple(x), reach, tuple(self._clashes(x, reach)))

    def _reach(self, x: Sequence[int]) -> dict[int, tuple[int, int]]:
        reach = {}
        for n in self._y:
            first, last = self._sketch.strips[n].nodes[0], self._sketch.strips[n].nodes[-1]
            reach[n] = x[first], x[last] + self._sizes.nodes[last].width - 1
        turns = []
        for _, link, drop in self._links:
            if link.leg is None:
                turns.append(link)
            elif not link.b_leg:
                strip, place = self._strip_of[link.b], corner(link, x, self._sizes, drop)
                low, high = reach[strip]
                reach[strip] = (place, high) if link.b_side == LEFT else (low, place)
        for link in turns:
            ends = [self._strip_of[node] for node in (link.a, link.b)]
            if link.b_side == RIGHT:
                place = max(reach[s][1] for s in ends) + 1 + self._sizes.joint
                reach |= {s: (reach[s][0], place) for s in ends}
            else:
                place = min(reach[s][0] for s in ends) - 1 - self._sizes.joint
                reach |= {s: (place, reach[s][1]) for s in ends}
        return reach

    def _clashes(self, x: Sequence[int], reach: Mapping[int, tuple[int, int]]) -> Iterator[Clash]:
        rows: dict[int, list[tuple[int, int, int]]] = {}
        for n, height in self._y.items():
            rows.setdefault(height, []).append((*reach[n], n))
        strip_of = self._strip_of
        for row in rows.values():
            row.sort()
            for (_, high, n), (low, _, m) in pairwise(row):
                if low <= high + CLEAR:
                    meet = (k for k, link, _ in self._links
                            if {n, m} & {strip_of[link.a], strip_of[link.b]})  # fmt: skip
                    yield Clash(next(meet, -1), m)
        crossed: dict[tuple[int, int], int] = {}
        for n, link, drop in self._links:
            top = self._y[strip_of[link.a]]
            if drop == 0:
                yield Clash(n, strip_of[link.b])
                continue
            path = self._path(link, x, drop, reach)
            down = 1 if drop > 0 else -1
            for row_y, row in rows.items():
                steps = (row_y - top) * down
                if 0 < steps < abs(drop):
                    for low, high, strip in row:
                        if low - CLEAR < path[steps] < high + CLEAR:
                            yield Clash(n, strip)
            end = abs(drop) - (1 if link.b_leg else 0)
            for steps in range(1, end + 1):
                # Places are doubled, so that two legs crossing between places meet too.
                height, place, before = (
                    2 * (top + down * steps),
                    2 * path[steps],
                    2 * path[steps - 1],
                )
                for spot in ((place, height), ((place + before) // 2, height - down)):
                    if (other := crossed.setdefault(spot, n)) != n:
                        yield Clash(n, None, other)

    def _path(
        self, link: Link, x: Sequence[int], drop: int, reach: Mapping[int, tuple[int, int]]
    ) -> list[int]:
        """The place of a link at each step from its start to its end."""
        if link.leg is None:
            place = reach[self._strip_of[link.b]][1 if link.b_side == RIGHT else 0]
            return [place] * (abs(drop) + 1)
        return [corner(link, x, self._sizes, step) for step in range(abs(drop) + 1)]
