"""What the locking properties ask, on moments made by hand: when it is so, and when not."""

import pytest

import verifier
from tests.properties.moments import (
    Moment,
    happens,
    is_so,
    lies,
    question,
    questions,
    shows,
    told,
    train,
)
from verifier.logic.expr import observables
from verifier.plan import facts
from verifier.properties.catalogue import BY_NAME

# Two turnouts one after the other behind one signal, with plain track between.
THROAT = """
edge West entering only
edge North-End, Middle-End, South-End leaving only
block A, B, T, C, U, N, M, S
lever T1-lever, T2-lever positions normal, reverse
turnout T1 in T
  thrown by T1-lever
  locked while T occupied
turnout T2 in U
  thrown by T2-lever
  locked while U occupied
track West = A | B | T1 normal  | C | T2 normal  | N = North-End
track                             T1 reverse | S = South-End
track                                          T2 reverse | M = Middle-End
signal In at A | B
  heads upper, lower
  Clear            when T1 normal and T2 normal and B, T, C, U, N clear
  Diverging-Clear  when T1 normal and T2 reverse and B, T, C, U, M clear
  Stop             otherwise
"""

END_OF_SIDING = """
edge West-Main, West-Siding, East
block Main, Siding, Switch, Single
lever T1-lever positions normal, reverse
turnout T1 in Switch
  thrown by T1-lever
  locked while Switch occupied
trains need 20 s to stop
track West-Main   = Main   | normal  T1 | Single = East
track West-Siding = Siding | reverse T1
signal 4L at Single | T1
  heads upper, lower
  Clear            when T1 normal and Switch, Main clear
  Diverging-Clear  when T1 reverse and Switch, Siding clear
  Stop             otherwise
signal 4RA at Main | T1
  Clear  when T1 normal and Switch, Single clear
  Stop   otherwise
signal 4RB at Siding | T1
  Clear  when T1 reverse and Switch, Single clear
  Stop   otherwise
"""

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
    assert not plan.locking.asked
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


# ------------------------------------------------------------------ approach locking


def _late(signal: str, moments: int, since: str) -> Moment:
    return Moment({facts.late(signal, moments): since})


def test_approach_locking_is_asked_where_trains_need_time_to_stop() -> None:
    assert not questions("approach-locking", verifier.load_text(THROAT))
    plan = verifier.load_text(END_OF_SIDING)
    assert set(questions("approach-locking", plan)) == {"4L", "4RA", "4RB"}


def test_nothing_is_let_go_in_the_face_of_a_train() -> None:
    plan, asked = question("approach-locking", END_OF_SIDING, "4L")
    late = {**_late("4L", 1, "0"), **train(plan, "Single", "right")}
    assert {w.values for w in observables(asked.formula) if w.kind == "late"} == {("no", "0")}
    back = shows(plan, s4L="Stop", s4RA="Stop", s4RB="Stop")
    moves = happens("points move", "T1")
    assert is_so(asked, late, back, moves)
    assert not is_so(asked, late, back)
    assert not is_so(asked, back, moves)  # nobody saw it clear
    assert not is_so(asked, late, shows(plan, s4L="Clear"), moves)  # it was not put back
    away = train(plan, "Single", "left")
    assert not is_so(asked, late, away, back, moves)  # it heads the other way
    passing = {facts.across("T1 points to Single left"): "spanned"}
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
    moves, late = happens("points move", "T3"), _late("6R", 1, "0")
    assert is_so(asked, late, back, moves, train(plan, "T1", "normal"))
    assert is_so(asked, late, back, moves, train(plan, "T1", "reverse"), lies(T1="reverse"))
    # The points lie against the one; the other heads away; here is none.
    assert not is_so(asked, late, back, moves, train(plan, "T1", "reverse"))
    assert not is_so(asked, late, back, moves, train(plan, "T1", "points"))
    assert not is_so(asked, late, back, moves)


def test_a_train_beyond_an_edge_may_be_too_late_to_stop_at_a_signal_there() -> None:
    plan, asked = question("approach-locking", NO_PLAIN_TRACK, "4R")
    back = shows(plan, **{f"s{name}": "Stop" for name in plan.signals})
    moves, late = happens("points move", "T1"), _late("4R", 1, "0")
    assert is_so(asked, late, back, moves)
    assert not is_so(asked, back, moves)
    assert "a train that comes in at West" in asked.trouble


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


def test_approach_locking_counts_time_as_the_histories_do() -> None:
    """A timer of 30 s beside the 20 s: a moment is 10 s, a train may come for two."""
    text = END_OF_SIDING.replace(
        "trains need", "timer 4L-time 30 s runs while 4L at stop\ntrains need"
    )
    _, asked = question("approach-locking", text, "4L")
    assert [w for w in observables(asked.formula) if w.kind == "late"] == [facts.late("4L", 2)]


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


def test_loss_of_shunt_is_not_asked_of_points_thrown_by_hand() -> None:
    by_hand = THROAT.replace("thrown by T1-lever", "thrown by hand")
    assert set(questions("loss-of-shunt", verifier.load_text(by_hand))) == {"T2"}


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
    assert is_so(asked, stop, _late("4RA", 1, "0"), train(plan, "Main", "left"), released)
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
    assert "asks for that already" in hint(THROAT)
    unlocked = THROAT.replace("  locked while T occupied\n", "")
    assert hint(unlocked) == "Write `locked while T occupied` under `turnout T1`."
    anyone = unlocked.replace(lever, "")
    assert "`thrown by …` and `locked while T occupied`" in hint(anyone)
    by_hand = unlocked.replace(lever, "  thrown by hand\n")
    assert "`electric lock released when T clear`" in hint(by_hand)
    electric = by_hand.replace("by hand\n", "by hand\n  electric lock released when In at stop\n")
    assert hint(electric).endswith("also T clear: `and T clear`.")
    dark = THROAT.replace("block A, B, T, C,", "block T undetected\nblock A, B, C,")
    assert "detector" in hint(
        dark.replace("locked while T occupied", "locked while B occupied").replace("B, T,", "B,")
    )


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
