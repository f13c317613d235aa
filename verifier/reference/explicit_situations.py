"""Explicit enumeration: every situation of a small layout, with no solver.

Every other engine must agree with it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

from verifier.plan.minimality import Cost, cost, count_situations, values_in_order
from verifier.plan.model import Plan
from verifier.plan.situation import Situation
from verifier.reference.condition_eval import Predicate
from verifier.reference.evaluator import Evaluator, Seen
from verifier.reference.standing import can_be

MAX_SITUATIONS = 1_000_000


@dataclass(frozen=True, slots=True)
class Tally:
    """The number of allowed situations in which a predicate holds, and the simplest of them."""

    count: int
    smallest: Situation | None


def allowed_situations(plan: Plan) -> Iterator[Situation]:
    """Every situation allowed by the assumptions.

    Raises ValueError for a layout with more than :data:`MAX_SITUATIONS`."""
    return (situation for situation, _ in _evaluated(plan))


def tally(
    plan: Plan, predicates: Sequence[Predicate], memory_facts: Sequence[Predicate] = ()
) -> list[Tally]:
    """For each predicate, the situations in which it holds, of those that the assumptions and
    ``memory_facts`` allow.

    Raises ValueError for a layout with more than :data:`MAX_SITUATIONS`."""
    counts = [0] * len(predicates)
    best: list[tuple[Cost, Situation] | None] = [None] * len(predicates)
    for situation, seen in _evaluated(plan, memory_facts):
        holding = [i for i, predicate in enumerate(predicates) if predicate(seen.states)]
        price = cost(situation, plan.inputs) if holding else None
        for i in holding:
            counts[i] += 1
            known = best[i]
            if price and (known is None or price < known[0]):
                best[i] = price, situation
    return [Tally(count, found and found[1]) for count, found in zip(counts, best, strict=True)]


def _evaluated(
    plan: Plan, memory_facts: Sequence[Predicate] = ()
) -> Iterator[tuple[Situation, Seen]]:
    number = count_situations(plan.inputs)
    if number > MAX_SITUATIONS:
        raise ValueError(f"{number:,} situations are too many to enumerate")
    evaluator = Evaluator(plan)
    conditions = [assumption.condition for assumption in plan.assumptions]
    for values in product(*map(values_in_order, plan.inputs)):
        situation = Situation.of(zip(plan.inputs, values, strict=True))
        if can_be(plan, situation):
            seen = evaluator.see(situation)
            if all(evaluator.true(condition, seen) for condition in conditions) and all(
                fact(seen.states) for fact in memory_facts
            ):
                yield situation, seen
