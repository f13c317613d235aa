"""Trains that met or derailed stay where they are, and still occupy the track."""

import verifier
from tests.proofs import without_repairs
from tests.reference.running import (
    A_B,
    B_C,
    TO_MAIN,
    TO_SINGLE,
    Course,
    junction,
    line,
)
from verifier.verdicts.report import Verdict


def test_a_train_that_ran_through_points_stays_on_them() -> None:
    c = junction()
    c.points("reverse")
    c.put("Main", "left")
    c.go(f"advance {TO_MAIN}", "button Go-M=pressed")
    assert "train derails T1" in c.events and c.on == {"Main", "T1"}
    c.points("normal")
    for _ in range(3):
        c.go(f"advance {TO_MAIN}", f"advance {TO_SINGLE}")
    assert c.on == {"Main", "T1"} and c.spans(TO_MAIN)


def test_a_train_beneath_which_points_moved_stays_and_so_does_all_of_it() -> None:
    c = junction()
    c.put("Main", "left")
    c.put("T1", "normal", [TO_MAIN])
    c.put("Single", "left", [TO_SINGLE])
    c.go("throw T1")
    assert "train derails T1" in c.events
    for _ in range(2):
        c.go(f"advance {TO_MAIN}", f"advance {TO_SINGLE}", "reversal Main", "reversal Single")
    assert c.on == {"Main", "T1", "Single"}


def test_trains_that_met_stay_and_the_next_runs_into_them() -> None:
    c = line("")
    c.put("A", "left")
    c.put("C", "right")
    c.go(f"advance {A_B}", f"advance {B_C}")
    assert "trains meet B" in c.events
    # One of them stands where they met, the other before it.
    assert c.on == {"A", "B", "C"} and c.spanned == {A_B}
    for _ in range(2):
        c.go("reversal A", "reversal C", f"advance {IN_A}", f"advance {A_B}")
    assert c.on == {"A", "B", "C"}


def test_a_train_that_another_ran_into_stays() -> None:
    c = line("")
    c.put("A", "left")
    c.put("B", "left")
    c.go(f"advance {A_B}")
    assert "trains meet B" in c.events
    c.go(f"advance {B_C}", f"advance {A_B}")
    assert c.on == {"A", "B"}


def test_trains_at_restricted_speed_that_stop_short_go_on() -> None:
    c = Course(verifier.load_text(
        "edge West, East\nblock A, B, C switching only\ntrack West = A | B | C = East\n"
    ))  # fmt: skip
    c.put("A", "left")
    c.put("C", "right")
    c.set_pace("A", "restricted")
    c.set_pace("C", "restricted")
    c.go(f"advance {A_B}", f"advance {B_C}")
    assert not c.events and c.on == {"A", "B", "C"}
    c.go("reversal C", f"advance {B_C}")
    c.go(f"advance {B_C}")
    assert not c.events


IN_A = "West end to A left"


# ------------------------------------------------------------------ what is proved

SWITCH = """
edge West, Yard
edge Quarry leaving only
block Main, Siding, Switch, Single
turnout T1 in Switch thrown by hand
track West = Main   | normal  T1 | Single = Quarry
track Yard = Siding | reverse T1
signal 4RA at Main | T1
  Clear when Single clear
  Stop otherwise
signal 4RB at Siding | T1
  Stop   otherwise
trains never reverse
assume "it lies reverse when a train is let in" never train on Main and T1 lies normal
"""


def verdicts(text: str) -> dict[str, Verdict]:
    return {v.obligation.property: v for v in without_repairs(text).verdicts}


def test_a_train_that_derailed_goes_nowhere() -> None:
    found = verdicts(SWITCH + 'prove "own" never train on Single\n')
    assert found["derailment"].status == "broken"
    assert found["own"].status == "proved"


def test_nothing_is_possible_by_a_train_that_derailed() -> None:
    found = verdicts(SWITCH + 'prove "own" possible train on Single\n')
    assert found["own"].status == "broken"


def test_what_can_always_be_done_again_is_decided_where_collisions_are_expected() -> None:
    text = """
edge West, East
block A, B, C
track West = A | B | C = East
signal 1 at A | B
  Clear when B clear
  Stop otherwise
signal 2 at C | B
  Clear when B clear
  Stop otherwise
trains obey signals
expect broken collision
"""
    found = verdicts(text)
    assert found["collision"].status == "broken"
    for name in ("locked-for-good", "train-cannot-leave"):
        assert found[name].status == "proved"
