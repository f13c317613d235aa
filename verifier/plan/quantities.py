"""Numbers with units, exact: `2400 mm`, `8 ft 6 in`, `12 V`, `16 AWG`.

In: amounts as written. Out: meters, volts, amperes, ohms, seconds as fractions; what is
wrong with them is noted, with the reason where it is one of safety.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction

from verifier.language.diagnostics.registry import Hint
from verifier.language.source import Span
from verifier.language.syntax import tree
from verifier.language.syntax.contextual_keywords import OTHER_UNITS
from verifier.plan.names import Names

# Longer numbers are no measurements.
MAX_DIGITS = 15


@dataclass(frozen=True, slots=True)
class Measure:
    """A kind of amount: its units, and what it is called."""

    called: str
    units: Mapping[str, Fraction]


LENGTH = Measure(
    "length",
    {
        "mm": Fraction("0.001"),
        "cm": Fraction("0.01"),
        "m": Fraction(1),
        "in": Fraction("0.0254"),
        "ft": Fraction("0.3048"),
    },
)
VOLTAGE = Measure("voltage", {"V": Fraction(1), "mV": Fraction("0.001")})
CURRENT = Measure("current", {"A": Fraction(1), "mA": Fraction("0.001")})
RESISTANCE = Measure(
    "resistance", {"ohm": Fraction(1), "kohm": Fraction(1000), "mohm": Fraction("0.001")}
)
TIME = Measure("time", {"s": Fraction(1), "ms": Fraction("0.001")})
GAUGE = Measure("wire size", {"AWG": Fraction(1)})
COUNT = Measure("number", {})

MEASURES = (LENGTH, VOLTAGE, CURRENT, RESISTANCE, TIME, GAUGE)


@dataclass(frozen=True, slots=True)
class Bounds:
    """What an amount measures, an example of it, and its limits."""

    what: str
    measure: Measure
    example: str
    most: Fraction
    zero: bool = False
    whole: bool = False


USUAL = ("usual",)


def read_amount(
    amounts: tree.Length, bounds: Bounds, names: Names, missing: Iterable[str | Hint] = USUAL
) -> Fraction | None:
    """The amount in the unit that counts; None when it is wrong (noted).

    ``missing`` are the hints where it has no unit."""
    if not amounts:
        return None
    span = amounts[0].span.to(amounts[-1].span)
    values = [_value(amount, bounds, names, missing) for amount in amounts]
    known = [value for value in values if value is not None]
    if len(known) < len(values):
        return None
    if len(amounts) == 2 and [a.unit for a in amounts] != ["ft", "in"]:
        names.error("CP602", span, "two", first=amounts[0].span.text, second=amounts[1].span.text)
        return None
    value = sum(known, Fraction(0))
    return value if _possible(value, bounds, span, names) else None


def _value(
    amount: tree.Amount, bounds: Bounds, names: Names, missing: Iterable[str | Hint]
) -> Fraction | None:
    digits = sum(1 for c in amount.number if c != ".")
    if digits > MAX_DIGITS:
        names.error("CP603", amount.span, "digits", digits=digits, most=MAX_DIGITS)
        return None
    unit = _unit(amount, bounds, names, missing)
    if unit is None:
        return None
    value = Fraction(amount.number)
    if bounds.whole and value.denominator != 1:
        names.error(
            "CP603",
            amount.span,
            "whole",
            what=bounds.what,
            number=amount.number,
            example=bounds.example,
        )
        return None
    return value * unit


def _unit(
    amount: tree.Amount, bounds: Bounds, names: Names, missing: Iterable[str | Hint]
) -> Fraction | None:
    """The factor from the unit to that of the measure."""
    measure, unit = bounds.measure, amount.unit
    if unit in measure.units:
        return measure.units[unit]
    if not measure.units and not unit:
        return Fraction(1)
    if not unit:
        names.error(
            "CP601",
            amount.span,
            hints=missing,
            number=amount.number,
            what=bounds.what,
            units=measure.units,
            example=bounds.example,
        )
        return None
    meant = OTHER_UNITS.get(unit, unit)
    if meant in measure.units:
        names.error("CP602", amount.span, "spelling", unit=unit, meant=meant, number=amount.number)
        return None
    if not measure.units:
        names.error("CP602", amount.span, "no_unit", what=bounds.what, example=bounds.example)
        return None
    other = next((m for m in MEASURES if meant in m.units), None)
    names.error(
        "CP602",
        amount.span,
        "measure" if other else "",
        unit=unit,
        measure=other.called if other else "",
        what=bounds.what,
        example=bounds.example,
        units=measure.units,
    )
    return None


def _possible(value: Fraction, bounds: Bounds, span: Span, names: Names) -> bool:
    if value == 0 and not bounds.zero:
        names.error("CP603", span, "zero", what=bounds.what)
        return False
    if value > bounds.most:
        names.error(
            "CP605" if bounds.measure is VOLTAGE else "CP604",
            span,
            what=bounds.what,
            said=span.text,
            most=int(bounds.most),
            unit=next(
                (f" {unit}" for unit, worth in bounds.measure.units.items() if worth == 1), ""
            ),
        )
        return False
    return True
