"""Resettability: whether goals stay reachable from every reachable state (AG EF goal).

In: a system, an inductive invariant of it, and goals. Out, for each goal: that it is reachable from
every state of the invariant; or a *trap*: a trace to a state from which the goal is unreachable,
with the invariant that proves so; or Unknown.

First the system is brought to rest part by part in small windows, and each goal is reached from
there (:mod:`verifier.engines.temporal.resets.composition`). What that leaves open is decided in the
goal's whole cone of influence, by cubes of states from which it is reachable
(:mod:`verifier.engines.temporal.resets.backward`): while some state of the invariant is in none of
them, a path from it makes more, or PDR proves the goal unreachable from it; then PDR finds a trace
to such a state, or excludes it from the invariant. Each turn settles at least one state, so that
comes to an end. Once one goal is reachable from everywhere, the next ones need only be reachable
from where it holds.

In a timed system ways back must have times, wherever they begin: they are sought in the *patient*
system, all of whose traces have some (:func:`~verifier.logic.time_order.patient`), once windows of
time are over wherever that can be brought about. What is unreachable is so in the system without
times. Ways back are sought where some choices are ``made`` for good, of what acts in one step, in
which order; where there are none, with all choices open.

Trusts z3's "unsat" and the invariant; traces are replayed by the reference afterward.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from verifier.engines.results import Reachable, Unknown, Unreachable
from verifier.engines.temporal import bmc, pdr
from verifier.engines.temporal.resets.backward import Cover, Moment, accepted
from verifier.engines.temporal.resets.composition import Composition
from verifier.engines.temporal.resets.rest import parts_at_rest
from verifier.engines.temporal.sat import Limit, NoAnswer
from verifier.engines.temporal.strengthening import Clauses, strengthened
from verifier.engines.temporal.symmetry import Shapes
from verifier.logic.expr import (
    FALSE,
    TRUE,
    Atom,
    Expr,
    atom,
    conjunction,
    negation,
    substitute,
    support,
)
from verifier.logic.time_order import patient
from verifier.logic.transition_system import System, Window, chosen, cut, with_choices
from verifier.plan.observables import Observable

# Kinds of states that need not come to rest: how the last train stood on track that is vacant, and
# what is known of the order of delays.
INDIFFERENT = frozenset(("heading", "pace", "since", "credit"))
# Kinds of states that stay as they are wherever trains and points are.
MEMORY = frozenset(("relay", "timer", "traffic"))
# Longest way that is searched for by itself; longer ones are traces of PDR.
LONGEST = 24
NOTHING: Mapping[Observable, str] = {}
NO_TIMES = Unknown("from some moment no way was found whose delays have times", final=True)
# Larger systems have no quick answer. (What is reached part by part would be one, but which parts
# come to rest depends on what is known of the system, and so on what was proved before.) Where
# there is little track, what else there is in states, such as relays, hardly counts.
MOST_STATES = 32
LITTLE_TRACK, MOST_STATES_BESIDE = 6, 48
TOO_LARGE = Unknown(
    "the layout is too large for what comes before a collision or derailment: mend that first",
    final=True,
)
# There are ways, and none of them is one that was looked for.
NO_WAY = Unknown("from some moment no way was found", final=True)
LEFT_OPEN = Unknown("it was not asked of the whole layout")
NOT_JUDGED = Unknown("the solver did not confirm the ways back that were found", final=True)


@dataclass(frozen=True, slots=True)
class Returns:
    """Yes: the goal is reachable from every reachable state."""


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
    invariant: Iterable[Expr],
    *,
    first: Sequence[Sequence[Expr]] = (),
    hints: Sequence[Expr] = (),
    few: Sequence[frozenset[Observable]] = (),
    made: Mapping[Observable, str] = NOTHING,
    quick: bool = False,
    composed: bool = False,
    deadline: float | None = None,
) -> list[Resettability]:
    """For each goal, whether it is reachable from every reachable state. ``first``: conditions that
    should be brought about first of all, in stages; ``hints``: conditions that are expected to hold
    in every reachable state, which is checked; ``made``: choices that ways back can do with;
    ``quick``: what takes long is left open; ``composed``: all are, once one of them is not reached
    part by part.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    if quick and not _is_small(system):
        return [TOO_LARGE] * len(goals)
    shapes = Shapes()
    clauses = strengthened(system, invariant, hints, shapes, deadline)
    leads = patient(with_choices(system, made))
    over = [_over(w, system, made) for w in system.timing.windows] if system.timing else []
    stages = (over, *first) if over else first
    parts = parts_at_rest(leads, shapes, first=stages, without=INDIFFERENT, deadline=deadline)
    composition = Composition(leads, system, parts, clauses, shapes, deadline)
    composition.compose()
    # From every reachable state one is reachable in which these can hold.
    given: Sequence[Expr] = [parts[i].rest for i in composition.done]
    answers: list[Resettability] = []
    for goal in goals:
        if composition.reaches(goal):
            answers.append(Returns())
        elif composed:
            return [LEFT_OPEN] * len(goals)
        else:
            answer = _Whole(system, leads, goal, clauses, given, few, deadline).answer()
            if answer is NO_WAY and made:
                # There may be ways with other choices.
                answer = _Whole(
                    system, patient(system), goal, clauses, given, few, deadline
                ).answer()
            answers.append(NO_TIMES if answer is NO_WAY and system.timing else answer)
            if isinstance(answers[-1], Returns):
                given = [goal]
    return answers


def _is_small(system: System) -> bool:
    """Whether what is not reached part by part is soon decided as a whole."""
    pieces = sum(what.kind == "train" for what in system.states)
    most = MOST_STATES_BESIDE if pieces <= LITTLE_TRACK else MOST_STATES
    return len(system.states) <= most


def _over(window: Window, system: System, made: Mapping[Observable, str]) -> Expr:
    """That a window is over, and will not begin while inputs are as usual, wherever trains and
    points are: such as that a signal is at stop because of what relays say."""
    states = frozenset(system.states)

    def meaning(part: Atom) -> Expr:
        if part.what in states:
            return part if part.what.kind in MEMORY else TRUE
        return TRUE if part.what.usual in part.values else FALSE

    begins = substitute(chosen(window.begins, made), meaning)
    over = negation(window.is_on)
    return over if begins is TRUE else conjunction(over, negation(begins))


class _Whole:
    """Decides one goal in its cone of influence, from states in which what is given can hold."""

    def __init__(
        self,
        system: System,
        leads: System,
        goal: Expr,
        clauses: Clauses,
        given: Sequence[Expr],
        few: Sequence[frozenset[Observable]],
        deadline: float | None,
    ):
        self._whole = system
        self._goal = goal
        self._few = few
        self._deadline = deadline
        # Assumptions outside of the cone could forbid what is possible within it.
        kept = system.states if system.always else tuple(_cone(leads, goal))
        self._system = cut(system, kept, [goal])
        self._leads = cut(leads, kept, [goal])
        assert set(system.states).isdisjoint(self._leads.inputs)
        inside = {*self._leads.states, *self._leads.inputs}
        self._given = [expr for expr in given if inside.issuperset(support(expr))]
        self._limit = Limit()
        self._clauses = clauses
        self._invariant = list(clauses.within(self._system.states))

    def answer(self) -> Resettability:
        """See :func:`always_again`."""
        limit = self._limit
        cover = Cover(self._leads, self._goal, self._invariant, self._given, limit)
        while True:
            try:
                with limit.until(self._deadline):
                    state = cover.uncovered()
                    reached = state is not None and cover.reach(state, LONGEST)
            except NoAnswer as none:
                return Unknown(str(none))
            if state is None:
                judged = accepted(
                    self._leads, self._goal, self._invariant, self._given, cover.steps,
                    self._deadline,
                )  # fmt: skip
                return Returns() if judged else NOT_JUDGED
            if not reached:
                settled = self._settle(cover, state)
                if settled is not None:
                    return settled

    def _settle(self, cover: Cover, state: Moment) -> Resettability | None:
        """The answer that a state without a short way gives; None where it has a longer one, or is
        unreachable."""
        system, leads = self._system, self._leads
        start = {w: (state[w],) for w in system.states}
        if system.always and self._ends(start):
            ends = negation(self._where_it_ends(start))
            self._given.append(ends)
            cover.exclude([ends])
            return None
        way = pdr.prove(
            replace(leads, initial=start, alike=()), self._goal, deadline=self._deadline
        )
        if isinstance(way, Reachable):
            with self._limit.until(self._deadline):
                cover.follow(way.trace)
            return None
        here = replace(system, initial=start, alike=())
        found = pdr.prove(here, self._goal, deadline=self._deadline)
        match found:
            case Unknown():
                return found
            case Reachable():
                return NO_WAY
            case Unreachable(clauses=clauses):
                inside = conjunction(*clauses, negation(self._goal))
                into = pdr.prove(system, inside, deadline=self._deadline)
        match into:
            case Unknown():
                return into
            case Unreachable(clauses=clauses):
                for clause in clauses:
                    self._clauses.add(clause)
                self._invariant += clauses
                cover.learn(clauses)
                return None
            case Reachable(trace=trace):
                history = bmc.search(
                    self._whole, inside, most=len(trace) - 1, few=self._few, deadline=self._deadline
                )
                if isinstance(history, Reachable):
                    return Trapped(history, here, found)
                return history

    def _ends(self, start: Mapping[Observable, tuple[str, ...]]) -> bool:
        """Whether assumptions allow no moment in any of these states: then no step leads there."""
        there = replace(self._system, initial=start, alike=())
        return isinstance(pdr.prove(there, TRUE, deadline=self._deadline), Unreachable)

    def _where_it_ends(self, start: Mapping[Observable, tuple[str, ...]]) -> Expr:
        """What of a state assumptions do not allow at any moment, as little as can be."""
        needed = dict(start)
        for what in start:
            if self._ends({**needed, what: what.values}):
                needed[what] = what.values
        return conjunction(*(atom(w, *values) for w, values in needed.items()))


def _cone(system: System, goal: Expr) -> list[Observable]:
    """The states that a goal depends on."""
    states = frozenset(system.states)
    waiting = [w for w in support(goal) if w in states]
    cone = dict.fromkeys(waiting)
    while waiting:
        for what in system.support(waiting.pop()):
            if what in states and what not in cone:
                cone[what] = None
                waiting.append(what)
    return [w for w in system.states if w in cone]
