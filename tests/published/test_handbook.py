"""Handbook numbers against published tables.

Certainty marks as in the project's notes on sources: [V] read in the source, [M] from memory,
[C] computed there from read values, [S] read in a secondary page.
"""

from fractions import Fraction

import eseries
import pytest
from hypothesis import given
from hypothesis import strategies as st

from verifier.plan.wiring.electrical_constants import (
    SCALES,
    Series,
    class_2_amps,
    diameter,
    next_preferred,
    ohms_per_meter,
    scaled_feet,
    series_resistor,
    short_circuit,
    volts_lost,
)
from verifier.plan.wiring.wiring_model import Run

ONE_PERCENT = 0.01
KILOFOOT = 304.8


def feet(count: int) -> Fraction:
    return count * Fraction("0.3048")


# ------------------------------------------------------------------ copper wire (5.1)

# AWG: diameter in mm [C], ohms per 1000 ft at 20 °C [V], ohms per km at 20 °C [V].
WIRE = {
    12: (2.0525, 1.588, 5.21),
    14: (1.6277, 2.525, 8.28),
    16: (1.2908, 4.016, 13.2),
    18: (1.0237, 6.385, 20.9),
    20: (0.8118, 10.15, 33.2),
    22: (0.6438, 16.14, 52.7),
    24: (0.5106, 25.67, 84.2),
}
# Ohms per km at 20 °C of the second source [V] (wp.1728.org) where the first one rounds badly.
SECOND_SOURCE = {22: 52.94, 24: 84.20}
# NEC (NFPA 70) chapter 9 table 8, solid, ohms per 1000 ft at 75 °C [V].
HOT = {12: 1.93, 14: 3.07, 16: 4.89, 18: 7.77}


@pytest.mark.parametrize("gauge", WIRE)
def test_awg_table_hyperphysics_V_diameter_and_resistance(gauge: int) -> None:
    """hyperphysics.phy-astr.gsu.edu wire table [V]: within 1 %."""
    across, per_kilofoot, per_km = WIRE[gauge]
    assert diameter(gauge) == pytest.approx(across, abs=0.00006)
    assert ohms_per_meter(gauge) * KILOFOOT == pytest.approx(per_kilofoot, rel=ONE_PERCENT)
    assert ohms_per_meter(gauge) * 1000 == pytest.approx(per_km, rel=ONE_PERCENT)


@pytest.mark.parametrize("gauge", SECOND_SOURCE)
def test_awg_table_second_source_V(gauge: int) -> None:
    """wp.1728.org [V]: closer than the rounded table, a tenth of a percent."""
    assert ohms_per_meter(gauge) * 1000 == pytest.approx(SECOND_SOURCE[gauge], rel=0.001)


@pytest.mark.parametrize("gauge", HOT)
def test_awg_at_20_C_is_82_percent_of_nec_table_8_S(gauge: int) -> None:
    """NEC chapter 9 table 8 [V] at 75 °C; "about 82 %" at 20 °C [S]."""
    assert ohms_per_meter(gauge) * KILOFOOT == pytest.approx(0.82 * HOT[gauge], rel=ONE_PERCENT)


# ------------------------------------------------------------------ voltage lost (5.2)

# Volts lost on 30 ft at 3 A [C].
LOST = {12: 0.2858, 14: 0.4545, 16: 0.7229, 18: 1.1493, 20: 1.8270, 22: 2.9052, 24: 4.6206}


@pytest.mark.parametrize("gauge", LOST)
def test_voltage_drop_C_30_ft_3_A(gauge: int) -> None:
    assert volts_lost(Run(feet(30), gauge), Fraction(3)) == pytest.approx(
        LOST[gauge], rel=ONE_PERCENT
    )


def test_voltage_drop_C_one_foot_feeder() -> None:
    assert volts_lost(Run(feet(1), 22), Fraction(3)) == pytest.approx(0.0968, rel=ONE_PERCENT)


@pytest.mark.parametrize(("gauge", "left"), [(18, 10.85), (16, 11.28)])
def test_voltage_drop_C_what_is_left_of_12_V(gauge: int, left: float) -> None:
    assert 12 - volts_lost(Run(feet(30), gauge), Fraction(3)) == pytest.approx(left, abs=0.006)


def test_short_circuit_C_30_ft_of_24_AWG() -> None:
    """12 V over the loop of 1.540 ohm gives at most 7.8 A: an 8 A breaker never trips."""
    assert short_circuit(Fraction(12), Run(feet(30), 24)) == pytest.approx(7.8, abs=0.05)
    halves = (Run(feet(15), 24), Run(feet(15), 24))
    assert short_circuit(Fraction(12), *halves) == pytest.approx(7.8, abs=0.05)
    assert short_circuit(Fraction(12)) == float("inf")


# ------------------------------------------------------------------ resistors (5.3)

mA = Fraction(1, 1000)


@pytest.mark.parametrize(
    ("volts", "exact", "preferred"),
    [(6, 215, 220), (9, 365, 390), (12, 515, 560), (24, 1115, 1200)],
)
def test_led_resistor_V_four_published_values(volts: int, exact: int, preferred: int) -> None:
    """vespalabs.internetscooter.com, "LED Indicators" [V]: 1.7 V, 20 mA."""
    found = series_resistor(Fraction(volts), Fraction("1.7"), 20 * mA)
    assert found is not None
    assert found.exact == exact and found.preferred == preferred


@pytest.mark.parametrize(
    ("volts", "forward", "milliamps", "series", "preferred"),
    [
        ("12", "2.0", 10, "E12", 1000),
        ("12", "2.0", 10, "E24", 1000),
        ("5", "2.2", 10, "E24", 300),
        ("5", "2.2", 10, "E12", 330),
        ("12", "3.2", 10, "E24", 910),
        ("12", "3.2", 10, "E12", 1000),
        ("16", "2.0", 15, "E12", 1000),
    ],
)
def test_led_resistor_C_worked_values(
    volts: str, forward: str, milliamps: int, series: Series, preferred: int
) -> None:
    found = series_resistor(Fraction(volts), Fraction(forward), milliamps * mA, series=series)
    assert found is not None and found.preferred == preferred


def test_led_resistor_C_power_and_rating() -> None:
    """Rated at least twice the power [V]: 0.1 W in a quarter watt, 0.21 W in a half watt."""
    one = series_resistor(Fraction(12), Fraction(2), 10 * mA)
    other = series_resistor(Fraction(16), Fraction(2), 15 * mA)
    assert one is not None and (one.watts, one.rating) == (Fraction("0.1"), Fraction(1, 4))
    assert other is not None and (other.watts, other.rating) == (Fraction("0.21"), Fraction(1, 2))
    assert round(other.exact, 1) == Fraction("933.3")


def test_led_resistor_V_too_low_a_supply_does_not_light() -> None:
    """If n Vf >= V it will not light [V]."""
    assert series_resistor(Fraction(6), Fraction(2), 10 * mA, leds=3) is None
    assert series_resistor(Fraction(6), Fraction(2), 10 * mA, leds=2) is not None


@pytest.mark.parametrize("series", ["E12", "E24"])
@given(ohms=st.fractions(min_value=Fraction(1, 50), max_value=10**7, max_denominator=1000))
def test_preferred_values_iec_60063_M_as_the_eseries_package(
    series: Series, ohms: Fraction
) -> None:
    """IEC 60063 [M]: the next higher value, the package from the registry being the reference."""
    theirs = eseries.find_greater_than_or_equal(eseries.ESeries[series], float(ohms))
    assert float(next_preferred(ohms, series)) == pytest.approx(theirs)


@pytest.mark.parametrize("series", ["E12", "E24"])
def test_preferred_values_themselves_stay(series: Series) -> None:
    for value in eseries.series(eseries.ESeries[series]):
        for power in range(-2, 6):
            ohms = value * Fraction(10) ** power
            assert next_preferred(ohms, series) == ohms
            assert next_preferred(ohms + Fraction(1, 10**6), series) > ohms


def test_no_resistance_has_no_preferred_value() -> None:
    with pytest.raises(ValueError, match="above zero"):
        next_preferred(Fraction(0))


# ------------------------------------------------------------------ limits, scales (5.4, 236.302)


@pytest.mark.parametrize(("volts", "amps"), [(12, 8.3), (16, 6.25), (24, 4.17)])
def test_class_2_limit_C_100_VA(volts: int, amps: float) -> None:
    found = class_2_amps(Fraction(volts))
    assert found is not None and float(found) == pytest.approx(amps, abs=0.05)


def test_class_2_limit_V_only_up_to_30_V() -> None:
    assert class_2_amps(Fraction(30)) is not None
    assert class_2_amps(Fraction(31)) is None


@pytest.mark.parametrize(("scale", "mm"), [("HO", 45.5), ("N", 24.8), ("O", 82.6)])
def test_13_ft_at_three_scales_C(scale: str, mm: float) -> None:
    """49 CFR 236.302: 13 ft; NMRA S-1.2 scales [M]."""
    assert float(scaled_feet(13, SCALES[scale]) * 1000) == pytest.approx(mm, abs=0.05)
