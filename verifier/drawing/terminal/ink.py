"""Putting a layout and its labels down as lines of characters.

Input: the layout, placed labels, what is seen. Output: the lines, and the kinds of marks
used in them. Every character has one place and nothing is written over a label.
"""

from verifier.drawing.layout import GridCell, GridLayout, Rail, Slant
from verifier.drawing.sketch import LEFT, RIGHT
from verifier.drawing.terminal.charset import Charset
from verifier.drawing.terminal.labels import derail_places, furniture_place
from verifier.drawing.terminal.metrics import Style, end_text, furniture
from verifier.drawing.terminal.placer import Placement, TextLabel
from verifier.drawing.trackside import Trackside
from verifier.drawing.view import View
from verifier.plan.model import Piece, Port


class _Canvas:
    def __init__(self) -> None:
        self.at: dict[tuple[int, int], str] = {}
        self.used: set[str] = set()

    def put(self, x: int, y: int, text: str) -> None:
        for i, character in enumerate(text):
            self.at[x + i, y] = character

    def fill(self, low: int, high: int, y: int, character: str) -> None:
        for x in range(low, high):
            self.at[x, y] = character

    def origin(self) -> tuple[int, int]:
        """The column and row of the first character of the first line."""
        return min((x for x, _ in self.at), default=0), min((y for _, y in self.at), default=0)

    def lines(self) -> tuple[str, ...]:
        if not self.at:
            return ()
        left, _ = self.origin()
        rows: dict[int, dict[int, str]] = {}
        for (x, y), character in self.at.items():
            rows.setdefault(y, {})[x] = character
        return tuple(
            "".join(row.get(x, " ") for x in range(left, max(row) + 1)).rstrip()
            for y in range(min(rows), max(rows) + 1)
            for row in (rows.get(y) or {left: " "},)
        )


def ink_layout(
    view: View, layout: GridLayout, placement: Placement, there: Trackside, style: Style
) -> tuple[tuple[str, ...], frozenset[str], tuple[int, int]]:
    """The lines, the kinds of marks used, and where in the layout the first line begins."""
    paper = _Canvas()
    for rail in layout.rails:
        _rail(paper, view, layout, rail, style.ink)
    for mark in layout.marks:
        if mark.joint.kind != "=":
            double = mark.joint.kind == "||"
            paper.put(mark.x, mark.y, style.ink.double_gap if double else style.ink.gap)
            paper.used.add("double gap" if double else "gap")
    for cell in layout.cells.values():
        _cell(paper, view, layout, cell, there, style)
    _slants(paper, view, layout, style.ink)
    for put in placement.put:
        paper.put(put.x, put.y, put.text)
        for x, y in put.leader:
            paper.put(x, y, style.ink.leader)
    lines = paper.lines()
    if placement.homeless:
        # No room beside the track for these even so: told below the drawing.
        lines = (*lines, *(_footnote(view, label) for label in placement.homeless))
    shown = [view.plan.signals.get(put.label.name) for put in placement.put]
    for signal in filter(None, shown):
        paper.used.update(["signal"] + ["plate"] * bool(signal.plate))
        paper.used.update(["flashing"] * view.flashes(signal))
    return lines, frozenset(paper.used), paper.origin()


def _footnote(view: View, label: TextLabel) -> str:
    signal = view.plan.signals.get(label.name)
    text = label.places[0][1]
    if signal is None:
        return text
    pieces = view.plan.track.pieces
    near, far = pieces[signal.joint.other(signal.enters).piece], pieces[signal.enters.piece]
    return f"{text} at {near.title} | {far.title}"


def _rail(paper: _Canvas, view: View, layout: GridLayout, rail: Rail, ink: Charset) -> None:
    """The rail of one strip, piece by piece from joint to joint."""
    cells = [layout.cells[name] for name in rail.nodes]
    starts = [rail.left]
    starts += [cell.right for cell in cells[:-1]]
    for cell, low, high in zip(cells, starts, [*starts[1:], rail.right + 1], strict=True):
        paper.fill(low, high, cell.y, _rail_mark(paper, view, cell, ink))


def _rail_mark(paper: _Canvas, view: View, cell: GridCell, ink: Charset) -> str:
    piece = view.plan.track.pieces.get(cell.node.name)
    if piece is None or piece.block is None:
        return ink.rail
    heavy = view.occupied(piece.block)
    if view.plan.blocks[piece.block].detected:
        return ink.heavy if heavy else ink.rail
    paper.used.add("dark")
    return ink.dark_heavy if heavy else ink.dark


def _cell(
    paper: _Canvas, view: View, layout: GridLayout, cell: GridCell, there: Trackside, style: Style
) -> None:
    node = cell.node
    if node.kind == "wire":
        return
    if node.kind != "piece":
        text = end_text(view, node, there, style)
        # No rail beyond the end, where a signal beside it asked for more room than its name.
        paper.fill(cell.left, cell.right, cell.y, " ")
        paper.put(cell.right - len(text) if node.left is None else cell.left, cell.y, text)
        paper.used.add(node.kind)
        return
    piece = view.plan.track.pieces[node.name]
    if node.legs:
        _special(paper, view, layout, cell, piece, style.ink)
    text = furniture(view, piece, there, style)
    if text:
        paper.put(furniture_place(cell, f" {text} "), cell.y, f" {text} ")
        _note_furniture(paper, text, style.ink)
    for name, x in derail_places(cell, there):
        state = view.derail(name) or "derail"
        marks = {
            "derail": style.ink.derail,
            "derailing": style.ink.derailing,
            "non-derailing": style.ink.not_derailing,
        }
        paper.put(x, cell.y, marks.get(state, style.ink.derail_open))
        paper.used.add(state if state in marks else "open derail")


def _note_furniture(paper: _Canvas, text: str, ink: Charset) -> None:
    for kind, mark in (
        ("stock", ink.stock),
        ("gate", ink.gate),
        ("seated", ink.seated),
        ("unseated", ink.unseated),
    ):
        if mark in text:
            paper.used.add(kind)


def _special(
    paper: _Canvas, view: View, layout: GridLayout, cell: GridCell, piece: Piece, ink: Charset
) -> None:
    """The hub of a turnout, crossing or slip, and the break in what is not lined."""
    slants = [layout.slants[leg.port] for leg in cell.node.legs if leg.port in layout.slants]
    position = view.position(piece)
    for side, port in ((LEFT, cell.node.left), (RIGHT, cell.node.right)):
        if port and port.end != "points" and not view.joined(piece, port.end):
            for step in (1, 2):
                paper.put(cell.hub + side * step, cell.y, " ")
    if position == "open":
        paper.put(cell.hub, cell.y, ink.open_points)
        paper.used.add("open")
    elif piece.kind != "turnout" and view.straight(piece):
        paper.put(cell.hub, cell.y, ink.cross)
        paper.used.add("crossing")
    elif slants:
        frog = ink.frogs[0 if slants[0].down > 0 else 1]
        lined = position == "reverse"
        paper.put(cell.hub, cell.y, _slope(slants[0], ink) if lined else frog)


def _slope(slant: Slant, ink: Charset) -> str:
    return ink.falling if slant.side == slant.down else ink.rising


def _slants(paper: _Canvas, view: View, layout: GridLayout, ink: Charset) -> None:
    for slant in layout.slants.values():
        length = abs(slant.to_y - slant.y)
        last = length - 1 if slant.to_leg else length
        for step in range(1, last + 1):
            mark = _slope(slant, ink)
            if (step == 1 and not _lined(view, slant.leg)) or (
                step == last and slant.to_leg and not _lined(view, slant.to_leg)
            ):
                mark = " "
                paper.used.add("broken")
            elif step == length and slant.turns:
                mark = _curve(slant, ink)
            paper.put(slant.x + slant.side * step, slant.y + slant.down * step, mark)
    for bend in layout.bends:
        right = bend.side == RIGHT
        paper.put(bend.x, bend.top, ink.curves[1 if right else 0])
        paper.put(bend.x, bend.bottom, ink.curves[3 if right else 2])
        for y in range(bend.top + 1, bend.bottom):
            paper.put(bend.x, y, ink.upright)


def _lined(view: View, port: Port) -> bool:
    return view.joined(view.plan.track.pieces[port.piece], port.end)


def _curve(slant: Slant, ink: Charset) -> str:
    """A leg that turns back: where it comes from and where its track then runs."""
    runs_left = slant.side == RIGHT
    return ink.curves[(2 if slant.down > 0 else 0) + (1 if runs_left else 0)]
