"""Indicators and bells of the panel: what repeats to people what is reported.

In: a condition about reports. Out: what people take it for, a condition about what is true.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal, assert_never

from verifier.language.source import Span
from verifier.plan import observables
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not, Observable

# The state in which an indicator says what people rely on.
Side = Literal["on", "off"]
Named = Callable[[str], Condition]


@dataclass(frozen=True, slots=True)
class Indicator:
    """A lamp or a ``bell`` of the panel, on ``when`` so much is reported. ``warns``: by
    being on it makes people careful. ``relied``: the state in
    which people rely on it; None where it repeats what can be no other way than it says, or where
    it says while it is off what another one says while it is on."""

    name: str
    bell: bool
    when: Condition
    warns: bool
    relied: Side | None
    span: Span

    @property
    def what(self) -> Observable:
        return observables.indicator(self.name)

    @property
    def kind(self) -> Literal["bell", "indicator"]:
        return "bell" if self.bell else "indicator"

    def word(self, state: Side) -> str:
        """How people say that it is on, or off."""
        if self.bell:
            return "rings" if state == "on" else "is silent"
        return "is lit" if state == "on" else "is dark"


_TRUTH: dict[str, Callable[[str], Observable]] = {
    "block report": observables.stock, "points report": observables.points,
    "derail report": observables.derail, "gate report": observables.gate,
}  # fmt: skip
_STATE = {"clear": "vacant", "moving": "open"}


def truly(condition: Condition, named: Named) -> Condition:
    """What a condition of reports says of the track, of signals what engineers read."""
    match condition:
        case Fact(what=what, values=values) if what.kind == "condition":
            inner = truly(named(what.name), named)
            return inner if values == ("true",) else Not(inner, condition.span)
        case Fact(what=what, values=values):
            match what.kind:
                case "aspect":
                    return replace(condition, what=observables.reading(what.name, what.values))
                case "color":
                    return replace(condition, what=observables.lens(what.name, what.values))
            made = _TRUTH.get(what.kind)
            if made is None:
                return condition
            true = tuple(_STATE.get(value, value) for value in values)
            return Fact(made(what.name), true, condition.span, condition.text)
        case Not(part=part):
            return replace(condition, part=truly(part, named))
        case All(parts=parts) | AnyOne(parts=parts):
            return replace(condition, parts=tuple(truly(part, named) for part in parts))
        case _:
            assert_never(condition)
