"""Amounts for people: exact fractions as `2400 mm`, `1.15 V`, `60 mA`.

In: metres, volts, amperes, ohms. Out: a number of at most two decimals with its unit.
"""

from fractions import Fraction


def length(metres: Fraction | float) -> str:
    """From five metres up in m."""
    return f"{_number(metres)} m" if metres >= 5 else f"{_number(metres * 1000)} mm"


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
