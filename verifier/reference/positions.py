"""Where trains can be and which way they can go, whatever the moment.

Part of the reference, beside :mod:`verifier.reference.step`. In: a running plan. Out: its
joints by name, the signal at each, where trains may turn back, the approach to each signal.
"""

from collections.abc import Iterator, Mapping

from verifier.plan.devices import derails_at, signaled_entries
from verifier.plan.model import Joint, Plan, Port, Signal

NO_TRACK = ("edge", "bumper")


class Positions:
    """The track of one plan, for trains."""

    def __init__(self, plan: Plan):
        self.plan = plan
        self.track = plan.track
        self.pieces = tuple(n for n, p in self.track.pieces.items() if p.kind not in NO_TRACK)
        self.joints: Mapping[str, Joint] = {
            joint.name: joint
            for joint in self.track.joints
            if all(self.track.pieces[port.piece].kind != "bumper" for port in (joint.a, joint.b))
        }
        self.derails = {joint.name: names for joint, names in derails_at(plan).items()}
        self.signaled = signaled_entries(plan)
        self.signal_at: dict[Port, Signal] = {}
        for signal in plan.signals.values():
            self.signal_at.setdefault(signal.enters, signal)
        self.turning = {
            Port(name, end): self._may_go_back(Port(name, end))
            for name in self.pieces
            for end in self.track.pieces[name].ends
        }

    def kind(self, piece: str) -> str:
        """The kind of a piece of track."""
        return self.track.pieces[piece].kind

    def beyond(self, port: Port) -> Port:
        """The end of the next piece that joins an end."""
        return self.track.joint_at[port].other(port)

    def joint_beside(self, port: Port) -> str:
        """The name of the joint at an end."""
        return self.track.joint_at[port].name

    def joints_of(self, piece: str) -> list[str]:
        """The joints at the ends of a piece, except at bumpers."""
        names = [self.joint_beside(Port(piece, end)) for end in self.track.pieces[piece].ends]
        return [name for name in names if name in self.joints]

    # -------------------------------------------------------------- turning back

    def may_turn(self, piece: str) -> bool:
        """Whether trains of at least one heading may turn back on a piece."""
        return any(self.turning[Port(piece, e)] for e in self.track.pieces[piece].ends)

    def is_soft(self, joint: str) -> bool:
        """Whether a train may turn back while it stands across a joint."""
        ends = (self.joints[joint].a, self.joints[joint].b)
        if any(end in self.signal_at for end in ends):
            return False
        return all(end.piece in self.pieces and self.may_turn(end.piece) for end in ends)

    def _may_go_back(self, heading: Port) -> bool:
        """Whether a train may turn back on a piece so that its new heading is ``heading``."""
        piece = self.track.pieces[heading.piece]
        if piece.kind != "plain":
            return False
        allowed = self.plan.locking.running.reverse_on
        if allowed is not None:
            return piece.block in allowed
        if any(piece.name in limits.pieces for limits in self.plan.limits):
            return False
        return self._is_signaled(heading)

    def _is_signaled(self, entered: Port) -> bool:
        """Whether every way on from a piece leads to a signal that faces the train, or to the
        end of the plan, before it passes a signal from behind."""
        waiting, visited = [entered], set()
        while waiting:
            port = waiting.pop()
            if port in visited:
                continue
            visited.add(port)
            for way in self.track.onward[port]:
                if way.leads_to in self.signal_at:
                    continue
                if self.beyond(way.leads_to) in self.signal_at:
                    return False
                if self.kind(way.leads_to.piece) not in NO_TRACK:
                    waiting.append(way.leads_to)
        return True

    # -------------------------------------------------------------- ways to an end

    def approach(self, signal: Signal) -> list[Port]:
        """The approach to a signal, the nearest piece first: for each, the end by which a train
        bound for the signal comes in."""
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

    def ways_to(self, leaves: Port) -> Iterator[tuple[Port, str | None]]:
        """The ways over a piece that leave it by an end: where each enters, and how the points
        lie for it (None: the piece has none)."""
        for end in self.track.pieces[leaves.piece].ends:
            entered = Port(leaves.piece, end)
            for way in self.track.onward[entered]:
                if way.move.leave == leaves.end:
                    yield entered, way.move.position
