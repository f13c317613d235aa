"""The stepper: what follows a moment, on small layouts worked out by hand."""

import pytest

import verifier
from tests.engines.running import Course
from verifier.engines.stepper import Moment, initial_states, replay
from verifier.logic.expr import atom, both
from verifier.plan import facts

# One switch. Every joint by its name, as the stepper calls it.
IN_WEST, TO_MAIN = "West end to Main left", "Main right to T1 normal"
IN_YARD, TO_YARD = "Yard end to Siding left", "Siding right to T1 reverse"
TO_SINGLE, OUT = "T1 points to Single left", "Single right to Quarry end"

SWITCH = """
edge West, Yard, Quarry
block Main, Siding, Switch, Single
button Go-L, Go-M
turnout T1 in Switch {throw}
track West = Main   | normal  T1 | Single = Quarry
track Yard = Siding | reverse T1
signal 4L at Single | T1 heads upper, lower
  Clear when Go-L pressed and T1 normal
  Stop otherwise
signal 4RA at Main | T1
  Clear when Go-M pressed
  Stop otherwise
signal 4RB at Siding | T1
  Stop otherwise
"""


def junction(more: str = "", throw: str = "") -> Course:
    return Course(verifier.load_text(SWITCH.format(throw=throw) + more))


def line(more: str) -> Course:
    """Three blocks in a row with no signals at all."""
    return Course(verifier.load_text(
        "edge West, East\nblock A, B, C\nbutton Go, Hold\ntrack West = A | B | C = East\n" + more
    ))  # fmt: skip


A_B, B_C = "A right to B left", "B right to C left"


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
    (start,) = initial_states(junction().stepper.plan)
    assert all(state == what.usual for what, state in start.items())


def test_stock_may_stand_at_the_start_where_the_file_says() -> None:
    plan = verifier.load_text(SWITCH.format(throw="") + "trains start on Siding\n")
    starts = {
        (what.kind, state)
        for start in initial_states(plan)
        for what, state in start.items()
        if state != what.usual
    }
    assert starts == {("train", "occupied"), ("heading", "right")}
    assert len(list(initial_states(plan))) == 4


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
    assert c.on == {"A", "C"}


def test_at_restricted_speed_it_stops_short() -> None:
    c = Course(
        verifier.load_text("""
edge West, East
block A, B, C
button Go
track West = A | B | C = East
signal 2R at A | B
  Clear when Go pressed
  Restricting otherwise
""")
    )
    c.put("A", "left")
    c.put("B", "left")
    c.go(f"advance {A_B}")
    assert c.events == set() and c.spanned == set()
    c.go(f"advance {A_B}", "button Go=pressed")
    assert c.events == {"trains meet B"}
    c.take("B")
    c.go(f"advance {A_B}")
    assert c.state("pace", "B") == "restricted"
    c.put("C", "left")
    c.go(f"advance {B_C}")  # and so on, where no signal says otherwise
    assert c.events == set()


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


def test_memory_acts_in_the_order_of_the_file() -> None:
    c = line("""
relay Early
  picks when Late up
relay First
  picks when Go pressed
relay Late
  picks when First up
""")
    c.go("button Go=pressed")
    assert [c.state("relay", n) for n in ("Early", "First", "Late")] == ["down", "up", "up"]
    c.go()
    assert [c.state("relay", n) for n in ("Early", "First", "Late")] == ["up", "down", "down"]


def test_memory_by_way_of_a_named_condition() -> None:
    c = line("""
relay First
  picks when Go pressed
condition Set is First up
relay Second
  picks when Set
""")
    c.go("button Go=pressed")
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
    # Moments of 10 s: the timer takes 3, a slow release 1.
    c = line("""
trains need 20 s to stop
timer T 30 s runs while Go pressed
relay R
  picks when Go pressed
  slow to release 10 s
""")
    assert {w.kind for w in c.stepper.choices}.isdisjoint({"expiry"})
    went = []
    for _ in range(6):
        c.go("button Go=pressed", "tick time")
        went.append((c.state("timer", "T"), c.state("clock", "T")))
    assert went == [
        ("running", "0"), ("running", "1"), ("running", "2"), ("running", "3"),
        ("done", "0"), ("done", "0"),
    ]  # fmt: skip
    c.go("tick time")
    assert (c.state("relay", "R"), c.state("clock", "R")) == ("up", "1")
    c.go()
    assert (c.state("relay", "R"), c.state("clock", "R")) == ("down", "0")


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
    # Moments of 20 s, so it may pass for one.
    c = junction("trains need 20 s to stop\n")
    c.put("Single", "right")
    c.go("button Go-L=pressed")
    assert c.state("late", "4L") == "0"
    c.go()  # put back in its face
    assert c.state("late", "4L") == "0"
    passing = c.copy()
    passing.go(f"advance {TO_SINGLE}")
    assert passing.on == {"Single", "T1"}
    c.go("tick time")
    assert c.state("late", "4L") == "no"
    c.go(f"advance {TO_SINGLE}")
    assert c.on == {"Single"}


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
    assert (c.state("lost", "A"), c.state("lost", "B")) == ("no", "0")
    c.go()
    assert c.seen("reading", "2R") == "Clear"
    assert c.seen("block report", "B") == "clear"
    assert c.seen("stock", "B") == "occupied"
    c.go("tick time")  # a moment is the whole 5 s here
    assert c.state("lost", "B") == "no"
    c.go()
    assert c.seen("reading", "2R") == "Stop"


# ------------------------------------------------------------------ replay

BAD = both(atom(facts.event("trains meet", "B"), "yes"), atom(facts.stock("B"), "occupied"))


def meeting() -> Course:
    """A train comes in and goes on to B, and another comes onto it there."""
    c = line('assume "nobody holds it" never Hold pressed\n')
    c.go("entry West")
    c.go("advance West end to A left")
    c.go(f"advance {A_B}")
    c.go(f"advance {A_B}")
    c.go("entry West")
    c.go(f"advance {A_B}", "button Go=pressed")
    return c


def test_a_history_replays() -> None:
    c = meeting()
    assert c.events == {"trains meet B"}
    assert replay(c.plan, c.trace, BAD)


def test_what_a_trace_does_not_choose_is_as_usual() -> None:
    c = meeting()
    kept = [{w: v for w, v in moment.items() if w in c.now or v != w.usual} for moment in c.trace]
    assert sum(map(len, kept)) < sum(map(len, c.trace))
    assert replay(c.plan, kept, BAD)


def changed(trace: list[Moment], at: int, kind: str, name: str, value: str) -> list[Moment]:
    what = next(w for w in trace[at] if (w.kind, w.name) == (kind, name))
    return [*trace[:at], {**trace[at], what: value}, *trace[at + 1 :]]


@pytest.mark.parametrize(
    ("at", "kind", "name", "value"),
    [
        (0, "train", "C", "occupied"),  # it does not start so
        (3, "train", "C", "occupied"),  # it does not go on so
        (3, "across", A_B, "free"),
        (1, "advance", "West end to A left", "no"),  # nor does it without that choice
        (2, "button", "Go", "held"),  # no such value
        (2, "button", "Hold", "pressed"),  # against what is assumed
        (5, "button", "Hold", "pressed"),
        (5, "advance", A_B, "no"),  # it ends well
    ],
)
def test_what_is_no_history_does_not_replay(at: int, kind: str, name: str, value: str) -> None:
    c = meeting()
    assert not replay(c.plan, changed(c.trace, at, kind, name, value), BAD)


def test_half_a_history_and_none_do_not_replay() -> None:
    c = meeting()
    assert not replay(c.plan, c.trace[:-1], BAD)
    assert not replay(c.plan, c.trace[1:], BAD)
    assert not replay(c.plan, [], BAD)


def test_a_trace_that_leaves_out_a_state_does_not_replay() -> None:
    c = meeting()
    gone = {w: v for w, v in c.trace[2].items() if (w.kind, w.name) != ("train", "B")}
    assert not replay(c.plan, [*c.trace[:2], gone, *c.trace[3:]], BAD)


def test_lost_stock_replays_in_the_lossy_system_only() -> None:
    text = "edge West\nblock A\ntrack West = A = East\nedge East\n"
    c = Course(verifier.load_text(text), lossy=True)
    for chosen in ("entry West", "loss A", "tick time"):
        c.go(chosen)
    unseen = both(atom(facts.stock("A"), "occupied"), atom(facts.block_report("A"), "clear"))
    assert replay(c.plan, c.trace, unseen, lossy=True)
    assert not replay(c.plan, c.trace, unseen)
