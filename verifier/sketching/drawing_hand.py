"""One stroke after the other: a text and a stroke make the next text.

In: a text, and a stroke of :mod:`verifier.sketching.strokes`. Out: the text that has it, and what
the hand is at then. Each step is read back; one that would not be read as it was meant raises
:class:`Refused`, and nothing is changed.
"""

from pathlib import Path
from typing import assert_never

from verifier.plan.model import Port
from verifier.sketching.adding import add
from verifier.sketching.changing import cut, flip, move, set_gap, stretch, turn
from verifier.sketching.copying import copy
from verifier.sketching.hand import Drawn, Hand, Refused
from verifier.sketching.naming import remove, rename, set_signal
from verifier.sketching.reading import NotDrawn
from verifier.sketching.strokes import (
    Add,
    Copy,
    Cut,
    Flip,
    Join,
    Move,
    Part,
    Remove,
    Rename,
    SetGap,
    SetSignal,
    Stretch,
    Stroke,
    Turn,
)


def drawn(text: str, stroke: Stroke, name: str = "", path: Path | None = None) -> Drawn:
    """The text with a stroke drawn into it. Raises :class:`Refused` and :class:`NotDrawn`."""
    hand = Hand(text, name, path)
    if hand.drawing.broken:
        line = hand.drawing.broken[0].span.line
        raise Refused(f"Line {line} of the text cannot be read yet: mend it, then draw on.")
    try:
        return _draw(hand, stroke)
    except NotDrawn:
        raise Refused("This cannot be written as `track` lines; nothing was changed.") from None


def _draw(hand: Hand, stroke: Stroke) -> Drawn:
    _check(hand, stroke)
    match stroke:
        case Add():
            return add(hand, stroke)
        case Join(a=a, b=b):
            hand.join(a, b)
            return hand.done(f"Joined {hand.words(a)} and {hand.words(b)}.")
        case Part(end=end):
            hand.part(hand.joined_at(end))
            return hand.done(f"Parted at {hand.words(end)}.", focus=end)
        case SetGap(end=end, kind=kind):
            return set_gap(hand, end, kind)
        case Cut(piece=piece, at=at):
            return cut(hand, piece, at)
        case Move(pieces=pieces, by=by):
            return move(hand, pieces, by)
        case Stretch(end=end, to=to):
            return stretch(hand, end, to)
        case Turn(pieces=pieces):
            return turn(hand, pieces)
        case Flip(pieces=pieces):
            return flip(hand, pieces)
        case Copy(pieces=pieces, by=by):
            return copy(hand, pieces, by)
        case Rename(old=old, new=new):
            return rename(hand, old, new)
        case Remove():
            return remove(hand, stroke)
        case SetSignal(enters=enters):
            return set_signal(hand, enters)
        case _:
            assert_never(stroke)


def _check(hand: Hand, stroke: Stroke) -> None:
    """Every end and piece of a stroke is there, and the file itself says so of the pieces."""
    ports = [
        port
        for word in ("onto", "a", "b", "end", "enters")
        if isinstance(port := getattr(stroke, word, None), Port)
    ]
    for port in ports:
        piece = hand.drawing.pieces.get(port.piece)
        if piece is None or port.end not in piece.ends:
            raise Refused(f"There is no such end as {port.piece} {port.end} any more.")
    pieces = [*getattr(stroke, "pieces", ()), *filter(None, [getattr(stroke, "piece", None)])]
    for name in pieces:
        if name not in hand.drawing.pieces:
            raise Refused(f"There is no piece called {name} any more.")
        if not hand.drawing.is_own(name):
            raise Refused(f"{name} is part of a module or of an included file: draw it there.")
