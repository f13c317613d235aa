"""How trains move in one step, worked out directly from the plan.

Part of the reference, beside :mod:`verifier.reference.step`. In: the track and one moment, its
choices included. Out: the pieces and joints that trains are on next, and where trains meet or
leave the rails.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Set
from functools import cached_property
from typing import NamedTuple

from verifier.plan import observables
from verifier.plan.devices import Device
from verifier.plan.model import Joint, Port, Signal
from verifier.plan.observables import Choice, Condition, Observable
from verifier.plan.signals.aspects import Aspect
from verifier.reference.positions import NO_TRACK
from verifier.reference.state_variables import StateVariables


class Incoming(NamedTuple):
    """The front of a train that comes in to a piece by one of its ends."""

    into: Port
    joint: str
    restricted: bool


class TrainStep:
    """One step of all trains from the moment ``now``, at which ``observed`` can be seen and the
    points of ``moving`` move. ``holds`` evaluates a condition at that moment. Trains on pieces of
    ``wrecked`` met or derailed earlier, and stay where they are.

    Choices are read last, and only where they matter; where all are ``chosen``, sooner."""

    def __init__(
        self,
        variables: StateVariables,
        now: Mapping[Observable, str],
        observed: Mapping[Observable, str],
        moving: Set[str],
        holds: Callable[[Condition], bool],
        wrecked: Set[str] = frozenset(),
        *,
        chosen: bool = False,
    ):
        self._variables = variables
        self._plan = variables.plan
        self._positions = variables.positions
        self._now = now
        self._observed = observed
        self._moving = moving
        self._holds = holds
        self._wrecked = wrecked
        self._all_chosen = chosen
        # Where trains meet or derail in this step.
        self._hurt: set[str] = set()
        self.successor: dict[Observable, str] = {}
        """The state variables that change, and what they become."""
        self.incoming: dict[str, list[Incoming]] = {}
        """The fronts that come in, by the piece they come onto."""
        self.meets: set[str] = set()
        self.derails: set[str] = set()

    def run(self) -> None:
        """Move all trains, each by at most one joint."""
        for piece in self.turning:
            heading = self._variables.heading(piece)
            self.successor[heading] = self._other_end(Port(piece, self._heading(piece))).end
        incoming = self.incoming
        for joint, ends in self._positions.joints.items():
            busy = self._spanned(joint) or self._on(ends.a.piece) or self._on(ends.b.piece)
            if busy and self._chosen("advance", joint):
                for front in self._cross(joint):
                    incoming.setdefault(front.into.piece, []).append(front)
        for front in self._entries():
            incoming.setdefault(front.into.piece, []).append(front)
        for piece, fronts in incoming.items():
            self._come_in(piece, fronts)
        for device in self._variables.devices.values():
            if device.name in self._moving and (self._is_on(device) or self._comes_onto(device)):
                self.derails.add(device.name)
                self._hurt.update(device.pieces, *map(self._beside, device.joints))
            lies_open = device.kind == "gate" and self._observed[device.lies] == "open"
            over = [piece for piece in device.pieces if piece in incoming]
            if lies_open and over:
                self.derails.add(device.name)
                for piece in over:
                    self._hurt_at(piece, incoming[piece])

    @property
    def number(self) -> int:
        """How many trains are on the plan, and come in to it: each is counted where its rear is.
        (One that leaves in this step is still there.)"""
        rears = sum(self._is_rear(piece) for piece in self._positions.pieces)
        fronts = [front for here in self.incoming.values() for front in here]
        edges = [self._positions.beyond(front.into).piece for front in fronts]
        return rears + sum(self._positions.kind(piece) == "edge" for piece in edges)

    def _is_rear(self, piece: str) -> bool:
        """Whether a train is on a piece, and on none behind it."""
        if not self._on(piece):
            return False
        behind = self._positions.beyond(Port(piece, self._heading(piece)))
        joint = self._positions.joint_beside(behind)
        return self._positions.kind(behind.piece) in NO_TRACK or not self._spanned(joint)

    def wrecked(self) -> frozenset[str]:
        """The pieces whose trains stay where they are from the next moment on: all that such a
        train stands on."""
        waiting = [*self._wrecked, *self._hurt]
        found: set[str] = set()
        while waiting:
            piece = waiting.pop()
            if piece in found or self._next(observables.train(piece)) != "occupied":
                continue
            found.add(piece)
            for joint in self._positions.joints_of(piece):
                if self._next(observables.across(joint)) == "spanned":
                    waiting += self._beside(self._positions.joints[joint])
        return frozenset(found)

    def _next(self, what: Observable) -> str:
        return self.successor.get(what) or self._now.get(what, what.usual)

    def _beside(self, joint: Joint) -> tuple[str, str]:
        """The pieces on both sides of a joint."""
        return joint.a.piece, joint.b.piece

    def _hurt_at(self, piece: str, fronts: Iterable[Incoming]) -> None:
        """The trains that come onto a piece meet or derail there."""
        self._hurt.add(piece)
        self._hurt.update(self._positions.beyond(front.into).piece for front in fronts)

    def _is_on(self, device: Device) -> bool:
        """Whether a train is on something that moves."""
        joints = self._positions.joints.items()
        across = any(joint in device.joints and self._spanned(name) for name, joint in joints)
        return across or any(map(self._on, device.pieces))

    def _comes_onto(self, device: Device) -> bool:
        """Whether a train comes onto something that moves in this very step."""
        joints = self._positions.joints
        over = {front.joint for fronts in self.incoming.values() for front in fronts}
        over |= {name for name in joints if self._leaves_over(name)}
        onto = any(piece in self.incoming for piece in device.pieces)
        return onto or any(joints[name] in device.joints for name in over)

    def _leaves_over(self, joint: str) -> bool:
        """Whether the front of a train leaves the plan over a joint."""
        across = observables.across(joint)
        return not self._spanned(joint) and self.successor.get(across) == "spanned"

    # -------------------------------------------------------------- the moment

    def _on(self, piece: str) -> bool:
        return (
            self._positions.kind(piece) not in NO_TRACK
            and self._now[observables.train(piece)] == "occupied"
        )

    def _heading(self, piece: str) -> str:
        return self._now[self._variables.heading(piece)]

    def _on_its_way(self, entered: Port) -> bool:
        """Whether a train that came in by an end is on its piece."""
        return self._on(entered.piece) and self._heading(entered.piece) == entered.end

    def _spanned(self, joint: str) -> bool:
        return self._now[observables.across(joint)] == "spanned"

    def _restricted(self, piece: str) -> bool:
        return self._variables.paced and self._now[observables.pace(piece)] == "restricted"

    def _lies_for(self, piece: str, position: str | None) -> bool:
        return position is None or self._now[observables.points(piece)] == position

    def _chosen(self, kind: Choice, name: str) -> bool:
        return self._now.get(observables.choice(kind, name), "no") == "yes"

    def _aspect(self, signal: Signal) -> Aspect | None:
        return self._plan.chart.get(self._observed[signal.reading])

    def permits(self, signal: Signal) -> bool:
        """Whether a signal lets trains pass, be it after a stop."""
        aspect = self._aspect(signal)
        return aspect is not None and aspect.permits

    def clears(self, signal: Signal) -> bool:
        """Whether a signal lets trains pass without a stop."""
        aspect = self._aspect(signal)
        return aspect is not None and aspect.clears

    def _is_late(self, signal: Signal) -> bool:
        late = self._variables.late(signal.name)
        return late is not None and self._now[late] == "yes"

    # -------------------------------------------------------------- over joints

    def _cross(self, joint: str) -> Iterator[Incoming]:
        """Move what is at a joint over it: tails, and fronts that leave by an edge. Yields the
        fronts that come in to a piece."""
        ends, across = self._positions.joints[joint], observables.across(joint)
        for leaves, into in ((ends.a, ends.b), (ends.b, ends.a)):
            piece, beyond = leaves.piece, self._plan.track.pieces[into.piece]
            for entered in self._origins(leaves):
                if not self._may_move(piece) or not self._on_its_way(entered):
                    continue
                if self._spanned(joint):
                    others = [other for other in self._positions.joints_of(piece) if other != joint]
                    if not any(map(self._spanned, others)):
                        self.successor[observables.train(piece)] = "vacant"
                        self.successor[across] = "free"
                elif self._passes(piece, into):
                    if beyond.kind == "edge" and beyond.direction == "entering":
                        continue
                    if self._is_held_at_derail(joint, into):
                        continue
                    if beyond.kind != "edge":
                        slow = self._is_slow(into, self._restricted(piece))
                        yield Incoming(into, joint, slow)
                    else:
                        self.successor[across] = "spanned"
        if self._spanned(joint):
            self._clear_edge(joint)

    def _is_held_at_derail(self, joint: str, into: Port) -> bool:
        """Whether a train stops short of a derail that is set against it. One that has a signal to
        go by runs over it, and derails."""
        here = self._positions.derails.get(joint, ())
        against = [n for n in here if self._observed[observables.derail(n)] != "non-derailing"]
        if into in self._positions.signaled:
            self.derails.update(against)
            if against:
                self._hurt.update(self._beside(self._positions.joints[joint]))
            return False
        return bool(against)

    def _clear_edge(self, joint: str) -> None:
        """Bring in over an edge the tail of a train."""
        ends = (self._positions.joints[joint].a, self._positions.joints[joint].b)
        for edge, port in (ends, ends[::-1]):
            comes_in = self._positions.kind(edge.piece) == "edge" and self._on_its_way(port)
            if comes_in and self._may_move(port.piece):
                self.successor[observables.across(joint)] = "free"

    def _passes(self, piece: str, into: Port) -> bool:
        """Whether the train on a piece passes the signal at its end, if there is one. At
        restricted speed it stops even for a signal put back late."""
        signal = self._positions.signal_at.get(into)
        if signal is None or self.permits(signal):
            return True
        return self._is_late(signal) and not self._restricted(piece)

    def _may_pass(self, into: Port) -> bool:
        signal = self._positions.signal_at.get(into)
        return signal is None or self.permits(signal) or self._is_late(signal)

    def _is_slow(self, into: Port, came_restricted: bool) -> bool:
        """Whether a front comes in at restricted speed."""
        block = self._plan.track.pieces[into.piece].block
        if block is not None and self._plan.blocks[block].switching:
            return True
        signal = self._positions.signal_at.get(into)
        if signal is None:
            return came_restricted
        aspect = self._aspect(signal)
        if aspect is None or not aspect.permits or aspect.proceeds:
            return False
        # One that cannot stop any more passes a stop-and-proceed as it comes.
        return aspect.clears or came_restricted or not self._is_late(signal)

    # -------------------------------------------------------------- coming in

    def _may_move(self, piece: str) -> bool:
        """Whether the train on a piece may move on: it does not turn back, and is no wreck."""
        return piece not in self.turning and piece not in self._wrecked

    def _come_in(self, piece: str, fronts: list[Incoming]) -> None:
        met = self._on(piece) or len(fronts) > 1
        if met and not all(front.restricted for front in fronts):
            self.meets.add(piece)
            self._hurt_at(piece, fronts)
        if not self._on(piece):
            # Of several that come at once, one is on the piece, and the others stand before it.
            front = min(fronts, key=self._first)
            self.successor[observables.train(piece)] = "occupied"
            self.successor[self._variables.heading(piece)] = front.into.end
            self.successor[observables.across(front.joint)] = "spanned"
            if self._variables.paced:
                pace = "restricted" if front.restricted else "full"
                self.successor[observables.pace(piece)] = pace
        if not all(self._has_way_on(front.into) for front in fronts):
            self.derails.add(piece)
            self._hurt_at(piece, fronts)

    def _first(self, front: Incoming) -> int:
        """The place of a front in the order of the track."""
        return list(self._positions.joints).index(front.joint)

    def _has_way_on(self, entered: Port) -> bool:
        ways = self._plan.track.onward[entered]
        return any(self._lies_for(entered.piece, way.move.position) for way in ways)

    def _entries(self) -> Iterator[Incoming]:
        """Fronts that come in over the edges of the plan."""
        for name, piece in self._plan.track.pieces.items():
            if piece.kind != "edge" or piece.direction == "leaving":
                continue
            if self._all_chosen and not self._chosen("entry", name):
                continue
            edge = Port(name, piece.ends[0])
            into, joint = self._positions.beyond(edge), self._positions.joint_beside(edge)
            if self._positions.kind(into.piece) in NO_TRACK or self._spanned(joint):
                continue
            let_in = self._may_pass(into) and self._is_let_in(edge, into)
            comes = let_in and self._chosen("entry", name)
            if comes and not self._is_held_at_derail(joint, into):
                yield Incoming(into, joint, self._is_slow(into, came_restricted=False))

    def _is_let_in(self, edge: Port, into: Port) -> bool:
        condition = self._plan.locking.running.entering.get(edge.piece)
        if condition is not None:
            return self._holds(condition)
        return not self._on(into.piece) and not self._comes_out(edge)

    def _comes_out(self, edge: Port) -> bool:
        """Whether a train may come out to an edge: one is on its way there, or may pass a signal
        to it."""
        waiting, visited = [edge], set()
        while waiting:
            entered = waiting.pop()
            if entered in visited:
                continue
            visited.add(entered)
            signal = self._positions.signal_at.get(entered)
            if signal is not None:
                if self._may_pass(entered) and self._is_before(signal):
                    return True
                continue
            for origin in self._origins(self._positions.beyond(entered)):
                if self._on_its_way(origin):
                    return True
                waiting.append(origin)
        return False

    def _origins(self, leaves: Port) -> Iterator[Port]:
        """The ends by which a train came in to a piece that leaves it, as the points lie."""
        if self._positions.kind(leaves.piece) not in NO_TRACK:
            for entered, position in self._positions.ways_to(leaves):
                if self._lies_for(leaves.piece, position):
                    yield entered

    def _is_before(self, signal: Signal) -> bool:
        """Whether a train is on its way to a signal: on the approach, or right before it."""
        before = self._origins(self._positions.beyond(signal.enters))
        return any(map(self._on_its_way, (*self._positions.approach(signal), *before)))

    def may_be_before(self, signal: Signal) -> bool:
        """Whether a train is on its way to a signal, or may still be beyond an edge."""
        before = self._plan.track.pieces[self._positions.beyond(signal.enters).piece]
        comes_in = before.kind == "edge" and before.direction != "leaving"
        return comes_in or self._is_before(signal)

    # -------------------------------------------------------------- turning back

    @cached_property
    def turning(self) -> Set[str]:
        """The pieces on which a train turns back in this step. All pieces that one train stands
        on turn together, so those beside one that does not are removed until none is left."""
        turning = {piece for piece in self._positions.pieces if self._could_turn(piece)}
        while held := {piece for piece in turning if not self._is_free(piece, turning)}:
            turning -= held
        return turning

    def _could_turn(self, piece: str) -> bool:
        if not self._positions.may_turn(piece) or not self._on(piece) or piece in self._wrecked:
            return False
        turned = self._other_end(Port(piece, self._heading(piece)))
        return self._positions.turning[turned] and self._chosen("reversal", piece)

    def _is_free(self, piece: str, turning: Set[str]) -> bool:
        for end in self._plan.track.pieces[piece].ends:
            joint = self._positions.joint_beside(Port(piece, end))
            if joint not in self._positions.joints or not self._spanned(joint):
                continue
            beyond = self._positions.beyond(Port(piece, end)).piece
            if not self._positions.is_soft(joint) or beyond not in turning:
                return False
        return True

    def _other_end(self, port: Port) -> Port:
        (other,) = (e for e in self._plan.track.pieces[port.piece].ends if e != port.end)
        return Port(port.piece, other)
