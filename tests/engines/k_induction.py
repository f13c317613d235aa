"""k-induction, for published figures that speak of it. The product has only induction: with k = 2
it decided nothing in any junction file (tests/benchmarks/ablation.py)."""

from collections.abc import Sequence

from verifier.engines.results import Unreachable
from verifier.engines.temporal.induction import prove
from verifier.engines.temporal.unroller import Unrolling
from verifier.logic.expr import Expr, negation
from verifier.logic.transition_system import System


def is_k_inductive(system: System, bad: Expr, k: int, invariant: Sequence[Expr] = ()) -> bool:
    """Whether no history has ``bad`` in its first ``k`` moments, and none of ``k`` moments
    without it, the first of which satisfies the invariant, is followed by one with it."""
    assert all(
        isinstance(prove(system, negation(clause), invariant), Unreachable) for clause in invariant
    )
    start, anywhere = Unrolling(system, start=True), Unrolling(system, start=False)
    for step in range(k):
        if (
            start.check([start.literal(bad, step), *start.constraints(*range(step + 1))])
            is not False
        ):
            return False
    kept = [anywhere.literal(clause, 0) for clause in invariant]
    kept += [anywhere.literal(negation(bad), step) for step in range(k)]
    found = anywhere.check([*kept, anywhere.literal(bad, k), *anywhere.constraints(*range(k + 1))])
    return found is False
