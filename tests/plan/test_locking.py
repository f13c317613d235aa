"""What a file says of memory, time and locking, as the plan has it."""

from fractions import Fraction

import pytest

from verifier.api import load_text
from verifier.plan.model import Plan
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not, facts_in

PLAIN = """\
edge West, Yard, East
block Main, Siding, Switch, Single
track West = Main   | normal  T1 | Single = East
track Yard = Siding | reverse T1
signal 4L at Single | T1
  Stop otherwise
signal 4R at Main | T1
  Stop otherwise
button N, R
lever T1-lever positions normal, reverse
"""


def plan_of(text: str, turnout: str = "") -> Plan:
    return load_text(f"{PLAIN}turnout T1 in Switch {turnout}\n{text}")


def words(condition: Condition | None) -> str:
    """A condition as text, its structure in signs."""
    match condition:
        case Fact(text=text):
            return text
        case Not(part=part):
            return f"!{words(part)}"
        case All(parts=parts):
            return f"({' & '.join(map(words, parts))})"
        case AnyOne(parts=parts):
            return f"({' + '.join(map(words, parts))})"
        case _:
            return "-"


def test_a_relay() -> None:
    relays = plan_of(
        "relay A picks when N pressed\n"
        "relay B\n  picks when A up and Main clear\n  sticks while not (Switch occupied)\n"
        "  slow to pick 1500 ms\n  slow to release 2 s\n"
    ).locking.relays
    assert words(relays["A"].picks) == "N pressed"
    assert (relays["A"].sticks, relays["A"].slow_pick, relays["A"].slow_release) == (None,) * 3
    assert words(relays["B"].picks) == "(A up & Main clear)"
    assert words(relays["B"].sticks) == "!Switch occupied"
    assert (relays["B"].slow_pick, relays["B"].slow_release) == (Fraction(3, 2), Fraction(2))


def test_several_relays_in_one_state_are_all_in_it() -> None:
    plan = plan_of("relay A picks when A, B down\nrelay B picks when any of A, B up\n")
    assert words(plan.locking.relays["A"].picks) == "(A down & B down)"
    assert words(plan.locking.relays["B"].picks) == "(A up + B up)"


def test_a_timer() -> None:
    timer = plan_of("timer X 30 s runs while 4L at stop and X running").locking.timers["X"]
    assert (timer.seconds, words(timer.runs)) == (Fraction(30), "(4L at stop & X running)")


def test_traffic() -> None:
    text = "traffic W on Single, Main\n  rightward when N pressed\n  leftward when R pressed\n"
    way = plan_of(text).locking.traffic["W"]
    assert (way.blocks, way.locked) == (("Single", "Main"), None)
    assert (words(way.rightward), words(way.leftward)) == ("N pressed", "R pressed")
    way = plan_of(f"{text}  locked while W leftward and Single occupied\n").locking.traffic["W"]
    assert words(way.locked) == "(W leftward & Single occupied)"


def test_memory_is_in_the_order_of_the_file_and_comes_last_among_the_inputs() -> None:
    plan = plan_of(
        "timer B 1 s runs while Main clear\nrelay C picks when Main clear\n"
        "traffic A on Main rightward when N pressed leftward when R pressed\n"
        "relay D picks when Main clear\n"
    )
    assert plan.locking.memory == ("B", "C", "A", "D")
    kinds = [(what.kind, what.name) for what in plan.inputs]
    assert kinds[-4:] == [("timer", "B"), ("relay", "C"), ("traffic", "A"), ("relay", "D")]
    assert plan.unwired_inputs == plan.inputs
    assert ("points", "T1") in kinds


@pytest.mark.parametrize(
    ("clauses", "by", "lever", "buttons", "reverse", "locked", "electric", "snap"),
    [
        ("thrown by T1-lever", "lever", "T1-lever", (), "-", "-", False, False),
        ("thrown by N, R", "buttons", None, ("N", "R"), "-", "-", False, False),
        ("thrown by hand", "hand", None, (), "-", "-", False, False),
        ("thrown reverse when Main clear", "rule", None, (), "Main clear", "-", False, False),
        ("locked while Main clear", "anyone", None, (), "-", "Main clear", False, False),
        ("motor snap", "anyone", None, (), "-", "-", False, True),
        ("motor slow 3 s", "anyone", None, (), "-", "-", False, False),
        ("thrown by hand electric lock released when Main clear", "hand", None, (), "-",
         "!Main clear", True, False),
        ("thrown by hand locked while Siding clear electric lock released when Main clear",
         "hand", None, (), "-", "(Siding clear + !Main clear)", True, False),
        ("thrown by N, R locked while Ready motor snap", "buttons", None, ("N", "R"), "-", "Ready",
         False, True),
    ],
)  # fmt: skip
def test_how_a_turnout_is_thrown(
    clauses: str,
    by: str,
    lever: str | None,
    buttons: tuple[str, ...],
    reverse: str,
    locked: str,
    electric: bool,
    snap: bool,
) -> None:
    throw = plan_of("condition Ready is Main clear\n", clauses).locking.throws["T1"]
    assert (throw.by, throw.lever, throw.buttons) == (by, lever, buttons)
    assert (words(throw.away_when), words(throw.locked)) == (reverse, locked)
    assert (throw.electric, throw.snap) == (electric, snap)


def test_a_turnout_of_which_nothing_is_said_has_no_throw() -> None:
    assert plan_of("").locking.throws == {}
    assert plan_of("", "contacts normal, reverse").locking.throws == {}


def test_only_wires_make_a_wired_turnout() -> None:
    wired = plan_of("", "thrown by T1-lever motor slow 3 s").wiring.machines["T1"]
    assert (wired.lever, wired.motor) == ("T1-lever", "slow")
    assert "T1" in plan_of("", "thrown by T1-lever").wiring.machines
    for clauses in ("thrown by N, R", "thrown by hand", "thrown reverse when Main clear",
                    "locked while Main clear"):  # fmt: skip
        plan = plan_of("", clauses)
        assert not plan.wiring.given, clauses
        assert plan.locking.throws["T1"].device == "T1"


def test_a_lever_called_hand_throws_nothing() -> None:
    throw = plan_of("lever hand positions normal, reverse\n", "thrown by hand").locking.throws["T1"]
    assert (throw.by, throw.lever) == ("hand", None)


def test_a_slip_is_thrown_and_locked_too() -> None:
    plan = load_text(
        "edge A, B, C, D\nblock Throat, E, F, G, H\nbutton N, R\n"
        "slip P1 in Throat single along to across thrown by N, R locked while E clear\n"
        "track A = E | along P1 | F = B\ntrack C = G | across P1 | H = D\n"
    )
    throw = plan.locking.throws["P1"]
    assert (throw.by, words(throw.locked)) == ("buttons", "E clear")
    assert not plan.wiring.given


def test_a_named_route_and_its_states() -> None:
    plan = plan_of(
        "route In from 4L to West\nroute Off from 4L to Yard via T1 reverse\n"
        "condition A is In clear\ncondition B is In lined\ncondition C is In, Off clear\n"
    )
    assert plan.locking.routes["In"].route == "4L to West"
    assert plan.locking.routes["Off"].route == "4L to Yard"
    route = next(r for r in plan.routes if r.name == "4L to West")
    asked = {n: tuple(facts_in(c.condition)) for n, c in plan.conditions.items()}
    assert [(s.what.kind, s.what.name, s.values) for s in asked["A"]] == [
        ("block report", block, ("clear",)) for block in route.blocks
    ]
    assert [(s.what.kind, s.what.name, s.values) for s in asked["B"]] == [
        ("points report", "T1", ("normal",))
    ]
    assert {s.what.name for s in asked["C"]} == {"Switch", "Main", "Siding"}


def test_a_route_by_way_of_a_crossover() -> None:
    plan = load_text(
        "edge A, B, C, D\nblock M1, M2, N1, N2, X1, X2\nturnout T1 in X1\nturnout T2 in X2\n"
        "crossover K1 is T1, T2\n"
        "track A = M1 | T1 normal | M2 = B\ntrack C = N1 | normal T2 | N2 = D\n"
        "track T1 reverse | reverse T2\nsignal 2 at M1 | T1\n  Stop otherwise\n"
        "route Over from 2 to D via K1 reverse\n"
    )
    assert plan.locking.routes["Over"].route == "2 to D"


def test_how_trains_run() -> None:
    running = plan_of("").locking.running
    assert (running.reverse_on, running.to_stop, running.start_on) == (None, None, ())
    running = plan_of(
        "trains reverse on Main, Siding\ntrains need 20 s to stop\ntrains start on Main"
    ).locking.running
    assert running.reverse_on == ("Main", "Siding")
    assert (running.to_stop, running.start_on) == (Fraction(20), ("Main",))
    assert plan_of("trains never reverse").locking.running.reverse_on == ()


def test_trains_enter_while_a_condition_holds() -> None:
    text = PLAIN.replace("edge West, Yard, East", "edge West\nedge Yard, East entering when X down")
    locking = load_text(f"{text}turnout T1 in Switch\nrelay X picks when Main clear\n").locking
    assert {n: words(c) for n, c in locking.running.entering.items()} == {
        "Yard": "X down", "East": "X down",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("text", "turnout", "asked"),
    [
        ("", "", False),
        ("route A from 4L to West\n", "", False),
        ("", "thrown by T1-lever", False),
        ("", "motor snap", False),
        ("", "thrown by hand", True),
        ("", "thrown by N, R", True),
        ("", "thrown reverse when Main clear", True),
        ("", "locked while Main clear", True),
        ("", "thrown by T1-lever locked while Main clear", True),
        ("relay A picks when Main clear\n", "", True),
        ("timer A 3 s runs while Main clear\n", "", True),
        ("traffic A on Main rightward when N pressed leftward when R pressed\n", "", True),
        ("trains obey signals\n", "", True),
        ("trains never reverse\n", "", True),
        ("trains start on Main\n", "", True),
        ("edge North entering when Main clear\nblock Lead\nbumper Post\n"
         "track North = Lead = Post\n", "", True),
    ],
)  # fmt: skip
def test_what_is_proved_over_time(text: str, turnout: str, asked: bool) -> None:
    assert plan_of(text, turnout).locking.over_time is asked
