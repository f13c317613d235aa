"""Fault simulation of a test card on a layout with memory.

A fault that relays, timers or locks can detect may change what they remember, so what a step shows
depends on all steps before it. In: a bench, its state graph, and a fault. Out: the steps of a card
that show the fault, or operations from rest that do. The simulation knows nothing after stock
passes places at which, with the fault, detectors report differently; after points whose motor has
no power should move; or if the layout does not settle. A reset ends that.
"""

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import islice, product

from verifier.diagnosis.bench import Bench, Colors, faults_in
from verifier.diagnosis.equivalence import differing
from verifier.diagnosis.suspects import Suspect
from verifier.engines.results import Impossible, Interrupted
from verifier.engines.smt.situations import SituationCheck
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import FALSE
from verifier.plan import observables
from verifier.plan.observables import Observable
from verifier.reference.evaluator import Unsettled
from verifier.testcard.fault_list import CardFault
from verifier.testcard.lock_mistakes import LockMistake
from verifier.testcard.settle import Moment, Simulation
from verifier.testcard.solver_queries import EFFORT
from verifier.testcard.stateful_steps import Operation, RestState, StateGraph
from verifier.world.memory_abstraction import memory_alone
from verifier.world.world import World

# The most moments that are simulated to find a step that shows one fault.
MAX_MOMENTS = 4_000

_HEARD = (*observables.REPORTED, "aspect", "color")


@dataclass(frozen=True, slots=True, eq=False)
class ExpectedStep:
    """A step as simulated: its operations, the colors that it must show, and how all
    that has a command must lie."""

    operations: tuple[Operation, ...]
    colors: Mapping[str, frozenset[Colors]]
    lies: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Sighting:
    """What is observed in a step: colors by signal, and how all that is thrown lies."""

    colors: Mapping[str, Colors]
    lies: Mapping[str, str]

    def against(self, step: ExpectedStep) -> str | None:
        """The first thing thrown, or signal, that differs from what the step must show."""
        for name, must in step.lies.items():
            if self.lies.get(name, must) != must:
                return name
        for signal, must_show in step.colors.items():
            if self.colors.get(signal) not in (None, *must_show):
                return signal
        return None


@dataclass(slots=True)
class _Followed:
    """How far steps were simulated with a fault: what was observed in each, and the state then."""

    sights: list[Sighting] = field(default_factory=list)
    now: Moment | None = None


class FaultSimulator:
    """Simulates one layout with one fault at a time."""

    def __init__(self, bench: Bench, graph: StateGraph):
        self._bench, self._graph = bench, graph
        self._devices = graph.simulation.stepper.variables.moving
        self._musts: dict[RestState, ExpectedStep] = {}
        self._known: dict[Suspect, bool] = {}
        # By steps, fault and way in which current may flow: a card is filled in step by step.
        self._followed: dict[tuple[tuple[ExpectedStep, ...], CardFault, int], _Followed] = {}
        self._slipped: tuple[LockMistake, Simulation] | None = None
        world = World(bench.plan)
        inputs = memory_alone(world).inputs
        self._reads = [what for what in inputs if what.kind in _HEARD]
        # What relays and timers cannot do without: their supplies and power wires.
        self._feeds = frozenset(what for what in inputs if what.kind == "fault")
        # Any moment, including those at which points and relays move.
        self._moments = SituationCheck.of(world, assumed=False, effort=EFFORT)

    def may_remember(self, fault: CardFault) -> bool:
        """Whether a fault may change what is remembered, apart from points that do not move as
        commanded."""
        if fault.slip is not None:
            return True
        if fault.suspect.trouble is not None:
            return False
        if fault.suspect not in self._known:
            unpowered = bool(self._bench.unpowered_by(fault.suspect))
            drops = any(s.fault and s.fault.what in self._feeds for s in fault.group)
            self._known[fault.suspect] = unpowered or drops or self._is_heard(fault)
        return self._known[fault.suspect]

    def _is_heard(self, fault: CardFault) -> bool:
        """Whether a fault may ever change what relays, timers or locks read."""
        try:
            differs = differing(self._bench, (), fault.group, watched=self._reads)
        except InputError:  # with it, signals go round in a circle
            return True
        if differs is FALSE:
            return False
        try:
            return not isinstance(self._moments.find(differs), Impossible)
        except Interrupted:
            raise KeyboardInterrupt from None

    def shown(self, fault: CardFault, steps: Sequence[ExpectedStep]) -> tuple[tuple[int, str], ...]:
        """The steps that surely show a fault, numbered from 1, with the turnout or signal that
        shows it. Only the first, if current can flow in one way only."""
        simulations = [simulated() for simulated in self._simulations(fault)]
        found: list[dict[int, str]] = []
        for simulation in simulations:
            sights = self.seen(fault, simulation, steps)
            differing_at = (sight.against(step) for step, sight in zip(steps, sights, strict=True))
            showing = ((n, at) for n, at in enumerate(differing_at, start=1) if at is not None)
            found.append(dict(showing if len(simulations) > 1 else islice(showing, 1)))
        common = set(found[0]).intersection(*found)
        return tuple((number, at) for number, at in found[0].items() if number in common)

    def every(
        self, fault: CardFault, steps: Sequence[ExpectedStep]
    ) -> Iterator[Iterator[Sighting]]:
        """The observations in each step, as far as known, for each way in which current may
        flow; worked out step by step, each once."""
        ways = enumerate(self._simulations(fault))
        return (self._follow(fault, way, simulated, tuple(steps)) for way, simulated in ways)

    def _follow(
        self,
        fault: CardFault,
        way: int,
        simulated: Callable[[], Simulation],
        steps: tuple[ExpectedStep, ...],
    ) -> Iterator[Sighting]:
        known = self._followed.setdefault((steps, fault, way), _Followed())
        simulation: Simulation | None = None
        for number, step in enumerate(steps):
            if number == len(known.sights):
                simulation = simulation or simulated()
                now = known.now if number else self._begun(fault, simulation)
                known.now = self._done(fault, simulation, now, step)
                known.sights.append(self._sighting(fault, simulation, known.now))
            yield known.sights[number]

    def seen(
        self, fault: CardFault, simulation: Simulation, steps: Iterable[ExpectedStep]
    ) -> Iterator[Sighting]:
        """The observations in each step, as far as known."""
        now = self._begun(fault, simulation)
        for step in steps:
            now = self._done(fault, simulation, now, step)
            yield self._sighting(fault, simulation, now)

    def step_for(self, fault: CardFault) -> tuple[Operation, ...] | None:
        """Operations from rest after which a fault shows; None if none were found."""
        simulation = next(self._simulations(fault))()
        start = self._begun(fault, simulation)
        if start is None:
            return None
        known = {self._graph.rest}
        waiting: deque[tuple[RestState, Moment, tuple[Operation, ...]]] = deque()
        waiting.append((self._graph.rest, start, ()))
        while waiting and simulation.moments < MAX_MOMENTS:
            place, now, ways = waiting.popleft()
            for way in place.onward:
                if way.then in known:
                    continue
                then = self._after(fault, simulation, now, way)
                if then is None:
                    continue
                known.add(way.then)
                path = (*ways, way)
                if self.sight(simulation, then).against(self.at(way.then)) is not None:
                    return path
                waiting.append((way.then, then, path))
        return None

    def at(self, place: RestState) -> ExpectedStep:
        """What a state must show."""
        if place not in self._musts:
            sight = self.sight(self._graph.simulation, dict(place.moment))
            colors = {signal: frozenset({lit}) for signal, lit in sight.colors.items()}
            self._musts[place] = ExpectedStep((), colors, sight.lies)
        return self._musts[place]

    # -------------------------------------------------------------- with the fault

    def _simulations(self, fault: CardFault) -> Iterator[Callable[[], Simulation]]:
        """The layout with a fault, once for each way in which current may flow."""
        if fault.slip is not None:
            yield partial(self.with_slip, fault.slip)
            return
        wired = self._bench.wired(fault.group)
        broken = faults_in(wired, fault.group)
        open_ = [what for what in wired.inputs if what.kind in ("current", "share")]
        for states in product(*(what.values for what in open_)):
            flows = dict(zip(open_, states, strict=True))
            yield partial(Simulation, self._bench.given, wired, {**broken, **flows})

    def with_slip(self, slip: LockMistake) -> Simulation:
        """The layout with a slip in what locks and remembers. The last one is kept: it knows what
        it has worked out."""
        if self._slipped is None or self._slipped[0] is not slip:
            given = replace(self._bench.given, locking=slip.locking)
            wired = replace(self._bench.wired(()), locking=slip.locking)
            self._slipped = slip, Simulation(given, wired, {})
            self._slipped[1].stepper.seeing_as(self._graph.simulation.stepper)
        return self._slipped[1]

    def _begun(self, fault: CardFault, simulation: Simulation) -> Moment | None:
        """The initial settled state; None if stuck points lie otherwise in it."""
        start = simulation.start()
        if start is None or fault.stuck is None:
            return start
        name, lies = fault.stuck
        return start if start[self._bench.lies(name)] == lies else None

    def _done(
        self, fault: CardFault, simulation: Simulation, now: Moment | None, step: ExpectedStep
    ) -> Moment | None:
        """The settled state after a step; None if it is not known."""
        for way in step.operations:
            if way.done.off:
                now = self._begun(fault, simulation)
            elif now is not None:
                now = self._after(fault, simulation, now, way)
        return now

    def _sighting(self, fault: CardFault, simulation: Simulation, now: Moment | None) -> Sighting:
        """What is observed at a moment; what is stuck lies as it does."""
        sight = self.sight(simulation, now)
        if fault.stuck is None:
            return sight
        return Sighting(sight.colors, {**sight.lies, **dict([fault.stuck])})

    def _after(
        self, fault: CardFault, simulation: Simulation, now: Moment, way: Operation
    ) -> Moment | None:
        """The settled state after an operation; None if it is not known."""
        block = way.done.passes
        if block is not None and not self._is_seen_alike(simulation, now, block):
            return None
        then = simulation.after(now, way.done)
        stuck = [self._bench.lies(name) for name in self._bench.unpowered_by(fault.suspect)]
        if then is not None and any(then[lies] != now[lies] for lies in stuck):
            return None  # without power they do not move
        return then

    def _is_seen_alike(self, simulation: Simulation, now: Moment, block: str) -> bool:
        """Whether the reports stay the same while stock moves onto a block or along it."""
        stood = self._graph.stood(now)
        if stood is None:
            return False
        here = stood[0]
        blocks = [here] if here == block else [here, block]
        for moved in blocks:
            for others in ({}, self._graph.off(here)) if moved != here else ({},):
                ways = (
                    {**now, **others, **self._graph.on(moved, place)}
                    for place in self._graph.stands[moved]
                )
                if len({self._reports(simulation, moment) for moment in ways}) > 1:
                    return False
        return True

    def _reports(self, simulation: Simulation, moment: Moment) -> tuple[str, ...] | None:
        try:
            seen = simulation.look(moment)
        except Unsettled:
            return None
        return tuple(seen[what] for what in self._reads if what.kind in observables.REPORTED)

    def sight(self, simulation: Simulation, now: Moment | None) -> Sighting:
        """What is observed at a moment; nothing if it is not known."""
        if now is None:
            return Sighting({}, {})
        try:
            seen = simulation.look(now)
        except Unsettled:
            return Sighting({}, {})
        lit = {
            signal.name: tuple(_lit(seen[head.lens], head.lens) for head in signal.heads)
            for signal in self._bench.plan.signals.values()
        }
        return Sighting(lit, {d.name: seen[d.lies] for d in self._devices})


def _lit(color: str, lens: Observable) -> str:
    """A color; dark where swapped wires light a lamp that the head does not have."""
    return color if color in lens.values else "dark"
