"""The enumerator, on a layout small enough to count by hand."""

import pytest

import verifier
from verifier.plan import observables
from verifier.plan.minimality import cost
from verifier.plan.model import Plan
from verifier.plan.situation import Situation
from verifier.reference import explicit_situations
from verifier.reference.condition_eval import Predicate
from verifier.reference.explicit_situations import allowed_situations, tally

TEXT = """
edge West, East
block A, B
track West = A | B = East
lever L positions left, normal, right
signal 1E at A | B  Clear when L right  Stop otherwise
signal 1W at B | A  Clear when L left or B occupied  Stop otherwise
"""
A, B = observables.stock("A"), observables.stock("B")


def _about(plan: Plan, **wanted: str) -> Predicate:
    aspects = {plan.signals[f"1{side}"].aspect: value for side, value in wanted.items()}
    return lambda states: all(states[what] == value for what, value in aspects.items())


def test_counts_by_hand() -> None:
    plan = verifier.load_text(TEXT)
    assert len(list(allowed_situations(plan))) == 12
    lever = plan.inputs[2]
    one, two, never = tally(
        plan,
        [_about(plan, E="Clear"), _about(plan, E="Clear", W="Clear"), _about(plan, E="Approach")],
    )
    # Lever right: 4 ways for the two blocks. Both clear: B occupied as well, 2 of them.
    assert (one.count, one.smallest) == (4, Situation.of([(lever, "right")]))
    assert (two.count, two.smallest) == (2, Situation.of([(B, "occupied"), (lever, "right")]))
    assert (never.count, never.smallest) == (0, None)


def test_assumptions_leave_situations_out() -> None:
    plan = verifier.load_text(TEXT + 'assume "one at a time" never 1E proceeds and 1W proceeds\n')
    assert len(list(allowed_situations(plan))) == 10
    (both_clear,) = tally(plan, [_about(plan, E="Clear", W="Clear")])
    assert both_clear.count == 0


def test_too_many_situations_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(explicit_situations, "MAX_SITUATIONS", 11)
    with pytest.raises(ValueError, match="12 situations"):
        next(allowed_situations(verifier.load_text(TEXT)))


def test_the_order_of_situations() -> None:
    plan = verifier.load_text(TEXT)
    lever = plan.inputs[2]
    ordered = [
        Situation.of([]),
        Situation.of([(lever, "left")]),
        Situation.of([(lever, "right")]),
        Situation.of([(B, "occupied")]),
        Situation.of([(A, "occupied")]),
        Situation.of([(A, "occupied"), (lever, "left")]),
        Situation.of([(A, "occupied"), (B, "occupied")]),
    ]
    prices = [cost(situation, plan.inputs) for situation in ordered]
    assert prices == sorted(prices)
    assert len(set(prices)) == len(ordered)
