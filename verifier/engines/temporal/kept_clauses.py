"""Clauses of earlier proofs, tried on a system that was changed since.

In: a system, clauses that were inductive in others, and bad states. Out: the clauses that are
inductive together in this one, and for each bad state a proof from them where they exclude it.

Nothing is taken over from where the clauses come from: each is checked here to hold initially and
to be inductive relative to the others, by z3, as :mod:`verifier.engines.temporal.induction` does.
A check is spared only where the very same one was made before: that some clauses, with the
next-state functions of the observables of one clause, imply this one at the next step.
"""

from collections.abc import Hashable, Iterable, Sequence
from functools import cached_property

import z3

from verifier.engines.proof_store import ProofStore
from verifier.engines.results import Unreachable
from verifier.engines.temporal.unroller import Unrolling
from verifier.logic.expr import Atom, Expr, Or, negation, support
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

Clauses = dict[Expr, None]


class KeptClauses:
    """The clauses of earlier proofs in a system without constraints, and what they still exclude.

    ``deadline`` is a time of :func:`time.monotonic`; what is not checked until then counts as not
    inductive. Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""

    def __init__(
        self, system: System, clauses: Iterable[Expr], store: ProofStore, deadline: float | None
    ):
        assert not system.always
        self._system = system
        self._store = store
        self._deadline = deadline
        states = set(system.states)
        # Those that say something in this system.
        self._given = tuple(c for c in clauses if states.issuperset(support(c)))
        # By clause: those relative to which it was found to be inductive.
        self._supporting: dict[Expr, Clauses] = {}
        # By the id of its literal: each clause that was asserted; the literals of those left.
        self._asserted: dict[int, Expr] = {}
        self._assumed: list[z3.BoolRef] = []

    @cached_property
    def _transition(self) -> Unrolling:
        return Unrolling(self._system, start=False)

    @cached_property
    def inductive(self) -> Clauses:
        """The largest set of the clauses that is inductive."""
        alive = dict.fromkeys(filter(self._holds_initially, self._given))
        waiting = list(alive)
        while waiting:
            clause = waiting.pop()
            if clause not in alive:
                continue
            supporting = self._induct(clause, alive)
            if supporting is not None:
                self._supporting[clause] = supporting
                continue
            del alive[clause]
            waiting += [
                other
                for other, resting in self._supporting.items()
                if clause in resting and other in alive
            ]
        return alive

    def exclude(self, bad: Expr) -> Unreachable | None:
        """A proof that a bad state is unreachable, where the clauses exclude it."""
        needed = self._implying(("excluded", bad), bad, 0, self.inductive)
        if needed is None:
            return None
        closed: Clauses = {}
        waiting = list(needed)
        while waiting:
            clause = waiting.pop()
            if clause not in closed:
                closed[clause] = None
                waiting += self._supporting[clause]
        return Unreachable(tuple(closed))

    # -------------------------------------------------------------- checks

    def _holds_initially(self, clause: Expr) -> bool:
        """Whether a clause holds in every initial state: in each of those in which the states that
        start alike have some value, since these groups start independently of each other."""
        covered: dict[Observable, set[str]] = {}
        for part in clause.parts if isinstance(clause, Or) else (clause,):
            if isinstance(part, Atom):
                first = self._system.starts_with(part.what)[0]
                covered.setdefault(first, set()).update(part.values)
        return any(values.issuperset(self._system.initial[w]) for w, values in covered.items())

    def _induct(self, clause: Expr, alive: Clauses) -> Clauses | None:
        """Clauses relative to which this one is inductive."""
        functions = tuple(tuple(self._system.following[what].values()) for what in support(clause))
        return self._implying(("inductive", clause, functions), negation(clause), 1, alive)

    def _implying(
        self, question: Hashable, violated: Expr, step: int, alive: Clauses
    ) -> Clauses | None:
        """Clauses of ``alive`` that, holding at step 0, exclude that ``violated`` holds at
        ``step``; None where all do not."""
        known: Sequence[Expr] | None = self._store.known(question)
        if known is not None and alive.keys() >= set(known):
            return dict.fromkeys(known)
        solver = self._transition
        if len(self._assumed) != len(alive):  # some were dropped
            self._assumed = list(map(self._literal, alive))
        if (
            solver.check([solver.literal(violated, step), *self._assumed], self._deadline)
            is not False
        ):
            return None
        core = solver.core()
        found = tuple(clause for name, clause in self._asserted.items() if name in core)
        self._store.keep(question, found)
        return dict.fromkeys(found)

    def _literal(self, clause: Expr) -> z3.BoolRef:
        literal = self._transition.literal(clause, 0)
        self._asserted.setdefault(literal.get_id(), clause)
        return literal
