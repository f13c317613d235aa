"""Explicit-state search over the stepper, on plans small enough to check by hand."""

from random import Random

import pytest

import verifier
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.reference.explicit_states import Never, Reached, TooLarge, every_step, search
from verifier.reference.step import Stepper, replay
from verifier.reference.transition import Valuation

LINE = "edge West, East\nblock A, B\ntrack West = A | B = East\ntrains never reverse\n"
MEET, DERAIL = observables.event("trains meet", "A"), observables.event("train derails", "A")
RELAY = "button Go, Lock\nrelay R picks when Go pressed and not Lock pressed slow to pick 5 s\n"


def line(more: str = "") -> Plan:
    return verifier.load_text(LINE + more)


def meets(states: Valuation) -> bool:
    return states[MEET] == "yes"


def derails(states: Valuation) -> bool:
    return states[DERAIL] == "yes"


def both_occupied(states: Valuation) -> bool:
    return all(states[observables.stock(block)] == "occupied" for block in "AB")


def test_the_shortest_history_is_found() -> None:
    plan = line()
    two, meeting, never = search(plan, [both_occupied, meets, derails], most_steps=10_000)
    # One train comes in from each side in the first step: both are there in the second.
    assert isinstance(two, Reached) and len(two.history) == 2
    # One is on A in the second step, another on B goes on to A.
    assert isinstance(meeting, Reached) and len(meeting.history) == 2
    assert isinstance(never, Never) and never.states > 10
    assert replay(plan, two.history, both_occupied) and replay(plan, meeting.history, meets)
    assert not replay(plan, two.history[:-1], both_occupied)


def test_the_limit_gives_no_verdict() -> None:
    two, never = search(line(), [both_occupied, derails], most_steps=3)
    assert two == TooLarge(3) and never == TooLarge(3)
    # What was found before the limit counts.
    found, never = search(line(), [both_occupied, derails], most_steps=100)
    assert isinstance(found, Reached) and never == TooLarge(100)


def test_assumptions_hold_at_the_last_moment_too() -> None:
    plan = line('assume "one at a time" never A occupied and B occupied\n')
    assert isinstance(search(plan, [both_occupied], most_steps=10_000)[0], Never)


def test_the_search_goes_through_commands_and_time() -> None:
    def picked(states: Valuation) -> bool:
        return states[observables.relay("R")] == "up"

    plan = line(RELAY + 'assume "empty" never A occupied or B occupied\n')
    (found,) = search(plan, [picked], most_steps=10_000)
    assert isinstance(found, Reached) and replay(plan, found.history, picked)
    plan = line(RELAY + 'assume "empty" never A occupied\nassume "locked" always Lock pressed\n')
    assert isinstance(search(plan, [picked], most_steps=10_000)[0], Never)


def test_lost_detection_is_for_the_lossy_search() -> None:
    def unseen(states: Valuation) -> bool:
        report = states[observables.block_report("A")]
        return states[observables.stock("A")] == "occupied" and report == "clear"

    plan = verifier.load_text("edge West\nblock A\ntrack West = A = East\nedge East\n")
    assert isinstance(search(plan, [unseen], most_steps=10_000)[0], Never)
    (found,) = search(plan, [unseen], most_steps=10_000, lossy=True)
    assert isinstance(found, Reached) and replay(plan, found.history, unseen, lossy=True)


@pytest.mark.parametrize("lossy", [False, True])
def test_choices_left_out_change_nothing(lossy: bool) -> None:
    """Every combination of choices belongs to exactly one of the moments enumerated, and has
    the step of that moment."""
    r = Random(1)
    stepper = Stepper(line(RELAY), lossy=lossy)
    states = list(stepper.initial_states())
    for _ in "123":
        states.append(dict([step for _, step in every_step(stepper, states[-1])][-1].successor))
    for state in states:
        steps = list(every_step(stepper, state))
        for _ in range(50):
            moment = {**state, **{what: r.choice(what.values) for what in stepper.choices}}
            (step,) = (step for open_moment, step in steps if open_moment.items() <= moment.items())
            assert stepper.step(moment) == step
        assert len(steps) < 2 ** len(stepper.choices)


def test_a_predicate_cannot_read_a_choice_that_was_not_made() -> None:
    entry = observables.choice("entry", "West")
    with pytest.raises(KeyError):
        search(line(), [lambda states: states[entry] == "yes"], most_steps=10)
