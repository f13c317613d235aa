"""Conditions as text: from the syntax tree to segments."""

from collections.abc import Sequence

from verifier.language.format.segments import Segment
from verifier.language.syntax import tree as s
from verifier.language.syntax.parse import MAX_NESTING


def condition_start(condition: s.Condition) -> int:
    """Where the first fact of a condition stands; parentheses before it do not count."""
    while isinstance(condition, s.AllOf | s.AnyOf):
        condition = condition.parts[0]
    return condition.span.start


def condition(word: str, asked: s.Condition) -> list[Segment]:
    """``word`` and the condition: a segment for each of its parts."""
    parts: Sequence[s.Condition] = (asked,)
    sign, group = "", None
    if isinstance(asked, s.AllOf | s.AnyOf):
        parts, group = asked.parts, asked
        sign = "and" if isinstance(asked, s.AllOf) else "or"
    clear = _depth(asked) <= MAX_NESTING // 2 - 2
    return [
        Segment(
            f"{sign if i else word} {_part(part, group, clear)}",
            condition_start(part),
            part.span.end,
        )
        for i, part in enumerate(parts)
    ]


def _part(part: s.Condition, group: s.Condition | None, clear: bool) -> str:
    """A part of a condition, in parentheses where it needs them to be read as it is meant.

    ``clear``: also where only a person needs them, `(a and b) or c`."""
    match part:
        case s.Fact():
            return _fact(part)
        case s.Negation(part=inner):
            return f"not {_part(inner, part, clear)}"
        case s.AllOf(parts=parts) | s.AnyOf(parts=parts):
            sign = " and " if isinstance(part, s.AllOf) else " or "
            text = sign.join(_part(inner, part, clear) for inner in parts)
            needed = _needs_parentheses(part, group)
            wanted = clear and group is not None
            return f"({text})" if needed or wanted else text


def _needs_parentheses(part: s.Condition, group: s.Condition | None) -> bool:
    if group is None or isinstance(part, s.Fact | s.Negation):
        return False
    return not (isinstance(group, s.AnyOf) and isinstance(part, s.AllOf))


def _depth(condition: s.Condition, group: s.Condition | None = None) -> int:
    """How many parentheses and `not` stand inside one another, with no more than needed."""
    match condition:
        case s.Fact():
            return 0
        case s.Negation(part=part):
            return 1 + _depth(part, condition)
        case s.AllOf(parts=parts) | s.AnyOf(parts=parts):
            own = 1 if _needs_parentheses(condition, group) else 0
            return own + max(_depth(part, condition) for part in parts)


def _fact(fact: s.Fact) -> str:
    quantity = f"{fact.quantity} of " if fact.quantity else ""
    names = ", ".join(name.text for name in fact.names)
    if fact.state is None:
        return f"{quantity}{names}"
    if fact.state.kind == "train on":
        return f"train on {quantity}{names}"
    several = len(fact.names) > 1 and fact.quantity != "any"
    return f"{quantity}{names} {_state(fact.state, several)}"


def _state(state: s.FactState, several: bool) -> str:
    match state.kind:
        case "lies":
            return f"{'lie' if several else 'lies'} {state.value}"
        case "proceeds":
            return "proceed" if several else "proceeds"
        case "shows":
            return f"shows {state.value}"
        case "color" | "name":
            return state.value
        case kind:
            return kind
