"""Layouts that remember or lock: what can be brought about from rest, one thing done at a time.

In: a bench. Out: places at which all has come to rest, each with the things to do that lead there
from another, worked out by :mod:`verifier.trial.going`; a walk from place to place. After each
thing that is done, all there is to wait for is waited for: points, relays, timers. One locomotive
at most is on the track; it is driven from block to block, so that it is on both for a while, over
points that lie for it, or lifted where spot detectors watch, since what they say on its way is not
worked out. No more than two buttons are held. From anywhere there is a way back to rest:
everything is put back, and the supply of the logic is switched off and on again.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from heapq import heappop, heappush

from verifier.diagnosis.bench import Bench, Setup
from verifier.explain.trace_view import occupied_blocks
from verifier.plan import observables
from verifier.plan.model import Plan, Port
from verifier.plan.observables import Observable
from verifier.reference.evaluator import Unsettled
from verifier.reference.wired_step import WiredStepper
from verifier.testcard.operator_actions import places
from verifier.testcard.progress import Progress, silent
from verifier.testcard.settle import CONTROLS, Action, Moment, Simulation
from verifier.testcard.step_ordering import Instruction, OperatorPath, Stood

# So many moments are worked out at most, all in all.
MAX_MOMENTS = 30_000
MAX_HELD = 2
# What it costs to begin again: everything else apart, as much as two pieces of stock.
AGAIN = 6

_KEPT = (*CONTROLS, "relay", "timer", "traffic")


def is_stateful(plan: Plan) -> bool:
    """Whether what a layout shows may depend on what was done before."""
    thrown = {n for n, m in plan.wiring.machines.items() if m.motor or m.contacts == ()}
    return bool(plan.locking.memory) or any(
        throw.locked is not None
        or throw.by in ("buttons", "rule")
        or (throw.by == "lever" and throw.turnout not in thrown)
        for throw in plan.locking.throws.values()
    )


def has_definite_reports(bench: Bench) -> bool:
    """Whether what detectors say is one thing at each moment: where rails are joined that a gap
    should keep apart, it may be this or that."""
    return not any(w.kind == "current" and len(w.values) > 1 for w in bench.plan.inputs)


@dataclass(frozen=True, slots=True, eq=False)
class Operation:
    """Something to do, in words and as it is worked out, and the place it leads to."""

    acts: tuple[Instruction, ...]
    done: Action
    then: "RestState"

    @property
    def cost(self) -> int:
        return sum(act.cost for act in self.acts)


@dataclass(frozen=True, slots=True, eq=False)
class RestState:
    """``setup``: how all stands when it has come to rest, memory included; ``hands``: the same of
    what a person sets alone. ``onward``: what can be done next."""

    moment: Mapping[Observable, str]
    setup: Setup
    hands: Setup
    onward: list[Operation]


class StateGraph:
    """All places found, from rest on, in the order in which they were found."""

    def __init__(self, bench: Bench, progress: Progress = silent):
        self._bench, self._plan, self._progress = bench, bench.given, progress
        self.going = Simulation(bench.given, bench.plan, {})
        self._stepper = self.going.stepper
        self._walk = OperatorPath(bench)
        self._handled = [w for w in self._stepper.choices if w.kind in CONTROLS]
        self._standing = {w.name: w for w in self._stepper.wiring_inputs if w.kind == "standing"}
        self._pieces = _pieces(self._stepper)
        self.stands = _stands(bench, self._pieces)
        self._by_hand = [
            n for n in self._stepper.variables.turnouts
            if n not in self._plan.locking.throws
            or self._plan.locking.throws[n].by in ("hand", "anyone")
        ]  # fmt: skip
        start = self.going.start()
        usual = (*self._stepper.states, *self._handled)
        self.rest = self._place(start if start is not None else {w: w.usual for w in usual})
        self.places: list[RestState] = [self.rest]
        self._explore()
        self._at = {place.setup: place for place in self.places}
        self._ways: dict[
            tuple[RestState, bool], dict[RestState, tuple[int, tuple[Operation, ...]]]
        ] = {}

    # -------------------------------------------------------------- the walk

    def acts(self, before: Setup, after: Setup) -> list[Instruction]:
        """What to do to get from one place to another, in order."""
        return [act for way in self.ways(before, after) for act in way.acts]

    def cost(self, before: Setup, after: Setup) -> int:
        return self._way(before, after)[0]

    def ways(self, before: Setup, after: Setup) -> tuple[Operation, ...]:
        """The same as ways from place to place."""
        return self._way(before, after)[1]

    def lifting(self, before: Setup, after: Setup) -> tuple[Operation, ...]:
        """The same, stock being lifted wherever it goes; none where that does not lead there."""
        _, ways = self._from(self._at[before], lifting=True).get(self._at[after], (0, ()))
        return ways

    def _way(self, before: Setup, after: Setup) -> tuple[int, tuple[Operation, ...]]:
        return self._from(self._at.get(before, self.rest))[self._at[after]]

    def _from(
        self, start: RestState, *, lifting: bool = False
    ) -> dict[RestState, tuple[int, tuple[Operation, ...]]]:
        """The cheapest way from a place to every other."""
        if (start, lifting) not in self._ways:
            found: dict[RestState, tuple[int, tuple[Operation, ...]]] = {}
            waiting: list[tuple[int, int, RestState, tuple[Operation, ...]]] = [(0, 0, start, ())]
            number = 0
            while waiting:
                price, _, place, ways = heappop(waiting)
                if place in found:
                    continue
                found[place] = price, ways
                further = place.onward
                if place is start and start is not self.rest:
                    further = [*further, self.again(place.setup)]
                for way in further:
                    if way.then not in found and not (lifting and way.done.passes):
                        number += 1
                        heappush(waiting, (price + way.cost, number, way.then, (*ways, way)))
            self._ways[start, lifting] = found
        return self._ways[start, lifting]

    def again(self, setup: Setup) -> Operation:
        """Everything put back, and what remembers switched off and on."""
        place = self._at[setup]
        back = self._walk.acts(place.hands, self.rest.hands)
        off = "switch the low-voltage supply of the signals and relays off, and on again"
        put_back = {what: what.usual for what in (*self._handled, *self._standing.values())}
        gone = {observables.train(piece): "vacant" for piece in self._pieces.values()}
        return Operation(
            (*back, Instruction(off, AGAIN)), Action(({**put_back, **gone},), off=True), self.rest
        )

    # -------------------------------------------------------------- what can be brought about

    def _explore(self) -> None:
        known = {_key(self.rest.moment): self.rest}
        # By all but where on its block the locomotive stands: the place that was gone on from.
        first = {_still(self.rest.moment): self.rest}
        waiting = [self.rest]
        for place in waiting:  # it grows meanwhile
            for acts, done in self._tries(place.moment):
                if self.going.moments >= MAX_MOMENTS:
                    return
                self._progress(self.going.moments, MAX_MOMENTS)
                settled = self._after(place.moment, done)
                if settled is None:
                    continue
                key = _key(settled)
                if key not in known:
                    known[key] = self._place(settled)
                    self.places.append(known[key])
                    if first.setdefault(_still(settled), known[key]) is known[key]:
                        waiting.append(known[key])
                then = known[key]
                if then is not place:
                    said = acts or tuple(self._walk.acts(place.hands, then.hands))
                    place.onward.append(Operation(said, done, then))
        for place in self.places:
            if first[_still(place.moment)] is not place:
                place.onward.extend(self._elsewhere(place, first[_still(place.moment)]))

    def _elsewhere(self, place: RestState, first: RestState) -> Iterator[Operation]:
        """What can be done next where the locomotive stands elsewhere on its block: it is taken
        away, or moved along to where more can be done."""
        [(block, (here,))] = place.setup.stands
        moved = {observables.train(self._pieces[block]), self._standing[block]}
        for way in first.onward:
            if way.then is not place and any(moved & set(c) for c in way.done.changes):
                yield way
        if block not in self._bench.plan.equipment.geometry:
            [(_, (there,))] = first.setup.stands
            act = self._walk.move((block, here), (block, there))
            yield Operation((act,), Action((self.on(block, there),), passes=block), first)

    def _after(self, moment: Mapping[Observable, str], done: Action) -> Moment | None:
        """How all is once something was done; None where that is not to be done."""
        before: Mapping[Observable, str] = moment
        for settled in self.going.steps(moment, done):
            if settled is None or not self._is_kind(before, settled):
                return None
            before = settled
        return dict(before)

    def _tries(
        self, moment: Mapping[Observable, str]
    ) -> Iterator[tuple[tuple[Instruction, ...], Action]]:
        """One more thing done, with its words where they are not those of a walk."""
        held = sum(moment[w] == "pressed" for w in self._handled if w.kind == "button")
        for what in self._handled:
            for state in what.values:
                half = state == "open" and what.kind == "derail"
                too_many = state == "pressed" and held >= MAX_HELD
                if state != moment[what] and not half and not too_many:
                    yield (), Action(({what: state},))
        for turnout in self._by_hand:
            yield (), Action(({},), thrown=turnout)
        stood = self.stood(moment)
        if stood is None:
            for block, at in self.stands.items():
                for place in at:
                    yield (self._walk.put((block, place)),), Action((self.on(block, place),))
            return
        gone = self.off(stood[0])
        yield (self._walk.take(stood),), Action((gone,))
        yield from self._driven(stood, moment, gone)

    def _driven(
        self, stood: Stood, moment: Mapping[Observable, str], gone: Mapping[Observable, str]
    ) -> Iterator[tuple[tuple[Instruction, ...], Action]]:
        block, here = stood
        if block in self._bench.plan.equipment.geometry:
            return
        for place in self.stands[block]:
            if place != here:
                act = self._walk.move(stood, (block, place))
                yield (act,), Action((self.on(block, place),), passes=block)
        for other in self._driven_to(block, moment):
            place = self.stands[other][0]
            where = self._walk.at(other, place).removeprefix("on ")
            act = Instruction(f"drive the locomotive from {block} to {where}", 2)
            yield (act,), Action((self.on(other, place), gone), passes=other)

    def stood(self, moment: Mapping[Observable, str]) -> Stood | None:
        """The block on which the locomotive is, and where on it."""
        for block, piece in self._pieces.items():
            if moment[observables.train(piece)] == "occupied":
                standing = self._standing.get(block)
                return block, "occupied" if standing is None else moment[standing]
        return None

    def on(self, block: str, place: str) -> dict[Observable, str]:
        standing = self._standing.get(block)
        there = {} if standing is None else {standing: place}
        return {observables.train(self._pieces[block]): "occupied", **there}

    def off(self, block: str) -> dict[Observable, str]:
        standing = self._standing.get(block)
        there = {} if standing is None else {standing: standing.usual}
        return {observables.train(self._pieces[block]): "vacant", **there}

    def _driven_to(self, block: str, moment: Mapping[Observable, str]) -> Iterator[str]:
        """The blocks beside one, over points that lie for it."""
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
        """No points have moved beneath stock or lie open, and all is as the file assumes."""
        plan = self._stepper.plan
        occupied = {*occupied_blocks(plan, before), *occupied_blocks(plan, after)}
        for name in self._stepper.variables.turnouts:
            what, block = observables.points(name), self._plan.track.pieces[name].block
            if after[what] == "open" or (before[what] != after[what] and block in occupied):
                return False
        try:
            return self._stepper.allowed(self.going.look(after))
        except Unsettled:
            return False

    def _place(self, moment: Mapping[Observable, str]) -> RestState:
        stood = self.stood(moment)
        stands = () if stood is None else ((stood[0], (stood[1],)),)
        turnouts = self._stepper.variables.turnouts
        told = tuple((n, moment[observables.thrown(n)]) for n in turnouts if self._bench.throws(n))
        lies = tuple(
            (n, moment[observables.points(n)]) for n in turnouts if not self._bench.throws(n)
        )
        hand = tuple((n, moment[observables.points(n)]) for n in self._by_hand)
        kept = tuple((w, s) for w, s in moment.items() if w.kind in _KEPT)
        done = tuple((w, s) for w, s in kept if w.kind in CONTROLS)
        return RestState(moment, Setup(stands, told, lies, kept), Setup(stands, (), hand, done), [])


def _key(moment: Mapping[Observable, str]) -> frozenset[tuple[Observable, str]]:
    return frozenset((what, state) for what, state in moment.items() if state != what.usual)


def _still(moment: Mapping[Observable, str]) -> frozenset[tuple[Observable, str]]:
    """A moment but for where on its block stock stands."""
    return frozenset((what, s) for what, s in _key(moment) if what.kind != "standing")


def _pieces(stepper: WiredStepper) -> dict[str, str]:
    """By block, a piece of track on it."""
    found: dict[str, str] = {}
    for name in stepper.positions.pieces:
        block = stepper.plan.track.pieces[name].block
        if block is not None:
            found.setdefault(block, name)
    return found


def _stands(bench: Bench, pieces: Mapping[str, str]) -> dict[str, list[str]]:
    """By block, the places at which the locomotive may stand."""
    found: dict[str, list[str]] = {}
    for block, place in places(bench):
        if block in pieces:
            found.setdefault(block, []).append(place)
    return found
