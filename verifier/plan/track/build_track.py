"""From the `track` lines to pieces and joints.

Turnouts, crossings, slips and ends have ends of their own name, so wherever they are
written the joint is clear. Plain track goes by its block's name only, and one block may
have several stretches of it (before and after a spur switch, say). Which stretch a line
means follows from its neighbors: see :mod:`verifier.plan.track.stretches`.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass
from typing import NamedTuple

from verifier.language.syntax import tree
from verifier.plan.model import Joint, Move, Onward, Piece, Placed, Port, Track
from verifier.plan.names import Names
from verifier.plan.track.stretches import StepEnds, Stretch, place_plain

CROSSING_ENDS = ("along-left", "along-right", "across-left", "across-right")
END_WORDS = {
    "points": "the points end",
    "normal": "the normal leg",
    "reverse": "the reverse leg",
    "left": "the left end",
    "right": "the right end",
    "end": "the end",
    "along-left": "the left end of the along track",
    "along-right": "the right end of the along track",
    "across-left": "the left end of the across track",
    "across-right": "the right end of the across track",
}


def port_words(port: Port, pieces: Mapping[str, Piece]) -> str:
    """A port for people: ``the normal leg of T1``."""
    return f"{END_WORDS[port.end]} of {pieces[port.piece].title}"


@dataclass(frozen=True, slots=True)
class Joined:
    """What the `track` lines join, whether the track is finished or not: the pieces, and how they
    are joined. ``rows`` are the lines as written, one piece after the other."""

    pieces: Mapping[str, Piece]
    joints: tuple[Joint, ...]
    joint_at: Mapping[Port, Joint]
    rows: tuple[tuple[Placed, ...], ...]


def build_track(statements: Iterable[tree.Statement], names: Names) -> Track | None:
    """The track as one graph; None when an error was found (it is noted in ``names``)."""
    before = len(names.errors)
    drawn = _drawn(list(tree.of_kind(statements, tree.Track)), names)
    if drawn is None:
        return None
    _check_all_drawn(drawn.pieces, {place.piece for row in drawn.rows for place in row}, names)
    sound = len(names.errors)
    joined = _joined(drawn, names)
    if len(names.errors) == sound:
        _check_all_joined(joined.pieces, joined.joint_at, names)
    if len(names.errors) > before:
        return None
    onward = ways_onward(joined.pieces, joined.joint_at)
    return Track(joined.pieces, joined.joints, joined.joint_at, onward, joined.rows)


def join_up(statements: Iterable[tree.Statement], names: Names) -> Joined | None:
    """The pieces of track, joined as far as the lines join them; None where a line does not fit
    its pieces. Errors are noted in ``names``; that an end is not joined yet is none."""
    drawn = _drawn(list(tree.of_kind(statements, tree.Track)), names)
    return None if drawn is None else _joined(drawn, names)


class _Drawn(NamedTuple):
    """The `track` lines, and which pieces they name."""

    lines: list[tree.Track]
    pieces: Mapping[str, Piece]
    rows: list[list[Placed]]


def _drawn(lines: list[tree.Track], names: Names) -> _Drawn | None:
    before = len(names.errors)
    rows = [
        [_step_ends(step, i, len(line.steps), names) for i, step in enumerate(line.steps)]
        for line in lines
    ]
    # (A name that was reported before is not reported again.)
    if len(names.errors) > before or any(not kind for row in rows for kind, _, _ in row):
        return None
    stretches = _named(place_plain(lines, rows, names))
    if len(names.errors) > before:
        return None
    return _Drawn(lines, _pieces(names, stretches), _placed(lines, rows, stretches))


def _joined(drawn: _Drawn, names: Names) -> Joined:
    # With the wiring given, the effects of a missing gap are proved.
    gapless = any(declared.kind in ("feeder", "detector") for declared in names.table.values())
    joints, joint_at = _joints(drawn.lines, drawn.rows, drawn.pieces, names, gapless)
    rows = tuple(tuple(row) for row in drawn.rows)
    return Joined(drawn.pieces, tuple(joints), joint_at, rows)


def _step_ends(step: tree.PathStep, index: int, count: int, names: Names) -> StepEnds:
    """Kind of the element, the name of its end on the left, and on the right."""
    nothing = ("", "", "")
    declared = names.find(step.name, "block", "turnout", "crossing", "slip", "edge", "bumper")
    if declared is None:
        return nothing
    kind, leg = declared.kind, step.left or step.right
    one_leg = (step.left is None) != (step.right is None)
    if kind == "turnout":
        if not one_leg or leg not in ("normal", "reverse"):
            names.error("CP304", step.span, "leg", name=step.name.text)
            return nothing
        return (kind, leg, "points") if step.left else (kind, "points", leg)
    if kind in ("crossing", "slip"):
        if not one_leg or leg not in ("along", "across"):
            names.error("CP304", step.span, "crossing", kind=kind, name=step.name.text)
            return nothing
        return kind, f"{leg}-left", f"{leg}-right"
    if leg:
        names.error(
            "CP304", step.span, "plain" if kind == "block" else "end", name=step.name.text, leg=leg
        )
        return nothing
    if kind in ("edge", "bumper"):
        if 0 < index < count - 1:
            names.error("CP303", step.span, kind=kind, name=step.name.text)
            return nothing
        return kind, "end", "end"
    return "plain", "left", "right"


def _named(stretches: Iterable[Stretch]) -> dict[str, Stretch]:
    """Stretches by name: ``Main``, then ``Main/2`` ..."""
    counts: Counter[str] = Counter()
    named = {}
    for stretch in stretches:
        counts[stretch.block] += 1
        nth = counts[stretch.block]
        named[stretch.block if nth == 1 else f"{stretch.block}/{nth}"] = stretch
    return named


def _pieces(names: Names, stretches: Mapping[str, Stretch]) -> dict[str, Piece]:
    pieces: dict[str, Piece] = {}
    for name, stretch in stretches.items():
        pieces[name] = Piece(name, "plain", stretch.block, ("left", "right"), stretch.span)
    for name, declared in names.table.items():
        match declared.node:
            case tree.Turnout(block=block):
                ends: tuple[str, ...] = ("points", "normal", "reverse")
                pieces[name] = Piece(name, "turnout", block.text, ends, declared.span)
            case tree.Crossing(block=block):
                pieces[name] = Piece(name, "crossing", block.text, CROSSING_ENDS, declared.span)
            case tree.Slip(block=block, single=single):
                slips: tuple[tuple[str, str], ...] = (
                    ((f"{single[0]}-left", f"{single[1]}-right"),)
                    if single
                    else (("along-left", "across-right"), ("across-left", "along-right"))
                )
                pieces[name] = Piece(name, "slip", block.text, CROSSING_ENDS, declared.span, slips)
            case tree.Edge(direction=direction):
                pieces[name] = Piece(name, "edge", None, ("end",), declared.span, (), direction)
            case tree.Bumper():
                pieces[name] = Piece(name, "bumper", None, ("end",), declared.span)
            case _:
                pass
    return pieces


def _placed(
    lines: list[tree.Track], rows: list[list[StepEnds]], stretches: Mapping[str, Stretch]
) -> list[list[Placed]]:
    plain = {
        (row, place): (name, mirrored)
        for name, stretch in stretches.items()
        for row, place, mirrored in stretch.uses
    }
    placed: list[list[Placed]] = []
    for row, line in enumerate(lines):
        placed.append([])
        for i, step in enumerate(line.steps):
            kind, left, right = rows[row][i]
            name, mirrored = plain.get((row, i), (step.name.text, False))
            if kind == "plain" and mirrored:
                left, right = right, left
            placed[row].append(Placed(name, left, right))
    return placed


def _joints(
    lines: list[tree.Track],
    placed: list[list[Placed]],
    pieces: Mapping[str, Piece],
    names: Names,
    gapless: bool,
) -> tuple[list[Joint], dict[Port, Joint]]:
    joints: list[Joint] = []
    joint_at: dict[Port, Joint] = {}
    gaps: dict[str, Joint] = {}
    for line, row in zip(lines, placed, strict=True):
        for i, join in enumerate(line.joins):
            a = Port(row[i].piece, row[i].right)
            b = Port(row[i + 1].piece, row[i + 1].left)
            span = line.steps[i].span.to(line.steps[i + 1].span)
            gap = join.gap.text if join.gap else None
            joint = Joint(a, b, join.kind, gap, span)
            earlier = joint_at.get(a) or joint_at.get(b)
            if earlier and {earlier.a, earlier.b} == {a, b}:
                if (earlier.kind, earlier.gap) != (joint.kind, joint.gap):
                    names.error("CP301", span, "two_ways", others=[earlier.span])
                continue
            if earlier:
                taken = a if a in joint_at else b
                names.error(
                    "CP301",
                    span,
                    "points" if taken.end == "points" else "",
                    others=[earlier.span],
                    end=port_words(taken, pieces),
                )
                continue
            if a == b:
                names.error("CP303", span, "itself", name=pieces[a.piece].title)
                continue
            if gap and gap in gaps:
                names.error("CP202", join.span, "gaps", others=[gaps[gap].span], gap=gap)
            blocks = {pieces[port.piece].block for port in (a, b)} - {None}
            if join.kind == "=" and len(blocks) == 2 and not gapless:
                one, two = (pieces[port.piece].block or "" for port in (a, b))
                names.error("CP305", span, one=one, two=two)
            if gap:
                gaps[gap] = joint
            joints.append(joint)
            joint_at[a] = joint_at[b] = joint
    return joints, joint_at


def _check_all_drawn(pieces: Mapping[str, Piece], drawn: Set[str], names: Names) -> None:
    if pieces and not drawn:
        first = next(iter(pieces.values()))
        names.error("CP306", first.span, "nothing")
        return
    used = {piece.block for piece in pieces.values()}
    sound = not names.errors
    for name, declared in names.table.items():
        # An unused block may be the one meant by a misspelled name elsewhere.
        if declared.kind == "block" and name not in used and sound:
            names.error("CP306", declared.span, "block", name=name)
    for name, piece in pieces.items():
        if name not in drawn:
            names.error("CP306", piece.span, kind=piece.kind, name=name)


def _check_all_joined(
    pieces: Mapping[str, Piece], joint_at: Mapping[Port, Joint], names: Names
) -> None:
    drawn = {port.piece for port in joint_at}
    for name, piece in pieces.items():
        for end in piece.ends:
            if name in drawn and Port(name, end) not in joint_at:
                names.error("CP302", piece.span, end=port_words(Port(name, end), pieces))


def moves_over(piece: Piece) -> list[Move]:
    """Every way over one piece."""
    match piece.kind:
        case "plain":
            pairs: list[tuple[str, str, str | None]] = [("left", "right", None)]
        case "turnout":
            pairs = [("points", "normal", "normal"), ("points", "reverse", "reverse")]
        case "crossing":
            pairs = [("along-left", "along-right", None), ("across-left", "across-right", None)]
        case "slip":
            pairs = [
                ("along-left", "along-right", "normal"),
                ("across-left", "across-right", "normal"),
            ]
            pairs += [(a, b, "reverse") for a, b in piece.slips]
        case "edge" | "bumper":
            pairs = []
    both = [*pairs, *((b, a, position) for a, b, position in pairs)]
    choices = {enter: sum(1 for a, _, _ in both if a == enter) for enter in piece.ends}
    return [Move(piece.name, a, b, position, choices[a] > 1) for a, b, position in both]


def ways_onward(
    pieces: Mapping[str, Piece], joint_at: Mapping[Port, Joint]
) -> dict[Port, tuple[Onward, ...]]:
    """For each end by which a piece can be entered, the ways onward from there."""
    onward: dict[Port, tuple[Onward, ...]] = {
        Port(piece.name, end): () for piece in pieces.values() for end in piece.ends
    }
    for piece in pieces.values():
        for move in moves_over(piece):
            leaves = Port(piece.name, move.leave)
            joint = joint_at[leaves]
            way = Onward(move, joint, joint.other(leaves))
            onward[Port(piece.name, move.enter)] += (way,)
    return onward
