"""The explicit enumerator: every situation of a small layout, one by one, with no solver.

It is the reference that every other engine must agree with."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

from verifier.logic.expr import holds
from verifier.plan.minimality import Cost, cost, count_situations, values_in_order
from verifier.plan.model import Plan
from verifier.plan.situation import Situation
from verifier.properties.obligation import Obligation
from verifier.reference.equipment import can_be
from verifier.reference.evaluator import Evaluator

MAX_SITUATIONS = 1_000_000


@dataclass(frozen=True, slots=True)
class Tally:
    """Of one obligation: in how many allowed situations its formula holds, and the
    simplest of them."""

    count: int
    smallest: Situation | None


def allowed_situations(plan: Plan) -> Iterator[Situation]:
    """Every situation that the assumptions allow, and what is known of memory.

    Raises ValueError for a layout with more than :data:`MAX_SITUATIONS`."""
    number = count_situations(plan.inputs)
    if number > MAX_SITUATIONS:
        raise ValueError(f"{number:,} situations are too many to go through one by one")
    evaluator = Evaluator(plan)
    conditions = [*(a.condition for a in plan.assumptions), *plan.remembered]
    for values in product(*(values_in_order(what) for what in plan.inputs)):
        situation = Situation.of(zip(plan.inputs, values, strict=True))
        if not can_be(plan, situation):
            continue
        seen = evaluator.see(situation)
        if all(evaluator.true(condition, seen) for condition in conditions):
            yield situation


def tally(plan: Plan, obligations: Sequence[Obligation]) -> list[Tally]:
    """For each obligation, the allowed situations in which its formula holds."""
    evaluator = Evaluator(plan)
    counts = [0] * len(obligations)
    best: list[tuple[Cost, Situation] | None] = [None] * len(obligations)
    for situation in allowed_situations(plan):
        seen = evaluator.see(situation)
        price: Cost | None = None
        for i, obligation in enumerate(obligations):
            if not holds(obligation.formula, seen.states):
                continue
            counts[i] += 1
            price = price or cost(situation, plan.inputs)
            known = best[i]
            if known is None or price < known[0]:
                best[i] = price, situation
    return [
        Tally(count, found[1] if found else None) for count, found in zip(counts, best, strict=True)
    ]
