"""Lengths are told in the units the file is written in, and never look kept where they are not."""

from fractions import Fraction
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

import verifier
from verifier.plan.quantities import LENGTH
from verifier.plan.units import Unit, Units
from verifier.properties.amounts import length, length_to_write

INCH, FOOT = LENGTH.units["in"], LENGTH.units["ft"]


@pytest.mark.parametrize(
    ("metres", "unit", "told"),
    [
        (20 * FOOT, "ft", "20 ft"),
        (FOOT, "ft", "1 ft"),
        (11 * INCH, "ft", "11 in"),
        (118 * INCH, "ft", "9 ft 10 in"),
        (54 * INCH, "ft", "4 ft 6 in"),
        (Fraction("11.125") * INCH, "ft", "11.125 in"),
        (Fraction("0.28"), "ft", "about 11 in"),
        (Fraction("2.6"), "ft", "about 8 ft 6.4 in"),
        (Fraction(6), "ft", "about 19 ft 8 in"),
        (Fraction(0), "ft", "0 in"),
        (Fraction("0.28"), "mm", "280 mm"),
        (Fraction("2.6"), "mm", "2600 mm"),
        (Fraction("6.1"), "mm", "6.1 m"),
        (20 * FOOT, "mm", "6.096 m"),
        (Fraction(1, 3), "mm", "about 333.3 mm"),
        (Fraction("1.2"), "cm", "120 cm"),
        (Fraction("2.6"), "m", "2.6 m"),
        (Fraction("0.28"), "m", "280 mm"),
    ],
)
def test_a_length_in_words(metres: Fraction, unit: Unit, told: str) -> None:
    assert length(metres, unit) == told


def read(text: str) -> Fraction:
    """What a file that says so would mean."""
    plan = verifier.load_text(f"edge W, E\nblock B {text}\ntrack W = B = E\n")
    return plan.wiring.lengths["B"]


LENGTHS = st.fractions(min_value=Fraction("0.01"), max_value=40, max_denominator=9999)
UNITS = st.sampled_from(get_args(Unit))


@given(LENGTHS, UNITS)
def test_rounding_goes_the_way_it_should(metres: Fraction, unit: Unit) -> None:
    """So that of an amount beyond a limit and the limit, the larger one is told as larger."""
    less, more = (_value(length(metres, unit, way)) for way in ("less", "more"))
    assert less <= metres <= more
    about = length(metres, unit)
    assert (_value(about.removeprefix("about ")) == metres) == (not about.startswith("about "))
    assert abs(_value(about.removeprefix("about ")) - metres) <= max(metres / 200, INCH / 20)


def _value(told: str) -> Fraction:
    words = told.split()
    pairs = zip(words[::2], words[1::2], strict=True)
    return sum((Fraction(number) * LENGTH.units[unit] for number, unit in pairs), Fraction(0))


@given(st.integers(1, 10**6), st.sampled_from(sorted(LENGTH.units)), UNITS)
def test_what_is_written_into_a_file_is_exact(count: int, given_in: str, unit: Unit) -> None:
    metres = count * LENGTH.units[given_in] / 1000
    assert _value(length_to_write(metres, unit)) == metres


@pytest.mark.parametrize("unit", get_args(Unit))
def test_what_is_written_is_read_again(unit: Unit) -> None:
    for metres in (54 * INCH, Fraction("2.6"), Fraction("11.125") * INCH, Fraction(7)):
        assert read(length_to_write(metres, unit)) == metres


FILE = """
edge West, East
{trains}
supply Track-A track power 14 V 5 A fuse 5 A electronic
district North fed by Track-A{bus}
block Main {main} in North
  feeders m1{feeder}
block Single {single}
track West = Main | Single = East
"""


@pytest.mark.parametrize(
    ("trains", "bus", "main", "feeder", "single", "units"),
    [
        ("", " over 20 ft of 14 AWG", "2600 mm", "", "3 m", Units("mm", "ft")),
        ("", " over 6 m of 14 AWG", "8 ft 6 in", " over 10 in of 22 AWG", "10 ft",
         Units("ft", "m")),
        ("trains 600 mm to 2 m, detectable throughout", "", "8 ft", "", "10 ft",
         Units("mm", "mm")),
        ("trains 20 in to 2 m, detectable throughout", "", "8 ft", "", "10 ft", Units("ft", "ft")),
        ("", " over 20 ft of 14 AWG", "", "", "", Units("ft", "ft")),
        ("", "", "240 cm", "", "", Units("cm", "cm")),
        ("", "", "", "", "", Units("mm", "mm")),
    ],
)  # fmt: skip
def test_a_file_speaks_the_units_most_of_it_is_written_in(
    trains: str, bus: str, main: str, feeder: str, single: str, units: Units
) -> None:
    text = FILE.format(trains=trains, bus=bus, main=main, feeder=feeder, single=single)
    assert verifier.load_text(text).wiring.units == units
