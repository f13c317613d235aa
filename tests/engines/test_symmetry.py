"""Shapes of systems: the same whatever the names, and never the same where more differs."""

from dataclasses import replace
from random import Random

import pytest

from tests.engines.random_systems import drawn_bads, drawn_expr, drawn_system
from tests.engines.small_systems import MEET, single_track
from verifier.engines.temporal.localization import Windows
from verifier.engines.temporal.symmetry import Shapes
from verifier.logic.expr import Expr, atom, negation, substitute
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

SEEDS = range(60)


def named(what: Observable) -> Observable:
    return replace(what, name=f"Fernhook {what.name}")


def elsewhere(expr: Expr) -> Expr:
    return substitute(expr, lambda part: atom(named(part.what), *part.values))


def moved(system: System) -> System:
    """The same system with other names."""
    return System(
        tuple(map(named, system.states)),
        tuple(map(named, system.inputs)),
        {named(w): values for w, values in system.initial.items()},
        {
            named(w): {value: elsewhere(expr) for value, expr in following.items()}
            for w, following in system.following.items()
        },
        tuple(map(elsewhere, system.always)),
    )


@pytest.mark.parametrize("seed", SEEDS)
def test_other_names_are_the_same_shape_and_lead_back(seed: int) -> None:
    shapes, here = Shapes(), drawn_system(seed)
    there = moved(here)
    one, other = shapes.of(here), shapes.of(there)
    assert one.key == other.key
    for bad in drawn_bads(here, seed):
        assert one.question(shapes.form(bad)) == other.question(shapes.form(elsewhere(bad)))
        assert other.concrete(one.abstract(bad)) is elsewhere(bad)
        assert one.question(shapes.form(bad)) != one.question(shapes.form(negation(bad)))


@pytest.mark.parametrize("seed", SEEDS)
def test_whatever_else_differs_is_another_shape(seed: int) -> None:
    shapes, here = Shapes(), drawn_system(seed)
    key, state = shapes.of(here).key, here.states[-1]
    others = [
        replace(here, initial={**here.initial, state: other})
        if (other := tuple(v for v in state.values if v not in here.initial[state]))
        else None,
        replace(here, always=(*here.always, atom(state, state.values[0]))),
        *(
            replace(here, following={**here.following, state: {**following, value: expr}})
            for following in [here.following[state]]
            for value in state.values
            for expr in [negation(following[value])]
        ),
    ]
    for other_system in others:
        assert other_system is None or shapes.of(other_system).key != key


def test_which_of_two_things_a_rule_speaks_of_is_part_of_the_shape() -> None:
    shapes, different = Shapes(), 0
    for seed in SEEDS:
        here = drawn_system(seed)
        state = here.states[0]
        chance = Random(seed)
        swapped = replace(
            here,
            following={
                **here.following,
                state: {v: drawn_expr(chance, [*here.states, *here.inputs], 3)
                        for v in state.values},
            },
        )  # fmt: skip
        same = all(swapped.following[state][v] is here.following[state][v] for v in state.values)
        different += not same
        assert (
            same
            or shapes.of(swapped).key != shapes.of(here).key
            or same_but_names(swapped, here, shapes)
        )
    assert different > len(SEEDS) // 2


def same_but_names(one: System, other: System, shapes: Shapes) -> bool:
    """Whether the names of one shape make one system the other, rule by rule."""
    there, back = shapes.of(one), shapes.of(other)
    return all(
        back.concrete(there.abstract(one.following[w][v])) is other.following[o][v]
        for w, o in zip(one.states, other.states, strict=True)
        for v in w.values
    )


def test_a_place_like_a_proved_one_is_proved_from_it_and_a_broken_one_is_not() -> None:
    # Two lines in one system: the same but for names, then one of them without its lock.
    for locked in (True, False):
        first, second = single_track(), moved(single_track(locked=locked))
        both_lines = System(
            first.states + second.states,
            first.inputs + second.inputs,
            {**first.initial, **second.initial},
            {**first.following, **second.following},
        )
        windows = Windows(both_lines, timeout=20)
        [here], [there] = windows.decide([MEET]), windows.decide([elsewhere(MEET)])
        assert type(here.outcome).__name__ == "Unreachable"
        assert type(there.outcome).__name__ == ("Unreachable" if locked else "Reachable")
