"""Signals that depend on each other in a circle, yet are determined in every situation.

One position of a lever lets one signal clear, another the other one, and each rule tests whether
the other signal is at stop. The rules are cyclic; in any one situation they are not, since the
lever decides one signal first.

The solution is a fixed point over sets: at first a signal may show anything, and the set shrinks
by what its rules exclude for every possible state of the signals they read, until nothing
changes. The reference evaluator does this for one situation; this module does it symbolically
for all of them. States are distinguished only as far as some rule of the circle tells them apart.
"""

from collections.abc import Callable, Iterable

from verifier.logic.expr import (
    TRUE,
    And,
    Atom,
    Expr,
    Or,
    atom,
    conjunction,
    disjunction,
    negation,
    nodes,
    substitute,
    support,
)
from verifier.logic.settle import compared, given, is_always_true
from verifier.plan.observables import Observable

# Beyond these nothing is concluded: the circle stays an error.
MAX_DEPTH = 100
MAX_STEPS = 50_000
MAX_WORK = 100_000
# Work spent on comparing meanings before and after a step, over a whole circle.
MAX_COMPARING = 50_000

# States that the circle never tells apart, in the order of the observable.
Class = tuple[str, ...]
# When an observable may be in a state of each class.
May = dict[Class, Expr]

OneStep = Callable[[Atom], Expr]
Known = Callable[[Atom], Expr | None]


class TooManyStates(Exception):
    """A circle beyond the limits of this module."""


def settle_together(
    circle: Iterable[Atom], one_step: OneStep, known: Known
) -> dict[Observable, May]:
    """The meaning of the aspects and colors of a circle, over inputs.

    ``one_step`` gives the meaning of an atom in terms of others, ``known`` its meaning over
    inputs where there is one. Those that some situation leaves undetermined are left out."""
    meanings = _meanings_by_class(circle, one_step, known)
    may: dict[Observable, May] = {what: dict.fromkeys(meanings[what], TRUE) for what in meanings}
    read_by = _read_by(meanings)
    work = comparing = 0
    try:
        waiting = dict.fromkeys(meanings)
        while waiting:
            what = next(iter(waiting))
            del waiting[what]
            for states, meaning in meanings[what].items():
                left = _Possible(may).of(meaning)
                work += sum(1 for _ in nodes(left))
                if work > MAX_WORK:
                    raise TooManyStates
                alike, effort = compared(left, may[what][states], MAX_COMPARING - comparing)
                comparing += effort
                if comparing > MAX_COMPARING:
                    raise TooManyStates
                if not alike:
                    may[what][states] = left
                    waiting |= dict.fromkeys(read_by.get(what, ()))
    except TooManyStates:
        return {}
    return {what: states for what, states in may.items() if _one_at_a_time(states)}


def _meanings_by_class(
    circle: Iterable[Atom], one_step: OneStep, known: Known
) -> dict[Observable, dict[Class, Expr]]:
    """The meaning of each class of states, of everything that the circle depends on and that
    is not known. Classes are split until no meaning tests part of a class."""

    def replace(part: Atom) -> Expr:
        return known(part) or part

    classes: dict[Observable, list[Class]] = {}
    meanings: dict[tuple[Observable, Class], Expr] = {}
    waiting = list(circle)
    while waiting:
        tested = waiting.pop()
        split = [
            part
            for states in classes.get(tested.what, [tested.what.values])
            for part in (
                tuple(v for v in states if v in tested.values),
                tuple(v for v in states if v not in tested.values),
            )
            if part
        ]
        classes[tested.what] = split
        for states in split:
            if (tested.what, states) not in meanings:
                one = atom(tested.what, *states)
                assert isinstance(one, Atom), "an atom splits the states in two"
                meaning = substitute(one_step(one), replace)
                meanings[tested.what, states] = meaning
                # What is known as itself is an input here, be it worked out elsewhere.
                waiting += (part for part in _open_atoms(meaning) if known(part) is not part)
    return {what: {c: meanings[what, c] for c in split} for what, split in classes.items()}


def _open_atoms(expr: Expr) -> list[Atom]:
    return [n for n in nodes(expr) if isinstance(n, Atom) and n.what.is_worked_out]


def _read_by(meanings: dict[Observable, dict[Class, Expr]]) -> dict[Observable, list[Observable]]:
    read_by: dict[Observable, dict[Observable, None]] = {}
    for what, by_class in meanings.items():
        for meaning in by_class.values():
            for read in support(meaning):
                read_by.setdefault(read, {})[what] = None
    return {read: list(readers) for read, readers in read_by.items()}


class _Possible:
    """The condition under which a meaning is possible, given what each observable may be.

    Cases are split on an observable only where several parts of a conjunction test it."""

    def __init__(self, may: dict[Observable, May]):
        self._may = may
        self._open: dict[Expr, frozenset[Observable]] = {}
        self._done: dict[Expr, Expr] = {}

    def of(self, expr: Expr, depth: int = 0) -> Expr:
        """Raises :class:`TooManyStates`."""
        if not self._open_in(expr):
            return expr
        if expr not in self._done:
            if depth > MAX_DEPTH or len(self._done) > MAX_STEPS:
                raise TooManyStates
            match expr:
                case Atom(what=what, values=values):
                    classes = self._may[what].items()
                    found = disjunction(*(when for states, when in classes if states[0] in values))
                case Or(parts=parts):
                    found = disjunction(*(self.of(part, depth + 1) for part in parts))
                case And(parts=parts):
                    found = conjunction(
                        *(self._together(group, depth) for group in self._groups(parts))
                    )
                case _:
                    raise AssertionError(expr)
            self._done[expr] = found
        return self._done[expr]

    def _open_in(self, expr: Expr) -> frozenset[Observable]:
        if expr not in self._open:
            self._open[expr] = frozenset(w for w in support(expr) if w in self._may)
        return self._open[expr]

    def _groups(self, parts: Iterable[Expr]) -> list[list[Expr]]:
        """Parts that share something open, directly or through others, go together."""
        groups: list[tuple[list[Expr], frozenset[Observable]]] = []
        for part in parts:
            open_, members = self._open_in(part), [part]
            apart = []
            for group, theirs in groups:
                if open_ & theirs:
                    open_, members = open_ | theirs, group + members
                else:
                    apart.append((group, theirs))
            groups = [*apart, (members, open_)]
        return [group for group, _ in groups]

    def _together(self, group: list[Expr], depth: int) -> Expr:
        if len(group) == 1:
            return self.of(group[0], depth + 1)
        whole = conjunction(*group)
        what = next(
            w for w in support(whole) if sum(w in self._open_in(part) for part in group) > 1
        )
        return disjunction(
            *(
                conjunction(when, self.of(given(whole, what, states[0]), depth + 1))
                for states, when in self._may[what].items()
            )
        )


def _one_at_a_time(states: May) -> bool:
    """No situation allows two states."""
    left = list(states.values())
    return all(
        is_always_true(disjunction(negation(one), negation(two)))
        for i, one in enumerate(left)
        for two in left[i + 1 :]
    )
