"""Every route from every signal to the next signal the same way, from geometry alone."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from verifier.language.source import Span
from verifier.plan.model import Joint, Move, Need, Piece, Port, Route, Track
from verifier.plan.names import Names

MAX_ROUTES = 300

# What routes need of a signal: its name, the end by which its track is entered, its place.
Posts = Mapping[str, tuple[Port, Span]]


def find_routes(posts: Posts, track: Track, names: Names) -> tuple[Route, ...]:
    """All routes, in the order of the signals and of the track.

    Errors (a route that runs into itself, too many routes) are noted in ``names``."""
    facing = entered_under_signal(posts)
    routes: list[Route] = []
    for signal, (enters, span) in posts.items():
        found: list[Route] = []
        for moves, joints, port in _walk(enters, track, facing):
            if port is None:
                back = track.pieces[moves[-1].piece]
                names.error("CP310", span, others=[back.span], signal=signal, title=back.title)
                break
            found.append(_route(signal, moves, joints, port, track.pieces, facing))
            if len(found) > MAX_ROUTES:
                names.error("CP312", span, most=MAX_ROUTES, signal=signal)
                break
        routes += _with_names(found)
    return tuple(routes)


def entered_under_signal(posts: Posts) -> dict[Port, str]:
    """The ends that are entered past a signal, and the first signal there."""
    facing: dict[Port, str] = {}
    for signal, (port, _) in posts.items():
        facing.setdefault(port, signal)
    return facing


def _walk(
    enters: Port, track: Track, facing: Mapping[Port, str]
) -> Iterator[tuple[tuple[Move, ...], tuple[Joint, ...], Port | None]]:
    """Each way onward from ``enters``, with the end at which it stops: one that is
    entered past a signal, or an end of the plan. None where it runs into itself."""
    stack: list[tuple[Port, tuple[Move, ...], tuple[Joint, ...]]] = [(enters, (), ())]
    while stack:
        port, moves, joints = stack.pop()
        if moves and (port in facing or track.pieces[port.piece].kind in ("edge", "bumper")):
            yield moves, joints, port
            continue
        onward = []
        for move, joint, leads_to in track.onward[port]:
            if any(_meets(move, earlier, track.pieces) for earlier in moves):
                yield (*moves, move), joints, None
                return
            onward.append((leads_to, (*moves, move), (*joints, joint)))
        if not moves and not onward:  # a signal right at the end of the plan
            yield moves, joints, port
        stack.extend(reversed(onward))


def _meets(move: Move, earlier: Move, pieces: Mapping[str, Piece]) -> bool:
    """True when a path comes back to a piece it ran over: the two tracks of one crossing
    excepted, which it may use one after the other."""
    if move.piece != earlier.piece:
        return False
    if pieces[move.piece].kind == "crossing":
        return move.enter.split("-")[0] == earlier.enter.split("-")[0]
    return True


def _route(
    signal: str,
    moves: tuple[Move, ...],
    joints: tuple[Joint, ...],
    port: Port,
    pieces: Mapping[str, Piece],
    facing: Mapping[Port, str],
) -> Route:
    needs = tuple(Need(m.piece, m.position, m.facing) for m in moves if m.position is not None)
    blocks = dict.fromkeys(b for m in moves if (b := pieces[m.piece].block) is not None)
    last = pieces[port.piece]
    at_end = last.kind in ("edge", "bumper") and port not in facing
    return Route(
        name="",
        signal=signal,
        moves=moves,
        joints=joints,
        needs=needs,
        blocks=tuple(blocks),
        exit_kind="signal" if not at_end else "edge" if last.kind == "edge" else "bumper",
        exit=last.name if at_end else facing[port],
    )


def _with_names(found: list[Route]) -> list[Route]:
    """Routes named by where they lead; by their turnouts too where that is not enough."""
    named = []
    for route in found:
        name = f"{route.signal} to {route.exit}"
        others = [other for other in found if other.exit == route.exit]
        if len(others) > 1:
            name += f" {via(differing(route, others))}"
        named.append(replace(route, name=name))
    return named


def differing(route: Route, others: Iterable[Route]) -> list[Need]:
    """The points that distinguish one of several routes from the others."""
    apart = [{(n.points, n.position) for n in other.needs} for other in others]
    return [n for n in route.needs if any((n.points, n.position) not in other for other in apart)]


def via(needs: Iterable[Need]) -> str:
    """``via T1 normal, T2 reverse``."""
    return "via " + ", ".join(f"{need.points} {need.position}" for need in needs)
