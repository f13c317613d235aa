"""Drafted wiring: proved through the wires with any one thing broken; a file keeps its lines."""

import pytest

from tests.drafting.test_drafts import FACING, LINE, SIDING
from tests.drafting.trying import draft_of, is_subsequence, proof_of
from verifier.api import load_text
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.format.formatter import format_text
from verifier.verdicts.grade import Grade

FAULTS = ("wire-broken", "points-stalled", "gap-bridged", "supply-lost", "lamp-out")


def test_a_wired_draft_is_proved_with_any_one_thing_broken() -> None:
    text = draft_of(FACING, wiring=True)
    assert is_subsequence(FACING, text) and format_text(text) == text
    report = proof_of(text)
    assert report.grade is Grade.OPERATION
    asked = {v.obligation.property for v in report.verdicts if v.status == "proved"}
    assert asked.issuperset(FAULTS) and len(report.plan.equipment.faults) > 40
    wiring = report.plan.wiring
    assert {d.block for d in wiring.detectors.values()} == set(report.plan.blocks)
    assert all(len(wiring.feeders_of(block)) == 2 for block in report.plan.blocks)


@pytest.mark.parametrize(
    ("written", "instead", "what"),
    [
        (" and T1-agrees up", "", "points-stalled"),
        ("  through Switch-feed-1, Switch-feed-2", "  through Switch-feed-1", "feeder-undetected"),
        ("  turns 2\n", "", "gap-bridged"),
        ("  output closed when clear\n", "  output closed when occupied\n", "wire-broken"),
        (", Switch-feed-2", "", "wire-broken"),
    ],
)
def test_what_the_wiring_has_is_needed(written: str, instead: str, what: str) -> None:
    text = draft_of(FACING, wiring=True)
    assert written in text
    mutant = text.replace(written, instead)
    if what == "wire-broken" and "output" in written:
        mutant = mutant.replace("  when input missing shows red\n", "")
        mutant = mutant.replace("  without track power reads occupied\n", "")
    assert any(v.status == "broken" for v in proof_of(mutant, [what]).verdicts)


def test_signals_ask_for_points_that_lie_otherwise() -> None:
    """A broken contact never says that nothing stands in the way."""
    text = draft_of(SIDING, wiring=True)
    assert "    and (not 4 left or T3 reverse)\n" in text


OWN = """\
edge West, Mill, East
supply Throttle  track power DC 12 V
supply Logic     DC 12 V 5 A fuse 2 A
district Town on Main, Switch fed by Throttle
block Main, Switch
  feeders m1, m2 on Main
block Spur   5 m in Town
block Single    in Town
turnout T1 in Switch
  thrown by Points
lever Points positions normal, reverse
track West = Main | normal  T1 | Single = East
track Mill = Spur | reverse T1
trains 400 mm to 1200 mm
"""


def test_what_is_wired_already_is_used() -> None:
    text = draft_of(OWN, wiring=True)
    assert is_subsequence(OWN, text)
    wiring = load_text(text).wiring
    assert set(wiring.supplies) == {"Throttle", "Logic"} and set(wiring.districts) == {"Town"}
    assert text.count("trains 400") == 1 and "wheelsets" not in text
    through = {d.block: d.through for d in wiring.detectors.values()}
    assert through["Main"] == ("m1", "m2") and len(through["Spur"]) == 3, "5 m of track"
    assert {d.by for d in wiring.detectors.values()} == {"biased diodes"}, "a coil sees no DC"
    assert "picks when (Points normal and T1 normal) or (Points reverse and T1 reverse)" in (
        " ".join(text.split())
    )


def test_a_signal_that_clears_as_another_one_fails_is_refused() -> None:
    with pytest.raises(InputError) as refused:
        draft_of(FACING, panel="automatic", wiring=True)
    [found] = refused.value.diagnostics
    assert found.code == "CP909" and "`2L`" in found.message
    line = (
        "edge West entering only\nedge East leaving only\nblock A, B\ntrack West = A | B = East\n"
    )
    text = draft_of(line, panel="automatic", wiring=True)
    assert "agrees" not in text and "built" not in text
    assert proof_of(text).grade is Grade.OPERATION


def test_relays_beside_buttons_timers_and_directions_are_one_program_in_a_wired_draft() -> None:
    drafts = [
        draft_of(FACING, wiring=True, panel="buttons"),
        draft_of(FACING, wiring=True, release="time"),
        draft_of(LINE, wiring=True, single_track="traffic"),
    ]
    for text in drafts:
        assert "\nbuilt as one program powered by Bus-1\n" in text
    assert "\nbuilt of relays powered by Bus-1\n" in draft_of(FACING, wiring=True)


def test_blocks_of_a_module_get_no_feeders_from_outside() -> None:
    module = """\
edge West, East
module Gap (west, east)
  block A, B
  track west = A | B = east
end
use Gap as Here with west = West, east = East
"""
    with pytest.raises(InputError) as refused:
        draft_of(module, wiring=True, panel="automatic")
    assert {d.code for d in refused.value.diagnostics} == {"CP904"}
