"""Circles: signals both ways round, nothing shown that never can be, refusals by place."""

import pytest

from tests.drafting.trying import proved_draft_of
from verifier.drafting.wanted import Panel
from verifier.language.diagnostics.diagnostic import InputError
from verifier.verdicts.grade import Grade

CIRCLE = """\
block A, B, C
track A | B | C | A
trains start on A
"""

SPUR = """\
bumper End
block Ring, Back, Switch, Spur
turnout T1 in Switch
track Ring | T1 normal | Back | Ring
track T1 reverse | Spur = End
trains start on Spur
"""


def test_signals_of_a_circle_work_by_themselves_both_ways_round() -> None:
    """Of 2R and 8L, which both lead to B, 2R goes first, and is clear before 8L could be: so
    nothing tells of 8L at proceed. With no train anywhere, 2R is clear for ever."""
    text, report = proved_draft_of(CIRCLE, panel="automatic")
    assert report.grade is Grade.OPERATION and "proceeds" in text
    shown = {line.shows for line in report.plan.signals["12L"].lines}
    assert shown == {"Approach", "Stop"}
    asked = {v.obligation.property for v in report.verdicts if v.status == "proved"}
    assert "locked-for-good" in asked


def test_an_aspect_that_is_always_shown_better_is_left_out() -> None:
    """6L clears whenever 2LB can: 2LB is never at Approach, and shows Clear without a doubt."""
    _, report = proved_draft_of(SPUR, panel="automatic", only=["never-shown"])
    assert {v.status for v in report.verdicts} == {"proved"}
    assert [line.shows for line in report.plan.signals["2LB"].lines] == ["Clear", "Stop"]


@pytest.mark.parametrize(
    ("text", "panel", "number", "told"),
    [
        (SPUR.replace("Ring, Back", "Ring").replace("Back | ", ""), "dispatcher", 1, "come round"),
        ("block A, B\ntrack A |(g1) B |(g2) A\ntrains start on A\n", "automatic", 2, "either way"),
    ],
)
def test_a_circle_of_too_few_blocks_is_refused(
    text: str, panel: Panel, number: int, told: str
) -> None:
    with pytest.raises(InputError) as refused:
        proved_draft_of(text, panel=panel)
    found = refused.value.diagnostics
    assert [d.code for d in found] == ["CP910"] * number
    assert all(told in d.message and "|" in d.span.text for d in found)
