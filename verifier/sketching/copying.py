"""The same track once more, elsewhere, with names of its own."""

from collections.abc import Iterator

from verifier.language.syntax import tree
from verifier.sketching.adding import NODES
from verifier.sketching.edits import declare, insert, newline_of
from verifier.sketching.geometry import Place, Spot
from verifier.sketching.hand import Drawn, Hand, Refused
from verifier.sketching.reading import Drawing


def copy(hand: Hand, names: tuple[str, ...], by: Spot) -> Drawn:
    """Copy pieces, and how they are joined. Raises :class:`Refused`."""
    before = hand.drawing
    new_names: dict[str, str] = {}
    for name in names:
        piece = before.pieces[name]
        if piece.title not in new_names:
            _, beginning = NODES["block" if piece.kind == "plain" else piece.kind]
            title = piece.title if piece.kind in ("edge", "bumper") else beginning
            new = new_names[piece.title] = hand.fresh(title, new_names.values())
            if piece.block and piece.kind != "plain" and piece.block not in new_names:
                new_names[piece.block] = hand.fresh(f"{new}-track", new_names.values())
    _declare_copies(hand, before, new_names)
    lines = list(_copied_lines(before, set(names), new_names))
    if lines:
        new = newline_of(before.source)
        hand.edit([insert(hand.drawing, tree.Track, new.join(lines))])
    copies: dict[str, Place] = {}
    for name in names:
        copy = _copy_of(hand, name, before, new_names)
        copies[copy] = tuple(spot.moved(by) for spot in before.place(name))
    hand.put(copies)
    return hand.done(
        f"Copied {', '.join(names)}: the track, not its signals.", chosen=tuple(copies)
    )


def _copy_of(hand: Hand, name: str, before: Drawing, new_names: dict[str, str]) -> str:
    piece = before.pieces[name]
    copy = new_names[piece.title]
    if piece.kind == "plain" and name != piece.title:
        raise Refused(f"{piece.title} has several stretches: copy them one by one.")
    return copy


def _declare_copies(hand: Hand, before: Drawing, new_names: dict[str, str]) -> None:
    for old, new in new_names.items():
        node = before.names.table[old].node
        kind = before.names.table[old].kind
        more = ""
        if isinstance(node, tree.Turnout | tree.Crossing | tree.Slip):
            more = f"in {new_names[node.block.text]}"
            if isinstance(node, tree.Slip) and node.single:
                more += f" single {node.single[0]} to {node.single[1]}"
        if isinstance(node, tree.Edge) and node.direction != "both":
            more = f"{node.direction} only"
        hand.edit([declare(hand.drawing, type(node), kind, new, more)])


def _copied_lines(drawing: Drawing, names: set[str], new_names: dict[str, str]) -> Iterator[str]:
    """The parts of `track` lines that lie within a selection, with other names."""
    for line, row in drawing.lines:
        words: list[str] = []
        for i, step in enumerate(line.steps):
            if row[i].piece not in names:
                if len(words) > 1:
                    yield f"track {' '.join(words)}"
                words = []
                continue
            if words:
                words.append(line.joins[i - 1].kind)
            name = new_names[drawing.pieces[row[i].piece].title]
            words.append(" ".join(filter(None, (step.left, name, step.right))))
        if len(words) > 1:
            yield f"track {' '.join(words)}"
