"""Two-color LEDs: what is left of yellow, in the solver's world and in the reference.

49 CFR 236.23(f): the failure of a lamp never shows a less restrictive aspect than intended.
"""

import pytest

from verifier.api import evaluate, load_text, prove, situation_of
from verifier.exports.c_source import c_source
from verifier.exports.equivalence import Equivalent, compare
from verifier.exports.skeleton import skeleton
from verifier.language.diagnostics.diagnostic import InputError
from verifier.sheets.conductors import conductors

SIGNAL = """\
edge West, East
supply Bus-1 DC 12 V
block Near, Ahead, Beyond
track West = Near | Ahead | Beyond = East
signal 2R at Near | Ahead
  {proceed}
  {caution}
  Stop      otherwise
signal 4R at Ahead | Beyond
  Clear  when Beyond clear
  Stop   otherwise
driver B1 drives 2R
  two-color 2R
  powered by Bus-1
driver B2 drives 4R
  powered by Bus-1
  when lamp out shows red
"""
CLEAR, APPROACH = "Clear     when Ahead clear and 4R proceeds", "Approach  when Ahead clear"
TWO = SIGNAL.format(proceed=CLEAR, caution=APPROACH)
ADVANCE = "aspect Advance-Approach flashing yellow proceed prepared to stop at second signal\n"
FLASHING = ADVANCE + SIGNAL.format(
    proceed="Advance-Approach  when Ahead clear and 4R proceeds", caution=APPROACH
)


def broken(text: str) -> set[str]:
    verdicts = prove(load_text(text), only=["lamp-out"]).verdicts
    return {v.obligation.subjects[0] for v in verdicts if v.status == "broken"}


def test_yellow_without_its_red_is_read_as_green() -> None:
    assert broken(TWO) == {"lamp 2R red"}
    assert broken(TWO.replace("  two-color 2R\n", "  when lamp out shows red\n")) == set()
    assert broken(TWO.replace("two-color 2R", "two-color 2R\n  when lamp out shows red")) == {
        "lamp 2R red"
    }


@pytest.mark.parametrize(
    ("lamps", "shown"),
    [
        ("", "yellow"), ("lamp 2R red out", "green"), ("lamp 2R green out", "red"),
        ("lamp 2R red out, lamp 2R green out", "dark"), ("head 2R dark", "dark"),
    ],
)  # fmt: skip
def test_what_is_left_of_yellow(lamps: str, shown: str) -> None:
    plan = load_text(TWO)
    lens = plan.signals["2R"].heads[0].lens
    situation = ", ".join(filter(None, ("train on Beyond", lamps)))
    assert evaluate(plan, situation_of(plan, situation)).states[lens] == shown


def test_a_flashing_yellow_leaves_a_flashing_green() -> None:
    plan = load_text(FLASHING)
    seen = evaluate(plan, situation_of(plan, "lamp 2R red out"))
    assert seen.states[plan.signals["2R"].heads[0].lens] == "flashing green"
    assert "lamp 2R red" in broken(FLASHING)  # replayed by the reference


def test_it_has_two_lamps_and_two_wires() -> None:
    lamps = [w.end.port for w in conductors(load_text(TWO)) if w.function.role == "lamp"]
    assert sorted(lamps) == ["green", "green", "red", "red"]


def test_the_program_lights_both_for_yellow() -> None:
    export = c_source(load_text(TWO), "two", "0" * 64)
    assert isinstance(compare(export), Equivalent)
    text = skeleton(export, "two.c")
    for lamp in ("RED", "GREEN"):
        assert f"COLOR_{lamp}) || lit(out.head_2R, COLOR_YELLOW)" in text or (
            f"COLOR_YELLOW) || lit(out.head_2R, COLOR_{lamp})" in text
        )


def test_a_color_that_no_two_leds_make() -> None:
    lunar = TWO.replace("Approach  when", "Restricting when")
    lunar = "aspect Restricting lunar proceed at restricted speed\n" + lunar
    with pytest.raises(InputError) as raised:
        load_text(lunar)
    (found,) = raised.value.diagnostics
    assert found.code == "CP674"
    assert found.message == "`2R` is a two-color LED, and has to show lunar"
