"""Indicators and bells of the panel: what people take them for, in both semantics; wires, current,
programs, parts.

That a dark lamp may have burned out: common practice, no source.
"""

from dataclasses import replace

import pytest

from verifier.api import evaluate, load_text, prove, situation_of
from verifier.exports.c_source import c_source
from verifier.exports.equivalence import Equivalent, NotEquivalent, compare
from verifier.exports.skeleton import pins_of
from verifier.language.diagnostics.diagnostic import InputError
from verifier.sheets.buying.bill_of_materials import bill_of_materials
from verifier.sheets.conductors import conductors
from verifier.sheets.terminals import harness

TEXT = """\
edge West entering only
edge East, Mill leaving only
supply Bus-1 DC 12 V 40 mA
block Near, Switch, Main, Spur
turnout T1 in Switch
  contacts normal, reverse
track West = Near | T1 normal  | Main = East
track               T1 reverse | Spur = Mill
signal 2 at Near | T1
  heads upper, lower
  Clear            when T1 normal and Switch, Main clear
  Diverging-Clear  when T1 reverse and Switch, Spur clear
  Stop             otherwise
driver B1 drives 2.upper, 2.lower
  powered by Bus-1
  when lamp out shows red
driver B2 drives {names}
  powered by Bus-1
  lamps 15 mA
"""


def with_panel(*lines: str) -> str:
    return TEXT.format(names=", ".join(line.split()[1] for line in lines)) + "\n".join(lines)


def misled(text: str) -> set[str]:
    """The faults with which an indicator lets people rely on what is not so."""
    rows = prove(load_text(text)).failures
    return {row.faults[0] for row in rows if row.consequence == "false indication"}


@pytest.mark.parametrize(
    ("condition", "dark_is_relied_on"),
    [
        ("Main clear", False),
        ("Main occupied", True),
        ("not Main clear", True),
        ("T1 normal", False),
        ("T1 moving", True),
        ("2 at stop", False),
        ("2 proceeds", True),
        ("2.upper red", False),
        ("2.upper green", True),
        ("Main clear and Switch clear", False),
        ("any of Main, Switch occupied", True),
    ],
)
def test_what_is_relied_on_while_dark_is_not_so_with_a_broken_wire(
    condition: str, dark_is_relied_on: bool
) -> None:
    found = misled(with_panel(f"indicator K lit when {condition}"))
    # (The signal is dark, too, where its supply is off.)
    dark = {"wire to K", "power wire of B2"}
    assert found & dark == (dark if dark_is_relied_on else set())


def test_one_that_says_the_contrary_while_lit_is_gone_by() -> None:
    dark = "indicator K lit when Main occupied"
    assert not misled(with_panel(dark, "indicator G lit when Main clear"))
    assert not misled(with_panel(dark, "indicator G lit when Main clear and Switch clear"))
    # Of another block, or only perhaps.
    assert misled(with_panel(dark, "indicator G lit when Switch clear"))
    assert misled(with_panel(dark, "indicator G lit when Main clear or Switch clear"))


def test_contacts_that_say_nothing_of_one_way_mislead_without_a_fault() -> None:
    text = with_panel("indicator N lit when T1 normal").replace(
        "contacts normal, reverse", "contact reverse"
    )
    (verdict,) = prove(load_text(text), only=["indicator-misleads"]).verdicts
    assert verdict.status == "broken" and verdict.finding is not None
    assert verdict.finding.causes[0].text == "N is lit"


def test_a_mix_of_both_says_nothing() -> None:
    with pytest.raises(InputError) as caught:
        load_text(with_panel("indicator K lit when Main occupied and Spur clear"))
    assert [d.code for d in caught.value.diagnostics] == ["CP678"]


def test_two_boards_on_one_lamp() -> None:
    text = with_panel("indicator K lit when Main clear").replace("2.upper,", "2.upper, K,")
    with pytest.raises(InputError) as caught:
        load_text(text)
    assert [d.code for d in caught.value.diagnostics] == ["CP611"]


@pytest.mark.parametrize(
    ("facts", "states"),
    [
        ("train on Main", ("on", "off", "on")),
        ("train on Main, wire to K broken", ("off", "off", "on")),
        ("train on Main, power wire of B2 broken", ("off", "off", "off")),
        ("supply Bus-1 off", ("off", "off", "off")),
        ("T1 reverse", ("off", "on", "off")),
    ],
)
def test_what_the_panel_shows(facts: str, states: tuple[str, ...]) -> None:
    plan = load_text(with_panel(
        "indicator K lit when Main occupied", "indicator G lit when Main clear",
        "bell B rings when Main occupied",
    ))  # fmt: skip
    seen = evaluate(plan, situation_of(plan, facts)).states
    assert tuple(seen[i.what] for i in plan.indicators.values()) == states


def test_what_is_lit_at_once_overloads_its_supply() -> None:
    lines = [f"indicator K{n} lit when {block} occupied"
             for n, block in enumerate(("Near", "Main", "Spur"))]  # fmt: skip
    verdicts = prove(load_text(with_panel(*lines)), only=["supply-overloaded"]).verdicts
    assert [v.status for v in verdicts] == ["broken"]
    taking_turns = [lines[1], "indicator G lit when Main clear", "indicator N lit when T1 normal"]
    verdicts = prove(load_text(with_panel(*taking_turns)), only=["supply-overloaded"]).verdicts
    assert [v.status for v in verdicts] == ["proved"]


def test_wires_parts_and_pins() -> None:
    plan = load_text(with_panel(
        "indicator K lit when Main occupied", "bell B rings when Near occupied"
    ))  # fmt: skip
    ends = {w.name: (str(w.start), str(w.end)) for w in conductors(plan)}
    assert ends["wire to K"] == ("B2 output", "indicator K +")
    assert ends["return of B"] == ("B2 lamp common", "bell B -")
    cables = {cable.between for cable in harness(plan).cables}
    assert ("B2", "the panel") in cables
    assert {"indicator", "bell"} <= {str(item.kind) for item in bill_of_materials(plan)}
    export = c_source(plan, "panel.ixl", "0" * 64, board="B2")
    assert pins_of(export).outputs == ["indicator K", "bell B"]
    assert pins_of(export).lamps == [True, False]


def test_the_program_is_the_rules_and_warns_where_something_is_out_of_order() -> None:
    plan = load_text(with_panel(
        "indicator K lit when not 2 at stop", "indicator N lit when T1 normal"
    ))  # fmt: skip
    export = c_source(plan, "panel.ixl", "0" * 64)
    assert isinstance(compare(export), Equivalent)
    restrict = export.text.split("_restrict(")[1]
    assert "out->indicator_K = true;" in restrict and "out->indicator_N = false;" in restrict
    wrong = export.text.replace("out->indicator_K = true;", "out->indicator_K = false;", 1)
    assert isinstance(compare(replace(export, text=wrong)), NotEquivalent)
