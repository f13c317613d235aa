"""The order of situations from simple to complex.

Fewest stretches with stock, then fewest points, derails and gates off their usual
position, then fewest faults, then fewest levers and buttons; among equals, the earliest
things of the file stay as usual the longest. The order is total, so "the smallest" does not
depend on the engine that finds it.
"""

from collections.abc import Iterable, Sequence
from math import prod

from verifier.plan.observables import Observable
from verifier.plan.situation import Situation

TIERS: tuple[tuple[str, ...], ...] = (
    ("stock", "standing"),
    ("points", "thrown", "motion", "derail", "gate"),
    ("fault",),
    ("lever", "button", "current", "share"),
    ("relay", "timer", "traffic"),
)

Cost = tuple[tuple[int, ...], tuple[int, ...]]


def values_in_order(what: Observable) -> tuple[str, ...]:
    """The states of an input, the usual one first."""
    return (what.usual, *(value for value in what.values if value != what.usual))


def cost(situation: Situation, inputs: Sequence[Observable]) -> Cost:
    """The place of a situation in the order: smaller is simpler."""
    counts = tuple(sum(1 for what, _ in situation if what.kind in tier) for tier in TIERS)
    places = tuple(values_in_order(what).index(situation.state(what)) for what in inputs)
    return counts, places


def tier_of(what: Observable) -> int:
    return next(i for i, tier in enumerate(TIERS) if what.kind in tier)


def count_situations(inputs: Iterable[Observable]) -> int:
    """How many situations these inputs have."""
    return prod(len(what.values) for what in inputs)
