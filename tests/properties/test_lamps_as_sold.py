"""Lamps as sold: what is left of a head when a part of it fails, in both semantics; wires and
programs.

49 CFR 236.23(f): the failure of a lamp never shows a less restrictive aspect than intended.
Mixtures of light and rows of lamps: common practice, no source.
"""

import pytest

from verifier.api import evaluate, load_text, prove, situation_of
from verifier.drawing.svg.picture import picture
from verifier.explain.signal_causes import causes
from verifier.exports.c_source import c_source
from verifier.exports.skeleton import pins_of, skeleton
from verifier.plan.observables import UNLISTED
from verifier.reference.evaluator import Evaluator
from verifier.reports.answers import shown_lines
from verifier.reports.ink import Ink
from verifier.sheets.aspects import aspect_sheet
from verifier.sheets.conductors import conductors
from verifier.sheets.electrical import electrical_sheet
from verifier.sheets.options import SheetOptions
from verifier.sheets.test_card import test_card_sheet as card_sheet
from verifier.verdicts.causes import CauseKind

ONE = """\
edge West, East
supply Bus-1 DC 12 V
block Near, Ahead
track West = Near | Ahead = East
signal 2 at Near | Ahead
  Clear        when Ahead clear
  Restricting  when Ahead occupied
  Stop         otherwise
driver B1 drives 2
  {made}
  powered by Bus-1
  when lamp out shows red
"""
TWO = """\
edge West, East
supply Bus-1 DC 12 V
block Near, Ahead
track West = Near | Ahead = East
aspect Stop       red over red or red over dark  stop
signal 2 at Near | Ahead
  heads upper, lower
  Clear  when Ahead clear
  Stop   otherwise
driver B1 drives 2.upper, 2.lower
  {made}
  powered by Bus-1
  lamps 15 mA
"""


def shown(text: str, facts: str) -> tuple[str, ...]:
    plan = load_text(text)
    states = evaluate(plan, situation_of(plan, facts)).states
    return tuple(states[head.lens] for s in plan.signals.values() for head in s.heads)


def broken(text: str) -> set[str]:
    """What the proof finds; each is replayed by the reference."""
    verdicts = prove(load_text(text), only=["lamp-out"]).verdicts
    return {v.obligation.subjects[0] for v in verdicts if v.status == "broken"}


@pytest.mark.parametrize(
    ("out", "left"),
    [
        ("", "lunar"), ("red", "green"), ("green", "red"), ("blue", "yellow"),
        ("red green", "lunar"), ("green blue", "red"), ("red blue", "green"),
        ("red green blue", "dark"),
    ],
)  # fmt: skip
def test_what_is_left_of_white(out: str, left: str) -> None:
    facts = ["train on Ahead", *(f"lamp 2 {led} out" for led in out.split())]
    text = ONE.format(made="three-color 2").replace("  when lamp out shows red\n", "")
    assert shown(text, ", ".join(facts)) == (left,)


def test_a_three_color_led_shows_less_restrictive_aspects_when_one_fails() -> None:
    """Restricting without red is green, and without blue yellow; without green it is red."""
    assert broken(ONE.format(made="three-color 2")) == {"lamp 2 red", "lamp 2 blue"}
    assert broken(ONE.format(made="target 2")) == set()


@pytest.mark.parametrize(
    ("out", "left"),
    [("center", "green"), ("green", "dark"), ("red", "green"), ("green center", "red")],
)
def test_a_row_is_read_without_the_lamp_in_the_middle(out: str, left: str) -> None:
    """One lamp alone is no row, though the board sees it lit; where it sees none, it shows red,
    whose row needs no middle."""
    text = ONE.format(made="position-light 2")
    assert shown(text, ", ".join(f"lamp 2 {lamp} out" for lamp in out.split())) == (left,)


def test_no_lamp_of_a_position_light_is_missed_badly() -> None:
    assert broken(ONE.format(made="position-light 2")) == set()


def test_a_common_wire_darkens_all_heads_of_the_signal() -> None:
    text = TWO.format(made="common-anode 2.upper, 2.lower")
    assert shown(text, "lamp common of 2.upper and 2.lower broken") == ("dark", "dark")
    assert shown(text, "lamp 2.upper green out") == ("dark", "red")
    alone = load_text(TWO.format(made="common-anode 2.upper"))
    assert not [f for f in alone.equipment.faults if f.name.startswith("lamp common")]


def test_the_common_wire_goes_from_head_to_head() -> None:
    plan = load_text(TWO.format(made="common-cathode 2.upper, 2.lower"))
    common = [(str(w.start), str(w.end)) for w in conductors(plan)
              if w.function.role == "lamp common"]  # fmt: skip
    assert common == [("B1 lamp common -", "2.upper common"), ("2.upper common", "2.lower common")]


def test_leds_with_a_common_anode_are_on_while_low() -> None:
    export = c_source(load_text(TWO.format(made="common-anode 2.lower")), "two", "0" * 64)
    pins = pins_of(export)
    low = {name for name, is_low in zip(pins.outputs, pins.low, strict=True) if is_low}
    assert low and all(name.startswith("lamp 2.lower") for name in low)
    assert "output_on[3] = {1, 1, 0};" in skeleton(export, "two.c")


def rows(text: str, title: str) -> list[tuple[str, ...]]:
    sheet = electrical_sheet(load_text(text), SheetOptions())
    return [row for table in sheet.tables if table.title == title for row in table.rows]


def test_resistors_of_leds_in_series_by_hand() -> None:
    """(12 - 3 x 2.0) V / 15 mA = 400 ohm; next in E24 430, in E12 470. Six volts are too few for
    three green LEDs of 2.2 V."""
    text = TWO.format(made="series of 3 in 2.upper, 2.lower")
    red = next(row for row in rows(text, "Resistors for LEDs") if row[1] == "3 x red")
    assert red[2:] == ("6 V", "12 V", "15 mA", "400 ohm", "430 ohm", "470 ohm", "1/4 W")
    low = text.replace("DC 12 V", "DC 6 V")
    green = next(row for row in rows(low, "Resistors for LEDs") if row[1] == "3 x green")
    assert "too few volts" in green


def test_cold_bulbs_by_hand() -> None:
    """Ten times 50 mA at an output of 100 mA; two of them at a supply of 500 mA."""
    made = "incandescent 2.upper, 2.lower\n  outputs 4 of 100 mA"
    text = TWO.format(made=made).replace("15 mA", "50 mA").replace("12 V", "12 V 500 mA")
    assert [row[1:] for row in rows(text, "Bulbs")] == [
        ("50 mA", "500 mA", "100 mA", "TOO MUCH"),
        ("100 mA", "1 A", "500 mA", "TOO MUCH: it may not start"),
    ]
    assert rows(text, "Resistors for LEDs") == []


def test_the_lamps_of_a_row_draw_together_what_the_file_says_by_hand() -> None:
    """Of 40 mA the middle LED gets half by its own output, (12 - 2.1) V / 20 mA = 495 ohm; the two
    outer ones share the other: in series with (12 - 4.2) V / 20 mA = 390 ohm, else 10 mA and
    990 ohm each."""
    text = ONE.format(made="position-light 2\n  lamps 40 mA")
    found = {row[1]: (row[4], row[5]) for row in rows(text, "Resistors for LEDs")}
    middle = {"yellow, in the middle": ("20 mA", "495 ohm")}
    assert found == {**middle, "yellow, outer": ("10 mA", "990 ohm")}
    (load,) = rows(text, "Load")
    one, each = (float(found[f"yellow, {led}"][0].split()[0]) for led in ("in the middle", "outer"))
    assert one + 2 * each == pytest.approx(40) and load[4] == "40 mA"
    in_series = text.replace("position-light 2", "position-light 2\n  series of 2 in 2")
    found = {row[1]: (row[4], row[5]) for row in rows(in_series, "Resistors for LEDs")}
    assert found == {**middle, "2 x yellow, outer": ("20 mA", "390 ohm")}


def test_an_output_bears_no_more_than_its_part_of_a_row() -> None:
    """40 mA by two outputs are 20 mA each; cold 200 mA. Heads of one board that differ have a row
    each."""
    made = "position-light 2\n  incandescent 2\n  outputs 4 of 200 mA\n  lamps 40 mA"
    text = ONE.format(made=made)
    assert rows(text, "Bulbs")[0] == ("an output of B1", "20 mA", "200 mA", "200 mA", "yes")
    made = "position-light 2.upper\n  incandescent 2.upper, 2.lower\n  outputs 5 of 200 mA"
    both = rows(TWO.format(made=made).replace("15 mA", "40 mA"), "Bulbs")[:2]
    assert both == [
        ("an output of B1 for 2.upper", "20 mA", "200 mA", "200 mA", "yes"),
        ("an output of B1 for 2.lower", "40 mA", "400 mA", "200 mA", "TOO MUCH"),
    ]


def test_the_card_says_what_green_is_and_looks_at_the_lamp_in_the_middle() -> None:
    plan = load_text(ONE.format(made="position-light 2"))
    rows_are = "2: lunar is the other diagonal row, green the vertical one, red the horizontal one."
    card = card_sheet(plan, SheetOptions())
    assert rows_are in card.notes and rows_are in aspect_sheet(plan).notes
    why = {row[0]: row[1] for t in card.tables if "cannot show" in t.title for row in t.rows}
    assert why["lamp 2 center is out"] == (
        "the row is read without it; look at the middle lamp in any step"
    )
    lamps = load_text(ONE.format(made="target 2"))
    assert not any("horizontal" in note for note in aspect_sheet(lamps).notes)


ARMS = """\
edge West, East
supply Bus-1 DC 12 V
block A, B, C
track West = A | B | C = East
signal 2 at A | B
  Clear     when B clear and 4 proceeds
  Approach  when B clear
  Stop      otherwise
signal 4 at B | C
  Clear  when C clear
  Stop   otherwise
driver B1 drives 2, 4
  semaphore 2, 4
  powered by Bus-1
"""


@pytest.mark.parametrize(
    ("facts", "arms"),
    [
        ("", ("green", "green")), ("arm wire 2 green broken", ("red", "green")),
        ("train on C, arm wire 2 yellow broken", ("red", "red")),
        ("arm wire 2 yellow broken", ("green", "green")), ("supply Bus-1 off", ("red", "red")),
    ],
)  # fmt: skip
def test_an_arm_falls_to_stop(facts: str, arms: tuple[str, str]) -> None:
    assert shown(ARMS, facts) == arms


def test_the_signal_before_must_know_that_an_arm_fell() -> None:
    """With a contact at the arm the board takes signal 4 to be at stop, and 2 shows Approach."""
    assert broken(ARMS) == {"arm wire 4 green"}
    watched = ARMS + "  when lamp out shows red\n"
    assert broken(watched) == set()
    assert shown(watched, "arm wire 4 green broken") == ("yellow", "red")


def test_sheets_say_how_an_arm_shows_a_color() -> None:
    notes = aspect_sheet(load_text(ARMS)).notes
    assert "2: green is the arm vertical, yellow diagonal, red horizontal." in notes
    assert "4: green is the arm vertical, red horizontal." in notes


def test_an_arm_has_a_wire_for_each_position_but_stop() -> None:
    plan = load_text(ARMS)
    names = [w.name for w in conductors(plan) if w.function.role == "lamp"]
    assert names == ["arm wire 2 green", "arm wire 2 yellow", "arm wire 4 green"]
    assert {f.name for f in plan.equipment.faults} >= set(names)
    assert not [f for f in plan.equipment.faults if f.name.startswith(("lamp", "head"))]
    export = c_source(plan, "arms", "0" * 64)
    assert pins_of(export).outputs == ["arm 2 green", "arm 2 yellow", "arm 4 green"]
    assert "drive(0, out.head_2 == COLOR_GREEN);" in skeleton(export, "arms.c")


@pytest.mark.parametrize(
    ("change", "short", "told"),
    [
        (("", ""), True, "2 and 4"),  # a contact at each arm
        (("inputs 1", "inputs 2"), False, "2 and 4"),
        (("  when lamp out shows red\n", ""), False, ""),
        (("semaphore 2, 4", "semaphore 4"), False, "4"),
        (("  Clear  when C clear\n", ""), False, "2"),  # an arm that never rises has none
    ],
)
def test_an_arm_that_its_board_watches_takes_an_input(
    change: tuple[str, str], short: bool, told: str
) -> None:
    """Both derivations count it; else the proof would end in an internal error."""
    text = ARMS + "  inputs 1\n  when lamp out shows red\n"
    report = prove(load_text(text.replace(*change)), only=["driver-short-of-inputs"])
    assert [v.status == "broken" for v in report.verdicts] == [short]
    said = [text for text in report.assumed if "contacts by which boards know" in text]
    assert len(said) == bool(told) and all(f"the arms of {told} lie" in text for text in said)


LIT = """\
edge West, East
supply Bus-1 DC 12 V
supply Rail track power 15 V
district All fed by Rail
block A, C
block B in All
  feeders b1
track West = A | B | C = East
detector D-B current-sensing through b1 powered by Bus-1
signal 2 at A | B
  Clear     when B clear and 4 proceeds
  Approach  when B clear
  Stop      otherwise
signal 4 at B | C
  Clear  when C clear
  Stop   otherwise
driver B1 drives 2, 4
  approach-lit 4
  powered by Bus-1
  when lamp out shows red
"""


@pytest.mark.parametrize(
    ("facts", "lens", "read"),
    [
        ("", "dark", "Clear"),  # nobody reads it; one who came would read Clear
        ("train on C", "dark", "Stop"),
        ("train on B", "green", "Clear"),
        ("train on B, feeder b1 broken", "dark", "an unlisted combination"),
        ("lamp 4 green out", "dark", "Stop"),  # once lit, the board sees that
        ("head 4 dark", "dark", "an unlisted combination"),
        ("train on B, lamp 4 green out", "red", "Stop"),
    ],
)  # fmt: skip
def test_a_head_that_a_train_lights(facts: str, lens: str, read: str) -> None:
    plan = load_text(LIT)
    states = evaluate(plan, situation_of(plan, facts)).states
    signal = plan.signals["4"]
    assert states[signal.heads[0].lens] == lens
    assert states[signal.reading] == (read if read in signal.reading.values else UNLISTED)


def test_a_dark_signal_is_called_dark_and_what_it_would_show_is_said() -> None:
    plan = load_text(LIT)

    def said(facts: str) -> tuple[str, str]:
        *drawn, _, last = shown_lines(plan, situation_of(plan, facts), Ink())
        return last, " ".join(drawn)

    last, drawn = said("")
    assert last == "   4  dark (would show Clear: proceed)" and "4 dark -" in drawn
    last, drawn = said("train on B")
    assert last == "   4  Clear (green): proceed" and "4 Clear G" in drawn
    # A train is there, and its detector misses it: nothing else would be shown.
    last, drawn = said("train on B, feeder b1 broken")
    assert last == "   4  an unlisted combination (dark)" and "4 unlisted -" in drawn
    svg = picture(plan, evaluate(plan, situation_of(plan, ""))).content
    assert ">dark<" in svg and svg.count(">Clear<") == 1


def test_why_says_that_an_unlit_signal_is_judged_by_what_it_would_show() -> None:
    plan = load_text(LIT)
    judged = "4 is judged by what it would show to a train: none is before it now"

    def why(facts: str) -> str:
        return " ".join(shown_lines(plan, situation_of(plan, facts), Ink(), why=True))

    assert judged in why("lamp 4 green out")

    def kind(facts: str) -> CauseKind:
        return causes(plan, Evaluator(plan), situation_of(plan, facts), ("4",))[0].kind

    assert kind("") is CauseKind.WOULD_SHOW and kind("train on B") is CauseKind.SHOWS
    assert judged not in why("") and judged not in why("train on B, lamp 4 green out")


def test_a_lamp_that_failed_while_it_was_dark() -> None:
    assert broken(LIT) == {"lamp 4 green", "head 4"}
    tested = LIT.replace("approach-lit 4", "approach-lit 4 tested-unlit 4")
    assert broken(tested) == set()
    assert shown(tested, "lamp 4 green out") == ("yellow", "dark")


TWO_LIT = """\
edge West entering only
edge Main-East, Side-East leaving only
block A, S, M, D
turnout T1 in S
track West = A | T1 normal | M = Main-East
track T1 reverse | D = Side-East
signal 2 at A | T1
  heads upper, lower
  Clear            when T1 normal and S, M clear
  Diverging-Clear  when T1 reverse and S, D clear
  Stop             otherwise
driver B1 drives 2.upper, 2.lower
  approach-lit 2.upper, 2.lower
  when lamp out shows red
"""


@pytest.mark.parametrize("where", ["", "train on A, "])
def test_a_board_sees_a_lamp_fail_as_soon_as_a_train_lights_it(where: str) -> None:
    plan = load_text(TWO_LIT)
    states = evaluate(plan, situation_of(plan, f"{where}T1 reverse, lamp 2.upper red out")).states
    assert states[plan.signals["2"].reading] == "Stop"


def test_the_moment_before_a_board_reacts_counts_nowhere() -> None:
    """Dark over green, which is Clear, is read where nothing reacts to a red lamp that is out."""
    assert broken(TWO_LIT) == set()
    unseen = TWO_LIT.replace("  when lamp out shows red\n", "")
    assert broken(unseen) == {"lamp 2.upper red", "head 2.upper"}


def test_the_program_lights_it_for_a_train() -> None:
    text = skeleton(c_source(load_text(LIT), "lit", "0" * 64), "lit.c")
    assert "in.block_B == BLOCK_OCCUPIED && (lit(out.head_4, COLOR_GREEN))" in text
    assert "in.lamp_4 = !(in.block_B == BLOCK_OCCUPIED) || closed(" in text
    assert "drive_lamp(0, lit(out.head_2, COLOR_GREEN));" in text
