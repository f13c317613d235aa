"""The plausible range of each amount in a wiring statement.

The upper limits are generous (common practice, no source): beyond them a unit or a digit is
wrong. That of voltages is one of safety.
"""

from fractions import Fraction
from typing import cast

from verifier.language.syntax import tree
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
from verifier.plan.wiring.wiring_model import Fuse, FuseKind, Run


def _up_to(
    what: str, measure: Measure, most: int, example: str, *, zero: bool = False, whole: bool = False
) -> Bounds:
    return Bounds(what, measure, example, Fraction(most), zero, whole)


BLOCK = _up_to("the length of a block", LENGTH, 1000, "2400 mm")
TRAIN = _up_to("the length of a train", LENGTH, 100, "600 mm")
STOPPING = _up_to("the stopping distance", LENGTH, 1000, "3000 mm")
SPOT = _up_to("the place of a spot", LENGTH, 1000, "1200 mm", zero=True)
FOULING = _up_to("the distance to the fouling point", LENGTH, 20, "180 mm")
GAP = _up_to("the distance to a gap", LENGTH, 20, "200 mm")
STANDS = _up_to("the distance from a signal to its gap", LENGTH, 20, "50 mm", zero=True)
WIRE = _up_to("the length of a wire", LENGTH, 1000, "30 ft")
SIZE = _up_to("the size of a wire", GAUGE, 40, "16 AWG", zero=True, whole=True)
VOLTS = _up_to("the voltage of a supply", VOLTAGE, 30, "12 V")
NEEDS = _up_to("the voltage a driver needs", VOLTAGE, 30, "11 V")
AMPS = _up_to("the current of a supply", CURRENT, 50, "3 A")
FUSE = _up_to("the rating of a fuse", CURRENT, 50, "2 A")
TRIPS = _up_to("the current at which a fuse trips", CURRENT, 200, "4 A")
CARRIES = _up_to("the current a wire may carry", CURRENT, 200, "3 A")
DRAWS = _up_to("the current drawn", CURRENT, 50, "20 mA")
PULSE = _up_to("the pulse of a twin-coil machine", TIME, 1, "50 ms")
SENSITIVITY = _up_to("the sensitivity of a detector", CURRENT, 1, "2 mA")
LAMP = _up_to("the current of a lamp", CURRENT, 5, "15 mA")
WHEELSET = _up_to("the resistance of a wheelset", RESISTANCE, 10_000_000, "10 kohm")
LOAD = _up_to("the current that stock draws", CURRENT, 20, "10 mA")
RAIL_CODE = _up_to("the code of a rail", COUNT, 400, "83")
RAIL_OHMS = _up_to("the resistance of a rail", RESISTANCE, 10, "100 mohm")
POINTS_AT = _up_to("a distance along the rail", LENGTH, 1000, "400 mm", zero=True)
EACH = _up_to("what an output carries", CURRENT, 5, "20 mA")
FEEDER_AT = _up_to("the place of a feeder", LENGTH, 1000, "400 mm", zero=True)
HOLD = _up_to("the hold time", TIME, 600, "4 s", zero=True)
THROW = _up_to("the time a motor takes", TIME, 60, "3 s")
DELAY = _up_to("the time a slow relay takes", TIME, 600, "2 s")
TIMER = _up_to("the time of a timer", TIME, 3600, "30 s")
TO_STOP = _up_to("the time trains need to stop", TIME, 600, "20 s")
TURNS = _up_to("the number of turns", COUNT, 100, "2", whole=True)
INPUTS = _up_to("the number of inputs", COUNT, 1000, "8", whole=True)
SERIES = _up_to("the number of LEDs in series", COUNT, 20, "3", whole=True)
OUTPUTS = _up_to("the number of outputs", COUNT, 1000, "6", whole=True)
RATIO = _up_to("the ratio of a scale", COUNT, 1000, "87.1")


def read_run(run: tree.Run | None, names: Names) -> Run | None:
    """A run of wire; None where there is none, or it is wrong (noted)."""
    if run is None:
        return None
    length = read_amount(run.length, WIRE, names)
    gauge = read_amount(run.gauge, SIZE, names)
    return None if length is None or gauge is None else Run(length, int(gauge))


def read_fuse(clause: tree.Clause | None, names: Names) -> Fuse | None:
    """A fuse; None where there is none, or its rating is wrong (noted)."""
    if clause is None or not clause.lengths:
        return None
    rating = read_amount(clause.lengths[0], FUSE, names)
    kind = cast(FuseKind | None, clause.words[0].text if clause.words else None)
    if rating is None:
        return None
    if len(clause.lengths) < 2:
        if kind == "resettable":
            names.error("CP607", clause.span, "trips", said=clause.span.one_line)
        return Fuse(rating, kind, None)
    trips = read_amount(clause.lengths[1], TRIPS, names)
    if trips is not None and trips < rating:
        names.error("CP652", clause.span)
    return Fuse(rating, kind, trips)
