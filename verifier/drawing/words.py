"""The labels of a terminal drawing: which, in what order, and where each would like to be.

Input: the layout and what is seen. Output: labels for :mod:`verifier.drawing.text_placer`.
A signal's arrow stands right at its gap and points the way the signal governs: below the
track for trains to the right, above it for trains to the left, on their right-hand side.
"""

from collections import Counter
from collections.abc import Iterator
from typing import NamedTuple

from verifier.drawing.layout import GridCell, GridLayout, JointMark
from verifier.drawing.sketch import LEFT, RIGHT
from verifier.drawing.svg_placer import ABOVE, BELOW
from verifier.drawing.text_metrics import (
    Style,
    Things,
    furniture,
    gate_mark,
    special_label,
    title,
)
from verifier.drawing.text_placer import TextLabel
from verifier.drawing.view import View
from verifier.plan.model import Signal


def text_labels(view: View, layout: GridLayout, there: Things, style: Style) -> list[TextLabel]:
    """All labels, the most important first: those find a place nearest to their thing."""
    return [
        *_signals(view, layout, there, style),
        *(label for cell in layout.cells.values() for label in _special(view, layout, cell,
                                                                        there, style)),
        *(label for cell in layout.cells.values() for label in _derails(view, cell, there, style)),
        *(label for cell in layout.cells.values() for label in _gates(view, cell, there, style)),
        *_gap_names(layout, style),
    ]  # fmt: skip


def _signals(view: View, layout: GridLayout, there: Things, style: Style) -> Iterator[TextLabel]:
    marks_of = Counter(mark.joint.a for mark in layout.marks)
    for mark in layout.marks:
        for approach, side in ((mark.left, RIGHT), (mark.right, LEFT)):
            # A torn joint is drawn twice; its signals stand where they are approached.
            only_here = marks_of[mark.joint.a] == 1 and approach.piece not in there.elsewhere
            if approach in mark.near or only_here:
                for signal in there.signals.get(approach, ()):
                    yield _signal(view, signal, mark, side, style)
    for port in layout.undrawn:
        # Over a leg that is not drawn a signal is approached from its frog.
        if not marks_of[view.plan.track.joint_at[port].a]:
            cell = layout.cells[port.piece]
            side = next(leg.side for leg in cell.node.legs if leg.port == port)
            for signal in there.signals.get(port, ()):
                yield _signal(view, signal, _Spot(cell.hub, cell.y), side, style)


class _Spot(NamedTuple):
    x: int
    y: int


def _signal(
    view: View, signal: Signal, mark: JointMark | _Spot, side: int, style: Style
) -> TextLabel:
    words = view.signal(signal)
    arrow = style.ink.east if side == RIGHT else style.ink.west
    ending = (mark.x - len(words) - 1, f"{words} {arrow}")
    beginning = (mark.x, f"{arrow} {words}")
    best = (ending, beginning) if side == RIGHT else (beginning, ending)
    # Where track runs right beside the gap, the arrow stands a column or two off.
    off = tuple(
        (x + step, text)
        for step in (1, 2)
        for (x, text), step in ((beginning, step), (ending, -step))
    )
    sides = (BELOW,) if side == RIGHT else (ABOVE,)
    return TextLabel(signal.name, mark.x, mark.y, sides, (*best, *off))


def _special(
    view: View, layout: GridLayout, cell: GridCell, there: Things, style: Style
) -> Iterator[TextLabel]:
    if not cell.node.legs:
        return
    piece = view.plan.track.pieces[cell.node.name]
    text, block = special_label(view, piece, there.home, style)
    for leg in cell.node.legs:
        if leg.port in layout.undrawn:
            words = "reverse" if leg.port.end == "reverse" else "across"
            text += f", {words} to {title(view.plan, layout.undrawn[leg.port], style.short)}"
    slants = [layout.slants[leg.port] for leg in cell.node.legs if leg.port in layout.slants]
    above_free = all(slant.down == BELOW for slant in slants)
    sides = (ABOVE, BELOW) if above_free else (BELOW, ABOVE)

    def label(words: str, parts: tuple[TextLabel, ...] = ()) -> TextLabel:
        # Beside the hub will do where a leg leaves no room right over it.
        beside = ((cell.hub + 1, words), (cell.hub - len(words), words))
        places = (*_over(cell.hub, words), *beside)
        return TextLabel(piece.name, cell.hub, cell.y, sides, places, parts)

    if block:
        yield label(f"{text} {block}", (label(text), label(block)))
    else:
        yield label(text)


def _over(anchor: int, text: str) -> tuple[tuple[int, str], ...]:
    """Every place that covers the anchor, the middle one first."""
    middle = anchor - len(text) // 2
    places = sorted(range(anchor - len(text) + 1, anchor + 1), key=lambda x: abs(x - middle))
    return tuple((x, text) for x in places)


def derail_places(cell: GridCell, there: Things) -> Iterator[tuple[str, int]]:
    """The derails on a piece of plain track, each with its column."""
    left, right = (cell.node.left, cell.left + 1, 2), (cell.node.right, cell.right - 2, -2)
    for port, first, step in (left, right):
        if port and port.piece == cell.node.name:
            for n, name in enumerate(there.derails.get(port, ())):
                yield name, first + n * step


def _derails(view: View, cell: GridCell, there: Things, style: Style) -> Iterator[TextLabel]:
    for name, x in derail_places(cell, there):
        state = view.derail(name)
        text = f"{style.short(name)} {state}" if state else style.short(name)
        yield TextLabel(name, x, cell.y, (ABOVE, BELOW), _over(x, text))


def furniture_place(cell: GridCell, text: str) -> int:
    """The column where what stands on a piece begins: in its middle, or for a turnout or
    crossing in the middle of the rail before its frog."""
    low, high = cell.left, cell.right
    if cell.node.legs:
        stem_at_left = cell.node.legs[0].side == RIGHT or len(cell.node.legs) == 2
        low, high = (cell.left, cell.hub) if stem_at_left else (cell.hub + 1, cell.right)
    return low + (high - low - len(text)) // 2


def _gates(view: View, cell: GridCell, there: Things, style: Style) -> Iterator[TextLabel]:
    if cell.node.kind != "piece":
        return
    piece = view.plan.track.pieces[cell.node.name]
    if piece.block is None or there.home.get(piece.block) != piece.name:
        return
    x = furniture_place(cell, f" {furniture(view, piece, there, style)} ") + 1
    for gate in there.gates.get(piece.block, ()):
        length = len(gate_mark(view, gate, style))
        state = view.gate(gate)
        text = f"{style.short(gate)} {state}" if state else style.short(gate)
        yield TextLabel(gate, x + length // 2, cell.y, (ABOVE, BELOW), _over(x + length // 2, text))
        x += length + 1


def _gap_names(layout: GridLayout, style: Style) -> Iterator[TextLabel]:
    for mark in layout.marks:
        if mark.joint.gap:
            text = f"({style.short(mark.joint.gap)})"
            yield TextLabel(mark.joint.gap, mark.x, mark.y, (ABOVE, BELOW), _over(mark.x, text))
