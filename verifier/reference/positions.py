"""Where trains can be and which way they can go, as far as it stays the same all the time.

Part of the reference, beside :mod:`verifier.reference.step`. In: a running plan. Out: its
joints by name, the signal that governs each of them, where trains may turn back, the track
from which a signal is seen, the ways that lead out over an edge.
"""

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from verifier.plan.locking.temporal_plan import joint_name
from verifier.plan.model import Joint, Move, Plan, Port, Signal

NO_TRACK = ("edge", "bumper")
POINTS = ("turnout", "slip")


class Crossing(NamedTuple):
    """A train that came in by ``entered`` goes on over ``joint`` to ``next``, where the points
    of its piece lie in ``position`` (None: it has none)."""

    entered: Port
    position: str | None
    joint: str
    next: Port


class Backward(NamedTuple):
    """One way back from an end of a piece: over ``move``, which a train goes over that came
    in by ``entered``, from the piece before it at ``before``."""

    move: Move
    entered: Port
    before: Port


class Positions:
    """The track of one plan, for trains."""

    def __init__(self, plan: Plan):
        self.plan = plan
        self.track = plan.track
        self.pieces = tuple(n for n, p in self.track.pieces.items() if p.kind not in NO_TRACK)
        self.joints: Mapping[str, Joint] = {
            joint_name(joint): joint
            for joint in self.track.joints
            if all(self.track.pieces[port.piece].kind != "bumper" for port in (joint.a, joint.b))
        }
        self.signal_at: dict[Port, Signal] = {}
        for signal in plan.signals.values():
            self.signal_at.setdefault(signal.enters, signal)
        self.turning = {
            Port(name, end): self._may_go_back(Port(name, end))
            for name in self.pieces
            for end in self.track.pieces[name].ends
        }

    def kind(self, piece: str) -> str:
        return self.track.pieces[piece].kind

    def beyond(self, port: Port) -> Port:
        """The end of the next piece that meets an end."""
        return self.track.joint_at[port].other(port)

    def joint_beside(self, port: Port) -> str:
        return joint_name(self.track.joint_at[port])

    def joints_of(self, piece: str) -> list[str]:
        """The joints at the ends of a piece, those at bumpers left out."""
        names = [self.joint_beside(Port(piece, end)) for end in self.track.pieces[piece].ends]
        return [name for name in names if name in self.joints]

    def steps_over(self, joint: str) -> Iterator[Crossing]:
        """Every way a train can go over a joint, either way, from a piece of track."""
        ends = (self.joints[joint].a, self.joints[joint].b)
        for leaves in ends:
            for end in self.track.pieces[leaves.piece].ends:
                entered = Port(leaves.piece, end)
                for way in self.track.onward[entered]:
                    if way.move.leave == leaves.end:
                        yield Crossing(entered, way.move.position, joint, way.leads_to)

    # -------------------------------------------------------------- turning back

    def may_turn(self, piece: str) -> bool:
        """Whether trains may turn back on a piece, at least one way."""
        return any(self.turning[Port(piece, e)] for e in self.track.pieces[piece].ends)

    def is_soft(self, joint: str) -> bool:
        """Whether a train may stand across a joint while it turns back."""
        ends = (self.joints[joint].a, self.joints[joint].b)
        if any(end in self.signal_at for end in ends):
            return False
        return all(end.piece in self.pieces and self.may_turn(end.piece) for end in ends)

    def _may_go_back(self, heading: Port) -> bool:
        """Whether a train that turns back on a piece may then go as one that came in by
        ``heading``."""
        piece = self.track.pieces[heading.piece]
        if piece.kind != "plain":
            return False
        allowed = self.plan.locking.running.reverse_on
        if allowed is not None:
            return piece.block in allowed
        if any(piece.name in limits.pieces for limits in self.plan.limits):
            return False
        return self._meets_signals_rightly(heading, set())

    def _meets_signals_rightly(self, entered: Port, been: set[Port]) -> bool:
        """Whether on every way on from a piece there is a signal for this way, or an end of the
        plan, before one against it."""
        waiting = [entered]
        while waiting:
            port = waiting.pop()
            if port in been:
                continue
            been.add(port)
            for way in self.track.onward[port]:
                if way.leads_to in self.signal_at:
                    continue
                if self.beyond(way.leads_to) in self.signal_at:
                    return False
                if self.kind(way.leads_to.piece) not in NO_TRACK:
                    waiting.append(way.leads_to)
        return True

    # -------------------------------------------------------------- backward

    def approach(self, signal: Signal) -> list[Port]:
        """The pieces from which a signal is seen, the nearest first, each with the end by which
        a train comes in that goes to the signal."""
        found: list[Port] = []
        port = self.beyond(signal.enters)
        while self.kind(port.piece) == "plain":
            (other,) = (e for e in self.track.pieces[port.piece].ends if e != port.end)
            came = Port(port.piece, other)
            if came in found:
                break
            found.append(came)
            if came in self.signal_at:
                break
            port = self.beyond(came)
        return found

    def backward(self, leaves: Port) -> Iterator[Backward]:
        """The ways over a piece that come out by an end of it."""
        for end in self.track.pieces[leaves.piece].ends:
            entered = Port(leaves.piece, end)
            for way in self.track.onward[entered]:
                if way.move.leave == leaves.end:
                    yield Backward(way.move, entered, self.beyond(entered))
