"""Interlocking limits: the tracks between opposing home signals (49 CFR 236.753).

Declared limits are bounded by the signals they name. Trackwork that no declared limits
contain has limits computed: outward from each turnout, crossing and slip to the nearest
signals. Derails that keep stock out bound both kinds.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Set
from typing import NamedTuple

from verifier.language.source import Span
from verifier.plan.model import Derail, Entrance, Limits, Port, Track
from verifier.plan.track.build_track import moves_over
from verifier.plan.track.routes import Posts

SPECIAL = ("turnout", "crossing", "slip")
ENDS = ("edge", "bumper")

# Whether the limits go on from one end of a piece to the neighbor's end.
_Passes = Callable[[Port, Port], bool]


class _SearchContext(NamedTuple):
    """The track that the search for limits runs over."""

    track: Track
    # Signals by the end entered past them: facing ``port`` means governing moves into it.
    by_port: Mapping[Port, tuple[str, ...]]
    # Derails by the end they stand at: they throw off what comes out of that end.
    derail_at: Mapping[Port, str]


def find_limits(
    declared: Iterable[tuple[str, tuple[str, ...], Span]],
    posts: Posts,
    track: Track,
    derails: Iterable[Derail],
) -> tuple[Limits, ...]:
    """Declared limits first, then computed ones, in the order of the file."""
    by_port: dict[Port, tuple[str, ...]] = {}
    for signal, (port, _) in posts.items():
        by_port[port] = (*by_port.get(port, ()), signal)
    derail_at = {d.port: d.name for d in derails}
    ground = _SearchContext(track, by_port, derail_at)

    def no_signal(own: Port, other: Port) -> bool:
        return own not in by_port and other not in by_port

    found: list[Limits] = []
    covered: set[str] = set()
    for name, signals, span in declared:
        known = {s for s in signals if s in posts}
        inside = _inside_declared((posts[s][0] for s in known), known, ground)
        found.append(_limits(name, inside, span, ground))
        covered |= inside
    for piece in track.pieces.values():
        if piece.kind in SPECIAL and piece.name not in covered:
            inside = _spread({piece.name}, ground, no_signal)
            covered |= inside
            found.append(_limits(piece.name, inside, piece.span, ground))
    return tuple(found)


def _neighbors(piece: str, track: Track) -> Iterator[tuple[Port, Port]]:
    """Each end of a piece, and the neighbor's end that it meets."""
    ports = (Port(piece, end) for end in track.pieces[piece].ends)
    return ((port, track.joint_at[port].other(port)) for port in ports)


def _inside_declared(starts: Iterable[Port], signals: Set[str], ground: _SearchContext) -> set[str]:
    """Pieces reached from the home signals without passing another of them outward."""

    def passes(own: Port, other: Port) -> bool:
        return all(signals.isdisjoint(ground.by_port.get(port, ())) for port in (own, other))

    return _spread({port.piece for port in starts}, ground, passes)


def _spread(starts: set[str], ground: _SearchContext, passes: _Passes) -> set[str]:
    inside = set(starts)
    stack = sorted(starts)
    while stack:
        for own, other in _neighbors(stack.pop(), ground.track):
            if other.piece in inside or ground.track.pieces[other.piece].kind in ENDS:
                continue
            if other not in ground.derail_at and passes(own, other):
                inside.add(other.piece)
                stack.append(other.piece)
    return inside


def _limits(name: str, inside: set[str], span: Span, ground: _SearchContext) -> Limits:
    ordered = tuple(n for n in ground.track.pieces if n in inside)
    entrances: dict[str, Entrance] = {}
    for piece in ordered:
        for own, other in _neighbors(piece, ground.track):
            if other.piece not in inside:
                for entrance in _ways_in(own, other, ground):
                    # Of several ways in from one end, one that no derail guards counts.
                    known = entrances.get(entrance.end)
                    if known is None or (known.derail and not entrance.derail):
                        entrances[entrance.end] = entrance
    return Limits(name, ordered, tuple(entrances.values()), span)


def _ways_in(own: Port, outside: Port, ground: _SearchContext) -> Iterator[Entrance]:
    """How a train can come to the limits' end ``own`` from outside: backward along every
    way that leads there, to the first signal that governs it or to an end of the plan."""
    stack: list[tuple[Port, Port, str | None]] = [(own, outside, None)]
    seen: set[tuple[Port, bool]] = set()
    while stack:
        inward, from_port, derail = stack.pop()
        derail = derail or ground.derail_at.get(from_port)
        if (from_port, derail is None) in seen:
            continue
        seen.add((from_port, derail is None))
        if inward in ground.by_port:
            yield Entrance(ground.by_port[inward][0], "signal", derail)
            continue
        piece = ground.track.pieces[from_port.piece]
        if piece.kind == "edge" or piece.kind == "bumper":
            if piece.direction != "leaving":
                yield Entrance(piece.name, piece.kind, derail)
            continue
        for move in moves_over(piece):
            if move.leave == from_port.end:
                enter = Port(piece.name, move.enter)
                stack.append((enter, ground.track.joint_at[enter].other(enter), derail))
