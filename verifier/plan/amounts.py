"""What each amount of the wiring statements is, and how large it can be on a layout.

The upper ends are generous (common practice, no source): beyond them a unit or a digit is
wrong. That of voltages is one of safety.
"""

from fractions import Fraction

from verifier.language import syntax
from verifier.plan.names import Names
from verifier.plan.quantities import (
    COUNT,
    CURRENT,
    GAUGE,
    LENGTH,
    RESISTANCE,
    TIME,
    VOLTAGE,
    Bounds,
    Measure,
    read_amount,
)
from verifier.plan.wiring import Run

LOW_VOLTAGE = (
    "The wiring of a layout stays at 30 V or less. What carries more can hurt people or start a "
    "fire, and belongs to the maker's instructions, the local code and licensed practice."
)


def _up_to(
    what: str, measure: Measure, most: int, *, zero: bool = False, whole: bool = False
) -> Bounds:
    unit = next((f" {unit}" for unit, worth in measure.units.items() if worth == 1), "")
    why = f"More than {most:,}{unit} is not to be expected: look at the number and its unit."
    if measure is VOLTAGE:
        why = LOW_VOLTAGE
    return Bounds(what, measure, Fraction(most), why, zero, whole)


BLOCK = _up_to("the length of a block", LENGTH, 1000)
TRAIN = _up_to("the length of a train", LENGTH, 100)
STOPPING = _up_to("the stopping distance", LENGTH, 1000)
SPOT = _up_to("the place of a spot", LENGTH, 1000, zero=True)
FOULING = _up_to("the distance to the fouling point", LENGTH, 20)
GAP = _up_to("the distance to a gap", LENGTH, 20)
STANDS = _up_to("the distance from a signal to its gap", LENGTH, 20, zero=True)
WIRE = _up_to("the length of a wire", LENGTH, 1000)
SIZE = _up_to("the size of a wire", GAUGE, 40, zero=True, whole=True)
VOLTS = _up_to("the voltage of a supply", VOLTAGE, 30)
NEEDS = _up_to("the voltage a driver needs", VOLTAGE, 30)
AMPS = _up_to("the current of a supply", CURRENT, 50)
FUSE = _up_to("the rating of a fuse", CURRENT, 50)
SENSITIVITY = _up_to("the sensitivity of a detector", CURRENT, 10)
LAMP = _up_to("the current of a lamp", CURRENT, 5)
WHEELSET = _up_to("the resistance of a wheelset", RESISTANCE, 10_000_000)
HOLD = _up_to("the hold time", TIME, 600, zero=True)
THROW = _up_to("the time a motor takes", TIME, 60)
TURNS = _up_to("the number of turns", COUNT, 100, whole=True)
OUTPUTS = _up_to("the number of outputs", COUNT, 1000, whole=True)
RATIO = _up_to("the ratio of a scale", COUNT, 1000)


def read_run(run: syntax.Run | None, names: Names) -> Run | None:
    """A run of wire; None where there is none, or it is wrong (noted)."""
    if run is None:
        return None
    length = read_amount(run.length, WIRE, names)
    gauge = read_amount(run.gauge, SIZE, names)
    return None if length is None or gauge is None else Run(length, int(gauge))
