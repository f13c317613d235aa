"""Whether goals stay reachable: the engine against going through every state."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from random import Random

import pytest

import verifier
from tests.engines.random_systems import (
    allowed,
    drawn_bads,
    drawn_expr,
    drawn_system,
    next_of,
    truth,
)
from tests.engines.rows import side_by_side
from verifier.engines.session import fresh_context
from verifier.engines.temporal import houdini
from verifier.engines.temporal.resets.composition import Composition
from verifier.engines.temporal.resets.resettability import Returns, Trapped, _Whole, always_again
from verifier.engines.temporal.resets.rest import parts_at_rest
from verifier.engines.temporal.strengthening import strengthened
from verifier.engines.temporal.symmetry import Shapes
from verifier.logic.expr import (
    FALSE,
    Atom,
    Expr,
    atom,
    conjunction,
    disjunction,
    holds,
    negation,
    substitute,
    support,
)
from verifier.logic.time_order import patient
from verifier.logic.transition_system import Delay, System, Timing, Window
from verifier.plan import observables
from verifier.plan.observables import Observable

# Systems in a row that are gone through.
ROWS = 12
# Timed systems in a row that are soon gone through.
SMALL = (0, 6, 7, 8, 10, 11, 15, 21, 24, 31, 36, 37, 38, 39)
# What a relay that was drawn says of a window of time.
WINDOW = {"down": "no", "up": "yes"}


def returns(system: System, goal: Expr) -> bool:
    """Whether the goal is reachable from every reachable state, state by state."""
    reached = truth(system).reached
    good = {s for s in reached if any(holds(goal, m) for m in allowed(system, s))}
    while True:
        more = {
            s for s in reached - good if any(next_of(system, m) in good for m in allowed(system, s))
        }
        if not more:
            return good == reached
        good |= more


def invariant_of(system: System) -> Iterable[Expr]:
    return houdini.inductive_clauses(system)


@pytest.mark.parametrize("seed", range(80))
def test_the_engine_agrees_with_going_through_every_state(seed: int) -> None:
    fresh_context()
    system = drawn_system(seed)
    goals = drawn_bads(system, seed + 1000)
    answers = always_again(system, goals, invariant_of(system))
    for goal, answer in zip(goals, answers, strict=True):
        if not truth(system).reached:
            continue
        assert isinstance(answer, Returns if returns(system, goal) else Trapped), (goal, answer)


@pytest.mark.parametrize("seed", range(20))
def test_what_is_only_composed_is_proved_or_all_left_open(seed: int) -> None:
    fresh_context()
    system, goals = drawn_system(seed), drawn_bads(drawn_system(seed), seed)
    found = always_again(system, goals, invariant_of(system), composed=True)
    if any(isinstance(answer, Returns) for answer in found):
        assert all(isinstance(answer, Returns) for answer in found)
        assert all(returns(system, goal) for goal in goals)


# Of systems in which assumptions leave some states no moment, those in which one is asked about.
DEAD_ENDS = (0, 6, 15, 50)


@pytest.mark.parametrize("seed", DEAD_ENDS)
def test_states_without_a_moment_are_passed_over(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    fresh_context()
    met: list[bool] = []
    ends = _Whole._ends

    def noted(self: _Whole, start: Mapping[Observable, tuple[str, ...]]) -> bool:
        met.append(ends(self, start))
        return met[-1]

    monkeypatch.setattr(_Whole, "_ends", noted)
    drawn = drawn_system(seed)
    dead = drawn_expr(Random(seed), drawn.states, 2)
    system = replace(drawn, always=(*drawn.always, dead))
    goals = drawn_bads(system, seed + 1000, 2)
    for goal, answer in zip(goals, always_again(system, goals, ()), strict=True):
        assert isinstance(answer, Returns if returns(system, goal) else Trapped), (goal, answer)
    assert True in met


def test_both_verdicts_occur_among_the_systems_drawn() -> None:
    found = [
        returns(system, goal)
        for seed in range(80)
        for system in [drawn_system(seed)]
        if truth(system).reached
        for goal in drawn_bads(system, seed + 1000)
    ]
    assert min(found.count(True), found.count(False)) > 40


def test_what_composition_proves_is_so_and_it_proves_most() -> None:
    fresh_context()
    proved = possible = 0
    for seed in range(120):
        system = drawn_system(seed)
        if not truth(system).reached:
            continue
        shapes = Shapes()
        clauses = strengthened(system, invariant_of(system), (), shapes, None)
        composition = Composition(system, system, parts_at_rest(system, shapes), clauses, shapes)
        composition.compose()
        for goal in drawn_bads(system, seed + 2000, 2):
            so = returns(system, goal)
            possible += so
            if composition.reaches(goal):
                assert so, (seed, goal)
                proved += 1
    assert proved > possible // 2 > 20


def test_all_parts_that_can_be_brought_to_rest_can_be_so_together() -> None:
    """Whatever the stages, the ranks and the groups that were found."""
    fresh_context()
    at_rest = disturbed = 0
    for seed in range(80):
        system = drawn_system(seed)
        if not truth(system).reached:
            continue
        shapes = Shapes()
        drawn = [negation(bad) for bad in drawn_bads(system, seed + 3000, 6)]
        states = [expr for expr in drawn if set(support(expr)) <= set(system.states)]
        clauses = strengthened(system, invariant_of(system), (), shapes, None)
        parts = parts_at_rest(system, shapes, first=(states[::2], states[1::2]))
        composition = Composition(system, system, parts, clauses, shapes)
        left = composition.compose()
        together = conjunction(*(parts[i].rest for i in composition.done))
        assert returns(system, together), seed
        at_rest += len(composition.done)
        disturbed += len(left)
    assert at_rest > 60
    assert disturbed > 10


def test_stages_hold_across_windows() -> None:
    """Places side by side, so that no window of the first efforts has all of them: what an
    earlier stage brought to rest, later ones leave so."""
    fresh_context()
    stages: Counter[int] = Counter()
    for seed in range(ROWS):
        system, bads = side_by_side(seed, 2)
        shapes = Shapes()
        drawn = [negation(bad) for bad in (*bads, *drawn_bads(system, seed, 8))]
        states = [expr for expr in drawn if set(support(expr)) <= set(system.states)]
        clauses = strengthened(system, invariant_of(system), (), shapes, None)
        parts = parts_at_rest(system, shapes, first=(states[::3], states[1::3], states[2::3]))
        composition = Composition(system, system, parts, clauses, shapes)
        composition.compose()
        together = conjunction(*(parts[i].rest for i in composition.done))
        assert returns(system, together), seed
        stages.update(parts[i].stage for i in composition.done)
    assert min(stages[stage] for stage in range(3)) > ROWS // 6


@pytest.mark.parametrize("steps", [0, 1, 2, 3])
@pytest.mark.parametrize("near", [True, False])
def test_no_stage_is_brought_to_rest_at_the_cost_of_an_earlier_one(steps: int, near: bool) -> None:
    """Putting the first relay at rest moves the second one, and the other way round, at once or
    after so many steps; so each can be at rest, and never both again. ``near``: the window of one
    has the other."""
    fresh_context()
    system, first, second = _one_or_the_other(steps, near)
    both = conjunction(*(atom(what, "down") for what in system.states))
    assert not returns(system, both)
    for stages in ((first,), (second,)), ((second,), (first,)), ((first, second),):
        shapes = Shapes()
        clauses = strengthened(system, (), (), shapes, None)
        parts = parts_at_rest(system, shapes, first=stages)
        composition = Composition(system, system, parts, clauses, shapes)
        composition.compose()
        assert composition.done or len(stages) == 1
        together = conjunction(*(parts[i].rest for i in composition.done))
        assert returns(system, together), (stages, together)
        assert not composition.reaches(both)
        (answer,) = always_again(system, [both], (), first=stages)
        assert isinstance(answer, Trapped)


def _one_or_the_other(steps: int, near: bool) -> tuple[System, Expr, Expr]:
    one, other = observables.relay("One"), observables.relay("Other")
    way = [observables.relay(f"Way {k}") for k in range(steps)]
    drops, lifts = observables.choice("entry", "One"), observables.choice("entry", "Other")
    pressed = {w: atom(w, "yes") for w in (drops, lifts)}
    moved = atom(way[-1], "up") if way else pressed[lifts]
    dropped = conjunction(pressed[lifts], atom(one, "down")) if near else pressed[lifts]
    up = {
        one: disjunction(moved, conjunction(atom(one, "up"), negation(pressed[drops]))),
        other: disjunction(pressed[drops], conjunction(atom(other, "up"), negation(dropped))),
    }
    for k, relay in enumerate(way):
        up[relay] = atom(way[k - 1], "up") if k else pressed[lifts]
    return (
        System(
            tuple(up),
            (drops, lifts),
            dict.fromkeys(up, ("down",)),
            {relay: {"down": negation(expr), "up": expr} for relay, expr in up.items()},
        ),
        atom(one, "down"),
        atom(other, "down"),
    )


def test_conditions_that_do_not_last_are_not_taken_for_invariants() -> None:
    for seed in range(40):
        system = drawn_system(seed)
        hints = [negation(bad) for bad in drawn_bads(system, seed)]
        hints = [hint for hint in hints if set(support(hint)) <= set(system.states)]
        found = strengthened(system, (), hints, Shapes(), None)
        for expr in found.within(system.states):
            assert truth(system).depth(negation(expr)) is None


def test_states_in_which_assumptions_allow_no_moment_are_no_traps() -> None:
    """A gate that opens by itself: to go on asking about such a state had no end."""
    text = """
edge West, East
bumper End
block Main, Spur, Switch, Single
track West = Main | normal  T1 | Single = East
track End  = Spur | reverse T1
turnout T1 in Switch
signal 2 at Single | T1
  Stop otherwise
gate G1 on Main
  thrown open when Single clear
"""
    report = verifier.prove(
        verifier.load_text(text), only=["train-cannot-leave", "locked-for-good"]
    )
    found = {v.obligation.key: v.status for v in report.verdicts}
    assert found == {
        "locked-for-good: 2 to West": "broken",  # its signal never clears
        "locked-for-good: 2 to End": "broken",
        **{
            f"train-cannot-leave: {block}": "proved"
            for block in ("Main", "Spur", "Switch", "Single")
        },
    }


def timed(seed: int) -> System:
    """Two systems in a row with windows of time, and a delay that ends only while none is on. The
    next values of the windows are drawn too, so they end as well where time has them go on."""
    system, _ = side_by_side(seed, 2)
    clock, *relays = (w for w in system.states if w.kind == "relay")
    windows = {w: observables.window("late", w.name) for w in relays}
    swapped = Random(seed).choice(system.inputs)
    ends = observables.choice("expiry", clock.name)

    def meaning(part: Atom) -> Expr:
        if part.what in windows:
            return atom(windows[part.what], *(WINDOW[value] for value in part.values))
        if part.what == swapped:
            return atom(ends, "no" if swapped.usual in part.values else "yes")
        return part

    def named(expr: Expr) -> Expr:
        return substitute(expr, meaning)

    following = {
        windows.get(what, what): {
            WINDOW[value] if what in windows else value: named(expr)
            for value, expr in values.items()
        }
        for what, values in system.following.items()
    }
    on = [
        Window(w, "yes", FALSE, conjunction(atom(w, "yes"), named(expr)), Fraction(20))
        for w, expr in zip(windows.values(), drawn_bads(system, seed, 9), strict=False)
    ]
    return System(
        tuple(following),
        (*(w for w in system.inputs if w != swapped), ends),
        {windows.get(w, w): tuple(following[windows.get(w, w)])[:1] for w in system.states},
        following,
        timing=Timing((Delay(clock, ((atom(ends, "yes"), Fraction(30)),)),), tuple(on)),
    )


def test_ways_back_hold_whatever_windows_of_time_are_on_beyond() -> None:
    """A window that is over is left out of what is far from it, and of nothing that disturbs it."""
    fresh_context()
    proved = possible = calmed = 0
    for seed in SMALL:
        system = timed(seed)
        leads, shapes = patient(system), Shapes()
        over = [negation(window.is_on) for window in system.timing.windows] if system.timing else []
        clauses = strengthened(system, (), (), shapes, None)
        parts = parts_at_rest(leads, shapes, first=(over, ()))
        composition = Composition(leads, system, parts, clauses, shapes)
        composition.compose()
        calmed += any(parts[i].stage == 0 for i in composition.done)
        together = conjunction(*(parts[i].rest for i in composition.done))
        assert returns(leads, together), seed
        for goal in drawn_bads(leads, seed + 2000, 3):
            so = returns(leads, goal)
            possible += so
            if composition.reaches(goal):
                assert so, (seed, goal)
                proved += 1
    assert calmed > 10
    assert proved > possible // 2 > 8
