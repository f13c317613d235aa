"""Derails: the end of their block's track where they stand, and the trackwork they protect."""

from collections.abc import Iterable

from verifier.language.diagnostics.registry import Hint
from verifier.language.syntax import tree
from verifier.plan.clause_reader import ClauseReader, at_most_one
from verifier.plan.model import Derail, Piece, Pipe, Port, Track
from verifier.plan.names import KIND_WORDS, Names
from verifier.plan.track.limits import SPECIAL


def find_derails(statements: Iterable[tree.Statement], track: Track, names: Names) -> list[Derail]:
    """The derails of a file; errors are noted."""
    derails = []
    for s in tree.of_kind(statements, tree.Derail):
        on = names.find(s.block, "block")
        toward = names.table.get(s.toward.text)
        if toward is None:
            names.unknown(s.toward, ("block", "turnout"))
        if on is None or toward is None:
            continue
        ports = [
            Port(p.name, end)
            for p in track.pieces.values()
            if p.kind == "plain" and p.block == s.block.text
            for end in p.ends
        ]
        if not ports:
            names.error("CP311", s.block.span, "no_track", block=s.block.text, name=s.name.text)
            continue
        ahead = [port for port in ports if s.toward.text in _names(_ahead_of(port, track))]
        ahead = ahead or [port for port in ports if s.toward.text in _all_met(port, track)]
        if len(ahead) != 1:
            names.error(
                "CP311",
                s.toward.span,
                block=s.block.text,
                name=s.name.text,
                beside=dict.fromkeys(_ahead_of(port, track).title for port in ports),
            )
            continue
        guards = _guards(ahead[0], track)
        pipe = _pipe(s, names)
        derails.append(Derail(s.name.text, s.block.text, ahead[0], guards, s.span, pipe))
    return derails


def is_pipe_connected(statement: tree.Statement) -> bool:
    """Whether it declares a derail that has no position of its own, but lies as its points do."""
    return isinstance(statement, tree.Derail) and any(
        clause.kind == "pipe-connected" for clause in statement.clauses
    )


def _pipe(node: tree.Derail, names: Names) -> Pipe | None:
    """What a derail is pipe-connected to. Errors are noted."""
    clause = ClauseReader(node.clauses, names).get("pipe-connected")
    if clause is None:
        return None
    points, *more = clause.names
    if more:
        names.error("CP762", clause.span, "several", name=node.name.text, count=len(clause.names))
        return None
    declared = names.table.get(points.text)
    if declared is None:
        names.unknown(points, ("turnout", "slip"))
        return None
    if declared.kind not in ("turnout", "slip"):
        variant = "itself" if points.text == node.name.text else ""
        hint = Hint("points")
        if isinstance(declared.node, tree.Crossover):
            hint = Hint("crossover_ends", ends=[end.text for end in declared.node.ends])
        what = KIND_WORDS[declared.kind]
        names.error("CP762", points.span, variant, hints=[hint], name=points.text, what=what)
        return None
    legs = at_most_one(clause.words, "position", names)
    if len(legs) > 1:
        names.error("CP762", clause.span, "both", name=node.name.text, points=points.text)
        return None
    return Pipe(points.text, "reverse" if legs == ("reverse",) else "normal", clause.span)


def _ahead_of(port: Port, track: Track) -> Piece:
    """The piece that an end of another one meets."""
    return track.pieces[track.joint_at[port].other(port).piece]


def _names(piece: Piece) -> set[str]:
    return {piece.name, piece.title}


def _all_met(port: Port, track: Track) -> set[str]:
    """Names of all pieces and blocks reached outward from ``port``, not back through it."""
    met: set[str] = set()
    stack, seen = [track.joint_at[port].other(port)], {port.piece}
    while stack:
        entered = stack.pop()
        if entered.piece in seen:
            continue
        seen.add(entered.piece)
        piece = track.pieces[entered.piece]
        met |= _names(piece) | ({piece.block} if piece.block else set())
        for end in piece.ends:
            own = Port(piece.name, end)
            stack.append(track.joint_at[own].other(own))
    return met


def _guards(port: Port, track: Track) -> str | None:
    """The first turnout, crossing or slip outward from a derail."""
    for _ in track.pieces:
        port = track.joint_at[port].other(port)
        piece = track.pieces[port.piece]
        if piece.kind in SPECIAL:
            return piece.name
        if piece.kind != "plain":
            return None
        port = Port(piece.name, "left" if port.end == "right" else "right")
    return None
