"""Whether a condition of the file holds, given the states of the observables it reads.

Part of the reference: the condition is evaluated as written, not rewritten or simplified.
"""

from collections.abc import Callable, Iterator, Mapping

from verifier.plan.model import Plan
from verifier.plan.observables import (
    All,
    AnyOne,
    Assumed,
    AtMost,
    Condition,
    Fact,
    Not,
    Observable,
    facts_in,
)  # fmt: skip

# Whether one fact holds; never called for a named condition.
Look = Callable[[Fact], bool]
# What is asked of the states of all observables.
Predicate = Callable[[Mapping[Observable, str]], bool]


class _Named(Exception):
    """A condition reads a named one that has not been evaluated yet."""

    def __init__(self, name: str):
        self.name = name


def looking_at(states: Mapping[Observable, str]) -> Look:
    """Facts read from the states of observables."""
    return lambda says: states[says.what] in says.values


def true_in(condition: Assumed, states: Mapping[Observable, str], plan: Plan) -> bool:
    """Whether a condition holds, given the states of all that it reads, those of named
    conditions included."""
    known = {what.name: states[what] == "true" for what in states if what.kind == "condition"}
    return is_true(condition, looking_at(states), known, plan)


def is_true(condition: Assumed, look: Look, known: dict[str, bool], plan: Plan) -> bool:
    """Whether a condition holds. ``look`` evaluates facts; ``known`` keeps the values of named
    conditions. The stack is explicit, since files may chain thousands of conditions."""
    names: list[str] = []
    while True:
        asked = plan.conditions[names[-1]].condition if names else condition
        try:
            holds = _holds(asked, look, known)
        except _Named as named:
            if len(names) > len(plan.conditions):
                raise RecursionError(named.name) from None
            names.append(named.name)
            continue
        if not names:
            return holds
        known[names.pop()] = holds


def _holds(condition: Assumed, look: Look, known: Mapping[str, bool]) -> bool:
    match condition:
        case Fact(what=what):
            if what.kind != "condition":
                return look(condition)
            if what.name not in known:
                raise _Named(what.name)
            return ("true" if known[what.name] else "false") in condition.values
        case All(parts=parts):
            return all(_holds(part, look, known) for part in parts)
        case AnyOne(parts=parts):
            return any(_holds(part, look, known) for part in parts)
        case Not(part=part):
            return not _holds(part, look, known)
        case AtMost(most=most, counted=counted):
            count = 0
            for each in counted:
                if _holds(each.what, look, known):
                    count += 1 - sum(_holds(part, look, known) for part in each.less)
                    count += sum(_holds(part, look, known) for part in each.more)
            return count <= most


def all_says(condition: Condition, plan: Plan) -> Iterator[Fact]:
    """Every fact of a condition, named conditions expanded (each once)."""
    stack, opened = [condition], set()
    while stack:
        for says in facts_in(stack.pop()):
            yield says
            name = says.what.name
            if says.what.kind == "condition" and name not in opened:
                opened.add(name)
                stack.append(plan.conditions[name].condition)
