"""How much room each node of a sketch needs in the terminal, and what stands on it.

Input: a sketch, what is to be said of each thing, how generous to be. Output: sizes in
characters. Sizes do not depend on the situation where room allows: then drawings of one
plan in several situations lie over each other.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from verifier.drawing.sketch import Node, Sketch, sketch
from verifier.drawing.spacing import Size, Sizes, order
from verifier.drawing.terminal.charset import Charset
from verifier.drawing.trackside import (
    DIRECTIONS,
    Trackside,
    far_end_words,
    stem_at_left,
    trackside,
)
from verifier.drawing.view import View
from verifier.plan.model import Piece


@dataclass(frozen=True, slots=True)
class Style:
    """``roomy``: room on each piece for the longest label it may get. ``reserve``:
    room for stock even where there is none. ``stem`` and ``leg``:
    rail before and after a frog or diamond. ``rails``: rail on each side of a name.
    ``longest``: names longer than this are shortened in the middle."""

    ink: Charset
    roomy: bool
    reserve: bool
    stem: int
    leg: int
    rails: int
    longest: int

    def short(self, name: str) -> str:
        if len(name) <= self.longest:
            return name
        keep = max(self.longest - 1, 2)
        return name[: keep - keep // 2] + self.ink.short + name[len(name) - keep // 2 :]


def end_text(view: View, node: Node, there: Trackside, style: Style) -> str:
    """The text of an edge, bumper, or loose end, with one rail, as read."""
    i, rail = style.ink, style.ink.rail
    at_left = node.left is None
    match node.kind:
        case "edge":
            direction = view.plan.track.pieces[node.name].direction
            name = style.short(node.name) + DIRECTIONS[direction]
            arrow = (i.out_west, i.out_east)
            if direction == "entering":
                arrow = (i.out_east, i.out_west)
        case "bumper":
            name, arrow = style.short(node.name), (i.bumper_west, i.bumper_east)
        case _:
            port = node.right or node.left
            assert port is not None
            name, arrow = far_end_words(view.plan, port, style.short), (i.goes_on, i.goes_on)
            if node.kind == "torn":
                name, arrow = f"to {name}", (i.round, i.round)
            elif port.piece not in there.elsewhere:
                return i.goes_on + rail if at_left else rail + i.goes_on
    return f"{name} {arrow[0]}{rail}" if at_left else f"{rail}{arrow[1]} {name}"


def special_label(view: View, piece: Piece, there: Trackside, style: Style) -> tuple[str, str]:
    """The label of a turnout, crossing or slip: name and how it lies; and its block's
    name where no plain track bears that."""
    position = view.position(piece)
    name = style.short(piece.name)
    own = there.block_at(piece)
    return f"{name} {position}" if position else name, f"({style.short(own)})" if own else ""


def furniture(view: View, piece: Piece, there: Trackside, style: Style) -> str:
    """What stands in the middle of a piece in this situation: gates, stock, its name."""
    words = [gate_mark(view, gate, style) for gate in there.gates_at(piece)]
    if view.occupied(there.block_at(piece)):
        words.append(style.ink.stock)
    if piece.kind == "plain":
        words.append(style.short(piece.title))
    return " ".join(words)


def gate_mark(view: View, gate: str, style: Style) -> str:
    marks = {None: style.ink.gate, "open": style.ink.unseated}
    return marks.get(view.gate(gate), style.ink.seated)


def sizes(view: View, sketch: Sketch, there: Trackside, style: Style) -> Sizes:
    joints = view.plan.track.joints
    joint = len(style.ink.double_gap) if any(j.kind == "||" for j in joints) else 1
    return Sizes(tuple(_size(view, node, there, style, joint) for node in sketch.nodes), joint)


def _size(view: View, node: Node, there: Trackside, style: Style, joint: int) -> Size:
    if node.kind == "wire":
        return Size(2 + joint, 1)
    if node.kind != "piece":
        width = len(end_text(view, node, there, style))
        return Size(max(width, _signals_width(view, node, there, style)), 0)
    piece = view.plan.track.pieces[node.name]
    block = there.block_at(piece)
    zone = len(there.gates_at(piece)) * (len(style.ink.seated) + 1)
    if block and view.seen and (style.reserve or view.occupied(block)):
        zone += len(style.ink.stock) + 1
    if piece.kind == "plain":
        ends = [p for p in (node.left, node.right) if p]
        zone += sum(2 for p in ends for _ in there.derails.get(p, ()))
        width = zone + len(style.short(piece.title)) + 2 + 2 * style.rails
        return Size(max(width, _signals_width(view, node, there, style)), width // 2)
    stem = style.stem + (zone + 1 if zone else 0)
    if piece.kind != "turnout":
        return Size(stem + 1 + style.leg, stem)
    leg = style.leg
    if style.roomy:
        label = " ".join(special_label(view, piece, there, style))
        position = view.position(piece)
        longest = len(label) + (len("reverse") - len(position) if position else 0)
        leg = max(leg, longest // 2 - 1)
        stem = max(stem, leg)
    width = stem + 1 + leg
    return Size(width, stem if stem_at_left(node) else leg)


def _signals_width(view: View, node: Node, there: Trackside, style: Style) -> int:
    """Room for the labels of signals that are approached over this node."""
    if not style.roomy:
        return 0
    signals = there.signals_at(node, node.left, node.right)
    return max((view.longest_signal(signal) + 3 for signal in signals), default=0)


def left_to_right(view: View, pieces: Sequence[str], style: Style) -> list[str]:
    """The pieces in the order in which they stand from left to right."""
    outline = sketch(view.plan.track, pieces)
    room = sizes(view, outline, trackside(view.plan, pieces), style)
    place = dict(zip((node.name for node in outline.nodes), order(outline, room), strict=True))
    return sorted(pieces, key=lambda name: place[name])
