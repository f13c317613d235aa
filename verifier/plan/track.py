"""From the `track` lines to pieces and joints.

Turnouts, crossings, slips and ends have ends of their own name, so wherever they are
written the joint is clear. Plain track goes by its block's name only, and one block may
have several stretches of it (before and after a spur switch, say). Which stretch a line
means follows from its neighbours: see :func:`_place_plain`.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

import networkx as nx

from verifier.language import syntax
from verifier.language.source import Span
from verifier.plan.model import Joint, Move, Piece, Placed, Port, Track
from verifier.plan.names import Names

CROSSING_ENDS = ("along-left", "along-right", "across-left", "across-right")
END_WORDS = {
    "points": "the points end",
    "normal": "the normal leg",
    "reverse": "the reverse leg",
    "left": "the left end",
    "right": "the right end",
    "end": "the end",
    "along-left": "the left end of the track along",
    "along-right": "the right end of the track along",
    "across-left": "the left end of the track across",
    "across-right": "the right end of the track across",
}


def port_words(port: Port, pieces: Mapping[str, Piece]) -> str:
    """A port for people: ``the normal leg of T1``."""
    return f"{END_WORDS[port.end]} of {pieces[port.piece].title}"


class _Side(NamedTuple):
    """What a stretch of plain track is joined to on one side, as written."""

    name: str
    end: str
    kind: str
    gap: str


@dataclass(slots=True)
class _Stretch:
    """One stretch of plain track: what is known of its two sides, and its uses."""

    block: str
    row: int
    left: _Side | None
    right: _Side | None
    span: Span
    # (row, step, read the other way round)
    uses: list[tuple[int, int, bool]]


def build_track(statements: Iterable[syntax.Statement], names: Names) -> Track | None:
    """The track as one graph; None when an error was found (it is noted in ``names``)."""
    before = len(names.errors)
    lines = [s for s in statements if isinstance(s, syntax.Track)]
    rows: list[list[tuple[str, str, str]]] = []  # kind, left end, right end per step
    for line in lines:
        rows.append([_step_ends(step, i, len(line.steps), names)
                     for i, step in enumerate(line.steps)])  # fmt: skip
    if len(names.errors) > before:
        return None
    stretches = _place_plain(lines, rows, names)
    if len(names.errors) > before:
        return None
    pieces = _pieces(names, stretches)
    placed = _placed(lines, rows, stretches)
    joints, joint_at = _joints(lines, placed, pieces, names)
    _check_all_joined(pieces, joint_at, names)
    if len(names.errors) > before:
        return None
    graph = movement_graph(pieces, joint_at)
    return Track(pieces, tuple(joints), joint_at, graph, tuple(tuple(row) for row in placed))


def _step_ends(step: syntax.Step, index: int, count: int, names: Names) -> tuple[str, str, str]:
    """Kind of the element, the name of its end on the left, and on the right."""
    nothing = ("", "", "")
    declared = names.find(step.name, "block", "turnout", "crossing", "slip", "edge", "bumper")
    if declared is None:
        return nothing
    kind, leg = declared.kind, step.left or step.right
    if kind == "turnout":
        if (step.left is None) == (step.right is None) or leg not in ("normal", "reverse"):
            names.error(
                "CP304",
                f"which leg of turnout `{step.name.text}` does this track take?",
                step.span,
                f"Write `normal {step.name.text}` or `reverse {step.name.text}` where the legs "
                f"are on the left, `{step.name.text} normal` or `{step.name.text} reverse` where "
                "they are on the right.",
            )
            return nothing
        return (kind, leg, "points") if step.left else (kind, "points", leg)
    if kind in ("crossing", "slip"):
        if (step.left is None) == (step.right is None) or leg not in ("along", "across"):
            names.error(
                "CP304",
                f"which of the two tracks of {kind} `{step.name.text}` is this?",
                step.span,
                f"Write `along {step.name.text}` or `across {step.name.text}`.",
            )
            return nothing
        return kind, f"{leg}-left", f"{leg}-right"
    if leg:
        names.error(
            "CP304",
            f"`{step.name.text}` is {'plain track' if kind == 'block' else 'an end'}: it has no "
            f"{leg} leg",
            step.span,
            "Only turnouts, crossings and slips have legs.",
        )
        return nothing
    if kind in ("edge", "bumper"):
        if 0 < index < count - 1:
            names.error(
                "CP303",
                f"track goes on beyond the {kind} `{step.name.text}`",
                step.span,
                f"A {kind} is where a track ends: it stands first or last on a `track` line.",
            )
            return nothing
        return kind, "end", "end"
    return "plain", "left", "right"


def _place_plain(
    lines: list[syntax.Track], rows: list[list[tuple[str, str, str]]], names: Names
) -> list[_Stretch]:
    """Which stretch of plain track each step means.

    Within one line, two steps with the same block are two stretches, except that a line
    which ends with the name it began with closes a circle. In another line a step means
    the stretch that fits: every side that both know is the same. Failing that it may be
    the same stretch read from right to left.
    """
    stretches: list[_Stretch] = []
    for row, line in enumerate(lines):
        here: list[_Stretch] = []
        for i, step in enumerate(line.steps):
            if rows[row][i][0] != "plain":
                continue
            if i and line.steps[i - 1].name.text == step.name.text:
                names.error(
                    "CP303",
                    f"`{step.name.text}` runs into itself",
                    line.steps[i - 1].span.to(step.span),
                    "Two pieces of track that meet at a gap need two blocks.",
                )
                continue
            left = _side(line, rows[row], i - 1, i - 1, of_left=True)
            right = _side(line, rows[row], i + 1, i, of_left=False)
            here.append(_Stretch(step.name.text, row, left, right, step.span, [(row, i, False)]))
        first, last = (here[0], here[-1]) if len(here) > 1 else (None, None)
        if (
            first and last and first.block == last.block
            and first.left is None and last.right is None
        ):  # fmt: skip
            first.left = last.left
            first.uses += last.uses
            here.pop()
        for stretch in here:
            _merge(stretch, stretches, names)
    return stretches


def _side(
    line: syntax.Track, row: list[tuple[str, str, str]], step: int, join: int, *, of_left: bool
) -> _Side | None:
    if not 0 <= step < len(line.steps):
        return None
    kind, left, right = row[step]
    end = "" if kind == "plain" else (right if of_left else left)
    written = line.joins[join]
    gap = written.gap.text if written.gap else ""
    return _Side(line.steps[step].name.text, end, written.kind, gap)


def _merge(new: _Stretch, stretches: list[_Stretch], names: Names) -> None:
    """Add ``new``, or find that it is a stretch another line wrote already."""
    known = [s for s in stretches if s.block == new.block and s.row != new.row]
    for mirrored in (False, True):
        left, right = (new.right, new.left) if mirrored else (new.left, new.right)
        fits = []
        for old in known:
            same = [a == b for a, b in ((old.left, left), (old.right, right)) if a and b]
            if all(same) and (same or not mirrored):
                fits.append((-len(same), stretches.index(old), old))
        if fits:
            old = min(fits, key=lambda fit: fit[:2])[2]
            old.left, old.right = old.left or left, old.right or right
            old.uses += [(row, step, mirrored) for row, step, _ in new.uses]
            return
    if known and (new.left is None or new.right is None):
        side, other = ("right", known[0].right) if new.left is None else ("left", known[0].left)
        to = f" to `{other.name}`" if other else ""
        names.error(
            "CP301",
            f"the {side} end of `{new.block}` is joined already{to}",
            new.span,
            "A piece of track has two ends. If this is another stretch of the same block, "
            "write what lies on both its sides.",
            ((known[0].span, "joined here"),),
        )
        return
    stretches.append(new)


def _pieces(names: Names, stretches: list[_Stretch]) -> dict[str, Piece]:
    pieces: dict[str, Piece] = {}
    counts: dict[str, int] = {}
    for stretch in stretches:
        counts[stretch.block] = nth = counts.get(stretch.block, 0) + 1
        name = stretch.block if nth == 1 else f"{stretch.block}/{nth}"
        pieces[name] = Piece(name, "plain", stretch.block, ("left", "right"), stretch.span)
    for name, declared in names.table.items():
        match declared.node:
            case syntax.Turnout(block=block):
                ends: tuple[str, ...] = ("points", "normal", "reverse")
                pieces[name] = Piece(name, "turnout", block.text, ends, declared.span)
            case syntax.Crossing(block=block):
                pieces[name] = Piece(name, "crossing", block.text, CROSSING_ENDS, declared.span)
            case syntax.Slip(block=block, single=single):
                slips: tuple[tuple[str, str], ...] = (
                    ((f"{single[0]}-left", f"{single[1]}-right"),)
                    if single
                    else (("along-left", "across-right"), ("across-left", "along-right"))
                )
                pieces[name] = Piece(name, "slip", block.text, CROSSING_ENDS, declared.span, slips)
            case syntax.Edge(direction=direction):
                pieces[name] = Piece(name, "edge", None, ("end",), declared.span, (), direction)
            case syntax.Bumper():
                pieces[name] = Piece(name, "bumper", None, ("end",), declared.span)
            case _:
                pass
    return pieces


def _placed(
    lines: list[syntax.Track],
    rows: list[list[tuple[str, str, str]]],
    stretches: list[_Stretch],
) -> list[list[Placed]]:
    plain: dict[tuple[int, int], tuple[str, bool]] = {}
    counts: dict[str, int] = {}
    for stretch in stretches:
        counts[stretch.block] = nth = counts.get(stretch.block, 0) + 1
        name = stretch.block if nth == 1 else f"{stretch.block}/{nth}"
        for row, place, mirrored in stretch.uses:
            plain[row, place] = name, mirrored
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
    lines: list[syntax.Track],
    placed: list[list[Placed]],
    pieces: Mapping[str, Piece],
    names: Names,
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
                    names.error(
                        "CP301",
                        "this joint is written in two ways",
                        span,
                        "Write the same join sign and gap name in both places.",
                        ((earlier.span, "the other way is here"),),
                    )
                continue
            if earlier:
                taken = a if a in joint_at else b
                names.error(
                    "CP301",
                    f"{port_words(taken, pieces)} is joined twice",
                    span,
                    "Every leg and every end of a track is joined to one thing only.",
                    ((earlier.span, "the first time is here"),),
                )
                continue
            if a == b:
                names.error("CP303", f"{pieces[a.piece].title} runs into itself", span)
                continue
            if gap and gap in gaps:
                names.error(
                    "CP202",
                    f"two gaps are called `{gap}`",
                    join.span,
                    "Give every gap a name of its own.",
                    ((gaps[gap].span, "the first one is here"),),
                )
            blocks = {pieces[port.piece].block for port in (a, b)} - {None}
            if join.kind == "=" and len(blocks) == 2:
                one, two = (pieces[port.piece].block for port in (a, b))
                names.error(
                    "CP305",
                    f"no gap between block {one} and block {two}",
                    span,
                    "Write `|` (or `||`): two blocks that share a rail are one block to a "
                    "detector.",
                )
            if gap:
                gaps[gap] = joint
            joints.append(joint)
            joint_at[a] = joint_at[b] = joint
    return joints, joint_at


def _check_all_joined(
    pieces: Mapping[str, Piece], joint_at: Mapping[Port, Joint], names: Names
) -> None:
    drawn = {port.piece for port in joint_at}
    for name, declared in names.table.items():
        if declared.kind == "block" and not any(p.block == name for p in pieces.values()):
            names.error(
                "CP306",
                f"block `{name}` lies on no track",
                declared.span,
                "Draw it on a `track` line, or put a turnout or crossing in it.",
            )
    for name, piece in pieces.items():
        if name not in drawn:
            names.error(
                "CP306",
                f"{piece.kind} `{name}` stands on no track",
                piece.span,
                "Draw it on a `track` line.",
            )
            continue
        for end in piece.ends:
            if Port(name, end) not in joint_at:
                names.error(
                    "CP302",
                    f"{port_words(Port(name, end), pieces)} leads nowhere",
                    piece.span,
                    "Join it on a `track` line: to more track, to an `edge` where the plan "
                    "stops, or to a `bumper`.",
                )


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


def movement_graph(
    pieces: Mapping[str, Piece], joint_at: Mapping[Port, Joint]
) -> "nx.DiGraph[Port]":
    """The directed graph of :class:`Track`."""
    graph: nx.DiGraph[Port] = nx.DiGraph()
    for piece in pieces.values():
        for end in piece.ends:
            graph.add_node(Port(piece.name, end))
        for move in moves_over(piece):
            leaves = Port(piece.name, move.leave)
            joint = joint_at[leaves]
            graph.add_edge(
                Port(piece.name, move.enter), joint.other(leaves), move=move, joint=joint
            )
    return graph
