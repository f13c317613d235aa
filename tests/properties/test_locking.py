"""What the locking properties ask, on moments made by hand: when it is so, and when not."""

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
    told,
    too_late,
    train,
)
from verifier.properties.catalog import BY_NAME
from verifier.properties.examples import example

OVER_TIME = tuple(
    name
    for name, entry in BY_NAME.items()
    if entry.group == "locking"
    or name in ("route-never-set", "locked-for-good", "train-cannot-leave", "cannot-pass")
)


@pytest.mark.parametrize("name", OVER_TIME)
def test_nothing_is_asked_of_a_file_that_says_nothing_of_time(name: str) -> None:
    text = "\n".join(
        line
        for line in END_OF_SIDING.splitlines()
        if not line.strip().startswith(("locked", "trains"))
    )
    plan = verifier.load_text(text)
    assert not plan.locking.over_time
    assert not questions(name, plan)


def test_everything_is_asked_over_time_and_under_its_own_name() -> None:
    for text in (THROAT, END_OF_SIDING):
        plan = verifier.load_text(text)
        for name in OVER_TIME:
            for asked in questions(name, plan).values():
                assert asked.property == name
                assert asked.over != "situations"
                assert asked.mode == ("possible" if asked.over == "for good" else asked.mode)
                assert asked.spans and asked.trouble and asked.hint and asked.pieces
                assert set(asked.pieces) <= set(plan.track.pieces)


# ------------------------------------------------------------------ points


def test_points_move_under_a_train() -> None:
    plan, asked = question("points-move-under-train", THROAT, "T1")
    here, moves = train(plan, "T1", "points"), happens("points move", "T1")
    assert is_so(asked, here, moves)
    assert not is_so(asked, here)
    assert not is_so(asked, moves)
    assert not is_so(asked, train(plan, "B", "left"), moves)
    assert not is_so(asked, here, happens("points move", "T2"))


def test_points_move_under_a_signal_that_lets_a_train_over_them() -> None:
    plan, asked = question("points-move-under-signal", THROAT, "In", "T2")
    moves = happens("points move", "T2")
    assert is_so(asked, shows(plan, In="Clear"), moves)
    assert is_so(asked, shows(plan, In="Diverging-Clear"), lies(T2="reverse"), moves)
    assert not is_so(asked, shows(plan, In="Stop"), moves)
    assert not is_so(asked, shows(plan, In="Clear"))
    # The facing points before lie for another route.
    assert not is_so(asked, shows(plan, In="Clear"), lies(T1="reverse"), moves)


def test_trailing_points_count_too() -> None:
    plan, asked = question("points-move-under-signal", END_OF_SIDING, "4RB", "T1")
    moves = happens("points move", "T1")
    assert is_so(asked, shows(plan, s4RB="Clear"), lies(T1="reverse"), moves)
    assert not is_so(asked, shows(plan, s4RA="Clear", s4RB="Stop"), moves)


# ------------------------------------------------------------------ route locking


def test_points_ahead_of_a_train_inside_its_route() -> None:
    plan, asked = question("route-locking", THROAT, "T2")
    moves = happens("points move", "T2")
    for piece, end in (("B", "left"), ("T1", "points"), ("C", "left")):
        assert is_so(asked, train(plan, piece, end), moves), piece
        assert not is_so(asked, train(plan, piece, end)), piece
    # Not one that goes the other way, nor one that has the points behind it.
    assert not is_so(asked, train(plan, "B", "right"), moves)
    assert not is_so(asked, train(plan, "N", "left"), moves)
    # Nor one before the signal: the route is not entered yet.
    assert not is_so(asked, train(plan, "A", "left"), moves)
    # The points between lead elsewhere; those behind the train do not matter.
    assert not is_so(asked, train(plan, "B", "left"), lies(T1="reverse"), moves)
    assert is_so(asked, train(plan, "C", "left"), lies(T1="reverse"), moves)
    # It does not matter how the points lie that move.
    assert is_so(asked, train(plan, "C", "left"), lies(T2="open"), moves)


def test_route_locking_is_not_asked_where_no_track_is_between() -> None:
    assert set(questions("route-locking", verifier.load_text(THROAT))) == {"T1", "T2"}
    assert not questions("route-locking", verifier.load_text(END_OF_SIDING))


def test_loss_of_shunt_is_asked_with_detection_lost() -> None:
    plan, asked = question("loss-of-shunt", THROAT, "T2")
    assert asked.over == "lossy"
    assert asked.advice  # no relay is slow
    moves = happens("points move", "T2")
    assert is_so(asked, train(plan, "T2", "points"), moves)
    assert is_so(asked, train(plan, "C", "left"), moves)
    assert not is_so(asked, train(plan, "A", "left"), moves)


def test_loss_of_shunt_is_no_advice_where_a_relay_is_slow() -> None:
    slow = THROAT.replace(
        "turnout T1", "relay R\n  picks when T clear\n  slow to pick 6 s\nturnout T1"
    )
    assert not question("loss-of-shunt", slow, "T1")[1].advice


def test_loss_of_shunt_is_asked_of_locked_points_that_are_thrown_by_hand() -> None:
    """A lock holds them against a hand, too, and loses the train as any other lock does."""
    by_hand = THROAT.replace("thrown by T1-lever", "thrown by hand")
    assert set(questions("loss-of-shunt", verifier.load_text(by_hand))) == {"T1", "T2"}


def test_a_false_report_is_advice_where_no_relay_releases_in_sequence() -> None:
    _, asked = question("false-occupancy", THROAT, "T2")
    assert asked.over == "blips" and asked.advice
    _, asked = question("false-occupancy", example("false-occupancy", "broken"), "T1")
    assert asked.over == "blips" and not asked.advice


# What releases the route takes the first `clear` after an `occupied` for the end of a train.
RELEASED = """
edge West entering only
edge M-End, S-End leaving only
block A, B, T, M, S
lever T1-lever positions normal, reverse
button Set
relay Route
  picks when Set pressed and Seen down and T, B clear and not T1 moving
  sticks while not (Seen up and T clear)
relay Seen picks when Route up and T occupied sticks while Route up
turnout T1 in T
  thrown by T1-lever
  locked while T occupied or Route up
track West = A | B | T1 normal | M = M-End
track T1 reverse | S = S-End
signal In at A | B
  heads upper, lower
  Clear            when Route up and T1 normal and B, T, M clear
  Diverging-Clear  when Route up and T1 reverse and B, T, S clear
  Stop             otherwise
trains never reverse
"""


def test_a_dirty_wheel_that_releases_a_route_is_told_as_a_note() -> None:
    report = verifier.prove(verifier.load_text(RELEASED))
    (found,) = [v for v in report.verdicts if v.obligation.property == "false-occupancy"]
    assert found.obligation.subjects == ("T1",)
    assert found.status == "broken" and not found.fails
    assert not any(v.fails for v in report.verdicts) and report.exit_code == 0


# ------------------------------------------------------------------ traffic, opposing signals

TRAFFIC = """
edge West, East
block W, S1, S2, E
lever 2 positions left, normal, right
traffic Way on S1, S2
  rightward when 2 right
  leftward when 2 left
track West = W | S1 | S2 | E = East
signal 2R at W | S1
  Clear  when Way rightward and S1 clear
  Stop   otherwise
signal 4R at S1 | S2
  Clear  when Way rightward and S2, E clear
  Stop   otherwise
signal 2L at E | S2
  Clear  when Way leftward and S2 clear
  Stop   otherwise
signal 4L at S2 | S1
  Clear  when Way leftward and S1, W clear
  Stop   otherwise
"""


def test_traffic_turns() -> None:
    plan, asked = question("traffic-locking", TRAFFIC, "Way")
    turns = happens("traffic turns", "Way")
    stop = shows(plan, s2R="Stop", s4R="Stop", s2L="Stop", s4L="Stop")
    assert is_so(asked, stop, train(plan, "S2", "left"), turns)
    assert not is_so(asked, stop, train(plan, "S2", "left"))
    assert not is_so(asked, stop, train(plan, "E", "left"), turns)
    assert is_so(asked, stop, shows(plan, s2R="Clear"), turns)
    assert is_so(asked, stop, shows(plan, s2L="Clear"), turns)
    # One on the track itself lets in no train that is not there already.
    assert not is_so(asked, stop, shows(plan, s4R="Clear"), turns)
    assert asked.signals == ("2R", "2L")


def test_the_first_signal_is_at_stop_while_a_train_comes_anywhere() -> None:
    plan, asked = question("opposing-signals-drop", TRAFFIC, "2R")
    clear = shows(plan, s2R="Clear")
    assert is_so(asked, clear, train(plan, "S1", "right"))
    assert is_so(asked, clear, train(plan, "S2", "right"))
    assert not is_so(asked, clear, train(plan, "S2", "left"))  # it goes ahead
    assert not is_so(asked, clear, train(plan, "E", "right"))  # it was not let in yet
    assert not is_so(asked, shows(plan, s2R="Stop"), train(plan, "S2", "right"))


def test_a_signal_farther_on_is_asked_about_its_own_route_only() -> None:
    text = TRAFFIC.replace("E = East", "E | F = East").replace("S2, E\n", "S2, E, F\n")
    plan, asked = question("opposing-signals-drop", text, "4R")
    assert is_so(asked, shows(plan, s4R="Clear"), train(plan, "S2", "right"))
    assert not is_so(asked, shows(plan, s4R="Clear"), train(plan, "S1", "right"))


def test_points_choose_which_track_a_train_would_come_against() -> None:
    plan, asked = question("opposing-signals-drop", END_OF_SIDING, "4L")
    onto = shows(plan, s4L="Clear")
    assert is_so(asked, onto, train(plan, "Main", "left"))
    assert not is_so(asked, onto, train(plan, "Siding", "left"))
    assert is_so(asked, onto, lies(T1="reverse"), train(plan, "Siding", "left"))


def test_track_worked_one_way_is_not_asked() -> None:
    assert not questions("opposing-signals-drop", verifier.load_text(THROAT))


# ------------------------------------------------------------------ told only; electric locks


def test_a_signal_clears_on_what_was_told() -> None:
    plan, asked = question("indication-locking", END_OF_SIDING, "4RB", "T1")
    clear = shows(plan, s4RB="Clear")
    assert is_so(asked, clear, told(T1="reverse"), lies(T1="open"))
    assert is_so(asked, clear, told(T1="reverse"), lies(T1="normal"))
    assert not is_so(asked, clear, told(T1="reverse"), lies(T1="reverse"))
    # Told otherwise: that is another trouble.
    assert not is_so(asked, clear, told(T1="normal"), lies(T1="open"))
    assert not is_so(asked, shows(plan, s4RB="Stop"), told(T1="reverse"), lies(T1="open"))


HAND = END_OF_SIDING.replace("thrown by T1-lever", "thrown by hand").replace(
    "locked while Switch occupied", "electric lock released when Switch clear"
)


def test_an_electric_lock_is_released_too_early() -> None:
    plan, asked = question("hand-points-unlocked", HAND, "T1")
    released = happens("lock released", "T1")
    stop = shows(plan, s4L="Stop", s4RA="Stop", s4RB="Stop")
    assert is_so(asked, stop, shows(plan, s4L="Clear"), released)
    assert not is_so(asked, stop, shows(plan, s4L="Clear"))
    assert not is_so(asked, stop, released)
    assert is_so(asked, stop, too_late("4RA"), train(plan, "Main", "left"), released)
    assert not questions("hand-points-unlocked", verifier.load_text(END_OF_SIDING))


# ------------------------------------------------------------------ trains


def test_collisions_are_asked_of_each_track_derailments_of_each_set_of_points() -> None:
    text = """
edge West, East
block A, B, T, S
turnout T1 in T
trains obey signals
track West = A | B | T1 normal | A = East
track T1 reverse | S = South
bumper South
signal 2 at A | B
  Clear  when T1 normal and A, B, T clear
  Stop   otherwise
"""
    plan = verifier.load_text(text)
    collisions = questions("collision", plan)
    assert set(collisions) == {"A", "B", "T1", "S"}
    parts = [p.name for p in plan.track.pieces.values() if p.block == "A"]
    assert len(parts) == 2
    for part in parts:
        assert is_so(collisions["A"], happens("trains meet", part))
    assert not is_so(collisions["A"], happens("trains meet", "B"))
    derailments = questions("derailment", plan)
    assert list(derailments) == ["T1"]
    assert is_so(derailments["T1"], happens("train derails", "T1"))
    assert not is_so(derailments["T1"], happens("trains meet", "T1"))


# ------------------------------------------------------------------ usefulness


def test_a_route_is_set_when_its_points_lie_for_it_and_its_signal_is_clear() -> None:
    for name in ("route-never-set", "locked-for-good"):
        plan, asked = question(name, END_OF_SIDING, "4RB to East")
        clear = shows(plan, s4RB="Clear")
        assert is_so(asked, clear, lies(T1="reverse"))
        assert not is_so(asked, clear, lies(T1="normal"))
        assert not is_so(asked, shows(plan, s4RB="Stop"), lies(T1="reverse"))


def test_a_block_is_left_when_no_train_is_on_it() -> None:
    plan, asked = question("train-cannot-leave", END_OF_SIDING, "Single")
    assert asked.over == "for good"
    assert is_so(asked)
    assert not is_so(asked, train(plan, "Single", "left"))


LOOP = """
edge West, East
block W, M, S, E, T, U
trains obey signals
turnout T1 in T
turnout T2 in U
track West = W | T1 normal  | M | normal  T2 | E = East
track            T1 reverse | S | reverse T2
signal 2E at W | T1
  Restricting  when W occupied
  Stop         otherwise
"""


def test_two_trains_meet_at_a_passing_siding() -> None:
    plan, asked = question("cannot-pass", LOOP, "T1", "T2")
    east, west = train(plan, "M", "left"), train(plan, "S", "right")
    assert is_so(asked, east, west)
    assert is_so(asked, train(plan, "M", "right"), train(plan, "S", "left"))
    assert not is_so(asked, east, train(plan, "S", "left"))  # both the same way
    assert not is_so(asked, east)
    assert not is_so(asked, train(plan, "W", "left"), train(plan, "E", "right"))


def test_only_two_turnouts_with_both_legs_joined_are_a_passing_siding() -> None:
    for text in (THROAT, END_OF_SIDING):
        assert not questions("cannot-pass", verifier.load_text(text))


# ------------------------------------------------------------------ what to write


def test_hints_speak_of_how_the_points_are_thrown() -> None:
    def hint(text: str) -> str:
        return question("points-move-under-train", text, "T1")[1].hint

    lever = "  thrown by T1-lever\n"
    other = THROAT.replace("locked while T occupied", "locked while B occupied")
    assert hint(other) == "Add `or T occupied` to the line `locked while …` of T1."
    assert "has this already" in hint(THROAT)
    unlocked = THROAT.replace("  locked while T occupied\n", "")
    assert hint(unlocked) == "Write `locked while T occupied` under `turnout T1`."
    anyone = unlocked.replace(lever, "")
    assert "`thrown by …` and `locked while T occupied`" in hint(anyone)
    by_hand = unlocked.replace(lever, "  thrown by hand\n")
    assert "`electric lock released when T clear`" in hint(by_hand)
    electric = by_hand.replace("by hand\n", "by hand\n  electric lock released when In at stop\n")
    assert hint(electric).endswith("only when also T clear: add `and T clear`.")
    dark = THROAT.replace("block A, B, T, C,", "block T undetected\nblock A, B, C,")
    assert "detector" in hint(
        dark.replace("locked while T occupied", "locked while B occupied").replace("B, T,", "B,")
    )
