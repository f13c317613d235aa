"""The layout of a drawing: every piece, joint and leg with its place on a grid.

Input: a sketch, the room each node needs, the height of each row. Output: a
:class:`GridLayout` in abstract units, ``x`` to the right and ``y`` down, free of characters
and of any picture format: whatever draws a plan draws it from here.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise

from verifier.drawing.sketch import LEFT, RIGHT, Node, Sketch, Strip
from verifier.drawing.spacing import Clash, Sizes, Spaced, corner, inner_bounds, space
from verifier.plan.model import Joint, Port

Rows = tuple[tuple[int, ...], ...]

# Height of a row while rows are being chosen.
PITCH = 4
# Ways tried before strips that clash are left where they are.
MOST_TRIES = 100
# What makes one choice of rows worse than another, in the order of how much it matters.
IMPOSSIBLE, CLASHES, SAME_SIDE, ABOVE, ROW, FAR, OUT_OF_ORDER = 9000, 1000, 400, 25, 5, 3, 1
WIDTH, TOO_WIDE, END_TO_END = 0.4, 3, 20


@dataclass(frozen=True, slots=True)
class GridCell:
    """A node from ``left`` to before ``right`` on the row at ``y``; ``hub`` is the place
    where its legs leave, or its middle."""

    node: Node
    left: int
    right: int
    hub: int
    y: int


@dataclass(frozen=True, slots=True)
class JointMark:
    """A joint, with the port to the left of it and the port to the right. A torn joint
    has two marks, and ``near`` is the port that is really drawn there."""

    joint: Joint
    left: Port
    right: Port
    near: frozenset[Port]
    x: int
    y: int


@dataclass(frozen=True, slots=True)
class Rail:
    """The straight track of one strip."""

    left: int
    right: int
    y: int
    nodes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Slant:
    """A leg on its way from (``x``, ``y``) to (``to_x``, ``to_y``), one aside per one up
    or down. ``to_leg`` is the leg it meets there, None where it ends on a strip; it then
    ``turns`` back there or runs on."""

    leg: Port
    to_leg: Port | None
    x: int
    y: int
    to_x: int
    to_y: int
    turns: bool

    @property
    def side(self) -> int:
        return RIGHT if self.to_x > self.x else LEFT

    @property
    def down(self) -> int:
        return 1 if self.to_y > self.y else -1


@dataclass(frozen=True, slots=True)
class Bend:
    """Two strips that end on the same side and are joined there, straight up and down.
    ``joint``: the joint between them; None where one of them is bare wire that has it."""

    x: int
    top: int
    bottom: int
    side: int
    joint: Joint | None


@dataclass(frozen=True, slots=True)
class GridLayout:
    cells: Mapping[str, GridCell]
    marks: tuple[JointMark, ...]
    rails: tuple[Rail, ...]
    slants: Mapping[Port, Slant]
    bends: tuple[Bend, ...]
    rows: tuple[int, ...]
    width: int
    undrawn: Mapping[Port, Port]


# ------------------------------------------------------------------ which row


def choose_rows(sketch: Sketch, sizes: Sizes, room: int) -> tuple[Rows, Spaced | None]:
    """A row for every strip, top to bottom, such that as little as possible clashes and
    all is no wider than ``room``, if possible; what is left of clashes is in the second
    part, None where nothing fits at all."""
    chooser = _Chooser(sketch, sizes, room)
    order = chooser.order()
    rows: list[list[int]] = []
    for n in order:
        rows = chooser.best(rows, n, everywhere=False)
    best, spaced = chooser.cost(rows)
    for n in order * 2 if len(order) > 2 else ():
        wide = spaced and max(high for _, high in spaced.reach.values()) > room
        if (best < SAME_SIDE and not wide) or chooser.tries > MOST_TRIES:
            break  # nothing out of place, or no end to it
        moved = chooser.best([row for r in rows if (row := [m for m in r if m != n])], n, True)
        cost, moved_spaced = chooser.cost(moved)
        if cost < best:
            rows, best, spaced = moved, cost, moved_spaced
    return tuple(tuple(row) for row in rows), spaced


class _Chooser:
    def __init__(self, sketch: Sketch, sizes: Sizes, room: int):
        self.sketch, self.sizes, self.room = sketch, sizes, room
        self.tries = 0
        self.inner = inner_bounds(sketch, sizes)
        self.strip_of = sketch.strip_of
        self.led = _led(sketch, self.strip_of)
        self.near: dict[int, set[int]] = {}
        for link in sketch.links:
            a, b = self.strip_of[link.a], self.strip_of[link.b]
            self.near.setdefault(a, set()).add(b)
            self.near.setdefault(b, set()).add(a)

    def _above(self, row_of: Mapping[int, int]) -> int:
        """How many strips lie above everything they branch from: what the file mentions
        later should lie below."""
        strips = self.sketch.strips
        count = 0
        for n, row in row_of.items():
            earlier = [
                row_of[m]
                for m in self.near.get(n, ())
                if m in row_of and strips[m].rank < strips[n].rank
            ]
            count += bool(earlier) and row < min(earlier)
        return count

    def order(self) -> list[int]:
        """The strips in the order in which they are given rows: what the file mentions
        first, then what hangs together with that."""
        strips = self.sketch.strips
        left = set(range(len(strips)))
        found: list[int] = []
        beside: set[int] = set()
        while left:
            n = min(beside & left or left, key=lambda n: strips[n].rank)
            found.append(n)
            left.discard(n)
            beside |= self.near.get(n, set())
        return found

    def best(self, rows: list[list[int]], new: int, everywhere: bool) -> list[list[int]]:
        """The best place for one more strip: on a row there is, or on a new one."""
        beside = [i for i, row in enumerate(rows) if self.near.get(new, set()) & set(row)]
        low, high = (min(beside) - 1, max(beside) + 2) if beside else (0, len(rows))
        if everywhere:
            low, high = 0, len(rows)
        choices = []
        for i in range(max(low, 0), min(high, len(rows)) + 1):
            choices.append([*rows[:i], [new], *rows[i:]])
            if i < len(rows):
                choices.append([*rows[:i], [*rows[i], new], *rows[i + 1 :]])
        found, least = choices[0], float("inf")
        for rough, i in sorted((self.rough(choice), i) for i, choice in enumerate(choices)):
            if rough >= least:
                break  # coordinates only add to the cost
            cost, _ = self.cost(choices[i])
            if cost < least:
                found, least = choices[i], cost
        return found

    def _ends(self, strip: int, side: int) -> bool:
        """Whether a strip ends there with an end of the plan."""
        node = self.sketch.strips[strip].nodes[-1 if side == RIGHT else 0]
        loose = self.sketch.nodes[node].kind in ("cut", "torn")
        return (strip, side) not in self.led and not loose

    def rough(self, rows: Sequence[Sequence[int]]) -> float:
        """What the choice of rows costs before there are coordinates."""
        row_of = {n: i for i, row in enumerate(rows) for n in row}
        cost: float = ROW * len(rows)
        ways: dict[int, list[int]] = {}
        for link in self.sketch.links:
            a, b = row_of.get(self.strip_of[link.a]), row_of.get(self.strip_of[link.b])
            if a is None or b is None:
                continue
            cost += FAR * max(abs(a - b) - 1, 0)
            ways.setdefault(link.a, []).append(b - a)
            if link.b_leg:
                ways.setdefault(link.b, []).append(a - b)
        cost += SAME_SIDE * sum(1 for w in ways.values() if len(w) == 2 and w[0] * w[1] > 0)
        cost += ABOVE * self._above(row_of)
        placed = sorted(row_of, key=lambda n: self.sketch.strips[n].rank)
        cost += OUT_OF_ORDER * sum(
            row_of[m] < row_of[n] for i, n in enumerate(placed) for m in placed[i + 1 :]
        )
        return cost

    def cost(self, rows: Sequence[Sequence[int]]) -> tuple[float, Spaced | None]:
        self.tries += 1
        cost = self.rough(rows)
        y = {n: i * PITCH for i, row in enumerate(rows) for n in row}
        spaced = space(self.sketch, self.sizes, y, self.inner)
        if spaced is None:
            return cost + IMPOSSIBLE, None
        cost += CLASHES * len(spaced.clashes)
        for row in rows:
            beside = sorted(row, key=lambda n: spaced.reach[n])
            # A track that ends where another begins on the same row reads as one.
            cost += END_TO_END * sum(
                self._ends(a, RIGHT) or self._ends(b, LEFT) for a, b in pairwise(beside)
            )
        width = max(high for _, high in spaced.reach.values())
        cost += WIDTH * width + TOO_WIDE * max(width - self.room, 0)
        return cost, spaced


def _led(sketch: Sketch, strip_of: Mapping[int, int]) -> set[tuple[int, int]]:
    """The ends of strips, each with its side, that a link leads to."""
    led = {(strip_of[link.b], link.b_side) for link in sketch.links if link.b_leg is None}
    return led | {(strip_of[link.a], link.b_side) for link in sketch.links if link.leg is None}


def to_blame(clashes: Sequence[Clash]) -> tuple[int, ...]:
    """The links that clash most, as few as it takes; none where no link is to blame."""
    left = [clash for clash in clashes if clash.link >= 0]
    found = []
    while left:
        counts = Counter(n for clash in left for n in (clash.link, clash.other) if n is not None)
        found.append(max(counts, key=lambda n: (counts[n], n)))
        left = [clash for clash in left if found[-1] not in (clash.link, clash.other)]
    return tuple(found)


# ------------------------------------------------------------------ coordinates


def first_heights(sketch: Sketch, rows: Rows) -> tuple[int, ...]:
    """The least heights of the rows: room for each leg to be seen broken or whole."""
    strip_of = sketch.strip_of
    row_of = {n: i for i, row in enumerate(rows) for n in row}
    apart = [2] * max(len(rows) - 1, 0)
    linked = set()
    for link in sketch.links:
        i, j = sorted((row_of[strip_of[link.a]], row_of[strip_of[link.b]]))
        linked |= set(range(i, j))
        if j == i + 1 and sketch.nodes[link.b].kind != "wire":
            apart[i] = max(apart[i], 4 if link.b_leg else 3)
    # Track that does not hang together in this drawing stands well apart.
    return tuple(accumulate((a if i in linked else 4 for i, a in enumerate(apart)), initial=0))


def lay_out(
    sketch: Sketch, sizes: Sizes, rows: Rows, heights: Sequence[int]
) -> GridLayout | tuple[int, ...]:
    """The layout with row ``i`` at ``heights[i]``; or, where links clash, those to take
    out of the sketch, none where the lengths cannot be made to fit."""
    y = {n: heights[i] for i, row in enumerate(rows) for n in row}
    spaced = space(sketch, sizes, y, inner_bounds(sketch, sizes), align=True)
    if spaced is None:
        return ()
    if spaced.clashes:
        return to_blame(spaced.clashes)
    strip_of = sketch.strip_of
    shift = -min((low for low, _ in spaced.reach.values()), default=0)
    cells: dict[str, GridCell] = {}
    marks: list[JointMark] = []
    rails: list[Rail] = []
    led = _led(sketch, strip_of)
    for n, strip in enumerate(sketch.strips):
        reach = (spaced.reach[n][0] + shift, spaced.reach[n][1] + shift)
        bounds = (
            reach[0] if (n, LEFT) in led else None,
            reach[1] if (n, RIGHT) in led else None,
        )
        places = [spaced.x[node] + shift for node in strip.nodes]
        _lay_strip(sketch, sizes, strip, places, bounds, y[n], cells, marks)
        rails.append(Rail(*reach, y[n], tuple(sketch.nodes[i].name for i in strip.nodes)))
    slants: dict[Port, Slant] = {}
    bends = []
    for link in sketch.links:
        top, bottom = y[strip_of[link.a]], y[strip_of[link.b]]
        if link.leg is None:
            x = spaced.reach[strip_of[link.b]][1 if link.b_side == RIGHT else 0] + shift
            joint = None if sketch.nodes[link.a].kind == "wire" else link.joint
            bends.append(Bend(x, min(top, bottom), max(top, bottom), link.b_side, joint))
            continue
        to_x = corner(link, spaced.x, sizes, bottom - top) + shift
        hub = spaced.x[link.a] + sizes.nodes[link.a].hub + shift
        to_leg = link.b_leg.port if link.b_leg else None
        slants[link.leg.port] = Slant(link.leg.port, to_leg, hub, top, to_x, bottom, link.turns)
        if to_leg:
            slants[to_leg] = Slant(to_leg, link.leg.port, to_x, bottom, hub, top, link.turns)
    width = max((rail.right + 1 for rail in rails), default=0)
    return GridLayout(
        cells, tuple(marks), tuple(rails), slants, tuple(bends), tuple(heights), width,
        sketch.undrawn,
    )  # fmt: skip


def _lay_strip(
    sketch: Sketch,
    sizes: Sizes,
    strip: Strip,
    places: Sequence[int],
    bounds: tuple[int | None, int | None],
    y: int,
    cells: dict[str, GridCell],
    marks: list[JointMark],
) -> None:
    """Cells and joint marks of one strip. Room to spare goes to plain track, so that a
    gap stays by the turnout it belongs to."""
    nodes = [sketch.nodes[i] for i in strip.nodes]
    left = list(places)
    right = [x + sizes.nodes[i].width for x, i in zip(places, strip.nodes, strict=True)]
    joint = sizes.joint
    if bounds[0] is not None:
        start = bounds[0] + 1 + (joint if strip.ends[0] else 0)
        left[0] = start if _stretches(nodes[0]) else left[0]
    if bounds[1] is not None:
        stop = bounds[1] - (joint if strip.ends[1] else 0)
        right[-1] = stop if _stretches(nodes[-1]) else right[-1]
    for i, between in enumerate(strip.joints):
        if _stretches(nodes[i]):
            right[i] = left[i + 1] - joint
        elif _stretches(nodes[i + 1]):
            left[i + 1] = right[i] + joint
        x = right[i] + (left[i + 1] - joint - right[i]) // 2
        marks.append(_mark(between, nodes[i], nodes[i + 1], x, y))
    for side, end, x in (
        (LEFT, strip.ends[0], left[0] - joint),
        (RIGHT, strip.ends[1], right[-1]),
    ):
        if end:
            node = nodes[0 if side == LEFT else -1]
            own = node.port(side)
            assert own is not None
            beyond = end.other(own)
            ports = (beyond, own) if side == LEFT else (own, beyond)
            loose = node.kind in ("cut", "torn")
            near_ports = frozenset({beyond} if loose else {own, beyond})
            marks.append(JointMark(end, *ports, near_ports, x, y))
    for i, number in enumerate(strip.nodes):
        hub = (left[i] + right[i]) // 2 if _stretches(nodes[i]) else (
            places[i] + sizes.nodes[number].hub
        )  # fmt: skip
        cells[nodes[i].name] = GridCell(nodes[i], left[i], right[i], hub, y)
        wired, near_left, near_right = sketch.wired.get(number), nodes[i].left, nodes[i].right
        if wired and near_left and near_right:
            both = frozenset({near_left, near_right})
            marks.append(JointMark(wired, near_left, near_right, both, hub, y))


def _mark(joint: Joint, left: Node, right: Node, x: int, y: int) -> JointMark:
    first, second = left.port(RIGHT), right.port(LEFT)
    assert first is not None and second is not None
    near = {
        port for node, port in ((left, first), (right, second)) if node.kind not in ("cut", "torn")
    }
    return JointMark(joint, first, second, frozenset(near), x, y)


def _stretches(node: Node) -> bool:
    """Plain track takes up what room there is."""
    return (node.kind == "piece" and not node.legs) or node.kind == "wire"
