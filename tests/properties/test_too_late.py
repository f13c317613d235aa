"""Trains that are too late to stop, and delays that run out meanwhile."""

import pytest

import verifier
from tests.properties.locked import END_OF_SIDING, THROAT
from tests.properties.moments import (
    happens,
    is_so,
    lies,
    question,
    questions,
    shows,
    too_late,
    train,
)
from verifier.logic.expr import support
from verifier.plan import observables

# ------------------------------------------------------------------ approach locking


def test_approach_locking_is_asked_where_trains_need_time_to_stop() -> None:
    assert not questions("approach-locking", verifier.load_text(THROAT))
    plan = verifier.load_text(END_OF_SIDING)
    assert set(questions("approach-locking", plan)) == {"4L", "4RA", "4RB"}


def test_nothing_is_let_go_in_the_face_of_a_train() -> None:
    plan, asked = question("approach-locking", END_OF_SIDING, "4L")
    late = {**too_late("4L"), **train(plan, "Single", "right")}
    assert {w.values for w in support(asked.formula) if w.kind == "late"} == {("no", "yes")}
    back = shows(plan, s4L="Stop", s4RA="Stop", s4RB="Stop")
    moves = happens("points move", "T1")
    assert is_so(asked, late, back, moves)
    assert not is_so(asked, late, back)
    assert not is_so(asked, back, moves)  # nobody saw it clear
    assert not is_so(asked, late, shows(plan, s4L="Clear"), moves)  # it was not put back
    away = train(plan, "Single", "left")
    assert not is_so(asked, late, away, back, moves)  # it heads the other way
    passing = {observables.across("T1 points to Single left"): "spanned"}
    assert not is_so(asked, late, passing, back, moves)  # it is the one that passed
    # A signal against it clears, whichever way the facing points lie for the train.
    assert is_so(asked, late, shows(plan, s4L="Stop", s4RA="Clear", s4RB="Stop"))
    assert not is_so(asked, shows(plan, s4L="Stop", s4RA="Clear", s4RB="Stop"))


# Two signals right behind one another's trackwork, and home signals at the edges themselves.
NO_PLAIN_TRACK = """
edge West, Yard, East, Spur
block T, U
lever 1 positions normal, reverse
lever 3 positions normal, reverse
lever L positions left, normal, right
turnout T1 in T
  thrown by 1
  locked while T occupied or any of 4R, 4RB, 2L proceeds
turnout T3 in U
  thrown by 3
  locked while U occupied or any of 6R, 2LA, 2LB proceeds
trains need 20 s to stop
track West | normal T1  | T3 normal  | East
track Yard | reverse T1
track                     T3 reverse | Spur
signal 4R at West | T1  Approach when L right and T1 normal and T clear  Stop otherwise
signal 4RB at Yard | T1  Approach when L right and T1 reverse and T clear  Stop otherwise
signal 6R at T1 | T3
  Approach when L right and T3 normal and U clear
  Restricting when L right and T3 reverse and U clear
  Stop otherwise
signal 2LA at East | T3  Approach when L left and T3 normal and U clear  Stop otherwise
signal 2LB at Spur | T3  Approach when L left and T3 reverse and U clear  Stop otherwise
signal 2L at T3 | T1
  Approach when L left and T1 normal and T clear
  Restricting when L left and T1 reverse and T clear
  Stop otherwise
"""


def test_a_train_on_trackwork_right_before_a_signal_is_on_its_approach() -> None:
    plan, asked = question("approach-locking", NO_PLAIN_TRACK, "6R")
    back = shows(plan, **{f"s{name}": "Stop" for name in plan.signals})
    moves, late = happens("points move", "T3"), too_late("6R")
    assert is_so(asked, late, back, moves, train(plan, "T1", "normal"))
    assert is_so(asked, late, back, moves, train(plan, "T1", "reverse"), lies(T1="reverse"))
    # The points lie against the one; the other heads away; here is none.
    assert not is_so(asked, late, back, moves, train(plan, "T1", "reverse"))
    assert not is_so(asked, late, back, moves, train(plan, "T1", "points"))
    assert not is_so(asked, late, back, moves)


def test_a_train_beyond_an_edge_may_be_too_late_to_stop_at_a_signal_there() -> None:
    plan, asked = question("approach-locking", NO_PLAIN_TRACK, "4R")
    back = shows(plan, **{f"s{name}": "Stop" for name in plan.signals})
    moves, late = happens("points move", "T1"), too_late("4R")
    assert is_so(asked, late, back, moves)
    assert not is_so(asked, back, moves)
    assert "a train that enters at West" in asked.trouble


def test_no_signal_is_approach_locked_by_having_no_track_before_it() -> None:
    """Nothing here waits for time to run, so nothing here may be proved of it."""
    report = verifier.prove(verifier.load_text(NO_PLAIN_TRACK), only=["approach-locking"])
    assert {v.obligation.subjects[0] for v in report.verdicts} == {
        "4R", "4RB", "6R", "2LA", "2LB", "2L"
    }  # fmt: skip
    assert {v.status for v in report.verdicts} == {"broken"}
    # Where no train comes in, none can be too late to stop.
    for name in ("West", "Yard"):
        out = NO_PLAIN_TRACK.replace(f"{name}, ", "") + f"edge {name} leaving only\n"
        report = verifier.prove(verifier.load_text(out), only=["approach-locking"])
        signal = "4R" if name == "West" else "4RB"
        (verdict,) = (v for v in report.verdicts if v.obligation.subjects == (signal,))
        assert verdict.status == "proved"


# ------------------------------------------------------------------ delays


@pytest.mark.parametrize(
    ("slow", "waits", "status"),
    [
        # Two relays one after the other are up for 11.98 s after Go, 2R waits for 11 s.
        ("5.99 s", "11 s", "broken"),
        ("6 s", "11 s", "broken"),
        ("5 s", "12 s", "proved"),
    ],
)
def test_no_delay_is_taken_for_shorter_than_it_is(slow: str, waits: str, status: str) -> None:
    plan = verifier.load_text(f"""
edge West, East
block A, B, C
button Go
track West = A | B | C = East
trains need 12 s to stop
built as one program
trains never reverse
relay One picks when Go pressed slow to release {slow}
relay Two picks when One up     slow to release {slow}
timer X {waits} runs while not Go pressed
signal 2R at A | B  Approach when X done and B, C clear  Stop otherwise
signal 2L at C | B  Approach when Two up and B, A clear  Stop otherwise
""")
    (verdict,) = verifier.prove(plan, only=["opposing-proceeds"]).verdicts
    assert verdict.status == status


def test_of_two_delays_as_long_as_each_other_one_may_end_first() -> None:
    plan = verifier.load_text("""
edge West, East
block A, B
button Go
track West = A | B = East
trains need 10 s to stop
relay One picks when Go pressed slow to release 10 s
relay Two picks when Go pressed slow to release 10 s
signal 2R at A | B  Approach when B clear  Stop otherwise
prove "together" always One, Two up or One, Two down
""")
    (verdict,) = verifier.prove(plan, only=["together"]).verdicts
    assert verdict.status == "broken"


# ------------------------------------------------------------------ restricted speed

TWO_ON_ONE_APPROACH = """
edge West entering when A0 clear
edge East leaving only
block A0, A1, A2, B
track West = A0 | A1 | A2 | B = East
signal 1R at A0 | A1
  Clear when A1, A2 clear
  Restricting when A1 clear and A2 occupied
  Stop  otherwise
signal 2R at A2 | B
  Clear when B clear
  Stop  otherwise
trains never reverse
trains need 20 s to stop
"""


def test_a_train_that_follows_at_restricted_speed_is_never_too_late_to_stop() -> None:
    """2R was clear for the train ahead; the one let in behind it is ready to stop short."""
    report = verifier.prove(verifier.load_text(TWO_ON_ONE_APPROACH), only=["collision"])
    found = {v.obligation.subjects[0]: v.status for v in report.verdicts}
    assert found["B"] == "proved"
    hasty = TWO_ON_ONE_APPROACH.replace("Restricting when", "Clear when")
    report = verifier.prove(verifier.load_text(hasty), only=["collision"])
    assert {v.obligation.subjects[0]: v.status for v in report.verdicts}["A2"] == "broken"
