"""Layouts with memory or locks: the states reachable from rest by operator actions.

In: a bench. Out: a graph of settled states and the actions that lead from one to another, as
simulated by :mod:`verifier.testcard.settle`, and cheapest paths through it. After each action
points, relays and timers settle; what depends on which relay acts first is left out. At most one
locomotive is on the track. It is driven from block to block over points that lie for it, occupying
both for a while, or lifted where there are spot detectors, whose reports along its way are not
simulated. At most two buttons are held. Every state has a way back to rest: everything is reset,
and the supply of the logic is switched off and on.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from heapq import heappop, heappush
from itertools import count

from verifier.diagnosis.bench import Bench, Setup
from verifier.explain.trace_view import occupied_blocks
from verifier.plan import observables
from verifier.plan.model import Plan, Port
from verifier.plan.observables import Observable
from verifier.reference.evaluator import Unsettled
from verifier.reference.wired_step import WiredStepper
from verifier.testcard.operator_actions import places
from verifier.testcard.settle import CONTROLS, Action, Moment, Simulation
from verifier.testcard.step_ordering import BY_HAND, Instruction, OperatorPath, Stood
from verifier.verdicts.progress import Progress, silent

# The most moments that are simulated in all.
MAX_MOMENTS = 30_000
MAX_HELD = 2
# The cost of a reset beyond that of its actions: as much as two pieces of stock.
RESET = 6

_KEPT = (*CONTROLS, "relay", "timer", "traffic")


def is_stateful(plan: Plan) -> bool:
    """Whether what a layout shows may depend on earlier actions."""
    thrown = {n for n, m in plan.wiring.machines.items() if m.motor or m.contacts == ()}
    return bool(plan.locking.memory) or any(
        throw.locked is not None
        or throw.by in ("buttons", "rule")
        or (throw.by == "lever" and throw.device not in thrown)
        for throw in plan.locking.throws.values()
    )


def has_definite_reports(bench: Bench) -> bool:
    """Whether every moment determines the reports of detectors. Where a gap is missing between
    blocks, it does not."""
    return not any(w.kind in ("current", "share") and len(w.values) > 1 for w in bench.plan.inputs)


@dataclass(frozen=True, slots=True, eq=False)
class Operation:
    """An edge of the graph: an action, in words and as simulated, and the state it leads to."""

    acts: tuple[Instruction, ...]
    done: Action
    then: "RestState"

    @property
    def cost(self) -> int:
        """The effort of its instructions."""
        return sum(act.cost for act in self.acts)


@dataclass(frozen=True, slots=True, eq=False)
class RestState:
    """A settled state. ``setup``: all that distinguishes it, memory included; ``hands``: the part
    that the operator sets. ``onward``: what can be done next."""

    moment: Mapping[Observable, str]
    setup: Setup
    hands: Setup
    onward: list[Operation]


class StateGraph:
    """All settled states found from rest, in breadth-first order."""

    def __init__(self, bench: Bench, progress: Progress = silent):
        self._bench, self._plan, self._progress = bench, bench.given, progress
        self.simulation = Simulation(bench.given, bench.plan, {})
        self._stepper = self.simulation.stepper
        self._hands = OperatorPath(bench)
        self._handled = [w for w in self._stepper.choices if w.kind in CONTROLS]
        self._moving = self._stepper.variables.moving
        self._standing = {w.name: w for w in self._stepper.wiring_inputs if w.kind == "standing"}
        self._pieces = _pieces(self._stepper)
        self.stands = _stands(bench, self._pieces)
        throws = self._plan.locking.throws
        self._by_hand = [
            d for d in self._moving
            if d.name not in throws or throws[d.name].by in ("hand", "anyone")
        ]  # fmt: skip
        start = self.simulation.start()
        usual = (*self._stepper.states, *self._handled)
        self.rest = self._place(start if start is not None else {w: w.usual for w in usual})
        self.places: list[RestState] = [self.rest]
        # Actions that may lead to this or that, whichever relay acts first: none of the graph.
        self.by_order: list[tuple[Instruction, ...]] = []
        self._known = {_key(self.rest.moment): self.rest}
        self._explore()
        self._at = {place.setup: place for place in self.places}
        self._cheapest = cache(self._paths_from)

    # -------------------------------------------------------------- paths

    def acts(self, before: Setup, after: Setup) -> list[Instruction]:
        """The instructions that lead from one state to another, in order."""
        return [act for step in self.operations(before, after) for act in step.acts]

    def cost(self, before: Setup, after: Setup) -> int:
        """The cost of the cheapest path from one state to another."""
        return sum(operation.cost for operation in self.operations(before, after))

    def operations(self, before: Setup, after: Setup) -> tuple[Operation, ...]:
        """The cheapest path from one state to another."""
        return self._cheapest(self._at.get(before, self.rest))[self._at[after]]

    def lifting(self, before: Setup, after: Setup) -> tuple[Operation, ...]:
        """The cheapest path on which stock is lifted, never driven; empty if there is none."""
        return self._cheapest(self._at[before], lifting=True).get(self._at[after], ())

    def ways(self) -> Mapping[RestState, tuple[Operation, ...]]:
        """The cheapest path from rest to each state."""
        return self._cheapest(self.rest)

    def paused(self, moment: Mapping[Observable, str], done: Action) -> RestState | None:
        """Where an action leads if no more time passes than it says; None if it is not to be
        taken, or comes to what is known all the same."""
        then = self._after(moment, done)
        if then is None or _key(then) in self._known:
            return None
        place = self._place(then)
        # From here one goes on by a reset alone.
        return self._at.setdefault(place.setup, place)

    def held(self, place: RestState, within: Fraction | None = None) -> Iterator[Operation]:
        """What hands cannot throw in a state, since a lock holds it."""
        for device in self._by_hand:
            done = Action(({},), thrown=device.name, within=within)
            if self._after(place.moment, done) == dict(place.moment):
                act = Instruction(f"try to throw {device.name} by hand", BY_HAND)
                yield Operation((act,), done, place)

    def at_once(self, place: RestState) -> Iterator[Operation]:
        """What hands can do in a state in which delays run, before any of them is over."""
        for acts, done in self._tries(place.moment):
            now = replace(done, within=Fraction(0))
            then = self._after(place.moment, now) if not done.passes else None
            if then is None or then == dict(place.moment):
                continue
            found = self._place(then)
            said = acts or tuple(self._hands.acts(place.hands, found.hands))
            if said:
                look = Instruction("look at once", 0)
                yield Operation((*said, look), now, self._at.setdefault(found.setup, found))
        yield from self.held(place, Fraction(0))

    def _paths_from(
        self, start: RestState, *, lifting: bool = False
    ) -> dict[RestState, tuple[Operation, ...]]:
        """The cheapest path from a state to every other (Dijkstra)."""
        found: dict[RestState, tuple[Operation, ...]] = {}
        number = count()
        waiting: list[tuple[int, int, RestState, tuple[Operation, ...]]] = [(0, 0, start, ())]
        while waiting:
            price, _, place, path = heappop(waiting)
            if place in found:
                continue
            found[place] = path
            reset = [self.reset(place.setup)] if place is start and start is not self.rest else []
            for further in (*place.onward, *reset):
                if further.then not in found and not (lifting and further.done.passes):
                    step = (price + further.cost, next(number), further.then, (*path, further))
                    heappush(waiting, step)
        return found

    def reset(self, setup: Setup) -> Operation:
        """Reset everything, and switch relays and timers off and on."""
        place = self._at[setup]
        back = self._hands.acts(place.hands, self.rest.hands)
        off = "switch the low-voltage supply of the signals and relays off, and on again"
        put_back = {what: what.usual for what in (*self._handled, *self._standing.values())}
        gone = {observables.train(piece): "vacant" for piece in self._pieces.values()}
        return Operation(
            (*back, Instruction(off, RESET)), Action(({**put_back, **gone},), off=True), self.rest
        )

    # -------------------------------------------------------------- exploration

    def _explore(self) -> None:
        known = self._known
        # The state that was expanded, by all but where on its block the locomotive stands.
        first = {_still(self.rest.moment): self.rest}
        waiting = [self.rest]
        for place in waiting:  # it grows meanwhile
            for acts, done in self._tries(place.moment):
                if self.simulation.moments >= MAX_MOMENTS:
                    return
                self._progress(self.simulation.moments, MAX_MOMENTS)
                settled = self._after(place.moment, done)
                if settled is None:
                    if self.simulation.by_order:
                        self.by_order.append(acts or self._said(place, done))
                    continue
                key = _key(settled)
                if key not in known:
                    known[key] = self._place(settled)
                    self.places.append(known[key])
                    if first.setdefault(_still(settled), known[key]) is known[key]:
                        waiting.append(known[key])
                then = known[key]
                if then is not place:
                    said = acts or tuple(self._hands.acts(place.hands, then.hands))
                    place.onward.append(Operation(said, done, then))
        for place in self.places:
            if first[_still(place.moment)] is not place:
                place.onward.extend(self._elsewhere(place, first[_still(place.moment)]))

    def _said(self, place: RestState, done: Action) -> tuple[Instruction, ...]:
        """How to do an action of the hands, whatever comes of it."""
        changed = {what: state for changes in done.changes for what, state in changes.items()}
        hands = self._place({**place.moment, **changed}).hands
        return tuple(self._hands.acts(place.hands, hands))

    def _elsewhere(self, place: RestState, first: RestState) -> Iterator[Operation]:
        """Operations from a state that differs from ``first`` only in where on its block the
        locomotive stands: it is lifted, or moved along to ``first``."""
        [(block, (here,))] = place.setup.stands
        moved = {observables.train(self._pieces[block]), self._standing[block]}
        for way in first.onward:
            if way.then is not place and any(moved & set(c) for c in way.done.changes):
                yield way
        if block not in self._bench.plan.equipment.geometry:
            [(_, (there,))] = first.setup.stands
            act = self._hands.move((block, here), (block, there))
            yield Operation((act,), Action((self.on(block, there),), passes=block), first)

    def _after(self, moment: Mapping[Observable, str], done: Action) -> Moment | None:
        """The settled state after an action; None if the action is not to be taken."""
        before: Mapping[Observable, str] = moment
        for settled in self.simulation.steps(moment, done):
            if settled is None or not self._is_kind(before, settled):
                return None
            before = settled
        return dict(before)

    def _tries(
        self, moment: Mapping[Observable, str]
    ) -> Iterator[tuple[tuple[Instruction, ...], Action]]:
        """Actions to try, with instructions where those of a path do not say them."""
        held = sum(moment[w] == "pressed" for w in self._handled if w.kind == "button")
        for what in self._handled:
            for state in what.values:
                too_many = state == "pressed" and held >= MAX_HELD
                if state != moment[what] and not too_many:
                    yield (), Action(({what: state},))
        for device in self._by_hand:
            yield (), Action(({},), thrown=device.name)
        stood = self.stood(moment)
        if stood is None:
            for block, at in self.stands.items():
                for place in at:
                    yield (self._hands.put((block, place)),), Action((self.on(block, place),))
            return
        gone = self.off(stood[0])
        yield (self._hands.take(stood),), Action((gone,))
        yield from self._driven(stood, moment, gone)

    def _driven(
        self, stood: Stood, moment: Mapping[Observable, str], gone: Mapping[Observable, str]
    ) -> Iterator[tuple[tuple[Instruction, ...], Action]]:
        block, here = stood
        if block in self._bench.plan.equipment.geometry:
            return
        for place in self.stands[block]:
            if place != here:
                act = self._hands.move(stood, (block, place))
                yield (act,), Action((self.on(block, place),), passes=block)
        for other in self._driven_to(block, moment):
            place = self.stands[other][0]
            where = self._hands.where(other, place)
            act = Instruction(f"drive the locomotive from {block} to {where}", 2)
            yield (act,), Action((self.on(other, place), gone), passes=other)

    def stood(self, moment: Mapping[Observable, str]) -> Stood | None:
        """The block and the place on it where the locomotive stands; None if it is off."""
        for block, piece in self._pieces.items():
            if moment[observables.train(piece)] == "occupied":
                standing = self._standing.get(block)
                return block, "occupied" if standing is None else moment[standing]
        return None

    def on(self, block: str, place: str) -> dict[Observable, str]:
        """The changes that place the locomotive on a block."""
        standing = self._standing.get(block)
        there = {} if standing is None else {standing: place}
        return {observables.train(self._pieces[block]): "occupied", **there}

    def off(self, block: str) -> dict[Observable, str]:
        """The changes that lift the locomotive off a block."""
        standing = self._standing.get(block)
        there = {} if standing is None else {standing: standing.usual}
        return {observables.train(self._pieces[block]): "vacant", **there}

    def _driven_to(self, block: str, moment: Mapping[Observable, str]) -> Iterator[str]:
        """The blocks to which the locomotive can be driven, over points that lie for it."""
        found: dict[str, None] = {}
        pieces = self._plan.track.pieces
        for joint in self._plan.track.joints:
            blocks = [pieces[port.piece].block for port in (joint.a, joint.b)]
            if block not in blocks or None in blocks or blocks[0] == blocks[1]:
                continue
            if all(self._is_lined(port, moment) for port in (joint.a, joint.b)):
                found |= dict.fromkeys(b for b in blocks if b is not None and b != block)
        for other in found:
            if other in self.stands and other not in self._bench.plan.equipment.geometry:
                yield other

    def _is_lined(self, port: Port, moment: Mapping[Observable, str]) -> bool:
        match self._plan.track.pieces[port.piece].kind:
            case "turnout":
                return port.end in ("points", moment[observables.points(port.piece)])
            case "slip":
                return False
            case _:
                return True

    def _is_kind(self, before: Mapping[Observable, str], after: Mapping[Observable, str]) -> bool:
        """Whether no points and no gate moved under stock, no points or derail lie open, and the
        assumptions hold."""
        plan = self._stepper.plan
        occupied = {*occupied_blocks(plan, before), *occupied_blocks(plan, after)}
        for device in self._moving:
            lies, was = after[device.lies], before[device.lies]
            if lies == "open" and "open" not in device.positions:
                return False
            if lies != was and device.pieces and device.block in occupied:
                return False
        try:
            return self._stepper.allowed(self.simulation.look(after))
        except Unsettled:
            return False

    def _place(self, moment: Mapping[Observable, str]) -> RestState:
        stood = self.stood(moment)
        stands = () if stood is None else ((stood[0], (stood[1],)),)
        throws = self._bench.throws
        told = tuple((d.name, moment[d.told]) for d in self._moving if throws(d.name))
        lies = tuple(
            (d.name, moment[d.lies]) for d in self._moving
            if d.has_points and not throws(d.name)
        )  # fmt: skip
        is_told = {d.lies for d in self._moving if throws(d.name)}
        points = [d for d in self._by_hand if d.has_points]
        hand = tuple((d.name, moment[d.lies]) for d in points)
        others = {d.lies for d in self._by_hand if not d.has_points}
        every = [(w, s) for w, s in moment.items() if w.kind in _KEPT]
        kept = tuple((w, s) for w, s in every if w not in is_told)
        done = tuple((w, s) for w, s in every if w.kind in ("lever", "button") or w in others)
        return RestState(moment, Setup(stands, told, lies, kept), Setup(stands, (), hand, done), [])


def _key(moment: Mapping[Observable, str]) -> frozenset[tuple[Observable, str]]:
    return frozenset((what, state) for what, state in moment.items() if state != what.usual)


def _still(moment: Mapping[Observable, str]) -> frozenset[tuple[Observable, str]]:
    """A moment, except for where on its block stock stands."""
    return frozenset((what, s) for what, s in _key(moment) if what.kind != "standing")


def _pieces(stepper: WiredStepper) -> dict[str, str]:
    """One piece of track for each block."""
    found: dict[str, str] = {}
    for name in stepper.positions.pieces:
        block = stepper.plan.track.pieces[name].block
        if block is not None:
            found.setdefault(block, name)
    return found


def _stands(bench: Bench, pieces: Mapping[str, str]) -> dict[str, list[str]]:
    """For each block, the places at which the locomotive may stand."""
    found: dict[str, list[str]] = {}
    for block, place in places(bench):
        if block in pieces:
            found.setdefault(block, []).append(place)
    return found
