"""Whether something can always be done again, whatever has happened.

In: a system, clauses that last in it, and things that should always be possible. Out: that from
every moment there is a way back to the start (so that whatever can be done from the start can
be done again); or a *trap*: a history after which one of those things can never come about any
more; or neither.

The way back is one list of choices for all moments: each moment comes to the start somewhere
along it. It is found by sending the samples along it and asking the solver how one of those
still out can come home; then the solver is asked for a moment, of all that the clauses allow,
that never does.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from verifier.engines.results import Reachable, Unknown, Unreachable
from verifier.engines.temporal import bmc, induction
from verifier.engines.temporal.simulation import Machine, samples_of
from verifier.engines.temporal.unroller import Unrolling
from verifier.logic.expr import Expr, atom, conjunction, negation
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

Moment = Mapping[Observable, str]

# Moments that one way home from one moment may take, and that the list for all may have.
WAY, LIST = 30, 400
# Larger systems are not looked at as a whole.
MOST_STATES = 90
# Moments of a history into a trap.
LONG = 40
NEITHER = "neither a way back from every moment was found, nor a trap"


@dataclass(frozen=True, slots=True)
class Returns:
    """Yes: so many choices, one after the other, bring any moment back to the start."""

    length: int


@dataclass(frozen=True, slots=True)
class Trapped:
    """No: after ``history`` the clauses of ``lasts`` hold from then on, and leave no room."""

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
    """For each goal, whether it can come about again from every moment. ``matters``: the states
    by which the start, all being as usual, is known again.

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
        if isinstance(homeward, Returns) and _comes_about(at_home, goal, deadline)
        else _again(system, goal, clauses, few, deadline)
        for goal in goals
    ]


def _comes_about(system: System, goal: Expr, deadline: float) -> bool:
    return isinstance(bmc.search(system, goal, most=LONG, deadline=deadline), Reachable)


def _again(
    system: System,
    goal: Expr,
    clauses: Sequence[Expr],
    few: Sequence[frozenset[Observable]],
    deadline: float,
) -> Resettability:
    """Whether one goal can come about from every moment, by a way of its own."""
    answer = _Homing(system, clauses, goal, deadline).answer()
    if not isinstance(answer, _Stranded):
        return answer
    here = replace(system, initial={w: (answer.moment[w],) for w in system.states})
    found = induction.prove(here, goal, deadline=deadline)
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
    """From this moment, which some history reaches, no way was found."""

    moment: Moment


class _Homing:
    """The list of choices that brings every moment back to the start."""

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
        self._list: list[Moment] = []
        self._clauses = list(clauses)
        self._ways = Unrolling(system, start=False)
        # A moment that the clauses and the choices told so far do not bring home.
        self._away = Unrolling(system, start=False)
        self._told = self._sent_along = 0
        self._machine = Machine(system)
        self._home_at = self._machine.slot(home)

    def answer(self) -> "Returns | _Stranded | Unknown":
        try:
            stranded = self._bring_samples_home()
            while stranded is None and (moment := self._never_home()) is not None:
                end = self._sent(moment)
                way = self._way_home(end)
                if way is None:
                    stranded = self._exclude(moment, end)
                else:
                    self._extend(way)
        except _NoWayFound as gave_up:
            return Unknown(gave_up.reason)
        return stranded or Returns(len(self._list))

    # -------------------------------------------------------------- samples

    def _bring_samples_home(self) -> _Stranded | None:
        """Samples move along the list; of those still out, one tells how it goes on."""
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
                machine.work_out(values)
                out &= ~values[self._home_at]
                machine.advance(values)

    def _extend(self, way: Sequence[Moment]) -> None:
        self._list += way
        if len(self._list) > LIST:
            raise _NoWayFound("no way back from every moment was found that is short enough")

    def _way_home(self, moment: Moment) -> list[Moment] | None:
        """Choices that lead from a moment to the start, those of the moment of arrival included;
        None when there are none so short."""
        ways = self._ways
        here = [ways.bit(what, value, 0) for what, value in moment.items()]
        here = [bit for bit in here if bit is not ways.true]
        for depth in range(WAY + 1):
            found = ways.check([*here, ways.name(self._home, depth)], self._deadline)
            if found is None:
                raise _NoWayFound(ways.reason)
            if found:
                return [ways.moment(i, self.system.inputs) for i in range(depth + 1)]
        return None

    # -------------------------------------------------------------- all moments

    def _never_home(self) -> Moment | None:
        """A moment that the clauses allow and that the list does not bring home."""
        solver = self._away
        solver.add(*(solver.term(clause, 0) for clause in self._clauses[self._told :]))
        self._told = len(self._clauses)
        for i in range(self._sent_along, len(self._list)):
            solver.add(*(solver.bit(what, value, i) for what, value in self._list[i].items()))
            solver.add(solver.no(solver.term(self._home, i)))
        self._sent_along = len(self._list)
        found = solver.check((), self._deadline)
        if found is None:
            raise _NoWayFound(solver.reason)
        return solver.moment(0, self.system.states) if found else None

    def _sent(self, moment: Moment) -> Moment:
        """Where the list leads from a moment."""
        machine = self._machine
        values = machine.blank(1)
        machine.set(values, moment)
        for chosen in self._list:
            machine.set(values, chosen)
            machine.work_out(values)
            machine.advance(values)
        return {
            what: next(v for v in what.values if machine.get(values, what, v))
            for what in self.system.states
        }

    def _exclude(self, moment: Moment, end: Moment) -> _Stranded | None:
        """A moment from which no way leads home: stranded if it is reached; else the clauses
        learn why it is not."""
        cube = conjunction(*(atom(w, v) for w, v in moment.items()))
        found = induction.prove(self.system, cube, self._clauses, deadline=self._deadline)
        if isinstance(found, Unreachable):
            self._clauses = list(dict.fromkeys((*self._clauses, *found.clauses)))
            return None
        reached = bmc.search(self.system, cube, most=LONG, deadline=self._deadline)
        if isinstance(reached, Reachable):
            return _Stranded(end)
        raise _NoWayFound(NEITHER)
