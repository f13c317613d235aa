"""The stepper: what follows a moment, on small layouts worked out by hand."""

import pytest

import verifier
from tests.reference.running import (
    A_B,
    B_C,
    IN_WEST,
    IN_YARD,
    OUT,
    SWITCH,
    TO_MAIN,
    TO_SINGLE,
    TO_YARD,
    Course,
    junction,
    line,
)
from verifier.reference.step import Stepper

# ------------------------------------------------------------------ what there is


def test_states_and_choices_of_a_switch() -> None:
    c = junction()
    pieces = {"Main", "Siding", "T1", "Single"}
    joints = {IN_WEST, TO_MAIN, IN_YARD, TO_YARD, TO_SINGLE, OUT}
    assert {(w.kind, w.name) for w in c.stepper.states} == {
        *(("train", p) for p in pieces),
        *(("heading", p) for p in pieces),
        *(("across", j) for j in joints),
        ("points", "T1"),
        ("thrown", "T1"),
    }
    assert {(w.kind, w.name) for w in c.stepper.choices} == {
        *(("advance", j) for j in joints),
        *(("reversal", p) for p in ("Main", "Siding", "Single")),
        *(("entry", e) for e in ("West", "Yard", "Quarry")),
        ("arrival", "T1"),
        ("throw", "T1"),
        ("button", "Go-L"),
        ("button", "Go-M"),
    }


def test_it_starts_with_all_track_vacant() -> None:
    (start,) = junction(throw="starts normal").stepper.initial_states()
    assert all(state == what.usual for what, state in start.items())


def test_stock_may_stand_at_the_start_where_the_file_says() -> None:
    plan = verifier.load_text(SWITCH.format(throw="starts normal") + "trains start on Siding\n")
    starts = {
        (what.kind, state)
        for start in Stepper(plan).initial_states()
        for what, state in start.items()
        if state != what.usual
    }
    assert starts == {("train", "occupied"), ("heading", "right")}
    assert len(list(Stepper(plan).initial_states())) == 4


def test_edges_pass_trains_one_way_only() -> None:
    c = Course(verifier.load_text(
        "edge West entering only\nedge East leaving only\nblock A\ntrack West = A = East\n"
    ))  # fmt: skip
    assert {w.name for w in c.stepper.choices if w.kind == "entry"} == {"West"}
    c.put("A", "right")
    c.go("advance West end to A left")
    assert c.is_on("A") and not c.spans("West end to A left")


# ------------------------------------------------------------------ a train's way


def test_a_train_comes_in_and_goes_out_again() -> None:
    c = line("")
    c.go("entry West")
    assert c.on == {"A"} and c.spanned == {"West end to A left"}
    assert c.heading("A") == "left"
    c.go()
    assert c.on == {"A"} and c.spanned == {"West end to A left"}
    c.go(f"advance {A_B}")  # its front goes on before its tail is in
    assert c.on == {"A", "B"} and c.spanned == {"West end to A left", A_B}
    c.go(f"advance {A_B}")  # its tail is not in yet
    assert c.on == {"A", "B"}
    c.go("advance West end to A left")
    assert c.on == {"A", "B"} and c.spanned == {A_B}
    c.go(f"advance {A_B}", f"advance {B_C}")  # tail and front in one step
    assert c.on == {"B", "C"} and c.spanned == {B_C}
    c.go(f"advance {B_C}", "advance C right to East end")
    assert c.on == {"C"} and c.spanned == {"C right to East end"}
    c.go("advance C right to East end")
    assert c.on == set() and c.spanned == set()


def test_nobody_comes_in_onto_another_or_against_one_coming_out() -> None:
    c = line("")
    c.put("A", "left")
    c.go("entry West")
    assert c.spanned == set() and c.events == set()
    c.put("B", "right")
    c.take("A")
    c.go("entry West")  # the train on B heads for West
    assert c.on == {"B"}
    c.go("entry East")
    assert c.on == {"B", "C"}


def test_a_signal_that_lets_a_train_out_to_an_edge_lets_nobody_in_there() -> None:
    c = junction()
    c.put("Single", "right")
    c.go("entry West", "button Go-L=pressed")
    assert c.on == {"Single"}
    c.go("entry Yard", "button Go-L=pressed")  # the points lie for Main
    assert c.on == {"Single", "Siding"}
    c.go("entry West")  # 4L is at stop
    assert c.on == {"Single", "Siding", "Main"}


def test_with_nobody_before_it_a_signal_toward_an_edge_keeps_nobody_out() -> None:
    c = junction()
    c.go("entry West", "button Go-L=pressed")
    assert c.on == {"Main"}
    c = junction()
    c.put("Single", "left")  # on its way elsewhere
    c.go("entry West", "button Go-L=pressed")
    assert c.on == {"Single", "Main"}


def test_the_file_says_when_trains_come_in() -> None:
    c = line("edge North entering when Hold pressed\nblock N\nbumper End\ntrack North = N = End\n")
    c.go("entry North")
    assert c.on == set()
    c.go("entry North", "button Hold=pressed")
    assert c.on == {"N"}
    c.go("entry North", "button Hold=pressed")  # the first is not in yet
    assert c.events == set()
    c.go("advance North end to N left")
    c.go("entry North", "button Hold=pressed")
    assert c.events == {"trains meet N"} and c.spanned == set()


def test_a_train_that_comes_in_obeys_the_signal_it_comes_in_by() -> None:
    c = Course(
        verifier.load_text("""
edge West, East
block A, B
button Go, Call
track West | A | B = East
signal 2R at West | A
  Clear when Go pressed
  Restricting when Call pressed
  Stop otherwise
""")
    )
    c.go("entry West")
    assert c.on == set()
    called = c.copy()
    called.go("entry West", "button Call=pressed")
    assert called.on == {"A"} and called.state("pace", "A") == "restricted"
    c.go("entry West", "button Go=pressed")
    assert c.on == {"A"} and c.state("pace", "A") == "full"


def test_a_train_waits_at_a_signal_and_passes_it_when_clear() -> None:
    c = junction()
    c.put("Single", "right")
    c.go(f"advance {TO_SINGLE}")
    assert c.on == {"Single"}
    c.go(f"advance {TO_SINGLE}", "button Go-L=pressed")
    assert c.on == {"Single", "T1"} and c.heading("T1") == "points"
    assert c.events == set()
    c.go(f"advance {TO_MAIN}", f"advance {TO_SINGLE}")
    assert c.on == {"T1", "Main"} and c.spanned == {TO_MAIN}


def test_the_points_lead_it() -> None:
    c = junction()
    c.put("T1", "points")
    c.points("reverse")
    c.go(f"advance {TO_MAIN}")
    assert c.on == {"T1"}
    c.go(f"advance {TO_YARD}")
    assert c.on == {"T1", "Siding"} and c.heading("Siding") == "right"


# ------------------------------------------------------------------ what goes wrong


def test_it_trails_points_against_it() -> None:
    c = junction()
    c.put("Main", "left")
    c.points("reverse")
    c.go(f"advance {TO_MAIN}", "button Go-M=pressed")
    assert c.events == {"train derails T1"}
    assert c.on == {"Main", "T1"}
    c.go(f"advance {TO_SINGLE}")  # and there it stays
    assert c.on == {"Main", "T1"}


def test_points_that_lie_for_it_are_passed() -> None:
    c = junction()
    c.put("Main", "left")
    c.go(f"advance {TO_MAIN}", "button Go-M=pressed")
    assert c.events == set() and c.on == {"Main", "T1"}


def test_it_comes_onto_open_points() -> None:
    c = junction()
    c.put("Main", "left")
    c.points("open")
    c.go(f"advance {TO_MAIN}", "button Go-M=pressed")
    assert c.events == {"points move T1", "train derails T1"}


def test_points_move_beneath_it() -> None:
    c = junction()
    c.put("T1", "points")
    c.go("throw T1")
    assert c.events == {"points move T1", "train derails T1"}


def test_it_comes_onto_another() -> None:
    c = line("")
    c.put("A", "left")
    c.put("B", "left")
    c.go(f"advance {A_B}")
    assert c.events == {"trains meet B"}
    assert c.spanned == set()


def test_two_come_onto_vacant_track_at_once() -> None:
    c = line("")
    c.put("A", "left")
    c.put("C", "right")
    c.go(f"advance {A_B}", f"advance {B_C}")
    assert c.events == {"trains meet B"}
    assert c.on == {"A", "B", "C"}


RESTRICTING = """
edge West, East
block A, B, C
button Go
track West = A | B | C = East
signal 2R at A | B
  Clear when Go pressed
  Restricting otherwise
"""


def test_at_restricted_speed_it_stops_short() -> None:
    c = Course(verifier.load_text(RESTRICTING))
    c.put("A", "left")
    c.put("B", "left")
    c.go(f"advance {A_B}")
    assert c.events == set() and c.spanned == set()
    c.take("B")
    c.go(f"advance {A_B}")
    assert c.state("pace", "B") == "restricted"
    c.put("C", "left")
    c.go(f"advance {B_C}")  # and so on, where no signal says otherwise
    assert c.events == set()


def test_at_full_speed_it_does_not() -> None:
    c = Course(verifier.load_text(RESTRICTING))
    c.put("A", "left")
    c.put("B", "left")
    c.go(f"advance {A_B}", "button Go=pressed")
    assert c.events == {"trains meet B"}


def test_on_switching_track_all_are_ready_to_stop() -> None:
    c = Course(verifier.load_text(
        "edge West\nbumper End\nblock A\nblock B switching only\ntrack West = A | B = End\n"
    ))  # fmt: skip
    c.put("A", "left")
    c.put("B", "left")
    c.go(f"advance {A_B}")
    assert c.events == set()


# ------------------------------------------------------------------ turning back


def test_it_turns_back_where_signals_then_govern_it() -> None:
    c = junction()
    c.put("Single", "left")
    c.go("reversal Single")
    assert c.heading("Single") == "right"
    c.go("reversal Single")
    assert c.heading("Single") == "left"


def test_it_does_not_move_while_it_turns() -> None:
    c = junction()
    c.put("Single", "left")
    c.go("reversal Single", f"advance {OUT}")
    assert c.heading("Single") == "right" and c.spanned == set()


def test_across_a_signal_it_does_not_turn() -> None:
    c = junction()
    c.put("Single", "left", spans=(TO_SINGLE,))
    c.go("reversal Single")
    assert c.heading("Single") == "left"


def test_a_train_on_two_blocks_turns_as_a_whole() -> None:
    c = line("")
    c.put("A", "left", spans=(A_B,))
    c.put("B", "left")
    c.go("reversal A")
    assert (c.heading("A"), c.heading("B")) == ("left", "left")
    c.go("reversal A", "reversal B")
    assert (c.heading("A"), c.heading("B")) == ("right", "right")
    c.put("B", "right", spans=(B_C,))
    c.put("C", "right")
    c.go("reversal A", "reversal B")  # the part on C does not
    assert (c.heading("A"), c.heading("B")) == ("right", "right")


@pytest.mark.parametrize(
    ("says", "where"),
    [("trains never reverse", set()), ("trains reverse on B", {"B"}), ("", {"A", "B", "C"})],
)
def test_the_file_says_where_they_turn(says: str, where: set[str]) -> None:
    c = line(says + "\n")
    assert {w.name for w in c.stepper.choices if w.kind == "reversal"} == where


def test_nobody_turns_to_face_a_signal_for_the_other_way_only() -> None:
    c = line("signal 2R at A | B\n  Clear when Go pressed\n  Stop otherwise\n")
    # On B and C a train heading for West would pass the back of 2R with no signal of its own.
    c.put("B", "left")
    c.go("reversal B")
    assert c.heading("B") == "left"
    c.put("B", "right")
    c.go("reversal B")
    assert c.heading("B") == "left"
    c.put("A", "left")
    c.go("reversal A")
    assert c.heading("A") == "right"
