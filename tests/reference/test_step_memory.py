"""Points, memory, and what is late or lost, step by step: histories worked out by hand."""

import pytest

import verifier
from tests.reference.running import (
    SWITCH,
    TO_SINGLE,
    Course,
    junction,
    line,
)

# ------------------------------------------------------------------ points


def test_points_take_their_time() -> None:
    c = junction()
    c.go("throw T1")
    assert c.state("points", "T1") == "open" and c.state("thrown", "T1") == "reverse"
    c.go()
    assert c.state("points", "T1") == "open" and c.events == {"points move T1"}
    c.go("arrival T1")
    assert c.state("points", "T1") == "reverse"
    c.go("arrival T1")
    assert c.state("points", "T1") == "reverse" and c.events == set()


def test_points_thrown_back_on_their_way() -> None:
    c = junction()
    c.go("throw T1")
    c.go("throw T1", "arrival T1")
    assert c.state("points", "T1") == "normal"


def test_points_that_snap() -> None:
    c = junction(throw="motor snap")
    c.go("throw T1")
    assert c.state("points", "T1") == "reverse" and c.events == {"points move T1"}


def test_points_by_two_buttons_and_a_lock() -> None:
    c = junction(throw="thrown by Go-L, Go-M\n  locked while Switch occupied\n")
    c.go("button Go-M=pressed", "button Go-L=pressed")
    assert c.state("thrown", "T1") == "normal"
    c.go("button Go-M=pressed")
    assert c.state("thrown", "T1") == "reverse"
    c.put("T1", "points")
    c.go("button Go-L=pressed")  # locked; on its way it gets to where it was told
    assert c.state("thrown", "T1") == "reverse"
    c.go("button Go-L=pressed", "arrival T1")
    assert c.state("points", "T1") == "reverse"


def test_points_by_a_lever() -> None:
    c = Course(verifier.load_text(
        "lever T1-lever positions normal, reverse\n" + SWITCH.format(throw="thrown by T1-lever")
    ))  # fmt: skip
    c.go("lever T1-lever=reverse")
    assert c.state("thrown", "T1") == "reverse"
    c.go("lever T1-lever=normal", "arrival T1")
    assert c.state("points", "T1") == "normal"


def test_points_by_a_rule() -> None:
    c = junction(throw="thrown reverse when Go-M pressed")
    c.go("button Go-M=pressed")
    assert c.state("thrown", "T1") == "reverse"
    c.go()
    assert c.state("thrown", "T1") == "normal"


def test_an_electric_lock() -> None:
    c = junction(throw="thrown by hand\n  electric lock released when Single clear\n")
    c.put("Single", "left")
    c.go("throw T1")
    assert c.state("points", "T1") == "normal" and c.events == set()
    c.take("Single")
    c.go("throw T1")
    assert c.state("points", "T1") == "open"
    assert c.events == {"lock released T1", "points move T1"}


# ------------------------------------------------------------------ memory


def test_a_relay_picks_and_sticks() -> None:
    c = line("relay R\n  picks when Go pressed\n  sticks while not Hold pressed\n")
    c.go("button Go=pressed", "button Hold=pressed")
    assert c.state("relay", "R") == "up"
    c.go()
    assert c.state("relay", "R") == "up"
    c.go("button Hold=pressed")
    assert c.state("relay", "R") == "down"


def test_a_relay_with_nothing_to_stick_by() -> None:
    c = line("relay R\n  picks when Go pressed\n")
    c.go("button Go=pressed")
    assert c.state("relay", "R") == "up"
    c.go()
    assert c.state("relay", "R") == "down"


IN_ORDER = """
relay Early
  picks when Late up
relay First
  picks when Go pressed
relay Late
  picks when First up
"""


def test_one_program_goes_through_memory_in_the_order_of_the_file() -> None:
    c = line(IN_ORDER + "built as one program\n")
    c.go("button Go=pressed")
    assert [c.state("relay", n) for n in ("Early", "First", "Late")] == ["down", "up", "up"]
    c.go()
    assert [c.state("relay", n) for n in ("Early", "First", "Late")] == ["up", "down", "down"]


def test_a_relay_sees_another_as_it_was_or_after_it_has_acted() -> None:
    c = line(IN_ORDER)
    c.go("button Go=pressed")
    assert [c.state("relay", n) for n in ("Early", "First", "Late")] == ["down", "up", "down"]
    c = line(IN_ORDER)
    c.go("button Go=pressed", "sees Late / First=yes")
    assert [c.state("relay", n) for n in ("Early", "First", "Late")] == ["down", "up", "up"]
    c = line(IN_ORDER)
    c.go("button Go=pressed", "sees Late / First=yes", "sees Early / Late=yes")
    assert [c.state("relay", n) for n in ("Early", "First", "Late")] == ["up", "up", "up"]


RACE = """
relay One
  picks when Go pressed and Two down
relay Two
  picks when Go pressed and One down
"""


def test_two_relays_that_pick_in_one_instant_do_not_wait_for_each_other() -> None:
    c = line(RACE)
    c.go("button Go=pressed")
    assert [c.state("relay", n) for n in ("One", "Two")] == ["up", "up"]
    c = line(RACE)
    c.go("button Go=pressed", "sees One / Two=yes")
    assert [c.state("relay", n) for n in ("One", "Two")] == ["down", "up"]


def test_no_two_relays_see_each_other_after_both_have_acted() -> None:
    c = line(RACE)
    c.go("button Go=pressed", "sees One / Two=yes", "sees Two / One=yes")
    assert [c.state("relay", n) for n in ("One", "Two")] == ["up", "up"]


@pytest.mark.parametrize("built", ["built as one program", "built of relays"])
def test_memory_by_way_of_a_named_condition(built: str) -> None:
    c = line(f"""
relay First
  picks when Go pressed
condition Set is First up
relay Second
  picks when Set
{built}
""")
    c.go("button Go=pressed", *["sees Second / First=yes"] * (built == "built of relays"))
    assert c.state("relay", "Second") == "up"


def test_a_slow_relay_takes_as_long_as_it_likes() -> None:
    c = line("relay R\n  picks when Go pressed\n  slow to release 2 s\n")
    assert "clock" not in {w.kind for w in c.stepper.states}
    c.go("button Go=pressed")
    assert c.state("relay", "R") == "up"
    c.go()
    assert c.state("relay", "R") == "up"
    c.go("button Go=pressed", "expiry R")
    assert c.state("relay", "R") == "up"
    c.go("expiry R")
    assert c.state("relay", "R") == "down"


def test_a_timer() -> None:
    c = line("timer T 30 s runs while Go pressed\n")
    c.go("button Go=pressed", "expiry T")
    assert c.state("timer", "T") == "running"
    c.go("button Go=pressed")
    assert c.state("timer", "T") == "running"
    c.go("button Go=pressed", "expiry T")
    assert c.state("timer", "T") == "done"
    c.go("button Go=pressed")
    assert c.state("timer", "T") == "done"
    c.go()
    assert c.state("timer", "T") == "idle"


def test_times_that_are_measured() -> None:
    """A delay is over when that is chosen, but not in the moment in which it begins."""
    c = line("""
trains need 20 s to stop
timer T 30 s runs while Go pressed
relay R
  picks when Go pressed
  slow to release 10 s
""")
    went = []
    for _ in range(4):
        c.go("button Go=pressed", "expiry T")
        went.append((c.state("timer", "T"), c.state("clock", "T")))
    assert went == [
        ("running", "at rest"), ("running", "running"), ("done", "at rest"), ("done", "at rest"),
    ]  # fmt: skip
    c.go("expiry R")
    assert (c.state("relay", "R"), c.state("clock", "R")) == ("up", "running")
    again = c.copy()
    again.go("button Go=pressed")
    assert (again.state("relay", "R"), again.state("clock", "R")) == ("up", "at rest")
    c.go()
    assert (c.state("relay", "R"), c.state("clock", "R")) == ("up", "running")
    c.go("expiry R")
    assert (c.state("relay", "R"), c.state("clock", "R")) == ("down", "at rest")


def test_the_direction_of_traffic() -> None:
    c = line("""
traffic Way on A, B
  rightward when Go pressed
  leftward when Hold pressed
  locked while B occupied
""")
    c.go("button Hold=pressed")
    assert c.state("traffic", "Way") == "leftward" and c.events == {"traffic turns Way"}
    c.go("button Go=pressed", "button Hold=pressed")
    assert c.state("traffic", "Way") == "leftward" and c.events == set()
    c.put("B", "left")
    c.go("button Go=pressed")
    assert c.state("traffic", "Way") == "leftward" and c.events == set()
    c.take("B")
    c.go("button Go=pressed")
    assert c.state("traffic", "Way") == "rightward"


# ------------------------------------------------------------------ late, and lost


def test_a_train_that_saw_it_clear_may_still_pass() -> None:
    c = junction("trains need 20 s to stop\n")
    c.put("Single", "right")
    c.go("button Go-L=pressed")
    assert c.state("late", "4L") == "yes"
    c.go("stays late 4L")  # put back in its face
    assert c.state("late", "4L") == "yes"
    passing = c.copy()
    passing.go(f"advance {TO_SINGLE}")
    assert passing.on == {"Single", "T1"}
    c.go()
    assert c.state("late", "4L") == "no"
    c.go("stays late 4L", f"advance {TO_SINGLE}")
    assert c.on == {"Single"} and c.state("late", "4L") == "no"


def test_a_train_that_is_not_there_saw_nothing() -> None:
    c = junction("trains need 20 s to stop\n")
    c.put("Single", "left")
    c.go("button Go-L=pressed")
    assert c.state("late", "4L") == "no"


def test_stock_that_is_not_seen_for_a_while() -> None:
    text = "edge West, East\nblock A, B\ntrack West = A | B = East\n"
    text += "signal 2R at A | B\n  Clear when B clear\n  Stop otherwise\n"
    c = Course(verifier.load_text(text), lossy=True)
    c.put("B", "left")
    c.go("loss B", "loss A")
    assert c.seen("reading", "2R") == "Stop"
    assert (c.state("lost", "A"), c.state("lost", "B")) == ("no", "yes")
    c.go("stays lost B")
    assert c.seen("reading", "2R") == "Clear"
    assert c.seen("block report", "B") == "clear"
    assert c.seen("stock", "B") == "occupied"
    c.go()
    assert c.state("lost", "B") == "no"
    c.go()
    assert c.seen("reading", "2R") == "Stop"
