"""Stop-and-proceed is passed after a stop, at restricted speed, and binds all that this binds."""

import pytest

import verifier
from tests.proofs import without_repairs
from tests.reference.running import A_B, B_C, Course
from verifier.verdicts.report import Verdict

LINE = """
edge West, East
block A, B, C
button Go
track West = A | B | C = East
aspect Grade flashing red stop and proceed
signal 1 at A | B
  Clear when Go pressed
  {low}
signal 3 at B | C
  Stop otherwise
trains never reverse
{more}
"""


def line(low: str = "Grade otherwise", more: str = "") -> Course:
    return Course(verifier.load_text(LINE.format(low=low, more=more)))


def test_a_train_passes_it_and_runs_at_restricted_speed() -> None:
    c = line()
    c.put("A", "left")
    c.go(f"advance {A_B}")
    assert c.is_on("B") and c.state("pace", "B") == "restricted"


def test_a_train_that_sees_it_clear_runs_at_full_speed() -> None:
    c = line()
    c.put("A", "left")
    c.go(f"advance {A_B}", "button Go=pressed")
    assert c.is_on("B") and c.state("pace", "B") == "full"


def test_stop_is_absolute() -> None:
    c = line("Stop otherwise")
    c.put("A", "left")
    c.go(f"advance {A_B}")
    assert c.on == {"A"}


def test_it_stops_short_of_the_train_ahead() -> None:
    c = line()
    c.put("A", "left")
    c.put("B", "left", [B_C])
    c.go(f"advance {A_B}")
    assert "trains meet B" not in c.events
    c.go(f"advance {A_B}", "button Go=pressed")
    assert "trains meet B" in c.events


def test_a_train_too_late_to_stop_passes_it_as_it_comes() -> None:
    c = line(more="trains need 8 s to stop")
    c.put("A", "left")
    c.go("button Go=pressed")
    c.go("stays late 1", f"advance {A_B}")
    assert c.is_on("B") and c.state("pace", "B") == "full"


def test_one_that_came_at_restricted_speed_is_not_too_late() -> None:
    c = line(more="trains need 8 s to stop")
    c.put("A", "left")
    c.set_pace("A", "restricted")
    c.go("button Go=pressed")
    c.go("stays late 1", f"advance {A_B}")
    assert c.is_on("B") and c.state("pace", "B") == "restricted"


# ------------------------------------------------------------------ properties

JUNCTION = """
edge West-Main, West-Siding, Quarry
block Main {main}
block Siding
block Switch {main}
block Single {main}
turnout T1 in Switch
  {throw}
lever T1-lever positions normal, reverse
lever 4 positions left, normal, right
derail D1 on Single toward T1
gate G1 on Main
aspect Grade flashing red or red over dark stop and proceed
track West-Main   = Main   | normal  T1 | Single = Quarry
track West-Siding = Siding | reverse T1
signal 4L at Single | T1
  {left}
  Stop otherwise
signal 4RA at Main | T1
  {right}
  Stop otherwise
signal 4RB at Siding | T1
  {siding}
  Stop otherwise
{more}
"""
FREE = "T1 normal and D1 non-derailing and G1 seated"


def verdicts(**lines: str) -> dict[str, Verdict]:
    given = dict.fromkeys(("main", "throw", "left", "right", "siding", "more"), "") | lines
    report = without_repairs(JUNCTION.format(**given))
    return {v.obligation.key: v for v in report.verdicts}


@pytest.mark.parametrize(
    ("key", "lines"),
    [
        ("proceed-over-open-points: 4L, T1", {"left": "Grade when D1 non-derailing"}),
        ("proceed-over-open-points: 4RA, T1", {"right": "Grade when D1 non-derailing"}),
        ("derail-not-set: 4L, D1", {"left": "Grade when T1 normal"}),
        ("span-not-locked: 4L, G1", {"left": "Grade when T1 normal"}),
        (
            "converging-proceeds: 4RA, 4RB",
            {"right": "Grade when Single clear", "siding": "Grade when Single clear"},
        ),
        (
            "opposing-proceeds: 4L, 4RA",
            {"left": f"Grade when {FREE}", "right": f"Grade when {FREE}"},
        ),
        (
            "points-move-under-signal: 4L, T1",
            {
                "left": f"Grade when {FREE}",
                "throw": "thrown by T1-lever locked while not 4L at stop",
                "more": "trains obey signals",
            },
        ),
    ],
)
def test_it_is_not_absolute(key: str, lines: dict[str, str]) -> None:
    assert verdicts(**lines)[key].status == "broken"


def test_the_same_with_all_in_place() -> None:
    found = verdicts(
        left=f"Grade when {FREE} and 4 left",
        right=f"Grade when {FREE} and 4 right",
        throw="thrown by T1-lever locked while 4L shows Grade or 4RA shows Grade",
        more="trains obey signals",
    )
    for name in ("open-points", "not-set", "not-locked", "converging", "opposing-proceeds"):
        assert all(v.status == "proved" for key, v in found.items() if name in key)


def test_opposing_ones_may_both_show_it_on_switching_track() -> None:
    lines = {"left": f"Grade when {FREE}", "right": f"Grade when {FREE}"}
    found = verdicts(main="switching only", **lines)
    assert found["opposing-proceeds: 4L, 4RA"].status == "proved"


def test_the_lock_to_write_names_the_aspect() -> None:
    """Rules call a signal `at stop` that shows stop-and-proceed: that would not hold the lock."""
    found = verdicts(
        left=f"Grade when {FREE}",
        throw="thrown by T1-lever locked while Switch occupied",
        more="trains obey signals",
    )["points-move-under-signal: 4L, T1"]
    assert found.status == "broken"
    assert "or not 4L shows Stop" in found.obligation.hint
    assert found.obligation.lock
