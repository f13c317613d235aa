"""Proof by induction: an inductive invariant that excludes a bad state.

In: a system, clauses proposed as inductive, and a bad state. Out: a proof from as few of the
clauses as the solver's unsatisfiable cores leave, or that these clauses do not prove it.

Trusts z3's "unsat" and :mod:`verifier.engines.temporal.unroller`, nothing else: whoever proposed
a clause (Houdini, IC3, another engine), each clause of a proof is checked here to hold initially
and to be inductive relative to the clauses of the proof. Only what :func:`prove` returns is a
proof.
"""

from collections.abc import Iterable, Sequence

import z3

from verifier.engines.results import Unknown, Unreachable
from verifier.engines.temporal.ic3 import Frames
from verifier.engines.temporal.simulation import samples_of
from verifier.engines.temporal.unroller import Unrolling
from verifier.logic.expr import Expr, negation
from verifier.logic.transition_system import System


def prove(
    system: System,
    bad: Expr,
    clauses: Sequence[Expr] = (),
    *,
    deadline: float | None = None,
    further: bool = True,
) -> Unreachable | Unknown:
    """A proof that ``bad`` is unreachable; final Unknown when there is none. With ``further``,
    IC3 searches for clauses beyond those given.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    return _induction(system, tuple(clauses)).prove(bad, deadline, further)


NOT_PROVED = Unknown("no inductive invariant was found", final=True)


class SolverGaveUp(Exception):
    """The solver did not answer."""


class NotInductive(Exception):
    """A given clause does not hold initially, or not after a step from all clauses."""


class Induction:
    """Proofs about one system from the same clauses, with one solver for the initial states and
    one for a transition."""

    def __init__(self, system: System, clauses: tuple[Expr, ...]):
        self.system = system
        self.given = clauses
        self._deadline: float | None = None
        self._initial = Unrolling(system, start=True)
        self._transition = Unrolling(system, start=False)
        # The clauses; the literals that assert them at step 0; by literal, its position.
        self._clauses: list[Expr] = []
        self._asserted: list[z3.BoolRef] = []
        self._positions: dict[int, int] = {}
        # By clause: the clauses relative to which it was found to be inductive.
        self._supporting: dict[int, frozenset[int]] = {}
        self._frames: Frames | None = None
        self._add(clauses)

    def prove(self, bad: Expr, deadline: float | None, further: bool) -> Unreachable | Unknown:
        """See :func:`prove`."""
        self._deadline = deadline
        if samples_of(self.system).holding(bad):
            return Unknown("a simulated history reaches it", final=True)
        try:
            proof = self._proof(bad)
            if proof is not None or not further:
                return proof or NOT_PROVED
            if self._frames is None:
                self._frames = Frames(self.system, self.given, samples_of(self.system))
            found = self._frames.exclude(bad, deadline)
            if isinstance(found, Unknown):
                return found
            self._add(found)
            return self._proof(bad) or NOT_PROVED
        except NotInductive:
            return NOT_PROVED
        except SolverGaveUp as error:
            return Unknown(str(error))

    def _add(self, clauses: Iterable[Expr]) -> None:
        for clause in clauses:
            literal = self._transition.literal(clause, 0)
            if literal.get_id() not in self._positions:
                self._positions[literal.get_id()] = len(self._clauses)
                self._asserted.append(literal)
                self._clauses.append(clause)

    def _proof(self, bad: Expr) -> Unreachable | None:
        """Clauses that exclude ``bad``, closed under what makes them inductive; None when all
        clauses together do not exclude it."""
        needed = self._core(bad, 0, ())
        if needed is None:
            return None
        return Unreachable(tuple(self._clauses[i] for i in sorted(self._closure(needed))))

    def _closure(self, needed: frozenset[int]) -> set[int]:
        """The smallest extension found in which each clause is inductive relative to the rest."""
        waiting, closed = sorted(needed, reverse=True), set(needed)
        while waiting:
            i = waiting.pop()
            supporting = self._supporting.get(i)
            if supporting is None or not supporting <= closed:
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


_latest: list[Induction] = []


def _induction(system: System, clauses: tuple[Expr, ...]) -> Induction:
    """The last one is kept: questions about one system come one after the other."""
    if _latest and _latest[0].system is system and _latest[0].given == clauses:
        return _latest[0]
    _latest[:] = [Induction(system, clauses)]
    return _latest[0]
