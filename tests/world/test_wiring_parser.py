"""Situations of wired layouts, named in words: what people type, and what reports print."""

import pytest

import verifier
from verifier.api import situation_of
from verifier.explain.state_text import fact_words
from verifier.language.diagnostics.diagnostic import InputError
from verifier.plan.model import Plan
from verifier.plan.situation import Situation
from verifier.reports.words import inputs_of, situation_words

FILE = """
edge West, East, Team
trains {trains}
supply Track-A track power 12 V
supply Bus-1
district North fed by Track-A
block Main 2400 mm in North
  feeders m1, m2
block Siding 900 mm in North
  feeders s1
block Loop 3000 mm
block Switch in North
  feeders w1
lever T2-lever positions normal, reverse
lever 4 positions left, right
button Call
turnout T1 in Switch
  motor slow powered by Bus-1
  contacts normal, reverse
turnout T2 in Switch
  motor snap thrown by T2-lever
turnout T3 in Switch
  no contacts
track West = Main | normal T1 = Loop = normal T2 = Siding = East
track T1 reverse = T3 normal = Team
bumper End, Far
track T3 reverse = End
track Far = reverse T2
detector D-Main current-sensing through m1, m2
detector D-Loop spot on Loop at 0 mm, 1000 mm
detector D-Siding current-sensing through s1
detector D-Gate spot on Siding at 100 mm, 800 mm
driver B1 drives 2R.upper, 2R.lower
signal 2R at Main | T1 heads upper, lower
  Clear when T1 normal and Switch clear and 4 left
  Stop  otherwise
"""
TRAINS = {
    "throughout": "300 mm to 5000 mm, detectable throughout",
    "locomotive": "300 mm to 5000 mm, detectable at the locomotive only",
    "ends": "300 mm to 5000 mm, detectable at both ends",
    "short": "1 mm to 200 mm, detectable throughout",
}


def plan_of(trains: str = "locomotive") -> Plan:
    return verifier.load_text(FILE.format(trains=TRAINS[trains]))


def facts_of(plan: Plan, text: str) -> dict[str, str]:
    return {f"{what.kind} {what.name}": state for what, state in situation_of(plan, text)}


@pytest.mark.parametrize("trains", TRAINS)
def test_what_a_report_says_can_be_asked(trains: str) -> None:
    """Every single fact, in the words of the report, is read as just that fact."""
    plan = plan_of(trains)
    asked = 0
    for what in inputs_of(plan):
        for state in what.values:
            situation = Situation.of([(what, state)])
            words = fact_words(plan, what, state)
            assert situation_of(plan, words) == situation, words
            asked += 1
    assert asked > 80


def test_without_wiring_too() -> None:
    plan = verifier.load_text(
        "edge West, East, Team\nblock A, B, C, Switch\nturnout T1 in Switch\n"
        "derail D1 on C toward T1\ngate G1 on B\nlever L positions left, right\nbutton Call\n"
        "track West = A | T1 normal | B = East\ntrack T1 reverse | C = Team\n"
        "signal 1 at A | T1\n  Clear when B clear\n  Stop otherwise\n"
    )
    kinds = set()
    for what in inputs_of(plan):
        for state in what.values:
            words = fact_words(plan, what, state)
            assert situation_of(plan, words) == Situation.of([(what, state)]), words
            kinds.add(what.kind)
    assert kinds == {"stock", "points", "derail", "gate", "lever", "button"}


def test_a_whole_situation_can_be_copied_from_a_report() -> None:
    plan = plan_of()
    by_name = {f"{w.kind} {w.name}": w for w in inputs_of(plan)}
    situation = Situation.of(
        [
            (by_name["standing Main"], "drawing no current"),
            (by_name["thrown T1"], "reverse"),
            (by_name["fault supply Bus-1"], "off"),
            (by_name["lever 4"], "right"),
            (by_name["standing Loop"], "over no spot"),
        ]
    )
    words = situation_words(plan, situation, plan.inputs + tuple(w for w, _ in situation))
    assert "Siding and Switch vacant" in words
    assert situation_of(plan, words) == situation


@pytest.mark.parametrize(
    ("text", "facts"),
    [
        ("train on Main", {"standing Main": "at m1"}),
        ("Main occupied", {"standing Main": "at m1"}),
        ("Main clear", {}),
        ("train at m2", {"standing Main": "at m2"}),
        ("train at m2 on Main, lever 4 right", {"standing Main": "at m2", "lever 4": "right"}),
        ("lever 4 right, train at m2, button Call pressed",
         {"standing Main": "at m2", "lever 4": "right", "button Call": "pressed"}),
        ("cars on Main".replace("cars", "stock that draws no current"),
         {"standing Main": "drawing no current"}),
        ("train on Loop over no spot", {"standing Loop": "over no spot"}),
        ("train on Loop, over spot 2", {"standing Loop": "over spot 2"}),
        ("train at s1, over spot 1", {"standing Siding": "at s1, over spot 1"}),
        ("feeder m2 broken", {"fault feeder m2": "broken"}),
        ("feeder m2 is broken", {"fault feeder m2": "broken"}),
        ("supply Bus-1 off", {"fault supply Bus-1": "off"}),
        ("lamp 2R.upper red out", {"fault lamp 2R.upper red": "out"}),
        ("head 2R.lower dark", {"fault head 2R.lower": "dark"}),
        ("wire from T1 normal to B1 broken", {"fault wire from T1 normal to B1": "broken"}),
        ("detector D-Main stuck", {"fault detector D-Main": "stuck at clear"}),
        ("gap Main | T1 bridged, all current by way of Switch",
         {"fault gap Main | T1": "bridged, all current by way of Switch"}),
        ("machine of T1 did not obey", {"fault machine of T1": "did not obey"}),
        ("T1 reverse", {"thrown T1": "reverse"}),
        ("T1 lies reverse", {"thrown T1": "reverse"}),
        ("T1 open", {"motion T1": "moving"}),
        ("T1 still moving, T1 told to lie reverse",
         {"thrown T1": "reverse", "motion T1": "moving"}),
        ("T2 reverse", {"lever T2-lever": "reverse"}),
        ("lever T2-lever reverse", {"lever T2-lever": "reverse"}),
        ("T3 reverse", {"thrown T3": "reverse", "points T3": "reverse"}),
        ("T3 open", {"points T3": "open"}),
    ],
)  # fmt: skip
def test_what_people_type(text: str, facts: dict[str, str]) -> None:
    assert facts_of(plan_of(), text) == facts


def test_one_told_for_the_other_way_round() -> None:
    """Where nothing tells how points lie, told and lying can differ."""
    found = facts_of(plan_of(), "T3 told to lie reverse")
    assert found == {"thrown T3": "reverse"}


@pytest.mark.parametrize(
    ("text", "code", "message", "hint"),
    [
        ("feeder m22 broken", "CP201", "no feeder that can break is called `m22`", "m2"),
        ("supply Bus1 off", "CP201", "no supply that can break is called `Bus1`", "Bus-1"),
        ("lamp 2R.uper red out", "CP201", "no lamp that can break is called `2R.uper red`",
         "2R.upper red"),
        ("feeder m2 bent", "CP204", "`feeder m2` is never `bent`", "broken"),
        ("feeder m2", "CP204", "`feeder m2` is never `(no state given)`", "broken"),
        ("train at m7", "CP201", "no feeder is called `m7`", "m1"),
        ("train at m2 on Sidding", "CP201", "no block is called `Sidding`", "Siding"),
        ("train at m2 on Siding", "CP204", "`Siding` has no such place", "at s1"),
        ("train on Main over no spot", "CP204", "`Main` has no such place", "at m1"),
        ("T1 sideways", "CP204", "`turnout T1` is never `sideways`", "normal, reverse or open"),
        ("T2 open", "CP204", "`turnout T2` is never `open`", "normal or reverse"),
        ("T1 told to lie open", "CP204", "`turnout T1` is never `open`", "normal or reverse"),
        ("train at m1, Main vacant", "CP212", "`Main` cannot be `at m1` and `vacant` at once", ""),
        ("feeder m2 broken, Mian vacant", "CP201",
         "no block, turnout, derail, gate, lever, button, relay, timer or traffic is called "
         "`Mian`", "Main"),
    ],
)  # fmt: skip
def test_what_there_is_not(text: str, code: str, message: str, hint: str) -> None:
    with pytest.raises(InputError) as raised:
        situation_of(plan_of(), text)
    (diagnostic,) = raised.value.diagnostics
    assert (diagnostic.code, diagnostic.message) == (code, message)
    assert hint in diagnostic.hint


def test_errors_mark_their_part_of_the_text() -> None:
    text = "lever 4 right, feeder m22 broken, T1 reverse"
    with pytest.raises(InputError) as raised:
        situation_of(plan_of(), text)
    (diagnostic,) = raised.value.diagnostics
    assert diagnostic.span.text == "feeder m22 broken"


def test_a_layout_without_wiring_says_so() -> None:
    plan = verifier.load_text(
        "edge West, East\nblock A, B\ntrack West = A | B = East\n"
        "signal 1 at A | B\n  Clear when B clear\n  Stop otherwise\n"
    )
    with pytest.raises(InputError) as raised:
        situation_of(plan, "feeder m1 broken")
    assert raised.value.diagnostics[0].hint == "This file has no feeder that can break."
    assert facts_of(plan, "train on A and B") == {"stock A": "occupied", "stock B": "occupied"}
