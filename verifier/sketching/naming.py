"""Names, signals, and taking away."""

from collections.abc import Iterable, Iterator
from itertools import count

from verifier.drafting.placing import Post
from verifier.drafting.writing import place_of
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.modules.rename import names_in
from verifier.language.syntax import tree
from verifier.language.syntax.parse import is_name, lex
from verifier.plan.model import Joint, Port, Track
from verifier.sketching.edits import Edit, insert, newline_of, undeclare, without
from verifier.sketching.geometry import hub
from verifier.sketching.hand import Drawn, Hand, Refused
from verifier.sketching.reading import Drawing
from verifier.sketching.strokes import Remove


def rename(hand: Hand, old: str, new: str) -> Drawn:
    """Give a thing another name, wherever it is named. Raises :class:`Refused`."""
    if not is_name(new) or "." in new:
        raise Refused(
            f"`{new}` cannot be a name: letters, digits, hyphens; no word of the language."
        )
    declared = hand.drawing.names.table.get(old)
    if declared is None or declared.span.source is not hand.drawing.source:
        raise Refused(f"Nothing in this file is called `{old}`.")
    if new in hand.drawing.names.table:
        raise Refused(f"Something else is called `{new}` already.")
    hand.edit(_renamed(hand.drawing, old, new))
    return hand.done(f"{old} is now called {new}.", chosen=[new])


def remove(hand: Hand, stroke: Remove) -> Drawn:
    """Take pieces and signals away. Raises :class:`Refused`."""
    gone = list(stroke.signals)
    for name in stroke.pieces:
        for end in hand.drawing.pieces[name].ends:
            if joint := hand.drawing.joint_at.get(hand.now(Port(name, end))):
                gone += hand.standing_at(joint)
    hand.edit(_signals_gone(hand.drawing, gone))
    for name in stroke.pieces:
        _remove_piece(hand, name)
    every = [*stroke.pieces, *dict.fromkeys(gone)]
    return hand.done(f"Took {', '.join(every)} away." if every else "Nothing is chosen.")


def _remove_piece(hand: Hand, name: str) -> None:
    piece = hand.drawing.pieces[name]
    title, block = piece.title, piece.block
    for end in piece.ends:
        if joint := hand.drawing.joint_at.get(hand.now(Port(name, end))):
            hand.part(joint)
    if any(n != name and p.block == title for n, p in hand.drawing.pieces.items()):
        return  # other stretches of the block, or points in it, are still there
    if title in hand.drawing.names.table:
        _undeclare(hand, title)
    if piece.kind in ("turnout", "crossing", "slip") and block and _is_idle(hand, block):
        _undeclare(hand, block)


def _is_idle(hand: Hand, block: str) -> bool:
    """Nothing speaks of a block but what declares it."""
    spoken = [n.text for s in hand.drawing.own for n in names_in(s) if n.text == block]
    return len(spoken) == 1


def _undeclare(hand: Hand, name: str) -> None:
    edits = [*undeclare(hand.drawing, name)]
    edits += [
        without(hand.drawing.source, s.span)
        for s in hand.drawing.own
        if isinstance(s, tree.Placing) and s.name.text == name
    ]
    hand.edit(edits)


def set_signal(hand: Hand, enters: Port) -> Drawn:
    """Set a signal that shows Stop until it has rules. Raises :class:`Refused`."""
    joint = hand.joined_at(enters)
    near = joint.other(enters)
    if any(s.enters == enters for s in hand.drawing.signals.values()):
        raise Refused("A signal stands there already.")
    if hand.drawing.pieces[enters.piece].kind in ("edge", "bumper"):
        raise Refused("Beyond the end of the plan there is no track to govern.")
    if joint.kind == "=":
        raise Refused("A signal stands at a gap: cut the rail there first.")
    place = _place_words(hand, near, enters, joint)
    ends = hand.drawing.ends[enters.piece]
    rightward = ends[enters.end].x <= hub(hand.drawing.pieces[enters.piece], ends).x
    name = _signal_name(hand, "R" if rightward else "L")
    new = newline_of(hand.drawing.source)
    blank = new if any(isinstance(s, tree.Signal) for s in hand.drawing.own) else ""
    hand.edit([insert(
        hand.drawing, tree.Signal, f"{blank}signal {name} at {place}{new}  Stop otherwise"
    )])  # fmt: skip
    return hand.done(f"Set signal {name} at {place}.", chosen=[name])


def _place_words(hand: Hand, near: Port, enters: Port, joint: Joint) -> str:
    drawing = hand.drawing
    track = Track(drawing.pieces, drawing.joints, drawing.joint_at, {}, ())
    post = Post(near, enters, joint, near.piece, True, "")
    try:
        return place_of(post, track)
    except InputError:
        gap = hand.fresh("g")
    hand.sign(joint, f"{joint.kind}({gap})")
    return _place_words(hand, near, enters, hand.drawing.joint_at[enters])


def _signal_name(hand: Hand, letter: str) -> str:
    taken = {str(token) for token in lex(hand.drawing.source)}
    return next(name for n in count(2, 2) if (name := f"{n}{letter}") not in taken)


def _renamed(drawing: Drawing, old: str, new: str) -> Iterator[Edit]:
    for statement in drawing.own:
        for name in names_in(statement):
            if name.text == old or name.text.startswith(f"{old}."):
                start = name.span.start
                yield Edit(start, start + len(old), new)


def _signals_gone(drawing: Drawing, names: Iterable[str]) -> Iterator[Edit]:
    gone = set(names)
    for statement in drawing.own:
        match statement:
            case tree.Signal(name=name) if name.text in gone:
                yield without(drawing.source, statement.span)
            case tree.Head(name=name) if name.text.partition(".")[0] in gone:
                yield without(drawing.source, statement.span)
            case _:
                pass
