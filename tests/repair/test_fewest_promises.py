"""The fewest promises of a crew: enough, none too many, each with its history and its lock."""

from collections.abc import Callable
from functools import cache

import pytest

import verifier
from verifier.decide.histories import HistoryProver
from verifier.engines.stopping import OutOfTime
from verifier.plan.model import Plan
from verifier.reference.step import replay
from verifier.repair.fewest_promises import Fewest, fewest_promises, safety, with_promises

HAND = """
edge West-Main, West-Siding, East
block Main, Siding, Switch, Single
turnout T1 in Switch
  thrown by hand
track West-Main   = Main   | normal  T1 | Single = East
track West-Siding = Siding | reverse T1
signal 4L at Single | T1
  heads upper, lower
  Clear            when T1 normal  and Switch, Main clear and 4RA, 4RB at stop
  Diverging-Clear  when T1 reverse and Switch, Siding clear and 4RA, 4RB at stop
  Stop             otherwise
signal 4RA at Main | T1
  Clear  when T1 normal and Switch, Single clear
  Stop   otherwise
signal 4RB at Siding | T1
  Clear  when T1 reverse and Switch, Single clear
  Stop   otherwise
"""
GATE = """
edge West, East
block A, Bridge, B
gate G1 on Bridge
track West = A | Bridge | B = East
signal 2R at A | Bridge
  Clear when G1 seated and Bridge, B clear and 2L at stop
  Stop otherwise
signal 2L at B | Bridge
  Clear when G1 seated and Bridge, A clear
  Stop otherwise
"""


def looked(text: str, step: Callable[[], None] = lambda: None) -> Fewest:
    return fewest_promises(verifier.load_text(text), None, step)


@cache
def by_hand() -> Fewest:
    return looked(HAND)


def promised(found: Fewest) -> list[str]:
    return [needed.promise.text for needed in found.needed]


def fails(plan: Plan) -> list[str]:
    return [v.obligation.key for v in verifier.prove(plan).verdicts if v.fails]


def test_the_fewest_are_enough_and_none_is_too_many() -> None:
    found = by_hand()
    assert found.suffices and not found.stopped and not found.remaining
    assert promised(found) == ["not to throw T1 under a train",
                               "not to throw T1 under clear signals"]  # fmt: skip
    assert not fails(found.promised)
    for needed in found.needed:
        others = [n.promise for n in found.needed if n is not needed]
        assert fails(with_promises(found.plan, others))


def test_what_happens_where_a_promise_is_broken_is_replayed_by_the_reference() -> None:
    found = by_hand()
    for needed in found.needed:
        broken = needed.broken
        assert broken is not None and broken.finding is not None and broken.finding.story
        moments = broken.finding.story.moments
        others = [n.promise for n in found.needed if n is not needed]
        assert replay(with_promises(found.plan, others), moments, broken.obligation.holds_in)
        assert not replay(found.promised, moments, broken.obligation.holds_in)


def test_a_lock_in_place_of_a_promise_does_what_it_says() -> None:
    """Written into the file, without that promise, everything is proved."""
    under_clear = by_hand().needed[1]
    lock = "electric lock released when 4L, 4RA, 4RB at stop"
    assert under_clear.equipment == f"an electric lock on T1: `{lock}` under `turnout T1`"
    text = HAND.replace("thrown by hand\n", f"thrown by hand\n  {lock}\n")
    rule = "crew promises not to throw T1 under a train\n"
    assert not fails(verifier.load_text(text + rule))
    assert fails(verifier.load_text(text))


def test_one_lock_in_place_of_all_promises() -> None:
    text = by_hand().together["T1"]
    lock = "electric lock released when Switch clear and 4L, 4RA, 4RB at stop"
    assert text == f"an electric lock on T1: `{lock}` under `turnout T1`"
    written = HAND.replace("thrown by hand\n", f"thrown by hand\n  {lock}\n")
    assert not fails(verifier.load_text(written))


def test_a_gate_is_promised_too() -> None:
    found = looked(GATE)
    assert found.suffices and not found.remaining
    assert promised(found) == ["not to throw G1 under a train",
                               "not to throw G1 under clear signals"]  # fmt: skip
    lock = "electric lock released when Bridge clear and 2R, 2L at stop"
    assert found.together["G1"] == (
        f"an electric lock on G1: `thrown by hand` and `{lock}` under `gate G1`"
    )


def test_what_no_promise_prevents_remains() -> None:
    """A signal that trusts the lever lets trains onto points that still move."""
    text = HAND.replace("thrown by hand", "no contacts\n  thrown by hand")
    found = looked(text)
    assert found.suffices
    assert "indication-locking" in {v.obligation.property for v in found.remaining}
    assert all(v.status == "broken" for v in found.remaining)


def test_a_promise_of_the_file_is_no_more_than_a_candidate() -> None:
    found = looked(HAND + "crew promises one train at a time on Main, Switch\n")
    assert promised(found) == promised(by_hand())


@pytest.mark.parametrize("reached", [0, 3, 12, 30, 60])
def test_stopped_early_it_says_no_more_than_is_proved(reached: int) -> None:
    asked = 0

    def step() -> None:
        nonlocal asked
        asked += 1
        if asked > reached:
            raise OutOfTime("not reached within 1 s")

    found = looked(HAND, step)
    assert found.stopped == "not reached within 1 s"
    if found.suffices:
        prover = HistoryProver(found.promised, None, lambda: None)
        verdicts = prover.verdicts(safety(found.promised))
        assert all(v.status == "proved" for v in verdicts)
    else:
        assert not found.needed or all(n.broken is None for n in found.needed)
