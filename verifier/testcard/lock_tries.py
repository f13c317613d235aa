"""How a person tries the locks: what is done to a layout so that a slip in them would show.

In: the states that can be reached, and a slip. Out: operations after which a layout with that slip
does something else than one built as written, the cheapest first: a lever against a lock that only
the condition left out keeps, a release that must wait, and must come, a lever laid over before a
delay is over. What must be seen is what the stepper does with the plan as it is; that a whole step
of the card shows the slip is for the card to confirm.
"""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from fractions import Fraction

from verifier.plan.model import Plan
from verifier.plan.observables import Condition, Observable
from verifier.reference.condition_eval import is_true, looking_at
from verifier.reference.evaluator import Unsettled
from verifier.testcard.fault_list import CardFault
from verifier.testcard.fault_simulation import FaultSimulator
from verifier.testcard.lock_mistakes import LockMistake, delay_of, seconds
from verifier.testcard.settle import Simulation
from verifier.testcard.stateful_steps import Operation, RestState, StateGraph
from verifier.testcard.step_ordering import Instruction

# The most moments simulated with one slip, and with all of them.
MAX_MOMENTS, MAX_IN_ALL = 800, 8_000
# Of a delay so much passes before a person lays the lever over: more than one too short leaves.
WAITED = Fraction(2, 3)

# Where to begin, and what to do there.
Try = tuple[RestState, tuple[Operation, ...]]


class LockTries:
    def __init__(self, plan: Plan, graph: StateGraph, simulator: FaultSimulator):
        self._plan, self._graph, self._simulator = plan, graph, simulator
        self._seen: dict[RestState, Mapping[Observable, str] | None] = {}
        self._left = MAX_IN_ALL
        self._cost = {place: sum(way.cost for way in path) for place, path in graph.ways().items()}

    def of(self, fault: CardFault) -> Iterator[Try]:
        """What to do where one slip shows in what is done last."""
        assert fault.slip is not None
        simulation = self._simulator.with_slip(fault.slip)
        most = simulation.moments + min(MAX_MOMENTS, self._left)
        begun = simulation.moments
        tries = self._too_soon if fault.slip.delay else self._otherwise
        for place, ways in tries(fault.slip, simulation):
            yield place, ways
            if simulation.moments > most:
                break
        self._left = max(0, self._left - (simulation.moments - begun))

    # -------------------------------------------------------------- a condition left out

    def _otherwise(self, slip: LockMistake, simulation: Simulation) -> Iterator[Try]:
        """Ways between two states, in one of which the condition comes out otherwise; where only
        memory then differs, one thing more is done."""
        most = simulation.moments + min(MAX_MOMENTS, self._left)
        hidden = []
        for place, way in self._concerned(slip):
            if simulation.moments > most:
                return
            then = simulation.after(place.moment, way.done)
            if then is None:
                continue
            if self._shows(simulation, then, way.then):
                yield place, (way,)
            elif then != dict(way.then.moment):
                hidden.append((place, way, then))
        for place, way, then in hidden:
            for further in way.then.onward:
                if simulation.moments > most:
                    return
                after = simulation.after(then, further.done)
                if after is not None and self._shows(simulation, after, further.then):
                    yield place, (way, further)

    def _concerned(self, slip: LockMistake) -> list[tuple[RestState, Operation]]:
        differs = {place for place in self._graph.places if self._differs(slip, place)}
        found = [
            (place, way)
            for place in self._graph.places
            for way in (*place.onward, *(self._graph.held(place) if place in differs else ()))
            if place in differs or way.then in differs
        ]
        return sorted(found, key=lambda one: self._cost[one[0]] + one[1].cost)

    def _differs(self, slip: LockMistake, place: RestState) -> bool:
        if place not in self._seen:
            try:
                self._seen[place] = self._graph.simulation.look(place.moment)
            except Unsettled:
                self._seen[place] = None
        states = self._seen[place]
        if states is None:
            return False
        return self._holds(slip.was, states) != self._holds(slip.then, states)

    def _holds(self, condition: Condition | None, states: Mapping[Observable, str]) -> bool:
        return condition is not None and is_true(condition, looking_at(states), {}, self._plan)

    def _shows(
        self, simulation: Simulation, then: Mapping[Observable, str], must: RestState
    ) -> bool:
        sight = self._simulator.sight(simulation, dict(then))
        return sight.against(self._simulator.at(must)) is not None

    # -------------------------------------------------------------- a delay too short

    def _too_soon(self, slip: LockMistake, simulation: Simulation) -> Iterator[Try]:
        """Ways that start the delay, then a while, then one thing more, at once."""
        most = simulation.moments + min(MAX_MOMENTS, self._left)
        whole = delay_of(self._plan, slip)
        waited = Fraction(whole * WAITED // 1)
        wait = Instruction(
            f"wait {seconds(waited)} by the clock, no longer, while {slip.delay} takes its "
            f"{seconds(whole)}", 1
        )  # fmt: skip
        by_cost = sorted(self._graph.places, key=self._cost.__getitem__)
        for place, way in ((at, way) for at in by_cost for way in at.onward):
            if simulation.moments > most:
                return
            if len(way.done.changes) != 1 or way.done.off:
                continue
            soon = replace(way.done, within=waited)
            paused = self._graph.paused(place.moment, soon)
            too_soon = None if paused is None else simulation.after(place.moment, soon)
            if paused is None or too_soon is None or too_soon == dict(paused.moment):
                continue
            first = Operation((*way.acts, wait), soon, paused)
            if self._shows(simulation, too_soon, paused):
                yield place, (first,)
            for further in self._graph.at_once(paused):
                then = simulation.after(too_soon, further.done)
                if then is not None and self._shows(simulation, then, further.then):
                    yield place, (first, further)
