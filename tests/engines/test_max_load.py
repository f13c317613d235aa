"""The most that lamps draw together: the solver against every situation of small junctions."""

from fractions import Fraction
from random import Random

import pytest

import verifier
from tests.differential.junctions import built, write_junction
from verifier.engines.smt.max_load import most_together
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import holds
from verifier.plan.model import Plan
from verifier.properties.electrical import Load, all_lit, burning
from verifier.reference.evaluator import Evaluator
from verifier.reference.explicit_situations import allowed_situations
from verifier.world.world import World, check_circles

mA = Fraction(1, 1000)
IN_A_CIRCLE = 8


def by_enumeration(plan: Plan, loads: list[Load]) -> Fraction:
    evaluator = Evaluator(plan)
    most = Fraction(0)
    for situation in allowed_situations(plan):
        seen = evaluator.see(situation)
        lit = (lamp for burns, lamp in loads if holds(burns, seen.states))
        most = max(most, sum(lit, Fraction(0)))
    return most


def test_a_junction_whose_rules_go_in_a_circle_is_no_input() -> None:
    """The one of the seeds below that is left out."""
    with pytest.raises(InputError) as raised:
        check_circles(World(built(write_junction(Random(IN_A_CIRCLE), 3000))))
    assert [d.code for d in raised.value.diagnostics] == ["CP409"]


@pytest.mark.parametrize("seed", [seed for seed in range(40) if seed != IN_A_CIRCLE])
def test_the_most_is_what_every_situation_looked_at_by_itself_gives(seed: int) -> None:
    r = Random(seed)
    plan = built(write_junction(r, 3000))
    heads = [head for signal in plan.signals.values() for head in signal.heads]
    loads = [(burning(head), r.choice([5, 15, 15, 20, 37]) * mA) for head in heads]
    found = most_together(World(plan), loads)
    assert found.proved and not found.why
    assert found.amps == by_enumeration(plan, loads)


# Two heads of which one is dark whenever the other is lit: heads with lines of their own.
DARK = """
edge West, East
block Main, Single
track West = Main | Single = East
lever 4 positions left, normal, right
signal 4L at Single | Main
  heads upper, lower
head 4L.upper
  green when 4 left and Main clear
  dark  otherwise
head 4L.lower
  dark when 4 left and Main clear
  red  otherwise
"""


def test_heads_that_take_turns_are_not_added_up() -> None:
    plan = verifier.load_text(DARK)
    loads = [(burning(head), 20 * mA) for head in plan.signals["4L"].heads]
    found = most_together(World(plan), loads)
    assert all_lit(loads) == 40 * mA
    assert (found.amps, found.bound, found.proved) == (20 * mA, 20 * mA, True)
    assert found.situation is not None


def test_without_lamps_nothing_is_drawn() -> None:
    found = most_together(World(verifier.load_text(DARK)), [])
    assert (found.amps, found.bound, found.situation) == (Fraction(0), Fraction(0), None)


def test_currents_of_which_there_are_too_many_sums_are_bounded_by_all_lit() -> None:
    plan = verifier.load_text(DARK)
    upper, lower = plan.signals["4L"].heads
    loads = [
        (burning(upper if i % 2 else lower), Fraction(2**i, 1000)) for i in range(12)
    ]  # 4096 sums
    found = most_together(World(plan), loads)
    assert not found.proved and "too many" in found.why
    assert 0 < found.amps < found.bound == all_lit(loads)


def test_no_time_leaves_the_bound_where_it_was() -> None:
    plan = verifier.load_text(DARK)
    loads = [(burning(head), 20 * mA) for head in plan.signals["4L"].heads]
    found = most_together(World(plan), loads, timeout=1e-9)
    assert not found.proved and found.bound == 40 * mA and found.why
