"""Where pieces are drawn that have no place in the text: as the drawing would have them.

In: pieces and joints, finished or not. Out: the ends of every piece on the graph paper. Ends that
lead nowhere yet are taken for track that goes on beyond the drawing.
"""

from collections.abc import Mapping, Sequence

from verifier.drawing.layout import (
    GridCell,
    GridLayout,
    choose_rows,
    first_heights,
    lay_out,
    to_blame,
)
from verifier.drawing.sketch import RIGHT, Sketch
from verifier.drawing.spacing import Size, Sizes
from verifier.drawing.tearing import Links, draw_torn
from verifier.plan.model import Joint, Piece, Placed, Port, Track
from verifier.sketching.geometry import LENGTH, Spot

_ROOM = 200
_FIRST = {"turnout": ("points", "normal"), "plain": ("left", "right")}
_ACROSS = ("along-left", "along-right")
_MARGIN = 2


def laid_out(
    pieces: Mapping[str, Piece],
    joints: Sequence[Joint],
    rows: Sequence[Sequence[Placed]],
) -> dict[str, dict[str, Spot]]:
    """The ends of every piece, where nothing else says where it is drawn."""
    if not pieces:
        return {}
    facts = (
        tuple((p.name, p.kind, p.ends) for p in pieces.values()),
        tuple((j.a, j.b, j.kind) for j in joints),
        tuple(tuple(row) for row in rows),
    )
    found = _kept.get(facts)
    if found is None:
        if len(_kept) >= _MOST_KEPT:
            _kept.clear()
        found = _kept[facts] = _laid_out(pieces, joints, rows)
    return found


# Layouts found last: most strokes change no joint.
_kept: dict[object, dict[str, dict[str, Spot]]] = {}
_MOST_KEPT = 8


def _laid_out(
    pieces: Mapping[str, Piece],
    joints: Sequence[Joint],
    rows: Sequence[Sequence[Placed]],
) -> dict[str, dict[str, Spot]]:
    track = _whole(pieces, joints, rows)

    def attempt(outline: Sketch) -> GridLayout | Links:
        sizes = Sizes(tuple(_size(outline, n) for n in range(len(outline.nodes))), 1)
        chosen, spaced = choose_rows(outline, sizes, _ROOM)
        if spaced is None or spaced.clashes:
            return to_blame(spaced.clashes if spaced else ())
        return lay_out(outline, sizes, chosen, first_heights(outline, chosen))

    layout = draw_torn(track, [*pieces], attempt, {joint.a for joint in track.joints})
    return {
        name: _ends(pieces[name], cell, layout)
        for name, cell in layout.cells.items()
        if name in pieces
    }


def _whole(
    pieces: Mapping[str, Piece], joints: Sequence[Joint], rows: Sequence[Sequence[Placed]]
) -> Track:
    """The track with something beyond each open end that is not drawn."""
    span = next(iter(pieces.values())).span
    every = list(joints)
    joined = {port for joint in joints for port in (joint.a, joint.b)}
    for piece in pieces.values():
        for end in piece.ends:
            if Port(piece.name, end) not in joined:
                beyond = Port(f"~{len(every)}", "end")
                every.append(Joint(Port(piece.name, end), beyond, "=", None, span))
    joint_at = {port: joint for joint in every for port in (joint.a, joint.b)}
    mentioned = {placed.piece for row in rows for placed in row}
    lonely = [
        (Placed(name, *_straight(piece)),)
        for name, piece in pieces.items()
        if name not in mentioned
    ]
    all_rows = (*(tuple(row) for row in rows), *lonely)
    return Track(pieces, tuple(every), joint_at, {}, all_rows)


def _straight(piece: Piece) -> tuple[str, str]:
    if piece.kind in ("edge", "bumper"):
        return "end", "end"
    return _FIRST.get(piece.kind, _ACROSS)


def _size(outline: Sketch, n: int) -> Size:
    node = outline.nodes[n]
    if node.kind != "piece":
        return Size(1, 0)
    return Size(3, 1) if node.legs else Size(int(LENGTH), int(LENGTH) // 2)


def _ends(piece: Piece, cell: GridCell, layout: GridLayout) -> dict[str, Spot]:
    y = cell.y + _MARGIN
    left, right = cell.left + _MARGIN, cell.right + _MARGIN
    if piece.kind in ("edge", "bumper"):
        return {"end": Spot(left if cell.node.left else right, y)}
    node = cell.node
    ends: dict[str, Spot] = {}
    if not node.legs:
        for port, x in ((node.left, left), (node.right, right)):
            if port:
                ends[port.end] = Spot(x, y)
        return ends
    hub = cell.hub + _MARGIN
    for port, x in ((node.left, hub - 1), (node.right, hub + 1)):
        if port:
            ends[port.end] = Spot(x, y)
    for leg in node.legs:
        slant = layout.slants.get(leg.port)
        down = slant.down if slant else (1 if leg.side == RIGHT or piece.kind == "turnout" else -1)
        ends[leg.port.end] = Spot(hub + leg.side, y + down)
    return ends
