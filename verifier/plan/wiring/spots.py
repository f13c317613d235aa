"""Which spots of a block a train passes on each way through it.

In: the track, and the places of spots. Out: for each way through a block, by the legs of points and
the tracks of crossings that it takes, the spots beside it. A spot of which the file does not say
where it is in a block with points is beside no way for sure.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from verifier.plan.model import Move, Port, Track
from verifier.plan.wiring.wiring_model import EITHER, Number, SpotPlace


@dataclass(frozen=True, slots=True)
class WayThrough:
    """One way through a block: the ``legs`` that it takes, of turnouts, crossings and slips, and
    the ends of the block (``left`` and ``right`` as the `track` lines draw it) that it joins."""

    legs: frozenset[tuple[str, str]]
    left: frozenset[Port]
    right: frozenset[Port]


def ways_through(block: str, track: Track) -> tuple[WayThrough, ...]:
    """Every way through a block, each once, whichever way a train goes."""
    drawn: dict[Port, str] = {}
    for placed in (placed for row in track.rows for placed in row):
        drawn.setdefault(Port(placed.piece, placed.left), "left")
        drawn.setdefault(Port(placed.piece, placed.right), "right")
    found: dict[frozenset[tuple[str, frozenset[str]]], WayThrough] = {}
    for joint in track.joints:
        for outer, inner in ((joint.a, joint.b), (joint.b, joint.a)):
            if _inside(inner, block, track) and not _inside(outer, block, track):
                for moves in _onward(inner, block, track, ()):
                    key = frozenset((m.piece, frozenset((m.enter, m.leave))) for m in moves)
                    found.setdefault(key, _way(moves, track, drawn))
    return tuple(found.values())


def _inside(port: Port, block: str, track: Track) -> bool:
    return track.pieces[port.piece].block == block


def _onward(
    port: Port, block: str, track: Track, passed: tuple[Move, ...]
) -> Iterator[tuple[Move, ...]]:
    for move, _, leads_to in track.onward[port]:
        if move in passed:
            continue
        if _inside(leads_to, block, track):
            yield from _onward(leads_to, block, track, (*passed, move))
        else:
            yield (*passed, move)


def _way(moves: Sequence[Move], track: Track, drawn: dict[Port, str]) -> WayThrough:
    legs = frozenset(leg for move in moves for leg in _legs(move, track))
    ends = (Port(moves[0].piece, moves[0].enter), Port(moves[-1].piece, moves[-1].leave))
    left, right = (
        frozenset(end for end in ends if drawn.get(end) == side) for side in ("left", "right")
    )
    return WayThrough(legs, left, right)


def _legs(move: Move, track: Track) -> Iterator[tuple[str, str]]:
    kind = track.pieces[move.piece].kind
    if kind == "turnout":
        yield move.piece, move.position or ""
    elif kind in ("crossing", "slip"):
        for end in (move.enter, move.leave):
            yield move.piece, end.partition("-")[0]


def beside_each_way(
    spots: Sequence[SpotPlace], block: str, length: Number, track: Track
) -> tuple[tuple[int, ...], ...]:
    """The ways through a block, as far as they differ: of each the positions of the spots that it
    passes, from the left.

    A block with a single way passes all of them. Else a spot is passed where the file says over
    which leg of every turnout on the way it is measured, or where it stands at the one end of the
    block that all ways have in common."""
    passed = {beside for _, beside in spots_passed(spots, block, length, track)}
    whole = (tuple(range(len(spots))),)
    return tuple(sorted(passed, key=lambda way: (-len(way), way))) or whole


def spots_passed(
    spots: Sequence[SpotPlace], block: str, length: Number, track: Track
) -> tuple[tuple[WayThrough, tuple[int, ...]], ...]:
    """Each way through a block with the positions of the spots that it passes."""
    ways = ways_through(block, track)
    if len(ways) < 2:
        return tuple((way, tuple(range(len(spots)))) for way in ways)
    shared, named = _shared_ends(ways, length), [way.legs for way in ways]
    return tuple(
        (way, tuple(
            i for i, spot in enumerate(spots)
            if (not spot.over and spot.at in shared)
            or (named.count(way.legs) == 1 and _is_on(spot, way))
        ))
        for way in ways
    )  # fmt: skip


def on_all_ways(
    marks: Sequence[Number], block: str, length: Number, track: Track
) -> tuple[SpotPlace, ...]:
    """Spots at some distances from the left end of a block on every way through it; none where the
    file could not say so."""
    ways = ways_through(block, track)
    if len(ways) < 2:
        return tuple(map(SpotPlace, marks))
    shared = _shared_ends(ways, length)
    found = tuple(
        sorted(
            {
                SpotPlace(at, () if at in shared else tuple(sorted(way.legs)))
                for way in ways
                for at in marks
            }
        )
    )
    passed = beside_each_way(found, block, length, track)
    return found if all(len(spots) == len(marks) for spots in passed) else ()


def over_words(spot: SpotPlace) -> str:
    """What a file says after the distance of a spot: `` over normal T1``; mostly nothing."""
    legs = (f"{leg} {piece}".strip() for piece, leg in spot.over)
    return f" over {' and '.join(legs)}" if spot.over else ""


def _shared_ends(ways: Sequence[WayThrough], length: Number) -> frozenset[Number]:
    """The distances of the ends that all ways through a block have in common."""
    ends = {Number(0): [w.left for w in ways], length: [w.right for w in ways]}
    return frozenset(
        at for at, each in ends.items() if len(each[0]) == 1 and len(set(each)) == 1
    )  # fmt: skip


def _is_on(spot: SpotPlace, way: WayThrough) -> bool:
    """Whether the legs over which a spot is measured are just those of a way."""
    over = dict(spot.over)
    passed = {piece for piece, _ in way.legs}
    if not over or set(over) != passed:
        return False
    return all(over[piece] in (leg, EITHER) for piece, leg in way.legs)
