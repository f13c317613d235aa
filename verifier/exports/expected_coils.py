"""What the coils of twin-coil machines should do, as claims about one call.

In: what the outputs and the structure of the coils held before the call, and hold after it, for
any numbers in them and any time passed. Out: claims, worked out from these sentences and not from
the C:

- A throw that is not that of the last pulse, and not HOLD, begins a pulse.
- A pulse goes on while less has been counted than it may last; then it is over.
- Where the structure holds what it never should, there is no current, and no pulse begins until
  the next throw.
- Only one coil of a machine has current at a time, that of the pulse.
"""

from collections.abc import Iterator
from typing import Any

from verifier.engines.smt.equivalence import Terms
from verifier.exports.c_semantics import Store
from verifier.exports.interface import Interface, PointsOutputs, Pulse

_HOLD, _NORMAL, _REVERSE = range(3)


def coil_claims(
    face: Interface, terms: Terms, before: Store, after: Store, passed: Any
) -> Iterator[tuple[str, Any]]:
    """Each claim in words and as a term. ``passed``: the time that counts, in 32 bits."""
    for out, pulse in face.pulses:
        for about, term in _claims(out, pulse, terms, before, after, passed):
            yield f"{about} of {out.device.name}", term


def _claims(
    out: PointsOutputs, pulse: Pulse, terms: Terms, before: Store, after: Store, passed: Any
) -> Iterator[tuple[str, Any]]:
    def number(value: int) -> Any:
        return terms.number(value, 32)

    def word(store: Store, name: str) -> Any:
        value = store[name]
        return terms.resize(value.word, value.type.bits, 32)

    def within(value: Any, most: int) -> Any:
        return terms.opposite(terms.less(number(most), value))

    throw = word(before, f"out->{out.throw}")
    told, clock = (word(before, f"coils->{name}") for name in (pulse.told, pulse.clock))
    coil, told_then, clock_then = (
        word(after, f"coils->{name}") for name in (pulse.coil, pulse.told, pulse.clock)
    )
    sound = terms.both(within(told, _REVERSE), within(clock, pulse.full))
    is_throw = terms.either(
        terms.equal(throw, number(_NORMAL)), terms.equal(throw, number(_REVERSE))
    )
    is_new = terms.all_of((sound, is_throw, terms.opposite(terms.equal(throw, told))))
    counted = terms.add(clock, passed, 32)
    lasts = terms.all_of(
        (
            sound,
            terms.opposite(is_new),
            terms.opposite(terms.equal(clock, number(0))),
            terms.less(counted, number(pulse.full)),
        )
    )
    wanted = terms.choose(is_new, number(1), terms.choose(lasts, counted, number(0)))
    yield "the clock of the coils", terms.equal(clock_then, wanted)
    kept = terms.choose(terms.both(sound, terms.opposite(is_new)), told, throw)
    yield "the last pulse", terms.equal(told_then, kept)
    pulsed = terms.choose(is_new, throw, terms.choose(lasts, told, number(_HOLD)))
    yield "the current in a coil", terms.equal(coil, pulsed)
