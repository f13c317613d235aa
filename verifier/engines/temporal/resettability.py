"""Resettability: whether goals stay reachable from every reachable state (AG EF goal).

In: a system, an inductive invariant of it, and goals. Out, for each goal: a homing sequence, that
is, one input sequence that leads every state of the invariant through the home state, from which
the goal is reachable; or a *trap*: a trace to a state from which the goal is unreachable, with the
invariant that proves so; or Unknown.

The sequence is grown by simulating all samples along it and asking the solver for a way home from
one that has not passed through home; then the solver is asked for a state of the invariant that
never passes through home.

Trusts z3's "unsat" and the invariant; traces are replayed by the reference afterward.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from verifier.engines.results import Reachable, Unknown, Unreachable
from verifier.engines.temporal import bmc, pdr
from verifier.engines.temporal.simulation import Machine, samples_of
from verifier.engines.temporal.unroller import Unrolling
from verifier.logic.expr import Expr, atom, conjunction, negation
from verifier.logic.time_order import patient
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

Moment = Mapping[Observable, str]

# Longest way home from one state, and longest homing sequence, in steps.
WAY, LIST = 30, 400
# Systems with more states are not decided.
MOST_STATES = 90
# Longest trace into a trap.
LONG = 40
NEITHER = "neither a way back from every moment was found, nor a trap"


@dataclass(frozen=True, slots=True)
class Returns:
    """Yes: a homing sequence of ``length`` steps leads every reachable state home."""

    length: int


@dataclass(frozen=True, slots=True)
class Trapped:
    """No: after ``history`` the invariant ``lasts`` holds for good, and excludes the goal."""

    history: Reachable
    system: System
    lasts: Unreachable


Resettability = Returns | Trapped | Unknown


def always_again(
    system: System,
    goals: Sequence[Expr],
    clauses: Sequence[Expr],
    *,
    matters: Collection[Observable],
    few: Sequence[frozenset[Observable]] = (),
    deadline: float,
) -> list[Resettability]:
    """For each goal, whether it is reachable from every reachable state. ``matters``: the states
    that have their usual value in the home state.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    if len(system.states) > MOST_STATES or system.always:
        unknown = Unknown("the layout is too large to look at as a whole")
        if system.always:
            unknown = Unknown("what the file takes for granted may keep it from being so")
        return [unknown] * len(goals)
    home = conjunction(*(atom(w, w.usual) for w in matters))
    homeward = _Homing(system, clauses, home, deadline).answer()
    at_home = replace(system, initial={w: (w.usual,) for w in system.states})
    return [
        homeward
        if isinstance(homeward, Returns) and _reachable(at_home, goal, deadline)
        else _again(system, goal, clauses, few, deadline)
        for goal in goals
    ]


def _reachable(system: System, goal: Expr, deadline: float) -> bool:
    return isinstance(bmc.search(system, goal, most=LONG, deadline=deadline), Reachable)


def _again(
    system: System,
    goal: Expr,
    clauses: Sequence[Expr],
    few: Sequence[frozenset[Observable]],
    deadline: float,
) -> Resettability:
    """Whether one goal is reachable from every reachable state, the goal itself being home."""
    answer = _Homing(system, clauses, goal, deadline).answer()
    if not isinstance(answer, _Stranded):
        return answer
    here = replace(system, initial={w: (answer.moment[w],) for w in system.states})
    found = pdr.prove(here, goal, deadline=deadline)
    if isinstance(found, Unreachable):
        inside = conjunction(*found.clauses, negation(goal))
        history = bmc.search(system, inside, most=LONG, few=few, deadline=deadline)
        if isinstance(history, Reachable):
            return Trapped(history, here, found)
    return Unknown(NEITHER)


class _NoWayFound(Exception):
    def __init__(self, reason: str):
        self.reason = reason


@dataclass(frozen=True, slots=True)
class _Stranded:
    """From this reachable state no way home was found."""

    moment: Moment


class _Homing:
    """A homing sequence for every state of the invariant."""

    def __init__(
        self,
        system: System,
        clauses: Sequence[Expr],
        home: Expr,
        deadline: float,
    ):
        self.system = system
        self._deadline = deadline
        self._home = home
        self._sequence: list[Moment] = []
        self._clauses = list(clauses)
        self._reachability = pdr.Reachability(system, clauses)
        # A way home must have times, wherever it begins.
        leads = patient(system)
        self._ways = Unrolling(leads, start=False)
        # For states of the invariant that the sequence so far does not lead home.
        self._away = Unrolling(leads, start=False)
        self._asserted = self._unrolled = 0
        self._machine = Machine(leads)
        self._home_at = self._machine.slot(home)

    def answer(self) -> "Returns | _Stranded | Unknown":
        """The sequence found, a stranded state, or why neither was."""
        try:
            stranded = self._bring_samples_home()
            while stranded is None and (moment := self._not_home()) is not None:
                end = self._final_state(moment)
                way = self._way_home(end)
                if way is None:
                    stranded = self._exclude(moment, end)
                else:
                    self._extend(way)
        except _NoWayFound as gave_up:
            return Unknown(gave_up.reason)
        return stranded or Returns(len(self._sequence))

    # -------------------------------------------------------------- samples

    def _bring_samples_home(self) -> _Stranded | None:
        """Extend the sequence until every sample has passed through home along it."""
        samples, machine = samples_of(self.system), self._machine
        values = machine.blank(samples.reached)
        for what in self.system.states:
            for value in what.values:
                machine.put(values, what, value, samples.having(what, value))
        out = samples.reached
        while True:
            if not out:
                return None
            first = out & -out
            moment = {
                what: next(v for v in what.values if machine.get(values, what, v) & first)
                for what in self.system.states
            }
            way = self._way_home(moment)
            if way is None:
                return _Stranded(moment)
            self._extend(way)
            for chosen in way:
                machine.set(values, chosen)
                machine.evaluate(values)
                out &= ~values[self._home_at]
                machine.advance(values)

    def _extend(self, way: Sequence[Moment]) -> None:
        self._sequence += way
        if len(self._sequence) > LIST:
            raise _NoWayFound("no way back from every moment was found that is short enough")

    def _way_home(self, moment: Moment) -> list[Moment] | None:
        """Inputs that lead from a state home, those of the step of arrival included; None when
        there are none of up to WAY steps."""
        ways = self._ways
        here = [ways.bit(what, value, 0) for what, value in moment.items()]
        here = [bit for bit in here if bit is not ways.true]
        for depth in range(WAY + 1):
            found = ways.check([*here, ways.literal(self._home, depth)], self._deadline)
            if found is None:
                raise _NoWayFound(ways.reason)
            if found:
                return [ways.valuation(i, self.system.inputs) for i in range(depth + 1)]
        return None

    # -------------------------------------------------------------- all states

    def _not_home(self) -> Moment | None:
        """A state of the invariant that the sequence does not lead home."""
        solver = self._away
        solver.add(*(solver.term(clause, 0) for clause in self._clauses[self._asserted :]))
        self._asserted = len(self._clauses)
        for i in range(self._unrolled, len(self._sequence)):
            solver.add(*(solver.bit(what, value, i) for what, value in self._sequence[i].items()))
            solver.add(solver.no(solver.term(self._home, i)))
        self._unrolled = len(self._sequence)
        found = solver.check((), self._deadline)
        if found is None:
            raise _NoWayFound(solver.reason)
        return solver.valuation(0, self.system.states) if found else None

    def _final_state(self, moment: Moment) -> Moment:
        """The last state of the sequence from a state."""
        machine = self._machine
        values = machine.blank(1)
        machine.set(values, moment)
        for chosen in self._sequence:
            machine.set(values, chosen)
            machine.evaluate(values)
            machine.advance(values)
        return {
            what: next(v for v in what.values if machine.get(values, what, v))
            for what in self.system.states
        }

    def _exclude(self, moment: Moment, end: Moment) -> _Stranded | None:
        """A state from which no way leads home: stranded if it is reachable; else the invariant is
        strengthened to exclude it."""
        cube = conjunction(*(atom(w, v) for w, v in moment.items()))
        (found,) = self._reachability.decide([cube], self._deadline)
        if isinstance(found, Unreachable):
            self._clauses = list(dict.fromkeys((*self._clauses, *found.clauses)))
            return None
        reached = bmc.search(self.system, cube, most=LONG, deadline=self._deadline)
        if isinstance(reached, Reachable):
            return _Stranded(end)
        raise _NoWayFound(NEITHER)
