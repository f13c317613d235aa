"""What the crew promises, as constraints on the steps of the transition system.

A promise binds what people do at a moment, by what they see at that moment: it never reads what
comes next, and there is always a step that keeps it (they throw nothing, no train goes on).

Twin of :mod:`verifier.reference.crew`, which says the same with no expressions.
"""

from collections.abc import Callable, Iterator
from itertools import combinations

from verifier.logic.expr import FALSE, Expr, atom, conjunction, disjunction, negation
from verifier.plan import observables
from verifier.plan.devices import devices
from verifier.plan.locking.crew_rules import led_to, stood_before
from verifier.plan.locking.locking_model import THROWING, Promise
from verifier.plan.model import Plan, Port, Route
from verifier.plan.track.build_track import moves_over
from verifier.world.memory import Memory
from verifier.world.trains import FrontMove, TrainDynamics


class Crew:
    """The constraints that the promises of one running plan put on its steps. ``permits`` and
    ``late``: by signal, that it lets trains pass; that a train may still pass it."""

    def __init__(
        self,
        plan: Plan,
        memory: Memory,
        trains: TrainDynamics,
        permits: Callable[[str], Expr],
        late: Callable[[str], Expr],
    ):
        self._plan = plan
        self._devices = devices(plan)
        self._memory = memory
        self._trains = trains
        self._permits = permits
        self._late = late

    def kept(self, promise: Promise) -> Expr:
        """A step keeps the promise."""
        return negation(disjunction(*self._breaks(promise)))

    def _breaks(self, promise: Promise) -> Iterator[Expr]:
        """The ways in which a step breaks it."""
        if promise.rule in THROWING:
            for points in promise.about:
                yield conjunction(self._throws(points), self._warned(promise, points))
            return
        inside = [n for n, p in self._trains.pieces.items() if p.block in promise.about]
        if promise.rule != "one train at a time":
            yield from map(self._trains.turns_back, inside)
        if promise.rule != "to reverse":
            coming = [f for f in self._trains.fronts(inside) if f.frm.piece not in inside]
            for front in coming:
                yield conjunction(front.when, self._is_taken(promise, front, inside))
            for one, other in combinations(coming, 2):
                if self._meet(promise, one, other, inside):
                    yield conjunction(one.when, other.when)

    # -------------------------------------------------------------- throwing points

    def _throws(self, points: str) -> Expr:
        """People throw something. Where one lever throws several that lie in different ways, it
        cannot stand as they all do; then nobody has thrown anything."""
        throw = self._plan.locking.throws.get(points)
        lever = None if throw is None else throw.lever
        together = [self._devices[t.device] for t in self._plan.locking.throws.values() if lever and
                    t.lever == lever]  # fmt: skip
        alike = disjunction(
            *(conjunction(*(atom(d.told, d.positions[k]) for d in together)) for k in (0, 1))
        )
        return conjunction(self._memory.is_thrown(points), alike)

    def _warned(self, promise: Promise, name: str) -> Expr:
        """What people see that keeps them from throwing something."""
        device = self._devices[name]
        if promise.rule == "under a train":
            across = (negation(self._trains.is_free(joint)) for joint in device.joints)
            return disjunction(*map(self._trains.occupied, device.pieces), *across)
        ways = []
        if promise.rule == "ahead of a train":
            lies = atom(device.lies, "non-derailing")
            for port in stood_before(device, self._plan):
                there = conjunction(self._trains.occupied(port.piece), self._trains.leaves(port))
                ways.append(conjunction(there, lies))
        for route, count in led_to(device, self._plan.routes, self._plan.signals):
            match promise.rule:
                case "ahead of a train":
                    ways.append(self._runs_toward(route, count))
                case "under clear signals":
                    ways.append(conjunction(self._permits(route.signal), _leads_on(route, count)))
                case _:
                    ways.append(conjunction(self._late(route.signal), _leads_on(route, count)))
        return disjunction(*ways)

    def _runs_toward(self, route: Route, count: int) -> Expr:
        """A train is on one of the first ``count`` pieces of the route, and is led over them."""
        before = route.moves[:count]
        ways = []
        for i, move in enumerate(before):
            here = conjunction(
                self._trains.occupied(move.piece), self._trains.heading(move.piece, move.enter)
            )
            between = (self._trains.lies_for(m) for m in before[i:] if m.facing)
            ways.append(conjunction(here, *between))
        return disjunction(*ways)

    # -------------------------------------------------------------- entering blocks

    def _is_taken(self, promise: Promise, front: FrontMove, inside: list[str]) -> Expr:
        """For a train that would come in: another is there, or one that runs against it."""
        if promise.rule == "one train at a time":
            return disjunction(*map(self._trains.occupied, inside))
        against = [
            conjunction(self._trains.occupied(port.piece), self._trains.heading(*port))
            for port in self._bound_for(front.to, inside)
        ]
        return disjunction(*against) if against else FALSE

    def _meet(self, promise: Promise, one: FrontMove, other: FrontMove, inside: list[str]) -> bool:
        """Whether two trains may not come in at the same moment."""
        if promise.rule == "one train at a time":
            return True
        against_one, against_other = (self._bound_for(f.to, inside) for f in (one, other))
        return other.to in against_one or one.to in against_other

    def _bound_for(self, way_out: Port, inside: list[str]) -> list[Port]:
        """The ends by which a train came in to a piece of these that may leave them by this end,
        however the points lie."""
        found: dict[Port, None] = {}
        leaving = [way_out]
        while leaving:
            out = leaving.pop()
            for move in moves_over(self._plan.track.pieces[out.piece]):
                entered = Port(out.piece, move.enter)
                if move.leave == out.end and entered not in found:
                    found[entered] = None
                    before = self._plan.track.joint_at[entered].other(entered)
                    if before.piece in inside:
                        leaving.append(before)
        return list(found)


def _leads_on(route: Route, count: int) -> Expr:
    """The facing points among the first ``count`` pieces of the route lie for it."""
    return conjunction(
        *(
            atom(observables.points(move.piece), move.position)
            for move in route.moves[:count]
            if move.facing and move.position is not None
        )
    )
