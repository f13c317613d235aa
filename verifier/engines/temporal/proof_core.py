"""Which of what is taken for granted a proof over time needs.

In: a system and a proof about it. Out: positions in what the system takes for granted, such
that the proof stands without all others and without none of these. Where the solver gives up,
more of them are named than may be needed, never fewer.

The three questions are those of :mod:`verifier.engines.temporal.certificates`: at the start, from
moment to moment, and whether the clauses leave room for what must never happen.
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
    questions = _questions(system, bad, proof)
    return tuple(
        minimal_core(
            range(len(system.always)),
            lambda some: all(question.has_no_answer(some, deadline) for question in questions),
        )
    )


def _questions(system: System, bad: Expr, proof: Unreachable) -> "list[_Query]":
    facts = conjunction(*proof.clauses, *([negation(bad)] if proof.steps > 1 else []))
    failed, row = negation(facts), max(1, proof.steps - 1)
    start, later = Unrolling(system, start=True), Unrolling(system, start=False)
    fails = start.named(start.any_of([start.term(failed, k) for k in range(row)]))
    holding = [later.name(facts, k) for k in range(row)]
    return [
        _Query(start, [fails], row),
        _Query(later, [*holding, later.name(failed, row)], row + 1),
        _Query(later, [holding[0], later.name(bad, 0)], 1),
    ]


class _Query:
    """What can not be, as long as what is taken for granted is so at the first moments."""

    def __init__(self, solver: Unrolling, given: list[z3.BoolRef], moments: int):
        self._solver = solver
        self._given = given
        self._granted = [
            [solver.name(expr, k) for k in range(moments)] for expr in solver.system.always
        ]

    def has_no_answer(self, taken: Collection[int], deadline: float | None) -> bool:
        granted = [name for k in taken for name in self._granted[k]]
        return self._solver.check([*self._given, *granted], deadline) is False
