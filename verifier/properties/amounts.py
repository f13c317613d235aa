"""Amounts as text: `2400 mm`, `8 ft 6 in`, `1.15 V`, `60 mA`.

Amounts come in as exact fractions of meters, volts, amperes and ohms. Lengths are printed in the
units of the file."""

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from math import ceil, floor
from types import MappingProxyType
from typing import Literal

from verifier.plan.quantities import LENGTH
from verifier.plan.units import Unit

# The step to which a length with more than three decimals is rounded, by unit: no tape measure on
# a layout reads finer (common practice, no source).
_STEP: Mapping[str, Fraction] = MappingProxyType({
    "mm": Fraction("0.1"), "cm": Fraction("0.1"), "m": Fraction("0.01"), "in": Fraction("0.1"),
})  # fmt: skip
# Lengths of at least so many meters are printed in m, by the unit of the file.
_IN_METERS: Mapping[Unit, int] = MappingProxyType({"mm": 5, "cm": 5, "m": 1})
# A length of at least so many inches that has to be rounded is rounded to the whole inch.
_LONG = 120

# Which way to round an amount: to the nearest, a length marked "about"; or, beside a limit, the way
# in which a limit that is exceeded never looks met.
Toward = Literal["nearest", "less", "more"]


def length(meters: Fraction, unit: Unit, toward: Toward = "nearest") -> str:
    """A length in meters in the units of a file: `2600 mm`, `6.1 m`, `11.5 in`, `9 ft 10 in`.

    Up to three decimals it is exact. A longer number is rounded to a tenth (in m to a hundredth,
    from ten feet up to the inch), with `about` before it if ``toward`` is ``nearest``."""
    small = _small(meters, unit)
    amount, step = meters / LENGTH.units[small], _STEP[small]
    if (amount * 1000).denominator == 1:
        return _text(amount, small)
    if small == "in" and amount >= _LONG:
        step = Fraction(1)
    match toward:
        case "less":
            return _text(floor(amount / step) * step, small)
        case "more":
            return _text(ceil(amount / step) * step, small)
        case "nearest":
            return f"about {_text(round(amount / step) * step, small)}"


def length_to_write(meters: Fraction, unit: Unit) -> str:
    """An exact length in meters to write into a file: in mm where inches would not be exact."""
    small = _small(meters, unit)
    amount = meters / LENGTH.units[small]
    if _ends(amount):
        return _text(amount, small)
    return _text(meters * 1000, "mm")


def _small(meters: Fraction, unit: Unit) -> str:
    """The unit to count in: inches for feet, m or mm by size."""
    if unit == "ft":
        return "in"
    if meters >= _IN_METERS[unit]:
        return "m"
    return "mm" if unit == "m" else unit


def _text(amount: Fraction, small: str) -> str:
    if small != "in" or amount < 12:
        return f"{decimal(amount)} {small}"
    feet, inches = divmod(amount, 12)
    return f"{feet} ft {decimal(inches)} in" if inches else f"{feet} ft"


def _ends(number: Fraction) -> bool:
    """Whether a number has finitely many decimals."""
    rest = number.denominator
    for prime in (2, 5):
        while rest % prime == 0:
            rest //= prime
    return rest == 1


def decimal(number: Fraction) -> str:
    """A number with all its decimals, of which amounts in a file have finitely many."""
    text = f"{Decimal(number.numerator) / Decimal(number.denominator):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def volts(amount: Fraction | float, toward: Toward = "nearest") -> str:
    """Volts, as :func:`amps` has it."""
    return f"{_number(amount, toward)} V"


def amps(amount: Fraction | float, toward: Toward = "nearest") -> str:
    """Amperes, exact up to three decimals, else to two; below one ampere in mA."""
    return f"{_number(amount, toward)} A" if amount >= 1 else f"{_number(amount * 1000, toward)} mA"


def ohms(amount: Fraction | float) -> str:
    """Ohms, as :func:`amps` has it; from 1000 ohm up in kohm."""
    return f"{_number(amount / 1000)} kohm" if amount >= 1000 else f"{_number(amount)} ohm"


def _number(amount: Fraction | float, toward: Toward = "nearest") -> str:
    exact = Fraction(amount)
    if isinstance(amount, Fraction) and (exact * 1000).denominator == 1:
        return decimal(exact)
    step = Fraction(1, 100)
    match toward:
        case "less":
            return decimal(floor(exact / step) * step)
        case "more":
            return decimal(ceil(exact / step) * step)
        case "nearest":
            return decimal(round(exact / step) * step)
