"""Proof by induction: an inductive invariant that excludes a bad state.

In: a system, clauses proposed as inductive, and a bad state. Out: a proof from as few of the
clauses as the solver's unsatisfiable cores leave, or that these clauses do not prove it.

Trusts z3's "unsat" and :mod:`verifier.engines.temporal.unroller`, nothing else: whoever proposed
a clause (Houdini, IC3, a stored proof), each clause of a proof is checked here to hold initially
and to be inductive relative to the clauses of the proof. Only what :class:`Induction` returns is a
proof.
"""

from collections.abc import Iterable, Sequence

import z3

from verifier.engines.results import Unknown, Unreachable
from verifier.engines.temporal.unroller import Unrolling
from verifier.logic.expr import Expr, disjunction, negation
from verifier.logic.transition_system import System


def prove(
    system: System, bad: Expr, clauses: Sequence[Expr] = (), *, deadline: float | None = None
) -> Unreachable | Unknown:
    """A proof from ``clauses`` that ``bad`` is unreachable; final Unknown when they are none.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    return Induction(system, clauses).prove(bad, deadline)


NOT_PROVED = Unknown("no inductive invariant was found", final=True)


class SolverGaveUp(Exception):
    """The solver did not answer."""


class NotInductive(Exception):
    """A given clause does not hold initially, or not after a step from all clauses."""


class Induction:
    """Proofs about one system from the same clauses, with one solver for the initial states and
    one for a transition."""

    def __init__(self, system: System, clauses: Iterable[Expr] = ()):
        self._deadline: float | None = None
        # Which clauses a core has depends on the terms that z3's context has seen.
        own = z3.Context()
        self._initial = Unrolling(system, start=True, context=own)
        self._transition = Unrolling(system, start=False, context=own)
        # The clauses; the literals that assert them at step 0; by literal, its position.
        self._clauses: list[Expr] = []
        self._asserted: list[z3.BoolRef] = []
        self._positions: dict[int, int] = {}
        # By clause: the clauses relative to which it was found to be inductive.
        self._supporting: dict[int, frozenset[int]] = {}
        self.add(clauses)

    def add(self, clauses: Iterable[Expr]) -> None:
        """Propose further clauses."""
        for clause in clauses:
            literal = self._transition.literal(clause, 0)
            if literal.get_id() not in self._positions:
                self._positions[literal.get_id()] = len(self._clauses)
                self._asserted.append(literal)
                self._clauses.append(clause)

    def prove(self, bad: Expr, deadline: float | None) -> Unreachable | Unknown:
        """See :func:`prove`."""
        self._deadline = deadline
        try:
            needed = self._core(bad, 0, ())
            if needed is None:
                return NOT_PROVED
            return Unreachable(tuple(self._clauses[i] for i in sorted(self._closure(needed))))
        except NotInductive:
            return NOT_PROVED
        except SolverGaveUp as error:
            return Unknown(str(error))

    def invariant(self, deadline: float | None) -> tuple[Expr, ...]:
        """All clauses, if they are an invariant together; else none."""
        self._deadline = deadline
        # What was found inductive relative to some of them is so relative to all.
        left = (clause for i, clause in enumerate(self._clauses) if i not in self._supporting)
        violated = disjunction(*map(negation, left))
        try:
            if self._satisfiable(self._initial, violated, 0, ()):
                return ()
            if self._satisfiable(self._transition, violated, 1, range(len(self._clauses))):
                return ()
        except SolverGaveUp:
            return ()
        return tuple(self._clauses)

    def _closure(self, needed: frozenset[int]) -> set[int]:
        """The smallest extension found in which each clause is inductive relative to the rest."""
        waiting, closed = sorted(needed, reverse=True), set(needed)
        while waiting:
            i = waiting.pop()
            supporting = self._supporting.get(i)
            if supporting is None:
                supporting = self._supporting[i] = self._induct(self._clauses[i], closed)
            waiting += sorted(supporting - closed, reverse=True)
            closed |= supporting
        return closed

    def _induct(self, clause: Expr, preferred: Iterable[int]) -> frozenset[int]:
        """Clauses relative to which this one is inductive, ``preferred`` ones if they suffice."""
        violated = negation(clause)
        if self._satisfiable(self._initial, violated, 0, ()):
            raise NotInductive
        supporting = self._core(violated, 1, preferred)
        if supporting is None:
            raise NotInductive
        return supporting

    # -------------------------------------------------------------- the solver

    def _core(self, expr: Expr, step: int, preferred: Iterable[int]) -> frozenset[int] | None:
        """Clauses that, asserted at step 0, exclude ``expr`` at ``step``: of the ``preferred``
        ones, or else of all; None when all of them do not."""
        for allowed in (sorted(preferred), range(len(self._clauses))):
            if not self._satisfiable(self._transition, expr, step, allowed):
                core = self._transition.core()
                return frozenset(i for name, i in self._positions.items() if name in core)
        return None

    def _satisfiable(
        self, solver: Unrolling, expr: Expr, step: int, allowed: Iterable[int]
    ) -> bool:
        """Whether ``expr`` can hold at ``step`` of an execution that obeys the system's
        constraints up to it, and these clauses at step 0."""
        asserted = [self._asserted[i] for i in allowed]
        constraints = solver.constraints(*range(step + 1))
        found = solver.check([solver.literal(expr, step), *constraints, *asserted], self._deadline)
        if found is None:
            raise SolverGaveUp(solver.reason)
        return found
