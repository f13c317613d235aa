"""Absolute permissive block: trains follow each other on single track, and never meet there."""

import pytest

from tests.drafting.test_drafts import is_broken
from tests.drafting.trying import draft_of, is_subsequence, proof_of
from verifier.api import load_text
from verifier.drafting.wanted import Panel
from verifier.language.format.formatter import format_text
from verifier.verdicts.grade import Grade

LINE = format_text("""\
edge West, West-Siding, East
block M1, S1, Line-1, Line-2, Line-3, M2
block B, C
turnout T3 in B
turnout T5 in C
bumper End
block S2
track West = M1 | normal T3 | Line-1 | Line-2 | Line-3 | T5 normal | M2 = East
track West-Siding = S1 | reverse T3
track T5 reverse | S2 = End
""")
# Not one long train: the block between is vacant.
FOLLOW = """\
prove "trains follow each other"
  possible train on Line-1 and train on Line-3 and Line-2 vacant
"""


def test_trains_follow_each_other_block_by_block_and_never_meet() -> None:
    text = draft_of(LINE, single_track="apb")
    assert is_subsequence(LINE, text) and format_text(text) == text
    ways = {"Line-2-R", "Line-3-R", "Line-1-L", "Line-2-L"}
    assert ways <= set(load_text(text).signals)
    assert "and (Line-2 occupied or Line-2-R proceeds)" in " ".join(text.split())
    report = proof_of(text + FOLLOW)
    assert report.grade is Grade.OPERATION
    assert any(v.obligation.property == "trains follow each other" for v in report.verdicts)
    traffic = proof_of(
        draft_of(LINE, single_track="traffic") + FOLLOW, ["trains follow each other"]
    )
    assert [v.status for v in traffic.verdicts] == ["broken"], "one train at a time there"


def test_the_direction_and_its_lock_are_needed() -> None:
    text = draft_of(LINE, single_track="apb")
    promise = "crew promises not to reverse on Line-1, Line-2, Line-3\n"
    assert is_broken(text.replace(promise, ""), ["opposing-signals-drop"])
    for written in ("    and Line-1-way leftward\n", "Line-1, Line-2, Line-3, C occupied"):
        assert written in text
        instead = "C occupied" if "occupied" in written else ""
        mutant = text.replace(written, instead)
        assert is_broken(mutant, ["opposing-proceeds", "traffic-locking", "collision"]), written


@pytest.mark.parametrize("panel", ["levers", "buttons"])
def test_signals_on_the_way_have_no_lever_and_no_button(panel: Panel) -> None:
    text = draft_of(LINE, panel=panel, single_track="apb")
    lines = load_text(text).signals["Line-2-R"].lines
    assert [line.shows for line in lines] == ["Clear", "Approach", "Stop"]
    assert "Line-2-R-entrance" not in text and "Line-2-R reverse" not in text
    assert format_text(text) == text
