"""Numbers of the handbook: copper wire, voltage lost, resistors for LEDs, short circuits,
scales.

In: lengths in meters, volts, amperes, ohms. Out: the same; exact fractions where the law is
exact, floats where the size of a wire comes in. Each docstring says where its numbers come
from and how certain they are, with the marks of the project's notes on sources: [V] read in
the source, [M] from memory, [C] computed here.
"""

from dataclasses import dataclass
from fractions import Fraction
from math import pi, pow
from types import MappingProxyType
from typing import Literal

from verifier.plan.wiring.wiring_model import Fuse, Number, Run, Supply

# Ohm square millimeters per meter, annealed copper at 20 °C [M]; with the diameters below it
# gives every row of the published table to 1 %.
COPPER = 0.017241
FOOT = Fraction("0.3048")

Series = Literal["E12", "E24"]
# IEC 60063 [M]; the values are confirmed by the `eseries` package, which the tests ask.
PREFERRED = MappingProxyType(
    {
        "E12": (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82),
        "E24": (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62,
                68, 75, 82, 91),
    }
)  # fmt: skip
# Ratings in which resistors are sold, in watts (common practice, no source).
RATINGS = tuple(Fraction(w) for w in ("1/8", "1/4", "1/2", "1", "2", "3", "5", "10"))

# Values in which fuses are sold, in amperes: every tenth of a decade as in IEC 60127 and ISO 3
# [M], and what else is common (common practice, no source).
FUSES = tuple(
    Fraction(a)
    for a in ("0.1", "0.125", "0.16", "0.2", "0.25", "0.315", "0.4", "0.5", "0.63", "0.75", "0.8",
              "1", "1.25", "1.5", "1.6", "2", "2.5", "3", "3.15", "4", "5", "6.3", "7.5", "8", "10",
              "12.5", "15", "16", "20", "25", "30")
)  # fmt: skip
# A fuse opens for sure at so many times its rating, by its kind: UL/CSA 248-14 at twice, within
# two minutes (a maker's guide, "Fuseology", page 12) [V, secondary]; IEC 60127 at 2.1 times, within
# half an hour ([S]; the time [M]). Of a kind that is not known, the larger. Electronic limits open
# at what they are set to; resettable ones where their sheet says.
MUST_OPEN = MappingProxyType(
    {"UL": Fraction(2), "IEC": Fraction("2.1"), None: Fraction("2.1"), "electronic": Fraction(1)}
)
# What copper wire may carry by its size: the smaller figure of NEC 402.5 and 240.4(D) [M]. It may
# show a wire to be too thin, never that one is thick enough: that is for its maker to say.
AMPACITY = MappingProxyType({18: Fraction(6), 16: Fraction(8), 14: Fraction(15)})
# A fuse is loaded to at most so much of its rating all the time: "at most 75-80 %" [M].
FUSE_LOADED = Fraction(3, 4)
# Volts across a lit LED, by color: red and white "typical" of one page (meta-matic.com) [S],
# green of the same page; yellow common practice, no source. What the maker says comes first.
FORWARD = MappingProxyType(
    {
        "red": Fraction("2.0"),
        "yellow": Fraction("2.1"),
        "green": Fraction("2.2"),
        "blue": Fraction("3.3"),
        "lunar": Fraction("3.3"),
        "white": Fraction("3.3"),
    }
)
# A cold filament has about a tenth of the resistance that it has when it is lit (from memory).
COLD_BULB = 10
# Between these lie the volts across any one lit LED (common practice, no source).
LED_VOLTS = (Fraction(1), Fraction(5))

# 100 VA for a supply of 30 V or less: NEC Article 725, as summarized on public pages [V].
# A remark beside a supply, not a limit that anything here is held to.
CLASS_2 = 100
CLASS_2_VOLTS = 30

# Ohms per meter of one rail of nickel silver, from and to, by rail code. Code 100: 1.45 mohm per
# inch (w8ji.com, "Track Resistance") and 76 mohm per meter (dccwiki.com, "Rail Size"), both
# measured [S]. Codes 83 and 70: 108 and 206 mohm per meter (the same page of dccwiki.com) [S], and,
# as two measurements of one rail differ by a third, a third up and as much down [C].
RAILS = MappingProxyType(
    {
        Fraction(code): (Fraction(least) / 1000, Fraction(most) / 1000)
        for code, least, most in ((100, 57, 76), (83, 81, 144), (70, 154, 275))
    }
)

# NMRA S-1.2 [M]: one to so many.
SCALES = MappingProxyType(
    {
        "O": Fraction(48),
        "S": Fraction(64),
        "HO": Fraction("87.1"),
        "TT": Fraction(120),
        "N": Fraction(160),
        "Z": Fraction(220),
    }
)


# ------------------------------------------------------------------ wire


def diameter(gauge: int) -> float:
    """The diameter of a bare solid wire of this AWG size, in millimeters.

    0.127 mm x 92^((36-n)/39): ASTM B258 [M]."""
    return 0.127 * pow(92, (36 - gauge) / 39)


def ohms_per_meter(gauge: int) -> float:
    """The resistance of one meter of one solid copper wire at 20 °C.

    Within 1 % of hyperphysics.phy-astr.gsu.edu/hbase/tables/wirega.html [V]. Copper at 75 °C
    has about a fifth more."""
    return COPPER / (pi / 4 * diameter(gauge) ** 2)


def loop_ohms(run: Run) -> float:
    """The resistance of both wires of a run, there and back: 2 L r ([M] as a formula)."""
    return 2 * float(run.length) * ohms_per_meter(run.gauge)


def volts_lost(run: Run, amps: Number) -> float:
    """What a current loses on both wires of a run: 2 L r I ([M] as a formula)."""
    return loop_ohms(run) * float(amps)


def short_circuit(volts: Number, *runs: Run) -> float:
    """The largest current that can flow when the far end of these runs, one after the other,
    is shorted; without limit when they have no length. The wires alone are counted: a supply
    may give less."""
    ohms = sum(loop_ohms(run) for run in runs)
    return float(volts) / ohms if ohms else float("inf")


# ------------------------------------------------------------------ resistors for LEDs


@dataclass(frozen=True, slots=True)
class Resistor:
    """``exact`` ohms as computed, the ``preferred`` value to buy, the ``watts`` it turns to
    heat, and the ``rating`` to buy it in."""

    exact: Fraction
    preferred: Fraction
    watts: Fraction
    rating: Fraction


def next_preferred(ohms: Number, series: Series = "E12") -> Fraction:
    """The smallest preferred value that is not below ``ohms``."""
    if ohms <= 0:
        raise ValueError("a resistance is above zero")
    decade = Fraction(1, 10)
    while decade * 10 > ohms:
        decade /= 10
    while decade * 100 <= ohms:
        decade *= 10
    # Now 10 decades <= ohms < 100 decades.
    values = (decade * value for value in (*PREFERRED[series], 100))
    return next(value for value in values if value >= ohms)


def series_resistor(
    volts: Number, forward: Number, amps: Number, leds: int = 1, series: Series = "E12"
) -> Resistor | None:
    """The resistor in series with ``leds`` LEDs of ``forward`` volts each at this current:
    (V - n Vf) / I, the next higher preferred value, rated at least twice the power
    (V - n Vf) I. None where the supply is too low for them to light.

    Formulas and the rule of twice the power [V] on public calculator pages; preferred values
    as for :data:`PREFERRED`; ratings as for :data:`RATINGS`."""
    left = Fraction(volts) - leds * forward
    if left <= 0:
        return None
    exact, watts = left / amps, left * amps
    rating = next((r for r in RATINGS if r >= 2 * watts), 2 * watts)
    return Resistor(exact, next_preferred(exact, series), watts, rating)


# ------------------------------------------------------------------ fuses, supplies and scales


def must_open(supply: Supply) -> Fraction | None:
    """The current at which the fuse of a supply opens for sure, in amperes: what the file says of
    it, else as for :data:`MUST_OPEN`. None where it has no fuse."""
    if supply.fuse is None:
        return supply.trips
    return opens_at(Fuse(supply.fuse, supply.fuse_kind, supply.trips))


def opens_at(fuse: Fuse) -> Fraction:
    """The current at which a fuse opens for sure, in amperes."""
    if fuse.trips is not None:
        return fuse.trips
    return fuse.rating * MUST_OPEN[None if fuse.kind == "resettable" else fuse.kind]


def carries_for_long(fuse: Fuse) -> Fraction:
    """The largest current that a fuse may carry all the time, in amperes."""
    limit = fuse.trips if fuse.kind in ("resettable", "electronic") else None
    return limit or fuse.rating


def fuse_for(load: Number, most: Number) -> Fraction | None:
    """The smallest fuse on sale that carries ``load`` all the time at :data:`FUSE_LOADED` of
    its rating, and is no larger than ``most``; None where there is none.

    Common practice, no source; the figures as for :data:`FUSES`."""
    return next((fuse for fuse in FUSES if load / FUSE_LOADED <= fuse <= most), None)


def class_2_amps(volts: Number) -> Fraction | None:
    """The most a Class 2 supply of this voltage gives: 100 VA (see :data:`CLASS_2`). None
    above 30 V, where other limits apply."""
    return Fraction(CLASS_2) / volts if 0 < volts <= CLASS_2_VOLTS else None


def scaled_feet(feet: Number | int, scale: Number) -> Fraction:
    """So many feet of the prototype on a layout of 1 to ``scale``, in meters."""
    return feet * FOOT / scale
