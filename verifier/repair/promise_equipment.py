"""What may replace what people promise: a lock on points, the dispatcher's lever or a traffic lock,
a board where trains turn back."""

from collections.abc import Iterator, Sequence

from verifier.plan.locking.locking_model import THROWING, Promise
from verifier.plan.model import Plan
from verifier.repair.equipment_edit import Equipment
from verifier.repair.promise_boards import boards
from verifier.repair.promise_locks import lock
from verifier.repair.promise_traffic import stretch_controls


def equipment(plan: Plan, promises: Sequence[Promise]) -> Iterator[Equipment]:
    """Plans with equipment in place of these promises, the likeliest first: of a promise about
    blocks it is about that alone, of several promises about the same points one lock. None of it
    is proved."""
    first = promises[0]
    if all(promise.rule in THROWING for promise in promises):
        made = lock(plan, promises)
        if made is not None:
            yield made
    elif len(promises) == 1:
        if first.rule != "to reverse":
            yield from stretch_controls(plan, first)
        yield from boards(plan, first)
