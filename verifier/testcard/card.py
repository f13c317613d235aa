"""The test card: few steps that test all of a built layout.

In: a plan. Out: a :class:`Card`: steps in the order in which they are done, each with what it must
show; the steps of each goal; and what no step can show, and whether that is proved.

The coverage goals (:mod:`verifier.testcard.coverage_goals`, :mod:`verifier.testcard.fault_list`)
are compared with candidate steps (:mod:`verifier.testcard.candidate_steps`); the solver adds a step
for each goal that no candidate meets. The evaluator alone tells which goals a step meets. The
smallest set of steps that meets all goals (:mod:`verifier.engines.set_cover`) is compared with a
lower bound (:mod:`verifier.testcard.lower_bound`) and put in a cheap order
(:mod:`verifier.testcard.step_ordering`).
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from functools import cache, reduce
from operator import or_

from verifier.diagnosis.bench import Bench, Setup
from verifier.engines.set_cover import smallest_cover
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import Expr, support
from verifier.plan import observables
from verifier.plan.model import Line
from verifier.plan.situation import Situation
from verifier.testcard.candidate_steps import (
    FOR_EACH,
    Candidate,
    CandidateBuilder,
    first_candidates,
    most_revealing,
)
from verifier.testcard.card_model import Card, CardStep, Found, Met, Unseen
from verifier.testcard.coverage_goals import (
    ConflictGoals,
    Goal,
    color_goals,
    conflict_goals,
    fact_goals,
    line_goals,
    lines_of,
    route_goals,
    serves,
)
from verifier.testcard.fault_list import (
    CardFault,
    card_faults,
    is_left_open,
    lock_slips,
    shown_at,
    to_be_seen,
    without_power,
)
from verifier.testcard.fault_simulation import FaultSimulator
from verifier.testcard.lock_mistakes import is_too_quick
from verifier.testcard.lock_tries import LockTries, Try
from verifier.testcard.lower_bound import incompatible_goals
from verifier.testcard.solver_queries import QueryUndecided, SolverQueries
from verifier.testcard.stateful_steps import Operation, StateGraph, is_stateful
from verifier.testcard.step_ordering import Instruction, OperatorPath, length, short_path
from verifier.verdicts.progress import Progress, silent

# For layouts with more signals than this, the solver is not asked for steps that show faults.
MAX_PROVED = 40


def card_on(bench: Bench, progress: Progress = silent) -> Card:
    """The card of the layout on a bench, which keeps what it has evaluated."""
    return _Maker(bench, progress).card()


class _Maker:
    def __init__(self, bench: Bench, progress: Progress):
        self.bench, self.plan = bench, bench.plan
        self.progress = progress
        self.graph = StateGraph(bench, progress) if is_stateful(bench.given) else None
        self.queries = SolverQueries(bench, stateful=self.graph is not None)
        self.paths = self.graph or OperatorPath(bench)
        self.simulator = FaultSimulator(bench, self.graph) if self.graph else None
        # Faults that relays, timers or locks detect: memory may change.
        self.detected: list[CardFault] = []
        self.lines = list(line_goals(self.plan))
        self.facts = list(fact_goals(self.plan))
        self.colors = list(color_goals(self.plan))
        self.routes = list(route_goals(self.plan))
        self.conflicts = list(self._conflicts())
        self.goals: list[Goal] = [
            *self.lines, *(goal for fact in self.facts for goal in (fact.acts, fact.fails)),
            *self.colors, *self.routes, *(goal for _, _, goal in self.conflicts),
        ]  # fmt: skip
        read = (what for goal in self.goals for what in support(goal.when))
        self.builder = CandidateBuilder(bench, read)
        self.unseen: list[Unseen] = []
        self._shown: dict[tuple[Candidate, CardFault], str | None] = {}

    def _conflicts(self) -> Iterator[tuple[ConflictGoals, int, Goal]]:
        """Conflicting pairs, each with the least number of facts that keep both from being set."""
        lines = {owner: lines for owner, _, lines in lines_of(self.plan)}
        serving: dict[str, list[Line]] = {}
        for route in self.plan.routes:
            serving[route.name] = [
                line for line in lines.get(route.signal, ())
                if not self.queries.never(serves(line, route, self.plan))
            ]  # fmt: skip
        for pair in conflict_goals(self.plan, serving):
            for missing, level in enumerate(pair.levels):
                if not self.queries.never(level):
                    text = f"{pair.one} beside {pair.other}"
                    yield pair, missing, Goal("conflict", text, level)
                    break

    def card(self) -> Card:
        """The finished card."""
        candidates, complete = self._steps_for_goals()
        faults = self._steps_for_faults(candidates)
        columns = [
            *(_bits(step.shows(goal.when) for step in candidates) for goal in self.goals),
            *(self._showing(candidates, fault) for fault in faults),
        ]
        rows = [_bits(column >> i & 1 for column in columns) for i in range(len(candidates))]
        cover = smallest_cover(rows)
        chosen, shortest = self._short(candidates, rows, cover.chosen)
        at_least = len(chosen)
        if not (complete and cover.smallest):
            at_least = self._bound(columns, [*self.goals, *faults], at_least, complete=complete)
        return self._card([candidates[i] for i in chosen], faults, at_least, shortest)

    # -------------------------------------------------------------- candidates

    def _steps_for_goals(self) -> tuple[list[Candidate], bool]:
        """Candidates that meet all goals that can be met, and whether they are all there are."""
        if self.graph is None:
            pool, complete = first_candidates(self.builder)
        else:
            pool, complete = list(self._reachable(self.graph)), False
        meets = dict.fromkeys(pool, 0)
        by_goal: list[list[Candidate]] = []
        for number, goal in enumerate(self.goals):
            self.progress(number, len(self.goals))
            by_goal.append([candidate for candidate in pool if candidate.shows(goal.when)])
            for candidate in by_goal[-1]:
                meets[candidate] += 1
        kept = dict.fromkeys(most_revealing(pool))
        for goal, fitting in zip(self.goals, by_goal, strict=True):
            best = sorted(fitting, key=lambda c: -meets[c])[:FOR_EACH]
            kept |= dict.fromkeys(best or self._solved(goal, goal.when))
        return list(kept), complete

    def _reachable(self, graph: StateGraph) -> Iterator[Candidate]:
        found = (self.builder.candidate(place.setup) for place in graph.places)
        return (candidate for candidate in found if candidate is not None)

    def _solved(self, what: Goal | CardFault, when: Expr) -> list[Candidate]:
        """A step found by the solver or, on a layout with memory, in the state graph; none if none
        was found, which is noted."""
        proved, setup = False, None
        try:
            setup = self.queries.step(when)
            proved = setup is None
        except QueryUndecided:
            pass
        found: Iterable[Candidate | None] = ()
        if self.graph is not None and not proved:
            found = self._reachable(self.graph)
        elif setup is not None:
            found = [self.builder.candidate(setup)]
        for candidate in found:
            if candidate is not None and self._confirms(candidate, what):
                return [candidate]
        self.unseen.append(Unseen(what, proved))
        return []

    def _confirms(self, candidate: Candidate, what: Goal | CardFault) -> bool:
        if isinstance(what, Goal):
            return candidate.shows(what.when)
        return self._where(candidate, what) is not None

    def _steps_for_faults(self, candidates: list[Candidate]) -> list[CardFault]:
        """All faults that memory does not detect; steps are added for those that no candidate
        shows."""
        waiting = list(card_faults(self.bench))
        static: list[CardFault] = []
        many = len(self.plan.signals) > MAX_PROVED
        while waiting:
            self.progress(len(static), len(static) + len(waiting))
            fault = waiting.pop(0)
            if is_left_open(self.bench, fault):
                self.unseen.append(Unseen(fault, True))
                continue
            if self.simulator is not None and self.simulator.may_remember(fault):
                self.detected += without_power(self.bench, fault) or [fault]
                continue
            if not self._showing(candidates, fault):
                dead = without_power(self.bench, fault) if fault.stuck is None else ()
                if dead:
                    waiting[:0] = dead
                    continue
                self._add_step(candidates, fault, many=many)
            static.append(fault)
        return static

    def _add_step(self, candidates: list[Candidate], fault: CardFault, *, many: bool) -> None:
        try:
            if not (many and fault.stuck is None and fault.suspect.trouble is None):
                candidates += self._solved(fault, to_be_seen(self.bench, fault))
                return
        except InputError:  # with the fault, the rules are cyclic
            pass
        self.unseen.append(Unseen(fault, False))

    def _showing(self, steps: Sequence[Candidate], fault: CardFault) -> int:
        return _bits(self._where(step, fault) is not None for step in steps)

    def _where(self, step: Candidate, fault: CardFault) -> str | None:
        key = step, fault
        if key not in self._shown:
            self._shown[key] = shown_at(self.bench, step.setup, fault, step.colors)
        return self._shown[key]

    def _bound(
        self,
        columns: Sequence[int],
        aims: Sequence[Goal | CardFault],
        enough: int,
        *,
        complete: bool,
    ) -> int:
        """A lower bound for the steps of every card that meets the same goals."""
        met = [i for i, column in enumerate(columns) if column]

        @cache
        def when(position: int) -> Expr | None:
            aim = aims[met[position]]
            try:
                return aim.when if isinstance(aim, Goal) else to_be_seen(self.bench, aim)
            except InputError:
                return None

        def never(a: int, b: int) -> bool:
            if complete:
                return True
            one, other = when(a), when(b)
            return one is not None and other is not None and self.queries.never(one, other)

        return len(incompatible_goals([columns[i] for i in met], never, enough))

    # -------------------------------------------------------------- order

    def _short(
        self, steps: Sequence[Candidate], rows: Sequence[int], chosen: Sequence[int]
    ) -> tuple[list[int], bool]:
        """The steps in a cheap order. A step is exchanged for another that meets what no other
        step of the card meets if that makes the order cheaper."""

        @cache
        def cost(a: int, b: int) -> int:
            return self.paths.cost(steps[a].setup if a >= 0 else Setup(), steps[b].setup)

        everything = reduce(or_, rows, 0)
        order, shortest = _ordered(chosen, cost)
        while True:
            before = length(order, cost)
            for place in range(len(order)):
                others = (*order[:place], *order[place + 1 :])
                needed = everything & ~reduce(or_, (rows[i] for i in others), 0)
                order[place] = min(
                    (i for i in range(len(steps)) if rows[i] & needed == needed),
                    key=lambda i: (length([*order[:place], i, *order[place + 1 :]], cost), i),
                )
            order, shortest = _ordered(order, cost)
            if length(order, cost) >= before:
                return order, shortest

    # -------------------------------------------------------------- the card

    def _card(
        self, chosen: list[Candidate], faults: Iterable[CardFault], at_least: int, shortest: bool
    ) -> Card:
        steps, before = list[CardStep](), Setup()
        for candidate in chosen:
            instructions = tuple(self.paths.acts(before, candidate.setup))
            operations = self.graph.operations(before, candidate.setup) if self.graph else ()
            steps.append(self._step(len(steps) + 1, candidate, instructions, operations))
            before = candidate.setup
        found = [
            *self._found(chosen, faults), *self._simulated(chosen, steps),
            *self._locks_tried(chosen, steps),
        ]  # fmt: skip

        def met(goal: Goal) -> tuple[int, ...]:
            return tuple(n for n, one in enumerate(chosen, 1) if one.shows(goal.when))

        # Where a lock is tried while a timer runs, more comes about than at rest.
        unseen = [u for u in self.unseen if not (isinstance(u.what, Goal) and met(u.what))]
        seen = {one.what for one in unseen}

        def all_met(goals: Iterable[Goal]) -> tuple[Met, ...]:
            return tuple(Met(goal, met(goal)) for goal in goals if goal not in seen)

        return Card(
            self.bench.given, tuple(steps), all_met(self.lines),
            tuple((fact, met(fact.acts), met(fact.fails)) for fact in self.facts),
            all_met(self.colors), all_met(self.routes),
            tuple((pair, missing, met(goal)) for pair, missing, goal in self.conflicts
                  if goal not in seen),
            tuple(found), tuple(unseen), at_least,
            sum(act.cost for step in steps for act in step.instructions), shortest, self.simulator,
            tuple(self.graph.by_order) if self.graph else (),
        )  # fmt: skip

    def _step(
        self,
        number: int,
        candidate: Candidate,
        instructions: tuple[Instruction, ...],
        operations: tuple[Operation, ...],
    ) -> CardStep:
        setup = candidate.setup
        moment = next(iter(self.bench.moments(setup, ())))
        return CardStep(
            operations=operations, colors=candidate.colors, lies=self._lies(setup), number=number,
            instructions=instructions, setup=setup,
            situation=as_given(self.bench, setup, moment.truth.situation),
        )  # fmt: skip

    def _found(self, chosen: Sequence[Candidate], faults: Iterable[CardFault]) -> Iterator[Found]:
        """Where the faults show that memory does not detect."""
        for fault in faults:
            at = ((n, self._where(step, fault)) for n, step in enumerate(chosen, start=1))
            showing = tuple((n, place) for n, place in at if place is not None)
            if self.graph is not None and fault.suspect.trouble is not None:
                showing = showing[:1]  # afterwards, memory may differ
            if showing:
                yield Found(fault, showing)

    def _simulated(self, chosen: list[Candidate], steps: list[CardStep]) -> Iterator[Found]:
        """Where the faults show that memory may detect. Steps are added for those that do not
        show."""
        if self.simulator is None or self.graph is None:
            return
        first = len(steps)
        for number, fault in enumerate(self.detected):
            self.progress(number, len(self.detected))
            at = (
                self.simulator.shown(fault, steps[:first])
                or tuple((n + first, p) for n, p in self.simulator.shown(fault, steps[first:]))
                or self._added_for(fault, chosen, steps, self.simulator, self.graph)
            )
            if at:
                yield Found(fault, at)
            else:
                self.unseen.append(Unseen(fault, False))

    def _added_for(
        self,
        fault: CardFault,
        chosen: list[Candidate],
        steps: list[CardStep],
        simulator: FaultSimulator,
        graph: StateGraph,
    ) -> tuple[tuple[int, str], ...]:
        """Add a step that shows a fault: after the last one if it shows then, else after a
        reset."""
        operations = simulator.step_for(fault)
        candidate = self.builder.candidate(operations[-1].then.setup) if operations else None
        if not operations or candidate is None:
            return ()
        begun = _since_reset(steps)
        further = graph.lifting(steps[-1].setup, candidate.setup) if begun else ()
        reset = [graph.reset(steps[-1].setup)] if steps else []
        for before, onward in ((begun, further), ([], (*reset, *operations))):
            instructions = tuple(act for operation in onward for act in operation.acts)
            step = self._step(len(steps) + 1, candidate, instructions, onward)
            at = simulator.shown(fault, [*before, step]) if onward else ()
            if at:
                steps.append(step)
                chosen.append(candidate)
                return tuple((step.number, place) for _, place in at)
        return ()

    def _locks_tried(self, chosen: list[Candidate], steps: list[CardStep]) -> Iterator[Found]:
        """Where slips in what locks and remembers show. Steps are added for those that do not."""
        if self.simulator is None or self.graph is None:
            return
        tries = LockTries(self.plan, self.graph, self.simulator)
        slips = list(lock_slips(self.bench))
        for number, fault in enumerate(slips):
            self.progress(number, len(slips))
            at = self.simulator.shown(fault, steps)
            if not at and not (fault.slip and is_too_quick(self.plan, fault.slip)):
                found = (self._tried(one, fault, chosen, steps) for one in tries.of(fault))
                at = next((one for one in found if one), ())
            if at:
                yield Found(fault, at)
            else:
                self.unseen.append(Unseen(fault, False))

    def _tried(
        self, one: Try, fault: CardFault, chosen: list[Candidate], steps: list[CardStep]
    ) -> tuple[tuple[int, str], ...]:
        """Add a step that does one thing, if it shows the slip there: at once after the last step,
        or else after a reset."""
        assert self.graph is not None and self.simulator is not None
        place, ways = one
        candidate = self.builder.candidate(ways[-1].then.setup)
        if candidate is None:
            return ()
        begun = steps[-1].setup if steps else Setup()
        reset = [self.graph.reset(begun)] if steps else []
        for path in (
            self.graph.operations(begun, place.setup),
            (*reset, *self.graph.operations(Setup(), place.setup)),
        ):
            onward = (*path, *ways)
            acts = tuple(act for operation in onward for act in operation.acts)
            step = self._step(len(steps) + 1, candidate, acts, onward)
            thrown = ways[-1].done.thrown
            if thrown is not None:  # by hand, and looked at since its lock may not hold
                lies = ways[-1].then.moment[self.bench.lies(thrown)]
                step = replace(step, lies={**step.lies, thrown: lies})
            at = self.simulator.shown(fault, [*steps, step])
            if at:
                steps.append(step)
                chosen.append(candidate)
                return at
        return ()

    def _lies(self, setup: Setup) -> dict[str, str]:
        """How all must lie that has a command, and what neither hands nor a machine of the wiring
        throw."""
        lies = dict(setup.told)
        others = ((w.name, s) for w, s in setup.facts if w.kind in ("derail", "gate"))
        for name, state in (*setup.lies, *others):
            throw = self.plan.locking.throws.get(name)
            if throw is not None and throw.by not in ("hand", "anyone"):
                lies[name] = state
        return lies


def _bits(flags: Iterable[bool | int]) -> int:
    """The positions of the true flags, as bits."""
    return sum(1 << i for i, flag in enumerate(flags) if flag)


def _ordered(chosen: Sequence[int], cost: Callable[[int, int], int]) -> tuple[list[int], bool]:
    """Steps in a cheap order, and whether no order is cheaper."""

    def between(a: int, b: int) -> int:
        return cost(chosen[a] if a >= 0 else -1, chosen[b])

    order, shortest = short_path(len(chosen), between)
    return [chosen[i] for i in order], shortest


def _since_reset(steps: Sequence[CardStep]) -> Sequence[CardStep]:
    """The steps from the last reset on; none if there was no reset."""
    for number in range(len(steps) - 1, -1, -1):
        if any(operation.done.off for operation in steps[number].operations):
            return steps[number:]
    return ()


def as_given(bench: Bench, setup: Setup, situation: Situation) -> Situation:
    """A situation of the bench's plan as one of the plan it was given, in which points follow
    their commands."""
    told = ((observables.thrown(n, bench.positions(n)), state) for n, state in setup.told)
    known = {**dict(told), **situation.facts}
    return Situation.of((what, known[what]) for what in bench.given.inputs if what in known)
