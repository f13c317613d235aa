"""Which amount stands at a place: lengths, currents, sizes of wire, with the units of each.

In: the words of a statement up to the place. Out: what is measured there, which the word before it
tells, and after `of`, `to` and `at` the one before that.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from lark import Token

from verifier.plan.quantities import GAUGE, Bounds
from verifier.plan.wiring import plausible_ranges as r

_AMOUNT = ("NUMBER", "UNIT")
# By the last of these words before an amount.
_AFTER: Mapping[str, tuple[Bounds, ...]] = {
    "BLOCK": (r.BLOCK,),
    "BOOSTER": (r.VOLTS, r.AMPS),
    "CARRIES": (r.CARRIES,),
    "DETECTOR": (r.SPOT,),
    "DISTANCE": (r.STOPPING,),
    "DRAWS": (r.DRAWS,),
    "FUSE": (r.FUSE,),
    "GAPS": (r.GAP,),
    "HOLD": (r.HOLD,),
    "LAMPS": (r.LAMP,),
    "LOAD": (r.LOAD,),
    "NEED": (r.TO_STOP,),
    "NEEDS": (r.NEEDS,),
    "OVER": (r.WIRE,),
    "PICK": (r.DELAY,),
    "POINT": (r.FOULING,),
    "PULSE": (r.PULSE,),
    "RELEASE": (r.DELAY,),
    "REVERSER": (r.VOLTS, r.AMPS),
    "SENSITIVITY": (r.SENSITIVITY,),
    "SLOW": (r.THROW,),
    "SNAP": (r.THROW,),
    "STANDS": (r.STANDS,),
    "SUPPLY": (r.VOLTS, r.AMPS),
    "TIMER": (r.TIMER,),
    "TRAINS": (r.TRAIN,),
    "WHEELSETS": (r.WHEELSET,),
    "WIRE": (r.SIZE,),
    # These have none.
    "INPUTS": (),
    "OUTPUTS": (),
    "CODE": (),
    "TURNS": (),
}
# After these, by the last of other words.
_AFTER_TWO: Mapping[str, Mapping[str, tuple[Bounds, ...]]] = {
    "OF": {"OVER": (r.SIZE,), "OUTPUTS": (r.LAMP,), "CODE": (r.RAIL_OHMS,), "SERIES": ()},
    "TO": {"LOAD": (r.LOAD,), "TRAINS": (r.TRAIN,), "CODE": (r.RAIL_OHMS,)},
    "AT": {"TRIPS": (r.TRIPS,), "DETECTOR": (r.SPOT,), "FEEDERS": (r.FEEDER_AT,),
           "TURNOUT": (r.FEEDER_AT,)},
    "PER": {"CODE": (r.BLOCK,)},
}  # fmt: skip
# These have a voltage and a current.
_RATED = ("SUPPLY", "BOOSTER", "REVERSER")
# Sizes of wire that are sold for feeders and buses (common practice, no source).
_SIZES = ("12", "14", "16", "18", "20", "22", "24")


class Written(NamedTuple):
    """A way to write an amount, or the rest of it, and what it measures."""

    text: str
    about: str


def units(before: Sequence[Token]) -> Iterator[Written]:
    """The units of the amount whose number stands last, the usual one first; or of `per m`."""
    for bounds in _measured(before):
        usual = bounds.example.rpartition(" ")[2]
        for unit in sorted(bounds.measure.units, key=lambda unit: unit != usual):
            yield Written(unit, bounds.what)


def amounts(before: Sequence[Token]) -> Iterator[Written]:
    """Amounts for a place where none has begun: an example, or the sizes of wire."""
    written = {str(token) for token in before if token.type == "UNIT"}
    more = before[-1].type == "UNIT" and before[0].type in _RATED
    if before[-1].type in _AMOUNT and not more:
        return
    for bounds in _measured(before):
        if more and not written.isdisjoint(bounds.measure.units):
            continue
        if bounds.measure is GAUGE:
            yield from (Written(f"{size} AWG", bounds.what) for size in _SIZES)
        else:
            yield Written(bounds.example, f"{bounds.what}, for example")


def _measured(before: Sequence[Token]) -> tuple[Bounds, ...]:
    table = _AFTER
    words = [token.type for token in before]
    while words and words[-1] in _AMOUNT:
        words.pop()
    for word in reversed(words):
        if word in table:
            return table[word]
        if table is _AFTER and word in _AFTER_TWO:
            table = _AFTER_TWO[word]
    return ()
