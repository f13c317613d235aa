"""Which routes conflict, and how: computed from the track, never only declared.

"Two or more routes, opposing, converging or intersecting, over which movements cannot be
made simultaneously without possibility of collision" (49 CFR 236.796).
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping

from verifier.plan.model import Conflict, ConflictKind, Move, Piece, Route


def find_conflicts(routes: Iterable[Route], pieces: Mapping[str, Piece]) -> tuple[Conflict, ...]:
    """Every conflict between two routes, one for each way in which they conflict.

    Two routes conflict where they use the same piece of track: `opposing` when they pass
    it in opposite directions, `converging` when they come onto it from different sides
    and leave the same way, `diverging` when they come onto it the same way (so both start
    from one place), `crossing` when they cross on the level.
    """
    routes = list(routes)
    by_piece: dict[str, list[tuple[int, Move]]] = defaultdict(list)
    for index, route in enumerate(routes):
        for move in route.moves:
            by_piece[move.piece].append((index, move))
    shared: dict[tuple[int, int], dict[ConflictKind, list[str]]] = defaultdict(dict)
    for index, route in enumerate(routes):
        for move in route.moves:
            for other, other_move in by_piece[move.piece]:
                if other <= index:
                    continue
                kind = meeting(move, other_move)
                shared[index, other].setdefault(kind, []).append(move.piece)
    conflicts = []
    for (i, j), kinds in sorted(shared.items()):
        for kind, places in _distinct(kinds):
            place = pieces[places[0]].title
            conflicts.append(
                Conflict(routes[i], routes[j], kind, place, tuple(dict.fromkeys(places)))
            )
    return tuple(conflicts)


def meeting(one: Move, two: Move) -> ConflictKind:
    """How two moves over the same piece meet."""
    if one.enter == two.leave or one.leave == two.enter:
        return "opposing"
    if one.enter == two.enter:
        return "diverging"
    if one.leave == two.leave:
        return "converging"
    return "crossing"


def _distinct(
    kinds: Mapping[ConflictKind, list[str]],
) -> list[tuple[ConflictKind, list[str]]]:
    """The ways two routes conflict, with the pieces where they do.

    Two routes that start at one place share track before they part: that is diverging
    only. Two that have run together go on together, which says nothing new.
    """
    rest: list[tuple[ConflictKind, list[str]]] = [
        (kind, places) for kind, places in kinds.items() if kind != "diverging"
    ]
    return rest or list(kinds.items())
