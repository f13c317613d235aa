"""The labels of a terminal drawing: which, in what order, and where each would like to be.

Input: the layout and what is seen. Output: labels for :mod:`verifier.drawing.terminal.placer`.
A signal's arrow stands right at its gap and points the way the signal governs: below the
track for trains to the right, above it for trains to the left, on their right-hand side.
"""

from collections.abc import Iterator

from verifier.drawing.label_placer import ABOVE, BELOW
from verifier.drawing.layout import GridCell, GridLayout, JointMark
from verifier.drawing.sketch import RIGHT
from verifier.drawing.terminal.metrics import Style, furniture, gate_mark, special_label
from verifier.drawing.terminal.placer import TextLabel
from verifier.drawing.trackside import (
    Trackside,
    label_sides,
    signal_places,
    stem_at_left,
    undrawn_words,
)
from verifier.drawing.view import View
from verifier.plan.model import Signal


def text_labels(view: View, layout: GridLayout, there: Trackside, style: Style) -> list[TextLabel]:
    """All labels, the most important first: those find a place nearest to their thing."""
    return [
        *(_signal(view, signal, at, side, style)
          for signal, at, side in signal_places(view.plan, layout, there)),
        *(label for cell in layout.cells.values() for label in _special(view, layout, cell,
                                                                        there, style)),
        *(label for cell in layout.cells.values() for label in _derails(view, cell, there, style)),
        *(label for cell in layout.cells.values() for label in _gates(view, cell, there, style)),
        *_gap_names(layout, style),
    ]  # fmt: skip


def _signal(
    view: View, signal: Signal, at: JointMark | GridCell, side: int, style: Style
) -> TextLabel:
    x = at.hub if isinstance(at, GridCell) else at.x
    words = view.signal(signal)
    arrow = style.ink.east if side == RIGHT else style.ink.west
    ending = (x - len(words) - 1, f"{words} {arrow}")
    beginning = (x, f"{arrow} {words}")
    best = (ending, beginning) if side == RIGHT else (beginning, ending)
    # Where track runs right beside the gap, the arrow stands a column or two off.
    off = tuple(
        (x + step, text)
        for step in (1, 2)
        for (x, text), step in ((beginning, step), (ending, -step))
    )
    sides = (BELOW,) if side == RIGHT else (ABOVE,)
    return TextLabel(signal.name, (x, at.y), sides, (*best, *off))


def _special(
    view: View, layout: GridLayout, cell: GridCell, there: Trackside, style: Style
) -> Iterator[TextLabel]:
    if not cell.node.legs:
        return
    piece = view.plan.track.pieces[cell.node.name]
    text, block = special_label(view, piece, there, style)
    text += undrawn_words(view.plan, layout, cell, style.short)
    sides = label_sides(layout, cell)

    def label(words: str, parts: tuple[TextLabel, ...] = ()) -> TextLabel:
        # Beside the hub will do where a leg leaves no room right over it.
        beside = ((cell.hub + 1, words), (cell.hub - len(words), words))
        places = (*_over(cell.hub, words), *beside)
        return TextLabel(piece.name, (cell.hub, cell.y), sides, places, parts)

    if block:
        yield label(f"{text} {block}", (label(text), label(block)))
    else:
        yield label(text)


def _over(anchor: int, text: str) -> tuple[tuple[int, str], ...]:
    """Every place that covers the anchor, the middle one first."""
    middle = anchor - len(text) // 2
    places = sorted(range(anchor - len(text) + 1, anchor + 1), key=lambda x: abs(x - middle))
    return tuple((x, text) for x in places)


def derail_places(cell: GridCell, there: Trackside) -> Iterator[tuple[str, int]]:
    """The derails on a piece of plain track, each with its column."""
    left, right = (cell.node.left, cell.left + 1, 2), (cell.node.right, cell.right - 2, -2)
    for port, first, step in (left, right):
        if port and port.piece == cell.node.name:
            for n, name in enumerate(there.derails.get(port, ())):
                yield name, first + n * step


def _derails(view: View, cell: GridCell, there: Trackside, style: Style) -> Iterator[TextLabel]:
    for name, x in derail_places(cell, there):
        state = view.derail(name)
        text = f"{style.short(name)} {state}" if state else style.short(name)
        yield TextLabel(name, (x, cell.y), (ABOVE, BELOW), _over(x, text))


def furniture_place(cell: GridCell, text: str) -> int:
    """The column where what stands on a piece begins: in its middle, or for a turnout or
    crossing in the middle of the rail before its frog."""
    low, high = cell.left, cell.right
    if cell.node.legs:
        stem_left = stem_at_left(cell.node)
        low, high = (cell.left, cell.hub) if stem_left else (cell.hub + 1, cell.right)
    return low + (high - low - len(text)) // 2


def _gates(view: View, cell: GridCell, there: Trackside, style: Style) -> Iterator[TextLabel]:
    if cell.node.kind != "piece":
        return
    piece = view.plan.track.pieces[cell.node.name]
    x = furniture_place(cell, f" {furniture(view, piece, there, style)} ") + 1
    for gate in there.gates_at(piece):
        length = len(gate_mark(view, gate, style))
        state = view.gate(gate)
        text = f"{style.short(gate)} {state}" if state else style.short(gate)
        middle = x + length // 2
        yield TextLabel(gate, (middle, cell.y), (ABOVE, BELOW), _over(middle, text))
        x += length + 1


def _gap_names(layout: GridLayout, style: Style) -> Iterator[TextLabel]:
    for mark in layout.marks:
        if mark.joint.gap:
            text = f"({style.short(mark.joint.gap)})"
            yield TextLabel(mark.joint.gap, (mark.x, mark.y), (ABOVE, BELOW), _over(mark.x, text))
