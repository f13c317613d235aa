"""What stands beside and on the track, and where it would like to stand.

Input: a layout and what to leave room for. Output: things for :mod:`verifier.drawing.svg.placer`
to place, the most important first, and the places of what stands on the rail itself. A
signal stands on the right-hand side of its trains, before the joint where its route begins.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from itertools import pairwise

from verifier.drawing.label_placer import ABOVE, BELOW
from verifier.drawing.layout import GridCell, GridLayout, JointMark
from verifier.drawing.sketch import RIGHT
from verifier.drawing.svg.metrics import (
    APART,
    DERAIL,
    GATE,
    LOOM_HIGH,
    NAME_HIGH,
    SMALL_HIGH,
    STOCK,
    STOCK_HIGH,
    LoomWire,
    Reserved,
    loom,
    loom_width,
    name_width,
    on_leg,
    short,
    signal_size,
    special_words,
)
from verifier.drawing.svg.placer import Box, Point, SvgLabel
from verifier.drawing.svg.track_paths import TrackPaths, on_paper
from verifier.drawing.svg.typeface import NAME, SMALL, text_width
from verifier.drawing.trackside import (
    Trackside,
    gap_name,
    label_sides,
    signal_places,
    stem_at_left,
    undrawn_words,
)
from verifier.plan.model import Joint, Piece, Plan, Port, Signal

Standing = Mapping[tuple[str, str], Box]

BEND = 20.0  # between a bend and what stands before it
BY_JOINT = 4.0  # between a joint and the outermost head before it
OFF = 6.0
BEFORE_END = 7.0  # from a feeder to a gap at the foot of a slope


def svg_labels(
    plan: Plan, layout: GridLayout, ways: TrackPaths, there: Trackside, wanted: Reserved
) -> tuple[list[SvgLabel], Standing]:
    beside = _Furniture(plan, layout, ways, there, wanted)
    standing = dict(beside.standing())
    return [
        *beside.signals(), *beside.specials(), *beside.derails(), *beside.gates(standing),
        *beside.looms(), *_leg_feeders(beside), *beside.names(), *beside.gaps(),
    ], standing  # fmt: skip


def derail_spot(ways: TrackPaths, there: Trackside, port: Port, name: str) -> Point:
    """Where a derail lies: on the rail, near the end of its piece."""
    points = ways.way(port)
    x, y = points[-1]
    n = there.derails[port].index(name)
    way = 1 if points[-2][0] > x else -1
    return x + way * (DERAIL * (n + 0.5) + 4), y


class _Furniture:
    def __init__(
        self, plan: Plan, layout: GridLayout, ways: TrackPaths, there: Trackside, wanted: Reserved
    ):
        self.plan, self.layout, self.ways = plan, layout, ways
        self.there, self.wanted = there, wanted

    def pieces(self) -> Iterator[tuple[Piece, GridCell]]:
        for name, cell in self.layout.cells.items():
            piece = self.plan.track.pieces.get(name)
            if piece is not None:
                yield piece, cell

    # -------------------------------------------------------------- signals

    def signals(self) -> Iterator[SvgLabel]:
        for signal, at, side in signal_places(self.plan, self.layout, self.there):
            (x, y), side = self._signal_spot(signal, at, side)
            width, height = signal_size(signal, self.wanted)
            first = x - BY_JOINT - width if side == RIGHT else x + BY_JOINT
            lefts = tuple(first - side * shift for shift in (0, 6, 12, 20, 28))
            sides = (BELOW,) if side == RIGHT else (ABOVE,)
            yield SvgLabel("signal", signal.name, width, height, (x, y), sides, lefts, OFF)

    def _signal_spot(
        self, signal: Signal, at: JointMark | GridCell, side: int
    ) -> tuple[Point, int]:
        """The place on the rail where a signal stands, and to which side its trains run: at
        the joint, or where that lies round a bend, before it."""
        if isinstance(at, GridCell):
            return self.ways.hub(at.node.name), side
        bend = self.ways.bend_at(at.joint)
        if bend is None:
            return on_paper(at.x, at.y), side
        approach = self.layout.cells[at.joint.other(signal.enters).piece]
        x, y = on_paper(bend.x, approach.y)
        return (x - bend.side * BEND, y), bend.side

    def _signals_at(self, port: Port | None) -> float:
        """Room that signals take beside the rail at one end of a piece."""
        signals = self.there.signals.get(port, ()) if port else ()
        return sum(signal_size(signal, self.wanted)[0] + APART for signal in signals)

    # -------------------------------------------------------------- on the rail

    def standing(self) -> Iterator[tuple[tuple[str, str], Box]]:
        """The places of gates and stock, side by side on the rail of a block's own piece."""
        for piece, cell in self.pieces():
            block = self.there.block_at(piece)
            if block is None:
                continue
            gates = self.there.gates_at(piece)
            width = len(gates) * GATE + (STOCK if self.wanted.told else 0)
            low, high = self._rail(piece, cell)
            if piece.kind == "plain":
                low += self._signals_at(cell.node.left)
            x, (_, y) = (low + high - width) / 2, on_paper(0, cell.y)
            for gate in gates:
                yield ("gate", gate), Box(x, y - 14, GATE, 20)
                x += GATE
            if self.wanted.told:
                yield ("stock", block), Box(x, y - STOCK_HIGH, STOCK, STOCK_HIGH - 1)

    def _rail(self, piece: Piece, cell: GridCell) -> tuple[float, float]:
        """From where to where a piece has rail for things to stand on."""
        low, high = self.ways.reach(piece.name)
        hub, _ = self.ways.hub(piece.name)
        if not cell.node.legs:
            return low, high
        return (low, hub) if stem_at_left(cell.node) else (hub, high)

    # -------------------------------------------------------------- names

    def specials(self) -> Iterator[SvgLabel]:
        for piece, cell in self.pieces():
            if not cell.node.legs:
                continue
            hub = self.ways.hub(piece.name)
            sides = label_sides(self.layout, cell)
            words = special_words(piece, self.wanted)
            words += undrawn_words(self.plan, self.layout, cell, short)
            kind = {"turnout": "points"}.get(piece.kind, piece.kind)
            width = text_width(words, NAME)
            own = self.there.block_at(piece)
            _, leg = _beside(hub[0], width, cell)
            lefts = (leg, *_over(hub[0], width)) if own else _over(hub[0], width)
            beyond = hub[0] + width + 10
            yield SvgLabel(kind, piece.name, width, NAME_HIGH, hub, sides, lefts, 5)
            if own:
                width = name_width(f"({own})")
                stem, leg = _beside(hub[0], width, cell)
                lefts = (stem, leg, beyond, *_over(hub[0], width))
                yield SvgLabel("block", own, width, NAME_HIGH, hub, sides[::-1], lefts, 5)

    def names(self) -> Iterator[SvgLabel]:
        for piece, cell in self.pieces():
            if piece.kind != "plain" or not piece.block:
                continue
            low, high = self.ways.reach(piece.name)
            free = low, high - self._signals_at(cell.node.right)
            width = name_width(piece.block)
            middle = (sum(free) - width) / 2
            steps = sorted(
                (low + 4 + 8 * n for n in range(max(int((high - low - width - 8) / 8) + 1, 1))),
                key=lambda x: abs(x - middle),
            )
            home = self.there.home.get(piece.block) == piece.name
            kind, name = ("block", piece.block) if home else ("piece", piece.name)
            anchor = (low + high) / 2, on_paper(0, cell.y)[1]
            lefts = (middle, *steps)
            off = 10 if home and self.there.gates_at(piece) else 4
            yield SvgLabel(kind, name, width, NAME_HIGH, anchor, (BELOW, ABOVE), lefts, off)

    def derails(self) -> Iterator[SvgLabel]:
        for port, names in self.there.derails.items():
            if port.piece not in self.layout.cells:
                continue
            for name in names:
                x, y = derail_spot(self.ways, self.there, port, name)
                width = self._told_width(name, "non-derailing")
                yield SvgLabel("derail", name, width, NAME_HIGH, (x, y), (ABOVE, BELOW),
                          _over(x, width), 10)  # fmt: skip

    def _told_width(self, name: str, state: str) -> float:
        """Room for a name and, where told, the longest state it may be in."""
        return text_width(f"{short(name)} {state}" if self.wanted.told else short(name), NAME)

    def gates(self, standing: Standing) -> Iterator[SvgLabel]:
        for (kind, name), box in standing.items():
            if kind == "gate":
                x, y = box.middle[0], box.bottom - 6
                width = self._told_width(name, "seated")
                # Above, so that the name of its block, which is short, has room below.
                yield SvgLabel("gate", name, width, NAME_HIGH, (x, y), (ABOVE, BELOW),
                          _over(x, width), 19)  # fmt: skip

    def gaps(self) -> Iterator[SvgLabel]:
        done: set[Joint] = set()
        for mark in self.layout.marks if self.wanted.gaps else ():
            if mark.joint.gap and mark.joint not in done:
                done.add(mark.joint)
                (x, y), _ = self.ways.place(mark)
                width = text_width(short(mark.joint.gap), SMALL)
                name = gap_name(mark.joint)
                yield SvgLabel("gap", name, width, SMALL_HIGH, (x, y), (ABOVE, BELOW),
                          _over(x, width), 7)  # fmt: skip

    # -------------------------------------------------------------- wiring

    def looms(self) -> Iterator[SvgLabel]:
        for piece, cell in self.pieces():
            block = self.there.block_at(piece)
            width = loom_width(loom(self.plan, block, self.wanted)) if block else 0
            if not block or not width:
                continue
            low, high = self._rail(piece, cell)
            anchor = (low + high) / 2, on_paper(0, cell.y)[1]
            # As far left as can be, which leaves room for the name in one piece.
            lefts = tuple(low + 2 + 6 * n for n in range(max(int((high - low - width) / 6), 1)))
            yield SvgLabel("loom", block, width, LOOM_HIGH, anchor, (BELOW, ABOVE), lefts, 4, True)


def _leg_feeders(furniture: _Furniture) -> Iterator[SvgLabel]:
    """Each feeder beyond points, on its leg."""
    rows = {on_paper(0, cell.y)[1] for _, cell in furniture.pieces()}
    for piece, _ in furniture.pieces():
        for end in piece.ends:
            leg = Port(piece.name, end)
            strands = on_leg(furniture.plan, leg, furniture.wanted)
            way = furniture.ways.way(leg) if strands else ()
            if len(way) > 1:
                yield from _along(way, strands, rows)


def _along(
    way: Sequence[Point], strands: Sequence[LoomWire], rows: Collection[float]
) -> Iterator[SvgLabel]:
    """On the level part of a leg, near the points; where that has no room for all, on its slope, as
    near its end as can be, or where that is on no row, at the points."""
    wide = sum(strand.width + APART for strand in strands)
    level = [(a, b) for a, b in pairwise(way) if a[1] == b[1] and abs(a[0] - b[0]) > wide]
    ends = [point for point in way[1:] if point[1] in rows]
    forward = 1 if way[1][0] > way[0][0] else -1
    # From the end of a slope, the one that is farthest from the points comes first.
    for strand in strands[::-1] if ends and not level else strands:
        at, room, step = (ends[-1] if ends else way[0]), 10, 6 * (-forward if ends else forward)
        first = at[0] + (BEFORE_END if step > 0 else -BEFORE_END)
        if level:
            at, far = max(level, key=lambda part: abs(part[1][0] - part[0][0]))
            room = max(int((abs(far[0] - at[0]) - strand.width) / 6), 1)
            first, step = at[0] + forward * (4 + strand.width / 2), 6 * forward
        lefts = tuple(first + n * step - strand.width / 2 for n in range(room))
        yield SvgLabel(
            "leg feeder", strand.name, strand.width, LOOM_HIGH, at, (BELOW, ABOVE), lefts, 4, True
        )


def _beside(x: float, width: float, cell: GridCell) -> tuple[float, float]:
    """Left edges of places beside a frog: at its stem, and at its leg."""
    stem, leg = x - width - 4, x + 4
    return (stem, leg) if stem_at_left(cell.node) else (leg, stem)


def _over(x: float, width: float) -> tuple[float, ...]:
    """Left edges of places over ``x``: right over it, aside, then beside it."""
    middle = x - width / 2
    aside = (step for n in (8, 16, 24) if n < width / 2 for step in (middle - n, middle + n))
    return (middle, *aside, x + 3, x - width - 3, x + 12, x - width - 12)
