"""What a rule requires, in the short words of a sheet.

In: a required fact. Out: `T1 N`, `Switch clear`, `6R not at stop`, and the column of
the sheet it belongs to.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Literal

from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not
from verifier.plan.signals.aspects import Chart
from verifier.sheets.dnf import Requirement, requirement_of

Column = Literal["points", "blocks", "signals", "levers and relays", "devices"]
_KINDS_OF: Mapping[Column, tuple[observables.Kind, ...]] = {
    "points": ("points report", "points"),
    "blocks": ("block report", "stock"),
    "signals": ("aspect", "reading", "color", "lens"),
    "levers and relays": ("lever", "button", "relay", "timer", "traffic"),
    "devices": ("derail report", "derail", "gate report", "gate"),
}
COLUMNS: tuple[Column, ...] = tuple(_KINDS_OF)
_COLUMN_OF = {kind: column for column, kinds in _KINDS_OF.items() for kind in kinds}
LETTER = {"normal": "N", "reverse": "R"}


def column_of(asked: Requirement) -> Column:
    return _COLUMN_OF.get(asked.what.kind, "devices")


def column_words(column: Column, asked: Iterable[Requirement], plan: Plan) -> str:
    """One cell: the requirements of this column, `-` for none."""
    mine = [fact for fact in asked if column_of(fact) == column]
    if column == "blocks":
        return "; ".join(_blocks(mine)) or "-"
    return ", ".join(requirement_words(fact, plan) for fact in mine) or "-"


def requirement_words(asked: Requirement, plan: Plan) -> str:
    """One fact: `T1 N`, `4 left`, `Main clear`."""
    name = asked.what.name
    match asked.what.kind:
        case "points report":
            return f"{name} {_state(asked, lambda value: LETTER.get(value, value))}"
        case "aspect":
            return f"{name} {_aspect(asked, plan.chart)}"
        case "button":
            return f"{name} {'pressed' if asked.values == ('pressed',) else 'not pressed'}"
        case _:
            return f"{name} {_state(asked)}"


def _state(asked: Requirement, word: Callable[[str], str] = str) -> str:
    left_out = [value for value in asked.what.values if value not in asked.values]
    if len(left_out) == 1 and len(asked.values) > 1:
        return f"not {word(left_out[0])}"
    return " or ".join(word(value) for value in asked.values)


def _aspect(asked: Requirement, chart: Chart) -> str:
    """Aspects by what they have in common, where that says it all."""
    every, wanted = asked.what.values, set(asked.values)
    stops = {a.name for a in chart.aspects if not a.clears} | {observables.UNLISTED}
    proceeds = {a.name for a in chart.aspects if a.proceeds}
    for names, words, opposite in (
        (proceeds, "proceeds", "does not proceed"),
        (stops, "at stop", "not at stop"),
    ):
        among = {value for value in every if value in names}
        if wanted == among:
            return words
        if wanted == set(every) - among:
            return opposite
    left_out = [value for value in every if value not in wanted]
    if len(left_out) < len(wanted):
        return f"does not show {' or '.join(left_out)}"
    return f"shows {' or '.join(asked.values)}"


def _blocks(asked: Iterable[Requirement]) -> Iterator[str]:
    """`Switch, Main clear`, then the blocks required to be occupied."""
    by_state: dict[str, list[str]] = {}
    for fact in asked:
        by_state.setdefault(_state(fact), []).append(fact.what.name)
    return (f"{', '.join(names)} {state}" for state, names in by_state.items())


def condition_words(condition: Condition, wanted: bool, plan: Plan) -> str:
    """A condition, or its opposite, in words, named conditions opened up."""
    match condition:
        case Not(part=part):
            return condition_words(part, not wanted, plan)
        case Fact() if condition.what.kind == "condition":
            inside = plan.conditions[condition.what.name].condition
            return condition_words(inside, wanted, plan)
        case Fact():
            asked = requirement_of(condition, wanted)
            return requirement_words(asked, plan) if asked.values else "never"
        case All(parts=parts) | AnyOne(parts=parts):
            word = " and " if isinstance(condition, All) == wanted else " or "
            return f"({word.join(condition_words(part, wanted, plan) for part in parts)})"
