"""The test card: few steps that try all of a built layout.

In: a plan. Out: a :class:`Card`: steps in the order in which they are done, with what each is to
show; what each goal's steps are; what no step can show, and whether that is proved.

The order of work: goals (:mod:`verifier.testcard.coverage_goals`,
:mod:`verifier.testcard.fault_list`); steps to choose from
(:mod:`verifier.testcard.candidate_steps`), to which the solver adds one for each goal that none of
them meets; for each step, by the evaluator alone, the goals it meets; the fewest of these steps
that meet all (:mod:`verifier.engines.set_cover`); how many every card must have
(:mod:`verifier.testcard.lower_bound`); a short way through the steps
(:mod:`verifier.testcard.step_ordering`). Nothing is claimed of a step that the evaluator did not
confirm.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from verifier.diagnosis.bench import Bench, Colors, Setup
from verifier.engines.set_cover import smallest_cover
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import Expr
from verifier.plan import observables
from verifier.plan.model import Line, Plan
from verifier.plan.situation import Situation
from verifier.testcard.candidate_steps import (
    FOR_EACH,
    Candidate,
    Trial,
    asked_of,
    first_pool,
    telling,
)
from verifier.testcard.coverage_goals import (
    Excluded,
    Goal,
    Tried,
    color_goals,
    conflicts_tried,
    facts_tried,
    line_goals,
    lines_of,
    route_goals,
    serves,
)
from verifier.testcard.fault_list import (
    CardFault,
    shown_at,
    to_be_seen,
    without_power,
    wrongs,
)
from verifier.testcard.fault_simulation import ExpectedStep, FaultSimulator
from verifier.testcard.lower_bound import apart
from verifier.testcard.progress import Progress, silent
from verifier.testcard.solver_queries import Questions, Undecided
from verifier.testcard.stateful_steps import Operation, StateGraph, is_stateful
from verifier.testcard.step_ordering import Instruction, OperatorPath, length, short_path

# Of a layout with more signals than these, what no step tried shows is not asked of the solver.
MAX_PROVED = 40


@dataclass(frozen=True, slots=True, eq=False)
class CardStep:
    """One step of the card. ``number`` from 1; ``acts``: what there is to do after the step
    before it; ``setup``: how all then stands; ``situation``: the same, for drawing; ``colors``:
    what each signal is to show, top to bottom (one of these); ``lies``: how turnouts that are told
    are to lie; ``ways``: what there is to do as it is worked out, where it is remembered."""

    number: int
    acts: tuple[Instruction, ...]
    setup: Setup
    situation: Situation
    colors: tuple[tuple[str, frozenset[Colors]], ...]
    lies: tuple[tuple[str, str], ...]
    ways: tuple[Operation, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Met:
    """A goal and the numbers of the steps that meet it."""

    goal: Goal
    steps: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """Something that may be wrong, and where it shows: numbers of steps, with the signal or
    turnout to look at. What may be remembered is followed up to where it first shows."""

    wrong: CardFault
    at: tuple[tuple[int, str], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Unseen:
    """What the card cannot show. ``proved``: no step of any kind can."""

    what: Goal | CardFault
    proved: bool


@dataclass(frozen=True, slots=True, eq=False)
class Card:
    """``at_least``: no card that meets all this one meets has fewer steps. ``effort``: what its
    acts cost together; ``shortest``: no other order of these steps costs less; ``replays``: how
    steps are gone through, where the layout remembers."""

    plan: Plan
    steps: tuple[CardStep, ...]
    lines: tuple[Met, ...]
    tried: tuple[tuple[Tried, tuple[int, ...], tuple[int, ...]], ...]
    colors: tuple[Met, ...]
    routes: tuple[Met, ...]
    conflicts: tuple[tuple[Excluded, int, tuple[int, ...]], ...]
    found: tuple[Found, ...]
    unseen: tuple[Unseen, ...]
    at_least: int
    effort: int
    shortest: bool
    replays: FaultSimulator | None = None


def card_on(bench: Bench, progress: Progress = silent) -> Card:
    """The card of the layout on a bench; what the bench has worked out is kept."""
    return _Maker(bench, progress).card()


@dataclass(frozen=True, slots=True, eq=False)
class _Gone:
    """A step as it is gone through, with what there is to do after the one before."""

    candidate: Candidate
    acts: tuple[Instruction, ...]
    trod: ExpectedStep


class _Maker:
    def __init__(self, bench: Bench, progress: Progress):
        self.bench, self.plan = bench, bench.plan
        self.progress = progress
        self.played = StateGraph(bench, progress) if is_stateful(bench.given) else None
        self.questions = Questions(bench, played=self.played is not None)
        self.walk = self.played or OperatorPath(bench)
        self.replays = FaultSimulator(bench, self.played) if self.played else None
        # What relays, timers or locks hear of: it may be remembered.
        self.heard: list[CardFault] = []
        self.lines = list(line_goals(self.plan))
        self.tried = list(facts_tried(self.plan))
        self.colors = list(color_goals(self.plan))
        self.routes = list(route_goals(self.plan))
        self.excluded = list(self._conflicts())
        self.goals: list[Goal] = [
            *self.lines, *(goal for t in self.tried for goal in (t.acts, t.fails)), *self.colors,
            *self.routes, *(goal for _, _, goal in self.excluded),
        ]  # fmt: skip
        self.trial = Trial(bench, asked_of(goal.when for goal in self.goals))
        self.unseen: list[Unseen] = []
        self._shown: dict[tuple[Candidate, CardFault], str | None] = {}

    def _conflicts(self) -> Iterator[tuple[Excluded, int, Goal]]:
        """Conflicting pairs, each with how many facts at least keep both from being set."""
        lines = {owner: lines for owner, _, lines in lines_of(self.plan)}
        serving: dict[str, list[Line]] = {}
        for route in self.plan.routes:
            serving[route.name] = [
                line for line in lines.get(route.signal, ())
                if not self.questions.never(serves(line, route, self.plan))
            ]  # fmt: skip
        for excluded in conflicts_tried(self.plan, serving):
            for missing, level in enumerate(excluded.levels):
                if not self.questions.never(level):
                    text = f"{excluded.one} beside {excluded.other}"
                    yield excluded, missing, Goal("conflict", text, level)
                    break

    # -------------------------------------------------------------- the work

    def card(self) -> Card:
        steps, complete = self._steps_for_goals()
        all_wrong = self._steps_for_wrongs(steps)
        columns = [*(self._column(steps, goal) for goal in self.goals),
                   *(self._showing(steps, wrong) for wrong in all_wrong)]  # fmt: skip
        rows = [0] * len(steps)
        for position, column in enumerate(columns):
            for i in range(len(steps)):
                if column >> i & 1:
                    rows[i] |= 1 << position
        cover = smallest_cover(rows)
        chosen, shortest = self._short(steps, rows, cover.chosen)
        at_least = len(chosen) if complete and cover.smallest else self._bound(
            columns, all_wrong, len(chosen), complete=complete
        )  # fmt: skip
        return self._card([steps[i] for i in chosen], all_wrong, at_least, shortest)

    def _steps_for_goals(self) -> tuple[list[Candidate], bool]:
        if self.played is None:
            pool, complete = first_pool(self.trial)
        else:
            pool, complete = list(self._brought_about(self.played)), False
        meets: dict[Candidate, int] = {}
        by_goal: list[list[Candidate]] = []
        for number, goal in enumerate(self.goals):
            self.progress(number, len(self.goals))
            fitting = [candidate for candidate in pool if candidate.shows(goal.when)]
            for candidate in fitting:
                meets[candidate] = meets.get(candidate, 0) + 1
            by_goal.append(fitting)
        kept = dict.fromkeys(telling(pool))
        for goal, fitting in zip(self.goals, by_goal, strict=True):
            best = sorted(fitting, key=lambda c: -meets[c])[:FOR_EACH]
            if not best:
                best = self._asked_for(goal, goal.when)
            kept |= dict.fromkeys(best)
        return list(kept), complete

    def _brought_about(self, played: StateGraph) -> Iterator[Candidate]:
        for place in played.places:
            candidate = self.trial.candidate(place.setup)
            if candidate is not None:
                yield candidate

    def _asked_for(self, what: Goal | CardFault, when: Expr) -> list[Candidate]:
        """A step that the solver knows or, where it has to be brought about one thing after
        another, one that is known to be; what neither is is noted."""
        proved = False
        try:
            setup = self.questions.step(when)
            proved = setup is None
            found = [self.trial.candidate(setup)] if setup and not self.played else []
        except Undecided:
            found = []
        if self.played is not None and not proved:
            found = [next((c for c in self._brought_about(self.played)
                           if self._confirms(c, what)), None)]  # fmt: skip
        for candidate in found:
            if candidate is not None and self._confirms(candidate, what):
                return [candidate]
        self.unseen.append(Unseen(what, proved))
        return []

    def _confirms(self, candidate: Candidate, what: Goal | CardFault) -> bool:
        if isinstance(what, Goal):
            return candidate.shows(what.when)
        return self._where(candidate, what) is not None

    def _steps_for_wrongs(self, steps: list[Candidate]) -> list[CardFault]:
        """Everything that may be wrong; steps are added to show what none of them shows."""
        waiting = list(wrongs(self.bench))
        looked_for: list[CardFault] = []
        many = len(self.plan.signals) > MAX_PROVED
        while waiting:
            self.progress(len(looked_for), len(looked_for) + len(waiting))
            wrong = waiting.pop(0)
            if self.replays is not None and self.replays.may_remember(wrong):
                self.heard += without_power(self.bench, wrong) or [wrong]
                continue
            looked_for.append(wrong)
            if self._showing(steps, wrong):
                continue
            dead = without_power(self.bench, wrong) if wrong.stuck is None else ()
            if dead:
                looked_for.pop()
                waiting[:0] = dead
                continue
            if many and wrong.stuck is None and wrong.suspect.trouble is None:
                self.unseen.append(Unseen(wrong, False))
                continue
            try:
                when = to_be_seen(self.bench, wrong)
            except InputError:
                self.unseen.append(Unseen(wrong, False))
                continue
            steps += self._asked_for(wrong, when)
        return looked_for

    # -------------------------------------------------------------- what shows what

    def _column(self, steps: Sequence[Candidate], goal: Goal) -> int:
        return sum(1 << i for i, step in enumerate(steps) if step.shows(goal.when))

    def _showing(self, steps: Sequence[Candidate], wrong: CardFault) -> int:
        return sum(1 << i for i, step in enumerate(steps) if self._where(step, wrong) is not None)

    def _where(self, step: Candidate, wrong: CardFault) -> str | None:
        key = step, wrong
        if key not in self._shown:
            self._shown[key] = shown_at(self.bench, step.setup, wrong, step.colors)
        return self._shown[key]

    def _bound(
        self,
        columns: Sequence[int],
        all_wrong: Sequence[CardFault],
        enough: int,
        *,
        complete: bool,
    ) -> int:
        """How many steps every card must have that meets all that this one meets."""
        met = [i for i, column in enumerate(columns) if column]
        exprs: dict[int, Expr | None] = {}

        def expr(position: int) -> Expr | None:
            if position not in exprs:
                number = len(self.goals)
                try:
                    exprs[position] = (
                        self.goals[position].when if position < number
                        else to_be_seen(self.bench, all_wrong[position - number])
                    )  # fmt: skip
                except InputError:
                    exprs[position] = None
            return exprs[position]

        def never(a: int, b: int) -> bool:
            if complete:
                return True
            one, other = expr(met[a]), expr(met[b])
            return one is not None and other is not None and self.questions.never(one, other)

        return len(apart([columns[i] for i in met], never, enough))

    # -------------------------------------------------------------- a short way

    def _short(
        self, steps: Sequence[Candidate], rows: Sequence[int], chosen: Sequence[int]
    ) -> tuple[list[int], bool]:
        """The steps in a short order; and others that do as well put in their place, where
        that makes the way shorter."""
        costs: dict[tuple[int, int], int] = {}

        def cost(a: int, b: int) -> int:
            if (a, b) not in costs:
                before = steps[a].setup if a >= 0 else Setup()
                costs[a, b] = self.walk.cost(before, steps[b].setup)
            return costs[a, b]

        everything = 0
        for row in rows:
            everything |= row
        way, shortest = self._ordered(list(chosen), cost)
        while True:
            before = length(way, cost)
            for place in range(len(way)):
                others = 0
                for i in (*way[:place], *way[place + 1 :]):
                    others |= rows[i]
                needed = everything & ~others
                way[place] = min(
                    (i for i in range(len(steps)) if rows[i] & needed == needed),
                    key=lambda i: (_through(way, place, i, cost), i),
                )
            way, shortest = self._ordered(way, cost)
            if length(way, cost) >= before:
                return way, shortest

    def _ordered(
        self, chosen: list[int], cost: Callable[[int, int], int]
    ) -> tuple[list[int], bool]:
        def between(a: int, b: int) -> int:
            return cost(chosen[a] if a >= 0 else -1, chosen[b])

        order, shortest = short_path(len(chosen), between)
        return [chosen[i] for i in order], shortest

    # -------------------------------------------------------------- the card

    def _card(
        self, chosen: Sequence[Candidate], all_wrong: Iterable[CardFault], at_least: int,
        shortest: bool,
    ) -> Card:  # fmt: skip
        gone = self._gone(chosen)
        found = [*self._found(chosen, all_wrong), *self._followed(gone)]
        steps = [self._step(number, one) for number, one in enumerate(gone, start=1)]
        seen = {unseen.what for unseen in self.unseen}

        def met(goal: Goal) -> tuple[int, ...]:
            return tuple(n for n, one in enumerate(gone, 1) if one.candidate.shows(goal.when))

        def all_met(goals: Iterable[Goal]) -> tuple[Met, ...]:
            return tuple(Met(goal, met(goal)) for goal in goals if goal not in seen)

        return Card(
            self.bench.given, tuple(steps), all_met(self.lines),
            tuple((t, met(t.acts), met(t.fails)) for t in self.tried),
            all_met(self.colors), all_met(self.routes),
            tuple((x, missing, met(goal)) for x, missing, goal in self.excluded
                  if goal not in seen),
            tuple(found), tuple(self.unseen), at_least,
            sum(act.cost for step in steps for act in step.acts), shortest, self.replays,
        )  # fmt: skip

    def _gone(self, chosen: Iterable[Candidate]) -> list["_Gone"]:
        """Steps as they are gone through, one after the other."""
        gone, before = [], Setup()
        for candidate in chosen:
            acts = tuple(self.walk.acts(before, candidate.setup))
            ways = self.played.ways(before, candidate.setup) if self.played else ()
            trod = ExpectedStep(ways, candidate.colors, self._lies(candidate.setup))
            gone.append(_Gone(candidate, acts, trod))
            before = candidate.setup
        return gone

    def _found(
        self, chosen: Sequence[Candidate], all_wrong: Iterable[CardFault]
    ) -> Iterator[Found]:
        """Where those things show that nothing remembers."""
        for wrong in all_wrong:
            at = [(n, self._where(step, wrong)) for n, step in enumerate(chosen, start=1)]
            showing = tuple((n, look) for n, look in at if look is not None)
            if self.played is not None and wrong.suspect.trouble is not None:
                showing = showing[:1]  # what comes after it may be remembered otherwise
            if showing:
                yield Found(wrong, showing)

    def _followed(self, gone: list["_Gone"]) -> Iterator[Found]:
        """Where those things show that may be remembered. Where they do not, steps are added, each
        of which begins again."""
        if self.replays is None or self.played is None:
            return
        base = [one.trod for one in gone]
        for number, wrong in enumerate(self.heard):
            self.progress(number, len(self.heard))
            at = self.replays.shown(wrong, base)
            added = [one.trod for one in gone[len(base) :]]
            at = at or tuple((n + len(base), look) for n, look in self.replays.shown(wrong, added))
            if not at:
                at = self._added_for(wrong, gone, self.replays, self.played)
            if at:
                yield Found(wrong, at)
            else:
                self.unseen.append(Unseen(wrong, False))

    def _added_for(
        self, wrong: CardFault, gone: list["_Gone"], replays: FaultSimulator, played: StateGraph
    ) -> tuple[tuple[int, str], ...]:
        """A step added in which something wrong shows: going on from the one before where it does
        then, else beginning again."""
        ways = replays.step_for(wrong)
        candidate = self.trial.candidate(ways[-1].then.setup) if ways else None
        if not ways or candidate is None:
            return ()
        begun = _since_it_began_again(gone)
        further = played.lifting(gone[-1].candidate.setup, candidate.setup) if begun else ()
        again = (played.again(gone[-1].candidate.setup),) if gone else ()
        for before, onward in ((begun, further), ([], (*again, *ways))):
            trod = ExpectedStep(onward, candidate.colors, self._lies(candidate.setup))
            at = replays.shown(wrong, [*before, trod]) if onward else ()
            if at:
                gone.append(_Gone(candidate, tuple(a for way in onward for a in way.acts), trod))
                return tuple((len(gone), look) for _, look in at)
        return ()

    def _step(self, number: int, one: "_Gone") -> CardStep:
        setup = one.candidate.setup
        moment = next(iter(self.bench.moments(setup, ())))
        return CardStep(
            number, one.acts, setup, as_given(self.bench, setup, moment.truth.situation),
            tuple(one.candidate.colors.items()), tuple(one.trod.lies.items()), one.trod.ways,
        )  # fmt: skip

    def _lies(self, setup: Setup) -> dict[str, str]:
        """How turnouts are to lie that somebody can see to: those told how to, and those that
        neither hands nor a machine of the wiring throw."""
        lies = dict(setup.told)
        for name, state in setup.lies:
            throw = self.plan.locking.throws.get(name)
            if throw is not None and throw.by not in ("hand", "anyone"):
                lies[name] = state
        return lies


def _since_it_began_again(gone: Sequence[_Gone]) -> list[ExpectedStep]:
    """The last steps, from one on in which everything is put back and switched off."""
    for number in range(len(gone) - 1, -1, -1):
        if any(way.done.off for way in gone[number].trod.ways):
            return [one.trod for one in gone[number:]]
    return []


def as_given(bench: Bench, setup: Setup, situation: Situation) -> Situation:
    """A situation of the bench's plan as one of the plan it was given, in which points follow
    what they are told."""
    told = ((observables.thrown(turnout), state) for turnout, state in setup.told)
    known = {**dict(told), **situation.facts}
    return Situation.of((what, known[what]) for what in bench.given.inputs if what in known)


def _through(way: Sequence[int], place: int, i: int, cost: Callable[[int, int], int]) -> int:
    """What the way costs around one place, with another step there."""
    before = way[place - 1] if place else -1
    after = cost(i, way[place + 1]) if place + 1 < len(way) else 0
    return cost(before, i) + after
