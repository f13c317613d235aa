"""Backward reachability by cubes against going through every state; what z3 must refuse."""

from dataclasses import replace
from functools import cache

import pytest

from tests.drafting.trying import draft_of, proof_of
from tests.engines.random_systems import Values, allowed, drawn_bads, drawn_system, next_of, truth
from verifier.engines.session import fresh_context
from verifier.engines.temporal import houdini
from verifier.engines.temporal.resets.backward import Cover, Step, accepted
from verifier.engines.temporal.sat import Limit
from verifier.logic.expr import TRUE, Expr, atom, holds
from verifier.logic.transition_system import System

# Longer than any path of the systems drawn.
LONGEST = 40


def leading_to(system: System, goal: Expr, reached: set[Values]) -> set[Values]:
    """The states from which the goal is reachable, state by state."""
    good = {s for s in reached if any(holds(goal, m) for m in allowed(system, s))}
    while True:
        more = {
            s for s in reached - good if any(next_of(system, m) in good for m in allowed(system, s))
        }
        if not more:
            return good
        good |= more


def covered(system: System, goal: Expr, invariant: list[Expr]) -> Cover | None:
    """A cover of all states of the invariant; None where the goal is reachable from one of them
    only in more steps than there can be."""
    limit = Limit()
    with limit.until(None):
        cover = Cover(system, goal, invariant, (), limit)
        while (state := cover.uncovered()) is not None:
            if not cover.reach(state, LONGEST):
                return None
    return cover


@cache
def covers() -> list[tuple[int, System, Expr, list[Expr], Cover | None]]:
    """Systems and goals drawn, with an invariant and what was found."""
    found = []
    for seed in range(40):
        system = drawn_system(seed)
        if truth(system).reached:
            invariant = list(houdini.inductive_clauses(system))
            for goal in drawn_bads(system, seed + 4000, 2):
                found.append((seed, system, goal, invariant, covered(system, goal, invariant)))
    return found


def test_covers_are_true_and_most_of_what_is_so_is_covered() -> None:
    fresh_context()
    found = so = 0
    for seed, system, goal, invariant, cover in covers():
        reached = set(truth(system).reached)
        if leading_to(system, goal, reached) == reached:
            so += 1
        if cover is not None:
            assert accepted(system, goal, invariant, (), cover.steps, None), seed
            assert leading_to(system, goal, reached) == reached, seed
            found += 1
    assert 12 < so // 2 < found


@pytest.mark.parametrize("change", ["left out", "wider", "other inputs", "in a circle"])
def test_what_is_no_cover_is_not_accepted(change: str) -> None:
    """Changed steps are accepted only where every state they speak of still leads on."""
    fresh_context()
    refused = 0
    for seed, system, goal, invariant, cover in covers():
        if cover is None or len(cover.steps) < 2:
            continue
        wrong = changed(system, cover.steps, change)
        if accepted(system, goal, invariant, (), wrong, None):
            reached = set(truth(system).reached)
            assert leading_to(system, goal, reached) == reached, seed
        else:
            refused += 1
    assert refused > 3


def changed(system: System, steps: list[Step], change: str) -> list[Step]:
    first, *others = steps
    match change:
        case "left out":
            return others
        case "wider":
            return [replace(first, cube=TRUE), *others]
        case "other inputs":
            turned = {w: next(v for v in w.values if v != first.inputs[w]) for w in system.inputs}
            return [replace(first, inputs=turned), *others]
        case _:
            # Every state leads on to some state, which by itself is no way to the goal.
            usual = {w: w.usual for w in system.inputs}
            state = system.states[0]
            return [Step(atom(state, value), usual) for value in state.values]


def test_a_state_without_a_way_is_not_covered() -> None:
    fresh_context()
    system = drawn_system(3)
    assert covered(system, atom(system.inputs[0]), []) is None


@pytest.mark.parametrize(("stock", "status"), [("Loop", "proved"), ("Loop, Single", "broken")])
def test_where_no_train_ever_leaves_trains_can_go_on_unless_all_is_full(
    stock: str, status: str
) -> None:
    """A balloon loop and a bumper: the layout is never empty."""
    text = draft_of(
        "bumper End\n"
        "block Single, Switch, Loop\n"
        "turnout T1 in Switch\n"
        "track End = Single | T1 normal | Loop | reverse T1\n"
        f"trains start on {stock}\n"
    )
    report = proof_of(text, only=["train-cannot-leave", "locked-for-good"])
    found = {v.obligation.key: v.status for v in report.verdicts}
    assert found["train-cannot-leave: Loop"] == status
    assert {v for key, v in found.items() if key.startswith("locked-for-good")} == {status}
