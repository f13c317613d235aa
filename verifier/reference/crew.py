"""Whether people keep what the crew promises, in one step worked out directly from the plan, and
let in no more trains than the file says.

Part of the reference, beside :mod:`verifier.reference.step`. In: a moment, what it shows, the
points thrown at it and how trains move from it. Out: the promises that this breaks.
"""

from collections.abc import Iterator, Mapping, Set

from verifier.plan import observables
from verifier.plan.devices import Device
from verifier.plan.locking.crew_rules import led_to, stood_before
from verifier.plan.locking.locking_model import Promise
from verifier.plan.model import Assumption, Move, Port, Route
from verifier.plan.observables import Observable
from verifier.reference.positions import Positions
from verifier.reference.state_variables import StateVariables
from verifier.reference.train_step import Incoming, TrainStep


class CrewStep:
    """What people do in the step from the moment ``now``: they throw the points of ``thrown``, and
    trains move as in ``trains``."""

    def __init__(
        self,
        variables: StateVariables,
        now: Mapping[Observable, str],
        trains: TrainStep,
        thrown: Set[str],
    ):
        self._plan = variables.plan
        self._variables = variables
        self._positions: Positions = variables.positions
        self._now = now
        self._trains = trains
        self._thrown = thrown

    def broken(self) -> tuple[Promise | Assumption, ...]:
        """The promises that this step breaks, and how many trains there may be if there are more,
        or more would be with those that come in."""
        trains = [a for a in self._plan.assumptions if a.trains is not None]
        promises = [p for p in self._plan.locking.promises if self._is_broken(p)]
        return (*(a for a in trains if self._trains.number > (a.trains or 0)), *promises)

    def _is_broken(self, promise: Promise) -> bool:
        match promise.rule:
            case "one train at a time":
                return self._second_train(promise)
            case "one direction at a time":
                return self._turns_back(promise) or self._against(promise)
            case "to reverse":
                return self._turns_back(promise)
            case _:
                return any(
                    self._is_warned(promise, name)
                    for name in promise.about
                    if name in self._thrown and not self._torn(name)
                )

    # -------------------------------------------------------------- throwing points

    def _torn(self, points: str) -> bool:
        """Whether the lever of these points throws others that were told to lie another way: it
        cannot stand as all of them do."""
        throws = self._plan.locking.throws
        if points not in throws or throws[points].lever is None:
            return False
        known = self._variables.devices
        same = [known[n] for n, throw in throws.items() if throw.lever == throws[points].lever]
        return len({device.positions.index(self._now[device.told]) for device in same}) > 1

    def _is_warned(self, promise: Promise, name: str) -> bool:
        """Whether people see what they promised not to throw something for."""
        device = self._variables.devices[name]
        if promise.rule == "under a train":
            return self._stands_on(device)
        if promise.rule == "ahead of a train" and self._waits_before(device):
            return True
        for route, count in led_to(device, self._plan.routes, self._plan.signals):
            signal = self._plan.signals[route.signal]
            if promise.rule == "ahead of a train":
                warned = self._is_coming(route, count)
            elif promise.rule == "under clear signals":
                warned = self._trains.permits(signal) and self._is_led(route, count)
            else:
                late = self._variables.late(signal.name)
                warned = late is not None and self._now[late] == "yes"
                warned = warned and self._is_led(route, count)
            if warned:
                return True
        return False

    def _on(self, piece: str) -> bool:
        return self._now[observables.train(piece)] == "occupied"

    def _stands_on(self, device: Device) -> bool:
        """Whether a train stands on something that moves."""
        across = [
            name
            for name, joint in self._positions.joints.items()
            if joint in device.joints and self._now[observables.across(name)] == "spanned"
        ]
        return bool(across) or any(map(self._on, device.pieces))

    def _waits_before(self, device: Device) -> bool:
        """Whether a train with no signal to go by is right before a derail that lets it pass."""
        for out in stood_before(device, self._plan):
            heading = self._now[self._variables.heading(out.piece)]
            for way in self._plan.track.onward[Port(out.piece, heading)]:
                position = way.move.position
                lies = position is None or self._now[observables.points(out.piece)] == position
                if way.move.leave == out.end and self._on(out.piece) and lies:
                    return self._now[device.lies] == "non-derailing"
        return False

    def _lies_on(self, move: Move) -> bool:
        """Whether facing points lie for a move."""
        if not move.facing or move.position is None:
            return True
        return self._now[observables.points(move.piece)] == move.position

    def _is_led(self, route: Route, count: int) -> bool:
        """Whether a train that takes the route runs over its first pieces, as the points lie."""
        return all(map(self._lies_on, route.moves[:count]))

    def _is_coming(self, route: Route, count: int) -> bool:
        """Whether a train on one of the first pieces of the route is led over the rest of them."""
        under_way = False
        for move in route.moves[:count]:
            heading = self._now[self._variables.heading(move.piece)]
            under_way = under_way or (self._on(move.piece) and heading == move.enter)
            under_way = under_way and self._lies_on(move)
        return under_way

    # -------------------------------------------------------------- blocks

    def _inside(self, promise: Promise) -> list[str]:
        pieces = self._plan.track.pieces
        return [n for n in self._positions.pieces if pieces[n].block in promise.about]

    def _turns_back(self, promise: Promise) -> bool:
        return any(piece in self._trains.turning for piece in self._inside(promise))

    def _coming_in(self, inside: list[str]) -> Iterator[Incoming]:
        for piece in inside:
            for front in self._trains.incoming.get(piece, ()):
                if self._positions.beyond(front.into).piece not in inside:
                    yield front

    def _second_train(self, promise: Promise) -> bool:
        inside = self._inside(promise)
        coming = list(self._coming_in(inside))
        return len(coming) > 1 or (bool(coming) and any(map(self._on, inside)))

    def _against(self, promise: Promise) -> bool:
        inside = self._inside(promise)
        coming = [front.into for front in self._coming_in(inside)]
        there = [Port(n, self._now[self._variables.heading(n)]) for n in inside if self._on(n)]
        for into in coming:
            others = [*there, *(other for other in coming if other != into)]
            if any(self._leads_out(other, into, inside) for other in others):
                return True
        return False

    def _leads_out(self, heading: Port, way_out: Port, inside: list[str]) -> bool:
        """Whether a train that came in to a piece by one end may leave these pieces by another,
        however the points lie."""
        waiting, visited = [heading], set()
        while waiting:
            entered = waiting.pop()
            if entered in visited:
                continue
            visited.add(entered)
            for way in self._plan.track.onward[entered]:
                if Port(entered.piece, way.move.leave) == way_out:
                    return True
                if way.leads_to.piece in inside:
                    waiting.append(way.leads_to)
        return False
