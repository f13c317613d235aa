"""The assumptions that a proof over time needs.

In: a system and a proof about it. Out: a minimal set of the system's constraints (by position)
with which the proof still holds. Where the solver gives up, the set may be larger than needed,
never smaller.

The three queries are those of :mod:`verifier.engines.temporal.certificates`: initiation,
consecution, and exclusion of the bad state.
"""

from collections.abc import Collection

import z3

from verifier.engines.minimal_core import minimal_core
from verifier.engines.results import Unreachable
from verifier.engines.temporal.unroller import Unrolling
from verifier.logic.expr import Expr, conjunction, negation
from verifier.logic.transition_system import System


def relied_on(
    system: System, bad: Expr, proof: Unreachable, *, deadline: float | None = None
) -> tuple[int, ...]:
    """The positions, in order.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    if not system.always:
        return ()
    queries = _queries(system, bad, proof)
    return tuple(
        minimal_core(
            range(len(system.always)),
            lambda some: all(query.is_unsatisfiable(some, deadline) for query in queries),
        )
    )


def _queries(system: System, bad: Expr, proof: Unreachable) -> "list[_Query]":
    facts = conjunction(*proof.clauses)
    violated = negation(facts)
    initial, transition = Unrolling(system, start=True), Unrolling(system, start=False)
    hold = transition.literal(facts, 0)
    return [
        _Query(initial, [initial.literal(expr, 0) for expr in (violated, *system.start)], 1),
        _Query(transition, [hold, transition.literal(violated, 1)], 2),
        _Query(transition, [hold, transition.literal(bad, 0)], 1),
    ]


class _Query:
    """What must be unsatisfiable while the constraints hold in the first ``steps`` steps."""

    def __init__(self, solver: Unrolling, assumed: list[z3.BoolRef], steps: int):
        self._solver = solver
        self._assumed = assumed
        self._constraints = [
            [solver.literal(expr, k) for k in range(steps)] for expr in solver.system.always
        ]

    def is_unsatisfiable(self, taken: Collection[int], deadline: float | None) -> bool:
        constraints = [name for k in taken for name in self._constraints[k]]
        return self._solver.check([*self._assumed, *constraints], deadline) is False
