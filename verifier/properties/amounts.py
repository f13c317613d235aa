"""Amounts for people: exact fractions as `2400 mm`, `8 ft 6 in`, `1.15 V`, `60 mA`.

In: meters, volts, amperes, ohms. Out: a number with its unit; of lengths, the one that the
file itself speaks.
"""

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from math import ceil, floor
from types import MappingProxyType
from typing import Literal

from verifier.plan.quantities import LENGTH
from verifier.plan.units import Unit

# To how much of its unit a length is rounded that has more than three decimals: no tape on a
# layout reads finer (common practice, no source).
_STEP: Mapping[str, Fraction] = MappingProxyType({
    "mm": Fraction("0.1"), "cm": Fraction("0.1"), "m": Fraction("0.01"), "in": Fraction("0.1"),
})  # fmt: skip
# From so many meters on a length is told in m; shorter ones of a file that speaks m, in mm.
_IN_METRES: Mapping[Unit, int] = MappingProxyType({"mm": 5, "cm": 5, "m": 1})
# From so many inches on a length that is not a round one is told to the whole inch.
_LONG = 120

# Which way a length may be rounded: to the nearest, which is said; or, where it stands beside
# a limit, so that nothing looks kept that is not.
Toward = Literal["nearest", "less", "more"]


def length(meters: Fraction, unit: Unit, toward: Toward = "nearest") -> str:
    """A length as a file speaks it: `2600 mm`, `6.1 m`, `11.5 in`, `9 ft 10 in`.

    To three decimals it is exact. What has more is rounded: to a tenth (in m to a hundredth,
    from ten feet on to the inch), with `about` before it where ``toward`` is the nearest."""
    small = _small(meters, unit)
    amount, step = meters / LENGTH.units[small], _STEP[small]
    if (amount * 1000).denominator == 1:
        return _told(amount, small)
    if small == "in" and amount >= _LONG:
        step = Fraction(1)
    match toward:
        case "less":
            return _told(floor(amount / step) * step, small)
        case "more":
            return _told(ceil(amount / step) * step, small)
        case "nearest":
            return f"about {_told(round(amount / step) * step, small)}"


def length_to_write(meters: Fraction, unit: Unit) -> str:
    """A length for a file, exact: what cannot be told so in inches is in mm."""
    small = _small(meters, unit)
    amount = meters / LENGTH.units[small]
    if _ends(amount):
        return _told(amount, small)
    return _told(meters * 1000, "mm")


def _small(meters: Fraction, unit: Unit) -> str:
    """The unit that is counted in: inches for feet."""
    if unit == "ft":
        return "in"
    if meters >= _IN_METRES[unit]:
        return "m"
    return "mm" if unit == "m" else unit


def _told(amount: Fraction, small: str) -> str:
    if small != "in" or amount < 12:
        return f"{decimal(amount)} {small}"
    feet, inches = divmod(amount, 12)
    return f"{feet} ft {decimal(inches)} in" if inches else f"{feet} ft"


def _ends(number: Fraction) -> bool:
    """Whether a number ends after some decimals."""
    rest = number.denominator
    for prime in (2, 5):
        while rest % prime == 0:
            rest //= prime
    return rest == 1


def decimal(number: Fraction) -> str:
    """Exact: what a file gives ends after some decimals, whatever its units."""
    text = f"{Decimal(number.numerator) / Decimal(number.denominator):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def volts(amount: Fraction | float) -> str:
    return f"{_number(amount)} V"


def amps(amount: Fraction | float) -> str:
    """Below one ampere in mA."""
    return f"{_number(amount)} A" if amount >= 1 else f"{_number(amount * 1000)} mA"


def ohms(amount: Fraction | float) -> str:
    """From 1000 ohm up in kohm."""
    return f"{_number(amount / 1000)} kohm" if amount >= 1000 else f"{_number(amount)} ohm"


def _number(amount: Fraction | float) -> str:
    text = f"{float(amount):.2f}"
    return text.rstrip("0").rstrip(".")
