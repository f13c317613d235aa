"""Bounded model checking: a shortest trace to a bad state, minimized.

In: a system, a bad state, and the inputs of which a trace should choose few. Out: the states and
inputs of each moment up to the bad one; or that no trace of so many steps reaches it.

The trace is a function of the question, whatever else the solver was asked: of all traces that are
as short and choose as little as can be, the one in which things are as usual the longest. The
solver proposes the inputs; :class:`~verifier.engines.temporal.simulation.Machine` computes what
follows from them. Of a timed system a trace counts only where it has times
(:mod:`verifier.engines.temporal.scheduling`); what rules them out is added as a clause.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from verifier.engines.results import Conflict, Reachable, Unknown
from verifier.engines.stopping import OUT_OF_TIME
from verifier.engines.temporal.counters import Counter
from verifier.engines.temporal.gates import TRUE
from verifier.engines.temporal.sat import CONTRADICTION, Limit, NoAnswer
from verifier.engines.temporal.scheduling import Scheduler
from verifier.engines.temporal.simulation import machine_of
from verifier.engines.temporal.transition_cnf import TransitionCnf
from verifier.engines.temporal.unrolled_cnf import UnrolledCnf
from verifier.logic.expr import TRUE as ALWAYS
from verifier.logic.expr import Expr
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

# A history may be so many moments longer than need be if it then takes fewer of what there
# should be few of.
LONGER = 3
# Conflicts to spend on one question about how small a history can be.
POLISHING = 20_000
# Traces without times after which no more are sought.
UNTIMED = 200
# The same, where the order of delays rules them out, which a proof would show at once.
COMPARABLE = 12
# Systems whose unrolling is kept.
KEPT = 3
NO_TIMES = "the times of the histories found do not fit together, and there may be others"


# Steps up to which a search may go on, and whether it should.
Further = tuple[int, Callable[[], bool]]


def search(
    system: System,
    bad: Expr,
    *,
    most: int,
    further: Further | None = None,
    deadline: float | None = None,
    few: Sequence[frozenset[Observable]] = (),
    small: bool = True,
    probe: int | None = None,
) -> Reachable | Unknown:
    """A shortest trace to ``bad`` of at most ``most`` steps, or of ``further`` ones where these are
    worth a search, which is asked only once it matters; final Unknown when there is none.
    ``probe``: none of more steps is sought, but what is found is made as small as if it were.
    ``few``: inputs of which as few as possible should not be as usual, the most important first.
    Not ``small``: any trace that is as short does.

    Of a timed system, Unknown with conflicts where traces were found, and none that has times.
    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    checker = _checker_of(system)
    with checker.limit.until(deadline):
        return checker.search(bad, _Depths(most, further, probe), few, small=small)


class _Depths:
    """The depths up to which is searched; with ``probe``, a last one, those up to which histories
    are made small."""

    def __init__(self, most: int, further: Further | None, probe: int | None):
        self.probe = probe
        self._most = most
        self._further = further

    def __contains__(self, depth: int) -> bool:
        if depth > self._most and self._further is not None:
            longest, worth = self._further
            self._most, self._further = max(self._most, longest if worth() else 0), None
        return depth <= self._most


class BoundedModelChecker:
    """Bounded model checking of one system; what was unrolled is kept from one bad state to
    the next."""

    def __init__(self, system: System):
        self.system = system
        self.limit = Limit()
        self._cnf = TransitionCnf(system)
        self._steps = UnrolledCnf(self._cnf, self.limit)
        self._solver = self._steps.solver
        self._machine = machine_of(system)
        self._scheduler = Scheduler(system, self._machine) if system.timing else None
        self._counters: dict[frozenset[Observable], Counter] = {}

    def search(
        self, bad: Expr, most: "_Depths", few: Sequence[frozenset[Observable]], *, small: bool
    ) -> Reachable | Unknown:
        """See :func:`search`."""
        happens = self._cnf.literal(bad)
        depth, end = 0, None if most.probe is None else most.probe + 1
        conflicts: list[Conflict] = []
        try:
            while depth != end and depth in most:
                if not self._solver.solve(self._asked(happens, depth)):
                    depth += 1
                    continue
                found = self._read(depth)
                if not self._happens(bad, found):
                    raise NoAnswer(CONTRADICTION)
                history = self._with_times(bad, found, few, conflicts)
                if history is not None and not small:
                    return Reachable(tuple(self._told(bad, history)), smallest=False)
                if history is not None:
                    return self._smallest(bad, happens, history, most, few)
                comparable = sum(len(conflict.windows) == 1 for conflict in conflicts)
                if len(conflicts) == UNTIMED or comparable == COMPARABLE:
                    return Unknown(NO_TIMES, depth, final=True, conflicts=tuple(conflicts))
        except NoAnswer as none:
            return Unknown(str(none), depth, conflicts=tuple(conflicts))
        except _GivenUp:
            return Unknown(OUT_OF_TIME, depth, conflicts=tuple(conflicts))
        why = NO_TIMES if conflicts else f"no trace of up to {depth - 1} steps reaches it"
        return Unknown(why, depth, final=True, conflicts=tuple(conflicts))

    def goes_on(self, moments: int) -> bool | None:
        """Whether some trace lasts so many moments; None when that is not known."""
        try:
            if not self._solver.solve(self._asked(TRUE, moments - 1)):
                return False
            return self._happens(ALWAYS, self._read(moments - 1)) or None
        except NoAnswer:
            return None

    def _asked(self, happens: int, depth: int) -> list[int]:
        """That a history goes on so long, and then it happens."""
        steps, always = self._steps, self._cnf.constraints
        constraints = [steps.literal(each, step) for step in range(depth + 1) for each in always]
        steps.begin()
        return [steps.literal(happens, depth), *constraints]

    # -------------------------------------------------------------- making small

    def _smallest(
        self,
        bad: Expr,
        happens: int,
        history: "_History",
        most: "_Depths",
        few: Sequence[frozenset[Observable]],
    ) -> Reachable:
        """The history just found, made as small as can be."""
        try:
            history = self._spared(bad, history, few)
            for i in range(len(few)):
                longer = 0 if i else LONGER
                history = self._fewest(bad, happens, history, few[: i + 1], longer, most)
            latest = self._latest(bad, happens, history, few)
            if not self._happens(bad, latest):
                raise _GivenUp(history)
            history = latest
        except _GivenUp as given_up:
            return Reachable(tuple(self._told(bad, given_up.history)), smallest=False)
        except NoAnswer:
            return Reachable(tuple(self._told(bad, history)), smallest=False)
        return Reachable(tuple(self._told(bad, history)))

    def _fewest(
        self,
        bad: Expr,
        happens: int,
        history: "_History",
        groups: Sequence[frozenset[Observable]],
        longer: int,
        most: "_Depths",
    ) -> "_History":
        """A history, longer by up to so many steps, with as few as possible of the last group and
        no more of those before."""
        group = groups[-1]
        for depth in range(history.depth, history.depth + longer + 1):
            while (count := history.count(group)) and depth in most:
                others = [history.count(each) for each in groups[:-1]]
                fewer = self._at_most(groups, [*others, count - 1], depth)
                found = self._found(bad, [*self._asked(happens, depth), *fewer], depth, history)
                if found is None:
                    break
                history = self._spared(bad, found, groups)
        return history

    def _at_most(
        self, groups: Sequence[frozenset[Observable]], most: Sequence[int], depth: int
    ) -> list[int]:
        """That so many of each group are not as usual at most."""
        for group in groups:
            if group not in self._counters:
                self._counters[group] = Counter(self._steps, group)
        return [
            self._counters[group].at_most(number, depth)
            for group, number in zip(groups, most, strict=True)
        ]

    def _latest(
        self,
        bad: Expr,
        happens: int,
        history: "_History",
        groups: Sequence[frozenset[Observable]],
    ) -> "_History":
        """The history of the same length and counts in which things are as usual the longest: one
        after the other, step by step, has the first value that it can."""
        depth, system = history.depth, self.system
        counts = [history.count(group) for group in groups]
        settled = [*self._asked(happens, depth), *self._at_most(groups, counts, depth)]
        places = [(0, what) for what in system.states if len(set(system.initial[what])) > 1]
        places += [(step, what) for step in range(depth + 1) for what in system.inputs]
        for step, what in places:
            for value in dict.fromkeys((what.usual, *what.values)):
                bit = self._steps.bit(what, value, step)
                if history.value(step, what) != value:
                    if bit == -TRUE:
                        continue
                    found = self._found(bad, [*settled, bit], depth, history)
                    if found is None:
                        continue
                    history = found
                settled.append(bit)
                break
        return history

    def _found(
        self, bad: Expr, asked: Sequence[int], depth: int, history: "_History"
    ) -> "_History | None":
        """A history of this kind that has times; raises :class:`_GivenUp` with the one known."""
        for _ in range(UNTIMED):
            try:
                found = self._solver.solve_within(POLISHING, asked)
            except NoAnswer:
                break
            if not found:
                if found is None:
                    break
                return None
            other = self._read(depth)
            if not self._happens(bad, other):
                break
            conflict = self._against(bad, other)
            if conflict is None:
                return other
            self._exclude(conflict)
        raise _GivenUp(history)

    def _with_times(
        self,
        bad: Expr,
        history: "_History",
        few: Sequence[frozenset[Observable]],
        conflicts: list[Conflict],
    ) -> "_History | None":
        """The history just found, or it without what is not needed, whichever has times. Where
        neither has, why not is noted, and the solver will not propose it again."""
        against = self._against(bad, history)
        if against is None:
            return history
        self._exclude(against)
        spared = self._spared(bad, history, few, timed=False)
        conflict = self._against(bad, spared)
        if conflict is None:
            return spared
        conflicts.append(conflict)
        return None

    def _against(self, bad: Expr, history: "_History") -> Conflict | None:
        """Why a history has no times."""
        if self._scheduler is None:
            return None
        evaluated: list[list[int]] = []
        told = list(self._told(bad, history, evaluated))
        answer = self._scheduler.schedule(told, evaluated=evaluated)
        return answer if isinstance(answer, Conflict) else None

    def _exclude(self, conflict: Conflict) -> None:
        """Have no more histories that have no times for this reason."""
        facts = ((self._cnf.literal(expr), step) for expr, step in conflict.facts)
        self._solver.add([-self._steps.literal(fact, step) for fact, step in facts])

    def _spared(
        self,
        bad: Expr,
        history: "_History",
        few: Sequence[frozenset[Observable]],
        *,
        timed: bool = True,
    ) -> "_History":
        """Without what is not needed; what there should be few of first. ``timed``: it has times,
        and keeps them."""
        order = {what: i for i, group in reversed([*enumerate(few)]) for what in group}
        left = sorted(history.unusual(self.system), key=lambda u: order.get(u[1], len(order)))
        while left:
            # The first case lets nothing go, each further one a thing more than the last.
            every = (2 << len(left)) - 1
            try:
                cases = self._cases(bad, history, left, every)
            except NoAnswer:
                raise _GivenUp(history) from None
            gone = cases.bit_length() - 1
            while gone and timed and self._against(bad, history.without(self.system, left[:gone])):
                gone //= 2
                gone = gone if cases >> gone & 1 else 0
            history = history.without(self.system, left[:gone])
            left = left[gone + 1 :]
        return history

    def _happens(self, bad: Expr, history: "_History") -> bool:
        """Whether it does, as the solver says: what it found is computed again."""
        return bool(self._cases(bad, history, (), 1))

    def _cases(
        self,
        bad: Expr,
        history: "_History",
        left: Sequence[tuple[int, Observable]],
        every: int,
    ) -> int:
        """Those of the cases in which it happens at the end; raises :class:`NoAnswer` when the
        time is over."""
        machine = self._machine
        end = machine.slot(bad)
        values = machine.blank(every)
        machine.set(values, history.start)
        happens = every
        for step, inputs in enumerate(history.inputs):
            if left:
                self.limit.check()
            machine.set(values, inputs)
            for i, (at, what) in enumerate(left):
                if at == step:
                    kept = (2 << i) - 1
                    value = (history.start if what in history.start else inputs)[what]
                    for each in self.system.starts_with(what) if not step else (what,):
                        machine.put(values, each, value, kept)
                        machine.put(values, each, what.usual, every ^ kept)
            machine.evaluate(values)
            happens &= machine.allowed(values)
            if step == history.depth:
                return happens & values[end]
            machine.advance(values)
        raise AssertionError(history)

    # -------------------------------------------------------------- reading

    def _read(self, depth: int) -> "_History":
        """The solver's last model."""
        model, steps = self._solver.model(), self._steps

        def value(what: Observable, step: int) -> str:
            bits = ((v, steps.bit(what, v, step)) for v in what.values)
            possible = {v: bit for v, bit in bits if bit != -TRUE}
            so = (v for v, bit in possible.items() if bit == TRUE or model[abs(bit) - 1] == bit)
            return next(so, next(iter(possible)))

        start = {what: value(what, 0) for what in self.system.states}
        inputs = ({w: value(w, step) for w in self.system.inputs} for step in range(depth + 1))
        return _History(start, list(inputs))

    def _told(
        self, bad: Expr, history: "_History", evaluated: list[list[int]] | None = None
    ) -> Iterator[Mapping[Observable, str]]:
        """All states and inputs, moment by moment; the machine's slots are noted."""
        machine = self._machine
        end = machine.slot(bad)
        values = machine.blank(1)
        machine.set(values, history.start)
        for step, inputs in enumerate(history.inputs):
            machine.set(values, inputs)
            machine.evaluate(values)
            assert machine.allowed(values), "it was found to happen"
            assert step < history.depth or values[end], "it was found to happen"
            if evaluated is not None:
                evaluated.append(values[:])
            yield {**machine.state(values), **inputs}
            machine.advance(values)


@dataclass(frozen=True, slots=True)
class _History:
    """States at the first moment, inputs at each."""

    start: dict[Observable, str]
    inputs: list[dict[Observable, str]]

    @property
    def depth(self) -> int:
        return len(self.inputs) - 1

    def value(self, step: int, what: Observable) -> str:
        """The value of an input at a step, or of a state at the first moment."""
        return self.start[what] if what in self.start else self.inputs[step][what]

    def count(self, group: frozenset[Observable]) -> int:
        """How often something of a group is not as usual."""
        return sum(
            value != what.usual
            for moment in (self.start, *self.inputs)
            for what, value in moment.items()
            if what in group
        )

    def unusual(self, system: System) -> Iterator[tuple[int, Observable]]:
        """What could be as usual and is not, and at which moment."""
        for what, value in self.start.items():
            first = system.starts_with(what)[0]
            if what == first and value != what.usual and what.usual in system.initial[what]:
                yield 0, what
        for step, inputs in enumerate(self.inputs):
            for what, value in inputs.items():
                if value != what.usual:
                    yield step, what

    def without(self, system: System, gone: Sequence[tuple[int, Observable]]) -> "_History":
        start, inputs = dict(self.start), [dict(moment) for moment in self.inputs]
        for step, what in gone:
            if what in start:
                start |= dict.fromkeys(system.starts_with(what), what.usual)
            else:
                inputs[step][what] = what.usual
        return _History(start, inputs)


class _GivenUp(Exception):
    """Whether there is a smaller history than this one was not found out."""

    def __init__(self, history: _History):
        super().__init__()
        self.history = history


_latest: list[BoundedModelChecker] = []


def _checker_of(system: System) -> BoundedModelChecker:
    """The last ones are kept: questions about one system follow each other, with few about others
    between them."""
    for checker in _latest:
        if checker.system is system:
            return checker
    _latest[:] = [BoundedModelChecker(system), *_latest[: KEPT - 1]]
    return _latest[0]


def goes_on(system: System, moments: int, deadline: float | None = None) -> bool | None:
    """Whether some history that keeps to all that is taken for granted goes on so long; None
    when that is not known.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    checker = _checker_of(system)
    with checker.limit.until(deadline):
        return checker.goes_on(moments)
