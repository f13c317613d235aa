"""From strips on rows to coordinates: how far right each thing stands, and what clashes.

Input: a sketch, the width of every node, the height (``y``) of every strip. Output: the
``x`` of every node, such that nothing on a strip overlaps, legs run at one step aside per
step up or down, and what a leg leads to stands beyond its end. Units are abstract.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise, takewhile
from typing import NamedTuple

from verifier.drawing.sketch import LEFT, RIGHT, Link, Sketch

# Clear room kept between a leg that passes a row and what stands on that row.
CLEAR = 2
MOST_PUSHES = 4


class Size(NamedTuple):
    """Width of a node, and the place within it where legs leave (frog or diamond)."""

    width: int
    hub: int


@dataclass(frozen=True, slots=True)
class Sizes:
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
    ``align``: where the plan stops to the right, stop it at one place."""
    strip_of = {node: n for n, strip in enumerate(sketch.strips) for node in strip.nodes}
    links = [
        (n, link)
        for n, link in enumerate(sketch.links)
        if strip_of[link.a] in y and strip_of[link.b] in y
    ]
    drops = {n: y[strip_of[link.b]] - y[strip_of[link.a]] for n, link in links}
    bounds = [*inner]
    for n, link in links:
        bounds += _link_bounds(link, abs(drops[n]), sizes)
    x = _solve(len(sketch.nodes), bounds)
    if x is None:
        return None
    for _ in range(MOST_PUSHES):
        reach = _reaches(sketch, sizes, y, x, links, drops)
        clashes = _clashes(sketch, sizes, y, x, links, drops, reach, strip_of)
        pushed = None
        for clash in clashes:
            for push in _pushes(sketch, sizes, y, clash, drops, strip_of):
                pushed = _solve(len(sketch.nodes), [*bounds, push], x)
                if pushed is not None:
                    bounds.append(push)
                    break
            if pushed is not None:
                break
        if pushed is None:
            break
        x = pushed
    _draw_together(sketch, bounds, x, y)
    reach = _reaches(sketch, sizes, y, x, links, drops)
    clashes = _clashes(sketch, sizes, y, x, links, drops, reach, strip_of)
    if not align:
        return Spaced(tuple(x), reach, tuple(clashes))
    last = [sketch.strips[n].nodes[-1] for n in y]
    last = [node for node in last if sketch.nodes[node].kind in ("edge", "cut")]
    last = [node for node in last if sketch.nodes[node].right is None and
            sketch.nodes[node].left is not None]  # fmt: skip
    far = max((x[node] for node in last), default=0)
    for node in last:
        moved = list(x)
        moved[node] = far
        moved_reach = _reaches(sketch, sizes, y, moved, links, drops)
        moved_clashes = _clashes(sketch, sizes, y, moved, links, drops, moved_reach, strip_of)
        if len(moved_clashes) <= len(clashes):
            x, reach, clashes = moved, moved_reach, moved_clashes
    return Spaced(tuple(x), reach, tuple(clashes))


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


def _link_bounds(link: Link, drop: int, sizes: Sizes) -> Iterable[Bound]:
    a, b = link.a, link.b
    if link.leg is None:
        return
    side, hub = link.leg.side, sizes.nodes[a].hub
    if link.b_leg:
        by = hub + side * drop - sizes.nodes[b].hub
        yield Bound(a, b, by)
        yield Bound(b, a, -by)
    elif link.b_side == LEFT:
        yield Bound(a, b, hub + side * drop + 1 + sizes.joint)
    else:
        yield Bound(b, a, sizes.nodes[b].width + sizes.joint - hub - side * drop)


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


def _draw_together(
    sketch: Sketch, bounds: Sequence[Bound], x: list[int], y: Mapping[int, int]
) -> None:
    """Move a track that begins at a bumper or a loose end close to what it leads to."""
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


def _reaches(
    sketch: Sketch,
    sizes: Sizes,
    y: Mapping[int, int],
    x: Sequence[int],
    links: Sequence[tuple[int, Link]],
    drops: Mapping[int, int],
) -> dict[int, tuple[int, int]]:
    reach = {}
    strip_at = {}
    for n in y:
        nodes = sketch.strips[n].nodes
        reach[n] = x[nodes[0]], x[nodes[-1]] + sizes.nodes[nodes[-1]].width - 1
        strip_at[nodes[0], LEFT] = strip_at[nodes[-1], RIGHT] = n
    turns = []
    for n, link in links:
        if link.b_leg:
            continue
        if link.leg is None:
            turns.append(link)
            continue
        strip, place = strip_at[link.b, link.b_side], corner(link, x, sizes, drops[n])
        low, high = reach[strip]
        reach[strip] = (place, high) if link.b_side == LEFT else (low, place)
    for link in turns:
        ends = [strip_at[node, link.b_side] for node in (link.a, link.b)]
        if link.b_side == RIGHT:
            place = max(reach[s][1] for s in ends) + 1 + sizes.joint
            reach |= {s: (reach[s][0], place) for s in ends}
        else:
            place = min(reach[s][0] for s in ends) - 1 - sizes.joint
            reach |= {s: (place, reach[s][1]) for s in ends}
    return reach


def _clashes(
    sketch: Sketch,
    sizes: Sizes,
    y: Mapping[int, int],
    x: Sequence[int],
    links: Sequence[tuple[int, Link]],
    drops: Mapping[int, int],
    reach: Mapping[int, tuple[int, int]],
    strip_of: Mapping[int, int],
) -> list[Clash]:
    """Everything that would touch and must not."""
    found: list[Clash] = []
    rows: dict[int, list[tuple[int, int, int]]] = {}
    for n, height in y.items():
        rows.setdefault(height, []).append((*reach[n], n))
    for row in rows.values():
        row.sort()
        for (_, high, n), (low, _, m) in pairwise(row):
            if low <= high + CLEAR:
                touching = [k for k, link in links if {n, m} & {strip_of[link.a], strip_of[link.b]}]
                found.append(Clash(touching[0] if touching else -1, m))
    crossed: dict[tuple[int, int], int] = {}
    for n, link in links:
        top, drop = y[strip_of[link.a]], drops[n]
        if drop == 0:
            found.append(Clash(n, strip_of[link.b]))
            continue
        way = _way(link, x, sizes, drop, reach, strip_of)
        down = 1 if drop > 0 else -1
        for row_y, row in rows.items():
            steps = (row_y - top) * down
            if 0 < steps < abs(drop):
                for low, high, strip in row:
                    if low - CLEAR < way[steps] < high + CLEAR:
                        found.append(Clash(n, strip))
        end = abs(drop) - (1 if link.b_leg else 0)
        for steps in range(1, end + 1):
            # Places are doubled, so that two legs crossing between places meet too.
            height, place, before = 2 * (top + down * steps), 2 * way[steps], 2 * way[steps - 1]
            for spot in ((place, height), ((place + before) // 2, height - down)):
                if (other := crossed.setdefault(spot, n)) != n:
                    found.append(Clash(n, None, other))
    return found


def _way(
    link: Link,
    x: Sequence[int],
    sizes: Sizes,
    drop: int,
    reach: Mapping[int, tuple[int, int]],
    strip_of: Mapping[int, int],
) -> list[int]:
    """The place of a link at each step from its start to its end."""
    if link.leg is None:
        place = reach[strip_of[link.b]][1 if link.b_side == RIGHT else 0]
        return [place] * (abs(drop) + 1)
    hub = x[link.a] + sizes.nodes[link.a].hub
    return [hub + link.leg.side * step for step in range(abs(drop) + 1)]


def _pushes(
    sketch: Sketch,
    sizes: Sizes,
    y: Mapping[int, int],
    clash: Clash,
    drops: Mapping[int, int],
    strip_of: Mapping[int, int],
) -> Iterable[Bound]:
    """Bounds that would clear a leg of a strip it runs into: move the leg beyond the
    strip's free right end, or the strip's free left end beyond the leg."""
    if clash.strip is None or clash.link < 0:
        return
    link = sketch.links[clash.link]
    strip = sketch.strips[clash.strip]
    if link.leg is None or clash.strip in (strip_of[link.a], strip_of[link.b]):
        return
    steps = abs(y[clash.strip] - y[strip_of[link.a]])
    at = sizes.nodes[link.a].hub + link.leg.side * steps
    joined = {
        (strip_of[k.b], k.b_side) for k in sketch.links if k.b_leg is None
    }  # fmt: skip
    last = strip.nodes[-1]
    if (clash.strip, RIGHT) not in joined:
        yield Bound(last, link.a, sizes.nodes[last].width - 1 + CLEAR - at)
    if (clash.strip, LEFT) not in joined:
        yield Bound(link.a, strip.nodes[0], at + CLEAR)
