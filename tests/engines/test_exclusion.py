"""States excluded in a single frame are unreachable, and the judge takes nothing that does not
last."""

from itertools import product

from tests.engines.random_systems import allowed, drawn_bads, drawn_system, truth
from verifier.engines.session import fresh_context
from verifier.engines.temporal.exclusion import Exclusion, is_inductive
from verifier.engines.temporal.sat import Limit
from verifier.logic.expr import Expr, holds, negation, support


def test_what_is_excluded_cannot_be_reached_and_lasts() -> None:
    fresh_context()
    excluded = unreachable = 0
    for seed in range(60):
        system = drawn_system(seed)
        reached = truth(system).reached
        if not reached:
            continue
        invariant: tuple[Expr, ...] = ()
        limit = Limit()
        with limit.until(None):
            search = Exclusion(system, invariant, limit)
            for values in product(*(what.values for what in system.states)):
                state = dict(zip(system.states, values, strict=True))
                if not all(holds(clause, state) for clause in invariant):
                    continue
                if not list(allowed(system, values)):
                    continue
                unreachable += values not in reached
                found = search.exclude(state, 3)
                if found is None:
                    continue
                assert values not in reached, (seed, state)
                assert is_inductive(system, invariant, found, None)
                invariant = (*invariant, *found)
                assert not all(holds(clause, state) for clause in invariant)
                excluded += 1
    assert excluded > unreachable // 2 > 10, (excluded, unreachable)


def test_the_judge_takes_nothing_that_does_not_last() -> None:
    refused = 0
    for seed in range(60):
        system = drawn_system(seed)
        for bad in drawn_bads(system, seed):
            clause = negation(bad)
            if set(support(clause)) <= set(system.states) and not is_inductive(
                system, (), [clause], None
            ):
                refused += 1
            elif set(support(clause)) <= set(system.states):
                assert truth(system).depth(bad) is None, (seed, clause)
    assert refused > 20
