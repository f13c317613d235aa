"""The aspect sheet says what the rules say: checked by hand, and against the evaluator."""

from pathlib import Path

import pytest

import verifier
from tests.junction_files import SPEC_FILES, spec
from verifier.plan.model import Plan
from verifier.sheets.aspects import aspect_sheet
from verifier.sheets.sheet import Table

TRACK = """
edge West-Main, West-Siding, Quarry
block Main, Siding, Switch, Single, Beyond
turnout T1 in Switch
track West-Main = Beyond | Main | normal T1 | Single = Quarry
track West-Siding = Siding | reverse T1
lever 4 positions left, normal, right
condition Free is Switch clear and not T1 moving
"""
SIGNAL = """
signal 4L at Single | T1
  heads upper, lower
  Clear            when 4 left and Free and T1 normal and Main clear and 6L proceeds
  Approach         when 4 left and Free and T1 normal and Main clear
  Diverging-Clear  when T1 reverse and (4 left or 4 normal and Siding clear) and Free
  Stop             otherwise
signal 6L at Main | Beyond
  Clear  when Beyond clear
  Stop   otherwise
"""


def plan_of(signal: str) -> Plan:
    return verifier.load_text(TRACK + signal, "aspects.ixl")


def table(title: str, plan: Plan) -> Table:
    [found] = [t for t in aspect_sheet(plan).tables if t.title == title]
    return found


def test_conditions_stand_in_their_columns_named_ones_opened_up() -> None:
    found = table("4L at Single | T1", plan_of(SIGNAL))
    assert found.columns == (
        "line", "shows", "colors", "points", "blocks", "signals", "levers and relays",
        "tells the engineer", "toward",
    )  # fmt: skip
    assert found.rows[0] == (
        "1", "Clear", "green over red", "T1 N", "Switch, Main clear", "6L proceeds", "4 left",
        "proceed", "6L",
    )  # fmt: skip


def test_alternatives_are_rows_of_their_own() -> None:
    found = table("4L at Single | T1", plan_of(SIGNAL))
    assert [(row[0], *row[3:7]) for row in found.rows[2:]] == [
        ("3a", "T1 R", "Switch clear", "-", "4 left"),
        ("3b", "T1 R", "Siding, Switch clear", "-", "4 normal"),
        ("4, otherwise", "-", "-", "-", "-"),
    ]
    assert [row[-1] for row in found.rows[2:]] == ["West-Siding", "West-Siding", "-"]


def test_what_has_too_many_alternatives_stands_in_words() -> None:
    many = "any of Main, Siding, Switch clear and any of Main, Siding, Single clear and T1 normal"
    plan = plan_of(f"signal 4L at Single | T1\n  Clear when {many}\n  Stop otherwise\n")
    found = table("4L at Single | T1", plan)
    assert "and also" in found.columns
    for row in found.rows[:-1]:
        assert (
            row[found.columns.index("and also")] == "(Main clear or Siding clear or Single clear)"
        )
    assert [row[0] for row in found.rows] == ["1a", "1b", "1c", "2, otherwise"]


def test_a_rule_that_contradicts_itself_is_told() -> None:
    plan = plan_of(
        "signal 4L at Single | T1\n  Clear when T1 normal and T1 reverse\n  Stop otherwise\n"
    )
    found = table("4L at Single | T1", plan)
    assert found.rows[0][:2] == ("1, never: it contradicts itself", "Clear")


def test_heads_with_rules_of_their_own_and_what_their_colors_mean_together() -> None:
    plan = verifier.load(spec("head-by-head-mended"))
    upper = table("Head 2R.upper", plan)
    assert [row[1] for row in upper.rows] == ["green", "red"]
    together = table("2R at Single | T1, its heads together", plan)
    read = {row[0]: row[1] for row in together.rows}
    assert read["red over yellow"] == "Diverging-Approach"
    assert read["green over green"] == "an unlisted combination"


@pytest.mark.parametrize("path", SPEC_FILES, ids=lambda path: path.stem)
def test_every_line_of_every_junction_is_in_the_sheet(path: Path) -> None:
    plan = verifier.load(path)
    tables = aspect_sheet(plan).tables
    for signal in plan.signals.values():
        for owner, lines in (
            (signal.name, signal.lines),
            *((h.name, h.lines) for h in signal.heads),
        ):
            if not lines:
                continue
            [found] = [
                t for t in tables
                if t.title.startswith(f"{owner} at ") or t.title == f"Head {owner}"
                if "read as" not in t.columns
            ]  # fmt: skip
            numbers = [
                int("".join(c for c in row[0].split(",")[0] if c.isdigit())) for row in found.rows
            ]
            assert list(dict.fromkeys(numbers)) == [line.index + 1 for line in lines]
            for row in found.rows:
                index = int("".join(c for c in row[0].split(",")[0] if c.isdigit())) - 1
                assert row[1] == lines[index].shows
            assert all(len(row) == len(found.columns) for row in found.rows)
