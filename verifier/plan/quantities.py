"""Numbers with units, exact: `2400 mm`, `8 ft 6 in`, `12 V`, `16 AWG`.

In: amounts as written. Out: meters, volts, amperes, ohms, seconds as fractions; what is
wrong with them is noted, with the reason where it is one of safety.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from verifier.language.source import Span
from verifier.language.syntax import tree
from verifier.language.syntax.contextual_keywords import OTHER_UNITS
from verifier.language.syntax.token_names import one_of
from verifier.plan.names import Names

# Longer numbers are no measurements.
MAX_DIGITS = 15


@dataclass(frozen=True, slots=True)
class Measure:
    """A kind of amount: its units, and what it is called."""

    called: str
    units: Mapping[str, Fraction]


LENGTH = Measure(
    "a length",
    {
        "mm": Fraction("0.001"),
        "cm": Fraction("0.01"),
        "m": Fraction(1),
        "in": Fraction("0.0254"),
        "ft": Fraction("0.3048"),
    },
)
VOLTAGE = Measure("a voltage", {"V": Fraction(1), "mV": Fraction("0.001")})
CURRENT = Measure("a current", {"A": Fraction(1), "mA": Fraction("0.001")})
RESISTANCE = Measure("a resistance", {"ohm": Fraction(1), "kohm": Fraction(1000)})
TIME = Measure("a time", {"s": Fraction(1), "ms": Fraction("0.001")})
GAUGE = Measure("the size of a wire", {"AWG": Fraction(1)})
COUNT = Measure("a number", {})

MEASURES = (LENGTH, VOLTAGE, CURRENT, RESISTANCE, TIME, GAUGE)


@dataclass(frozen=True, slots=True)
class Bounds:
    """What an amount is of, one as it should look; how large it can be, and why no larger."""

    what: str
    measure: Measure
    example: str
    most: Fraction
    why: str
    zero: bool = False
    whole: bool = False


def read_amount(
    amounts: tree.Length, bounds: Bounds, names: Names, missing: str = ""
) -> Fraction | None:
    """The amount in the unit that counts; None when it is wrong (noted).

    ``missing`` is the hint where it has no unit, if not the usual one."""
    if not amounts:
        return None
    span = amounts[0].span.to(amounts[-1].span)
    values = [_value(amount, bounds, names, missing) for amount in amounts]
    known = [value for value in values if value is not None]
    if len(known) < len(values):
        return None
    if len(amounts) == 2 and [a.unit for a in amounts] != ["ft", "in"]:
        names.error(
            "CP602",
            f"`{amounts[0].span.text}` and `{amounts[1].span.text}` are two amounts",
            span,
            "Only feet and inches stand together: `8 ft 6 in`.",
        )
        return None
    value = sum(known, Fraction(0))
    return value if _possible(value, bounds, span, names) else None


def _value(amount: tree.Amount, bounds: Bounds, names: Names, missing: str) -> Fraction | None:
    digits = sum(1 for c in amount.number if c != ".")
    if digits > MAX_DIGITS:
        names.error(
            "CP603",
            f"this number has {digits:,} digits",
            amount.span,
            f"No tape and no meter gives more than {MAX_DIGITS} digits.",
        )
        return None
    unit = _unit(amount, bounds, names, missing)
    if unit is None:
        return None
    value = Fraction(amount.number)
    if bounds.whole and value.denominator != 1:
        names.error(
            "CP603",
            f"{bounds.what} is a whole number, not {amount.number}",
            amount.span,
            f"Write it like `{bounds.example}`.",
        )
        return None
    return value * unit


def _unit(amount: tree.Amount, bounds: Bounds, names: Names, missing: str) -> Fraction | None:
    """What one of the unit is worth."""
    measure, unit = bounds.measure, amount.unit
    if unit in measure.units:
        return measure.units[unit]
    if not measure.units and not unit:
        return Fraction(1)
    if not unit:
        names.error(
            "CP601",
            f"`{amount.number}` has no unit",
            amount.span,
            missing
            or f"{bounds.what.capitalize()} is given in {_listed(measure)}: "
            f"write it like `{bounds.example}`.",
        )
        return None
    meant = OTHER_UNITS.get(unit, unit)
    if meant in measure.units:
        names.error(
            "CP602",
            f"the unit `{unit}` is written `{meant}` here",
            amount.span,
            f"Write `{amount.number} {meant}`.",
        )
        return None
    if not measure.units:
        names.error(
            "CP602",
            f"{bounds.what} has no unit",
            amount.span,
            f"Write the number alone, like `{bounds.example}`.",
        )
        return None
    other = next((m for m in MEASURES if meant in m.units), None)
    said = f"`{unit}` is no unit of the language"
    if other:
        said = f"`{unit}` is a unit of {other.called.split(' ', 1)[1]}"
    names.error(
        "CP602",
        f"{said}, and here must stand {bounds.what}",
        amount.span,
        f"Write it like `{bounds.example}`, in {_listed(measure)}.",
    )
    return None


def _listed(measure: Measure) -> str:
    return one_of([f"`{unit}`" for unit in measure.units])


def _possible(value: Fraction, bounds: Bounds, span: Span, names: Names) -> bool:
    if value == 0 and not bounds.zero:
        names.error("CP603", f"{bounds.what} cannot be 0", span, "Write what you measure, or "
                    "leave it out: then the report says what is taken for granted.")  # fmt: skip
        return False
    if value > bounds.most:
        code = "CP605" if bounds.measure is VOLTAGE else "CP604"
        names.error(code, f"{bounds.what} of `{span.text}` is beyond any layout", span, bounds.why)
        return False
    return True
