"""The steps of a card gone through with something wrong of which relays, timers or locks hear.

What they hear they may remember: what a step then shows depends on all that was done before it. In:
a bench, what can be brought about on it, and something wrong. Out: where it shows in given steps;
or things to do from rest after which it shows. Nothing is said of what comes after something that
cannot be told: stock that goes past places at which, with this wrong, detectors say this or that;
points whose motor has no power; a layout that does not come to rest. Beginning again ends that.
"""

from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

from verifier.diagnosis.alike import differing
from verifier.diagnosis.bench import Bench, Colors, faults_in
from verifier.diagnosis.suspects import Suspect
from verifier.engines.results import Impossible, Interrupted
from verifier.engines.smt.situations import SituationCheck
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import FALSE
from verifier.plan import observables
from verifier.plan.observables import Observable
from verifier.reference.evaluator import Unsettled
from verifier.testcard.fault_list import TestedFault
from verifier.testcard.settle import Moment, Simulation
from verifier.testcard.solver_queries import EACH
from verifier.testcard.stateful_steps import Operation, RestState, StateGraph
from verifier.world.memory_abstraction import memory_alone
from verifier.world.world import World

# So many moments are worked out at most to find a step in which one thing wrong shows.
MAX_MOMENTS = 4_000

_HEARD = (*observables.REPORTED, "aspect", "color")


@dataclass(frozen=True, slots=True, eq=False)
class ExpectedStep:
    """A step as it is gone through: what is done, what it must show, and how turnouts must lie
    that are told."""

    ways: tuple[Operation, ...]
    colors: Mapping[str, frozenset[Colors]]
    lies: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Sighting:
    """What is seen in a step: colors by signal, and how turnouts lie."""

    colors: Mapping[str, Colors]
    lies: Mapping[str, str]

    def against(self, step: ExpectedStep) -> str | None:
        """The turnout or signal at which this is not as the step must show."""
        for turnout, must in step.lies.items():
            if self.lies.get(turnout, must) != must:
                return turnout
        for signal, must_show in step.colors.items():
            if self.colors.get(signal) not in (None, *must_show):
                return signal
        return None


class FaultSimulator:
    """One layout, gone through with one thing wrong at a time."""

    def __init__(self, bench: Bench, played: StateGraph):
        self._bench, self._played = bench, played
        self._turnouts = played.going.stepper.variables.turnouts
        self._musts: dict[RestState, ExpectedStep] = {}
        self._known: dict[Suspect, bool] = {}
        world = World(bench.plan)
        self._reads = [what for what in memory_alone(world).inputs if what.kind in _HEARD]
        # Any moment, points on their way and relays about to move included.
        self._moments = SituationCheck.of(world, EACH, assumed=False)

    def may_remember(self, wrong: TestedFault) -> bool:
        """Whether what is remembered may come to be otherwise for it, apart from points that do
        not go where they are told."""
        if wrong.suspect.trouble is not None:
            return False
        if wrong.suspect not in self._known:
            unpowered = bool(self._bench.unpowered_by(wrong.suspect))
            self._known[wrong.suspect] = unpowered or self._is_heard(wrong)
        return self._known[wrong.suspect]

    def _is_heard(self, wrong: TestedFault) -> bool:
        """Whether relays, timers or locks may ever hear otherwise for it."""
        try:
            differs = differing(self._bench, (), wrong.group, watched=self._reads)
        except InputError:  # with it, signals go round in a circle
            return True
        if differs is FALSE:
            return False
        try:
            return not isinstance(self._moments.find(differs), Impossible)
        except Interrupted:
            raise KeyboardInterrupt from None

    def shown(
        self, wrong: TestedFault, steps: Sequence[ExpectedStep]
    ) -> tuple[tuple[int, str], ...]:
        """By number from 1, steps in which it shows for certain, and at what: the first of them,
        where there is one way for current to flow."""
        goings = list(self._goings(wrong))
        found = [self._found(wrong, going, steps, every=len(goings) > 1) for going in goings]
        common = set(found[0]).intersection(*found)
        return tuple((number, at) for number, at in found[0].items() if number in common)

    def _found(
        self, wrong: TestedFault, going: Simulation, steps: Sequence[ExpectedStep], *, every: bool
    ) -> dict[int, str]:
        found: dict[int, str] = {}
        for number, (step, sight) in enumerate(
            zip(steps, self.seen(wrong, going, steps), strict=True), start=1
        ):
            at = sight.against(step)
            if at is not None:
                found[number] = at
                if not every:
                    break
        return found

    def every(
        self, wrong: TestedFault, steps: Sequence[ExpectedStep]
    ) -> Iterator[tuple[Sighting, ...]]:
        """What is seen in each step, as far as it can be told, for each way in which current may
        flow."""
        return (tuple(self.seen(wrong, going, steps)) for going in self._goings(wrong))

    def seen(
        self, wrong: TestedFault, going: Simulation, steps: Iterable[ExpectedStep]
    ) -> Iterator[Sighting]:
        """What is seen in each step, as far as it can be told."""
        now = self._begun(wrong, going)
        for step in steps:
            for way in step.ways:
                if way.done.off:
                    now = self._begun(wrong, going)
                elif now is not None:
                    now = self._after(wrong, going, now, way)
            sight = self._sight(going, now)
            if wrong.stuck is not None:
                sight = Sighting(sight.colors, {**sight.lies, **dict([wrong.stuck])})
            yield sight

    def step_for(self, wrong: TestedFault) -> tuple[Operation, ...] | None:
        """Things to do from rest after which it shows; None where none were found."""
        going = next(self._goings(wrong))
        start = self._begun(wrong, going)
        if start is None:
            return None
        known = {self._played.rest}
        waiting: deque[tuple[RestState, Moment, tuple[Operation, ...]]] = deque()
        waiting.append((self._played.rest, start, ()))
        while waiting and going.moments < MAX_MOMENTS:
            place, now, ways = waiting.popleft()
            for way in place.onward:
                if way.then in known:
                    continue
                then = self._after(wrong, going, now, way)
                if then is None:
                    continue
                known.add(way.then)
                trod = (*ways, way)
                if self._sight(going, then).against(self._at(way.then)) is not None:
                    return trod
                waiting.append((way.then, then, trod))
        return None

    def _at(self, place: RestState) -> ExpectedStep:
        """What a place must show."""
        if place not in self._musts:
            sight = self._sight(self._played.going, dict(place.moment))
            colors = {signal: frozenset({lit}) for signal, lit in sight.colors.items()}
            self._musts[place] = ExpectedStep((), colors, sight.lies)
        return self._musts[place]

    # -------------------------------------------------------------- with it wrong

    def _goings(self, wrong: TestedFault) -> Iterator[Simulation]:
        """The layout with it wrong, once for each way in which current may flow."""
        wired = self._bench.wired(wrong.group)
        broken = faults_in(wired, wrong.group)
        open_ = [what for what in wired.inputs if what.kind == "current"]
        for states in product(*(what.values for what in open_)):
            flows = dict(zip(open_, states, strict=True))
            yield Simulation(self._bench.given, wired, {**broken, **flows})

    def _begun(self, wrong: TestedFault, going: Simulation) -> Moment | None:
        """How all is at first; None where points lie otherwise for good."""
        start = going.start()
        if start is None or wrong.stuck is None:
            return start
        turnout, lies = wrong.stuck
        return start if start[observables.points(turnout)] == lies else None

    def _after(
        self, wrong: TestedFault, going: Simulation, now: Moment, way: Operation
    ) -> Moment | None:
        """How all is once something was done; None where that cannot be told."""
        block = way.done.passes
        if block is not None and not self._is_seen_alike(going, now, block):
            return None
        then = going.after(now, way.done)
        stuck = [observables.points(turnout) for turnout in self._bench.unpowered_by(wrong.suspect)]
        if then is not None and any(then[points] != now[points] for points in stuck):
            return None  # without power they stay as they are
        return then

    def _is_seen_alike(self, going: Simulation, now: Moment, block: str) -> bool:
        """Whether stock that moves onto a block, or along it, is reported in one way all along."""
        stood = self._played.stood(now)
        if stood is None:
            return False
        here = stood[0]
        blocks = [here] if here == block else [here, block]
        for moved in blocks:
            for others in ({}, self._played.off(here)) if moved != here else ({},):
                ways = (
                    {**now, **others, **self._played.on(moved, place)}
                    for place in self._played.stands[moved]
                )
                if len({self._reports(going, moment) for moment in ways}) > 1:
                    return False
        return True

    def _reports(self, going: Simulation, moment: Moment) -> tuple[str, ...] | None:
        try:
            seen = going.look(moment)
        except Unsettled:
            return None
        return tuple(seen[what] for what in self._reads if what.kind in observables.REPORTED)

    def _sight(self, going: Simulation, now: Moment | None) -> Sighting:
        """What is seen at a moment; nothing where it cannot be told."""
        if now is None:
            return Sighting({}, {})
        try:
            seen = going.look(now)
        except Unsettled:
            return Sighting({}, {})
        lit = {
            signal.name: tuple(_lit(seen[head.lens], head.lens) for head in signal.heads)
            for signal in self._bench.plan.signals.values()
        }
        return Sighting(lit, {name: seen[observables.points(name)] for name in self._turnouts})


def _lit(color: str, lens: Observable) -> str:
    """A color; dark where swapped wires light a lamp that the head has not."""
    return color if color in lens.values else "dark"
