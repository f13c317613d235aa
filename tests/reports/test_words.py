"""Facts of wired situations, as every report words them."""

from dataclasses import replace

import pytest

import verifier
from tests.junction_files import spec
from tests.proofs import proved
from verifier.explain.state_text import fact_words
from verifier.explain.stock_text import stock_stands
from verifier.language.listing import several
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.reports.words import inputs_of, situation_words, told_findings

FILE = """
edge West, East, Team
trains {trains}
supply Track-A track power 12 V
supply Bus-1
district North fed by Track-A
block Main {main} in North
  feeders m1, m2
block Loop 3000 mm
block Siding 900 mm in North
  feeders s1
block Switch
turnout T1 in Switch
  motor slow powered by Bus-1
track West = Main | normal T1 | Loop | Siding = East
track T1 reverse = Team
detector D-Main current-sensing through m1, m2 {sensitivity}
detector D-Loop spot on Loop at 0 mm, 1000 mm
detector D-Siding current-sensing through s1
detector D-Gate spot on Siding at 100 mm, 800 mm
driver B1 drives 2R.upper, 2R.lower
signal 2R at Main | T1 heads upper, lower
  Clear when T1 normal
  Stop  otherwise
"""


def plan_of(
    trains: str = "600 mm to 900 mm, detectable throughout",
    main: str = "1500 mm",
    sensitivity: str = "",
) -> Plan:
    return verifier.load_text(FILE.format(trains=trains, main=main, sensitivity=sensitivity))


def named(plan: Plan) -> dict[str, Observable]:
    return {f"{what.kind} {what.name}": what for what in inputs_of(plan)}


@pytest.mark.parametrize(
    ("about", "state", "words"),
    [
        ("standing Main", "at m2", "train at m2 on Main"),
        ("standing Main", "vacant", "Main vacant"),
        ("standing Loop", "over no spot",
         "a train of 600 mm on Loop from 200 mm to 800 mm, over no spot"),
        ("standing Loop", "over spot 1",
         "a train of 600 mm on Loop up to 300 mm, the rest of it beyond the left end, over spot 1"),
        ("standing Siding", "at s1, over spots 1 to 2",
         "a train of 700 mm at s1 on Siding from 100 mm to 800 mm, over spots 1 to 2"),
        ("thrown T1", "reverse", "T1 told to lie reverse"),
        ("motion T1", "moving", "T1 still moving"),
        ("motion T1", "settled", "T1 at rest"),
        ("fault feeder m1", "broken", "feeder m1 broken"),
        ("fault supply Bus-1", "off", "supply Bus-1 off"),
        ("fault lamp 2R.upper red", "out", "lamp 2R.upper red out"),
        ("fault machine of T1", "stopped between its ends",
         "machine of T1 stopped between its ends"),
    ],
)  # fmt: skip
def test_facts(about: str, state: str, words: str) -> None:
    plan = plan_of()
    what = named(plan)[about]
    assert state in what.values
    assert fact_words(plan, what, state) == words


@pytest.mark.parametrize(
    ("trains", "sensitivity", "words"),
    [
        ("600 mm to 900 mm, detectable at the locomotive only", "",
         "stock that draws no current on Main"),
        ("600 mm to 900 mm, detectable throughout, wheelsets 20 kohm", "sensitivity 2 mA",
         "stock that draws too little current on Main"),
        ("600 mm to 5000 mm, detectable at both ends", "",
         "the middle of a train, which draws no current, on Main"),
    ],
)  # fmt: skip
def test_stock_that_is_not_seen(trains: str, sensitivity: str, words: str) -> None:
    plan = plan_of(trains, sensitivity=sensitivity)
    what = named(plan)["standing Main"]
    assert fact_words(plan, what, "drawing no current") == words


@pytest.mark.parametrize(
    ("number", "words"), [(0, "0 checks"), (1, "1 check"), (2, "2 checks"), (1000, "1,000 checks")]
)
def test_what_is_counted(number: int, words: str) -> None:
    assert several(number, "check") == words


def test_where_stock_stands_as_a_sentence() -> None:
    plan = plan_of()
    said = {p.name: stock_stands(plan, "Main", p) for p in plan.equipment.places["Main"]}
    assert said["at m1"] == "a train stands at m1 on Main"


def test_what_is_broken_comes_first_and_vacant_track_last() -> None:
    plan = plan_of()
    by = named(plan)
    situation = Situation.of([(by["standing Main"], "at m1"), (by["fault feeder m1"], "broken")])
    relevant = [by["standing Loop"], by["standing Main"], by["motion T1"], by["fault feeder m1"]]
    assert situation_words(plan, situation, relevant) == (
        "feeder m1 broken; train at m1 on Main; T1 at rest; Loop vacant"
    )


@pytest.mark.xdist_group("hand-thrown-switch-broken")  # where it is proved
def test_what_a_lesson_expects_comes_before_notes() -> None:
    report = proved(spec("hand-thrown-switch-broken"))
    told = told_findings(report, lessons=True, everything=True)
    ranks = [0 if v.fails else 1 if v.expected else 2 for v in told]
    assert ranks == sorted(ranks) and 1 in ranks
    # The first of them as a note: it goes behind.
    noted = replace(told[0], expected=False, obligation=replace(told[0].obligation, advice=True))
    verdicts = tuple(noted if v is told[0] else v for v in report.verdicts)
    again = told_findings(replace(report, verdicts=verdicts), lessons=True, everything=True)
    assert again[0].expected and again[-1] is noted


YARD = """
edge West, Main-East, Siding-East
trains 300 mm to 900 mm
block Single, Main, Siding
block Switch 600 mm
turnout T1 in Switch
track West = Single | T1 normal | Main = Main-East
track T1 reverse | Siding = Siding-East
detector D-Switch spot on Switch at 0 mm, 300 mm over T1, 600 mm over {} T1
signal 2 at Single | T1
  Stop otherwise
"""


@pytest.mark.parametrize(("watched", "blind"), [("normal", "reverse"), ("reverse", "normal")])
def test_over_which_leg_a_train_stands_that_no_spot_there_sees(watched: str, blind: str) -> None:
    plan = verifier.load_text(YARD.format(watched))
    what = named(plan)["standing Switch"]
    assert fact_words(plan, what, "over no spot") == (
        f"a train of 300 mm on Switch from 450 mm over {blind} T1, the rest of it beyond the right "
        "end, over no spot"
    )
    # Before the points the distance alone tells.
    assert fact_words(plan, what, "over spot 1") == (
        "a train of 300 mm on Switch up to 150 mm, the rest of it beyond the left end, over spot 1"
    )
