"""How trains move in one step, worked out directly from the plan.

Part of the reference, beside :mod:`verifier.reference.step`. In: the track and all that is so
at a moment, its choices included. Out: which pieces and joints trains are on next, and whether
trains meet or leave the rails.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from verifier.plan.model import Port, Signal
from verifier.plan.observables import Choice
from verifier.reference.positions import NO_TRACK, POINTS, Crossing, Positions


@dataclass(frozen=True, slots=True)
class Now:
    """All that trains go by at a moment. ``chosen``: what is chosen, by kind and name.
    ``coming_in``: the edges that have a rule of their own, and whether trains come in."""

    on: Mapping[str, bool]
    heading: Mapping[str, str]
    spanned: Mapping[str, bool]
    restricted: Mapping[str, bool]
    lies: Mapping[str, str]
    moving: Mapping[str, bool]
    permits: Mapping[str, bool]
    proceeds: Mapping[str, bool]
    late: Mapping[str, bool]
    coming_in: Mapping[str, bool]
    chosen: Callable[[Choice, str], bool]


class Front(NamedTuple):
    """A front that comes in to a piece by an end of it."""

    into: Port
    joint: str
    slow: bool


@dataclass(slots=True)
class Moved:
    """What trains leave behind: only what is otherwise than before."""

    on: dict[str, bool]
    heading: dict[str, str]
    spanned: dict[str, bool]
    restricted: dict[str, bool]
    meets: set[str]
    derails: set[str]


def move_trains(places: Positions, now: Now) -> Moved:
    """One step of all trains."""
    moved = Moved({}, {}, {}, {}, set(), set())
    turning = pieces_turning(places, now)
    for piece in turning:
        moved.heading[piece] = _other_end(places, Port(piece, now.heading[piece])).end
    fronts: dict[str, list[Front]] = {}
    for joint in places.joints:
        port, other = places.joints[joint].a, places.joints[joint].b
        busy = now.spanned[joint] or now.on.get(port.piece) or now.on.get(other.piece)
        if busy and now.chosen("advance", joint):
            for front in _go_over(places, now, joint, turning, moved):
                fronts.setdefault(front.into.piece, []).append(front)
    for entry in _entries(places, now):
        fronts.setdefault(entry.into.piece, []).append(entry)
    for piece, coming in fronts.items():
        _come_in(places, now, piece, coming, moved)
    for piece in places.pieces:
        if places.kind(piece) in POINTS and now.on[piece] and now.moving[piece]:
            moved.derails.add(piece)
    return moved


# ------------------------------------------------------------------ over joints


def _go_over(
    places: Positions, now: Now, joint: str, turning: set[str], moved: Moved
) -> Iterator[Front]:
    """Fronts and tails that go over a joint."""
    for step in places.steps_over(joint):
        piece = step.entered.piece
        if not now.on[piece] or piece in turning or not _leads(now, step):
            continue
        if now.spanned[joint]:
            others = [other for other in places.joints_of(piece) if other != joint]
            if not any(now.spanned[other] for other in others):
                moved.on[piece] = False
                moved.spanned[joint] = False
        elif _passes(places, now, piece, step.next):
            if places.kind(step.next.piece) == "edge":
                if places.track.pieces[step.next.piece].direction != "entering":
                    moved.spanned[joint] = True
            else:
                came = now.restricted[piece]
                yield Front(step.next, joint, _is_slow(places, now, step.next, came))
    _follow_in(places, now, joint, turning, moved)


def _follow_in(places: Positions, now: Now, joint: str, turning: set[str], moved: Moved) -> None:
    """The tail of a train that is coming in over an edge."""
    if not now.spanned[joint]:
        return
    ends = (places.joints[joint].a, places.joints[joint].b)
    for edge, port in (ends, ends[::-1]):
        if places.kind(edge.piece) != "edge" or port.piece not in places.pieces:
            continue
        came_by = now.on[port.piece] and now.heading[port.piece] == port.end
        if came_by and port.piece not in turning:
            moved.spanned[joint] = False


def _leads(now: Now, step: Crossing) -> bool:
    """Whether a train's heading and the points under it lead it over a joint."""
    if now.heading[step.entered.piece] != step.entered.end:
        return False
    return step.position is None or now.lies[step.entered.piece] == step.position


def _passes(places: Positions, now: Now, piece: str, into: Port) -> bool:
    """Whether the train on a piece goes on past the signal at its end, if there is one: one that
    is ready to stop short of anything stops at it."""
    signal = places.signal_at.get(into)
    if signal is None or now.permits[signal.name]:
        return True
    return now.late[signal.name] and not now.restricted[piece]


def _may_pass(places: Positions, now: Now, into: Port) -> bool:
    signal = places.signal_at.get(into)
    return signal is None or now.permits[signal.name] or now.late[signal.name]


def _is_slow(places: Positions, now: Now, into: Port, came_restricted: bool) -> bool:
    """Whether a front comes in ready to stop short of anything."""
    block = places.track.pieces[into.piece].block
    if block is not None and places.plan.blocks[block].switching:
        return True
    signal = places.signal_at.get(into)
    if signal is not None:
        return now.permits[signal.name] and not now.proceeds[signal.name]
    return came_restricted


# ------------------------------------------------------------------ coming in


def _come_in(places: Positions, now: Now, piece: str, coming: list[Front], moved: Moved) -> None:
    if now.on[piece] or len(coming) > 1:
        if any(not front.slow for front in coming):
            moved.meets.add(piece)
    else:
        (front,) = coming
        moved.on[piece] = True
        moved.heading[piece] = front.into.end
        moved.spanned[front.joint] = True
        moved.restricted[piece] = front.slow
    if any(not _goes_on(places, now, front.into) for front in coming):
        moved.derails.add(piece)


def _goes_on(places: Positions, now: Now, entered: Port) -> bool:
    ways = places.track.onward[entered]
    positions = [way.move.position for way in ways]
    return any(p is None or p == now.lies[entered.piece] for p in positions)


def _entries(places: Positions, now: Now) -> Iterator[Front]:
    """Trains that come in over the edges of the plan."""
    for name, piece in places.track.pieces.items():
        if piece.kind != "edge" or piece.direction == "leaving":
            continue
        edge = Port(name, piece.ends[0])
        into, joint = places.beyond(edge), places.joint_beside(edge)
        if joint not in places.joints or into.piece not in places.pieces or now.spanned[joint]:
            continue
        let_in = _may_pass(places, now, into) and _lets_in(places, now, edge, into)
        if let_in and now.chosen("entry", name):
            yield Front(into, joint, _is_slow(places, now, into, came_restricted=False))


def _lets_in(places: Positions, now: Now, edge: Port, into: Port) -> bool:
    if edge.piece in now.coming_in:
        return now.coming_in[edge.piece]
    return not now.on[into.piece] and not _comes_out(places, now, edge)


def _comes_out(places: Positions, now: Now, edge: Port) -> bool:
    """Whether a train may come out to an edge: there is one on its way, or one may pass a
    signal to it."""
    waiting, been = [edge], set()
    while waiting:
        entered = waiting.pop()
        if entered in been:
            continue
        been.add(entered)
        leaves = places.beyond(entered)
        signal: Signal | None = places.signal_at.get(entered)
        if signal is not None:
            if _may_pass(places, now, entered) and _is_before(places, now, signal):
                return True
            continue
        if places.kind(leaves.piece) in NO_TRACK:
            continue
        for way in places.backward(leaves):
            position = way.move.position
            if position is not None and now.lies[leaves.piece] != position:
                continue
            if now.on[leaves.piece] and now.heading[leaves.piece] == way.entered.end:
                return True
            waiting.append(way.entered)
    return False


def _is_before(places: Positions, now: Now, signal: Signal) -> bool:
    """Whether a train is on its way to a signal: on the approach, or right before it."""
    if any(
        now.on[port.piece] and now.heading[port.piece] == port.end
        for port in places.approach(signal)
    ):
        return True
    leaves = places.beyond(signal.enters)
    if places.kind(leaves.piece) in NO_TRACK or not now.on[leaves.piece]:
        return False
    return any(
        now.heading[leaves.piece] == way.entered.end
        and way.move.position in (None, now.lies.get(leaves.piece))
        for way in places.backward(leaves)
    )


def may_be_before(places: Positions, now: Now, signal: Signal) -> bool:
    """The same, or one may come that is still beyond an edge."""
    before = places.track.pieces[places.beyond(signal.enters).piece]
    comes_in = before.kind == "edge" and before.direction != "leaving"
    return comes_in or _is_before(places, now, signal)


# ------------------------------------------------------------------ turning back


def pieces_turning(places: Positions, now: Now) -> set[str]:
    """The pieces on which a train turns back in this step. All pieces that one train stands on
    turn together, so those next to one that does not are taken away until none is left."""
    turning = {p for p in places.pieces if _could_turn(places, now, p)}
    while True:
        held = {p for p in turning if not _is_free(places, now, p, turning)}
        if not held:
            return turning
        turning -= held


def _could_turn(places: Positions, now: Now, piece: str) -> bool:
    if not places.may_turn(piece) or not now.on[piece]:
        return False
    turns = places.turning[_other_end(places, Port(piece, now.heading[piece]))]
    return turns and now.chosen("reversal", piece)


def _is_free(places: Positions, now: Now, piece: str, turning: set[str]) -> bool:
    for end in places.track.pieces[piece].ends:
        joint = places.joint_beside(Port(piece, end))
        if joint not in places.joints or not now.spanned[joint]:
            continue
        if not places.is_soft(joint) or places.beyond(Port(piece, end)).piece not in turning:
            return False
    return True


def _other_end(places: Positions, port: Port) -> Port:
    (other,) = (end for end in places.track.pieces[port.piece].ends if end != port.end)
    return Port(port.piece, other)
