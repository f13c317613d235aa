"""Strengthening an invariant by conditions that are expected to last.

In: a system, an invariant of it, and further conditions. Out: those of them that hold initially and
are inductive together, relative to the invariant (Houdini, each checked in the smallest window that
holds what it speaks of).

Trusts z3's "unsat".
"""

from collections.abc import Hashable, Iterable, Iterator, Sequence

from verifier.engines.temporal.symmetry import Shapes
from verifier.engines.temporal.unroller import Unrolling
from verifier.logic.expr import Expr, negation, support
from verifier.logic.transition_system import System, cut
from verifier.plan.observables import Observable


class Clauses:
    """Conditions by what they speak of."""

    def __init__(self, exprs: Iterable[Expr] = ()):
        self._by_first: dict[Observable, dict[Expr, None]] = {}
        for expr in exprs:
            self.add(expr)

    def add(self, expr: Expr) -> None:
        for first in support(expr)[:1]:
            self._by_first.setdefault(first, {})[expr] = None

    def remove(self, expr: Expr) -> None:
        for first in support(expr)[:1]:
            del self._by_first[first][expr]

    def within(self, whats: Iterable[Observable]) -> Iterator[Expr]:
        """Those that speak of nothing else."""
        known = dict.fromkeys(whats)
        for what in known:
            for expr in self._by_first.get(what, ()):
                if all(w in known for w in support(expr)):
                    yield expr


def strengthened(
    system: System,
    invariant: Iterable[Expr],
    hints: Sequence[Expr],
    shapes: Shapes,
    deadline: float | None,
) -> Clauses:
    """The invariant and those of the hints that last.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    clauses = Clauses(invariant)
    left = [hint for hint in dict.fromkeys(hints) if _holds_at_start(system, hint, deadline)]
    for hint in left:
        clauses.add(hint)
    known: dict[Hashable, bool] = {}
    while True:
        lost = [h for h in left if not _lasts(system, h, clauses, shapes, known, deadline)]
        if not lost:
            return clauses
        for hint in lost:
            clauses.remove(hint)
        left = [hint for hint in left if hint not in lost]


def _holds_at_start(system: System, hint: Expr, deadline: float | None) -> bool:
    start = Unrolling(cut(system, support(hint)), start=True)
    asked = [start.literal(negation(hint), 0), *start.constraints(0)]
    return start.check(asked, deadline) is False


def _lasts(
    system: System,
    hint: Expr,
    clauses: Clauses,
    shapes: Shapes,
    known: dict[Hashable, bool],
    deadline: float | None,
) -> bool:
    window = cut(system, support(hint))
    shape = shapes.of(window)
    given = list(clauses.within((*window.states, *window.inputs)))
    questions = frozenset(shape.question(shapes.form(expr)) for expr in given)
    key = shape.key, shape.question(shapes.form(hint)), questions
    if key not in known:
        solver = Unrolling(window, start=False)
        solver.add(*(solver.term(expr, 0) for expr in given))
        asked = [solver.literal(negation(hint), 1), *solver.constraints(0)]
        known[key] = solver.check(asked, deadline) is False
    return known[key]
