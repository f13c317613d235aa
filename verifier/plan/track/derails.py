"""Derails: the end of their block's track where they stand, and the trackwork they protect."""

from collections.abc import Iterable

from verifier.language.syntax import tree
from verifier.plan.model import Derail, Piece, Port, Track
from verifier.plan.names import Names
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
        derails.append(Derail(s.name.text, s.block.text, ahead[0], guards, s.span))
    return derails


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
