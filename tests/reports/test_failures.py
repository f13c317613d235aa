"""The failure table: worst first, advice told apart, long ones cut."""

import re
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest

import verifier
from tests.reports.schemas import schema
from tests.reports.wired import OPEN_CIRCUIT, SAFE
from verifier.cli import main
from verifier.reports.failures import SHOWN_ROWS, failure_lines
from verifier.reports.ink import Ink
from verifier.reports.machine import file_report
from verifier.reports.terminal import report_lines
from verifier.verdicts.report import Failure, Report

pytestmark = pytest.mark.xdist_group(__name__)  # one process makes what all need


@pytest.fixture(scope="module")
def safe() -> Report:
    return verifier.prove(verifier.load_text(SAFE))


@pytest.fixture(scope="module")
def unsafe() -> Report:
    return verifier.prove(verifier.load_text(OPEN_CIRCUIT))


def rows(lines: list[str]) -> list[list[str]]:
    """The rows of a table, by column (columns are two spaces apart at least)."""
    table = [line for line in lines if line.startswith("  ") and not line.startswith("    ")]
    return [re.split(r"  +", line.strip()) for line in table]


def test_worst_first_with_what_then_happens(unsafe: Report) -> None:
    lines = list(failure_lines(unsafe, Ink(width=140)))
    head, columns, *table = [line for line in lines if line]
    singles = sum(len(row.faults) == 1 for row in unsafe.failures)
    begin = f"Failures ({singles} things that can break, and pairs with a silent one, the worst"
    assert head.startswith(begin)
    assert columns.split() == ["broken", "consequence", "what", "then", "happens"]
    told = [row for row in rows(table) if len(row) == 3]
    assert [
        "wire from D-Main to B1",
        "FALSE PROCEED",
        "2R proceeds while stock stands on Main",
    ] in told
    ranks = [row[1] for row in told]
    assert ranks == sorted(ranks, key=["FALSE PROCEED", "undecided", "false proceed (note)"].index)


def test_what_is_stuck_is_advice_and_told_apart_in_words(safe: Report) -> None:
    told = {row[0]: row[1] for row in rows(list(failure_lines(safe, Ink()))) if len(row) == 3}
    stuck = {name for name in told if name.startswith(("detector", "contact"))}
    assert stuck
    assert {told[name] for name in stuck} == {"false proceed (note)"}


def test_the_rest_is_summed_up(safe: Report) -> None:
    lines = list(failure_lines(safe, Ink()))
    by = [row.consequence for row in safe.failures]
    assert f"  Without consequence: {by.count('none')}." in lines
    more = f"  Only more restrictive ({by.count('more restrictive')}): "
    assert any(line.startswith(more) for line in lines)


def test_with_everything_asked_for_each_is_named(safe: Report) -> None:
    text = " ".join(" ".join(failure_lines(safe, Ink(), everything=True)).split())
    for row in safe.failures:
        if row.consequence != "none":
            assert row.faults[0] in text


def many(report: Report, number: int) -> Report:
    added = tuple(
        Failure((f"feeder f{i}",), "wire-broken", "false proceed", "trains meet")
        for i in range(number)
    )
    return replace(report, failures=(*added, *report.failures))


def test_a_long_table_is_cut_and_says_so(safe: Report) -> None:
    advice = sum(row.consequence == "false proceed" for row in safe.failures)
    report = many(safe, SHOWN_ROWS + 3)
    short = list(failure_lines(report, Ink()))
    assert sum("trains meet" in line for line in short) == SHOWN_ROWS
    assert f"  … and {3 + advice} further; `--all` shows them all." in short
    whole = list(failure_lines(report, Ink(), everything=True))
    assert sum("trains meet" in line for line in whole) == SHOWN_ROWS + 3
    assert not any("--all" in line for line in whole)


def test_undecided_ones_say_which_limit_was_reached(safe: Report) -> None:
    row = Failure(("feeder f",), "wire-broken", "undecided", "time ran out")
    report = replace(safe, failures=(row, *safe.failures))
    assert ["feeder f", "undecided", "time ran out"] in rows(list(failure_lines(report, Ink())))


def test_pairs_stand_together_and_their_absence_is_said(safe: Report) -> None:
    row = Failure(("feeder f", "feeder g"), "pair", "false proceed", "trains meet")
    paired = replace(safe, failures=(row, *safe.failures))
    lines = list(failure_lines(paired, Ink(), pairs=True))
    assert ["feeder f and feeder g", "FALSE PROCEED", "trains meet"] in rows(lines)
    assert "and every two of them" in lines[1]
    none = "  No two of them together cause harm that neither causes alone."
    assert none not in lines
    singles = replace(safe, failures=tuple(r for r in safe.failures if r.kind != "pair"))
    assert none in failure_lines(singles, Ink(), pairs=True)
    assert none not in failure_lines(singles, Ink())


def test_silent_failures_are_named_and_marked_in_their_pairs(safe: Report) -> None:
    lines = list(failure_lines(safe, Ink(), everything=True))
    assert any(line.startswith("  Silent (") and "feeder" in line for line in lines)
    pairs = [row for row in safe.failures if row.kind == "pair"]
    assert pairs and all(row.silent and set(row.silent) <= set(row.faults) for row in pairs)
    assert any("(silent)" in line for line in lines)


def test_color_says_nothing_that_words_do_not(unsafe: Report) -> None:
    painted = list(failure_lines(unsafe, Ink(color=True)))
    assert any("\x1b" in line for line in painted)
    plain = [re.sub(r"\x1b\[[0-9;]*m", "", line).rstrip() for line in painted]
    assert plain == [line.rstrip() for line in failure_lines(unsafe, Ink())]


def test_no_line_is_wider_than_the_console(unsafe: Report) -> None:
    for width in (60, 80, 120):
        assert max(map(len, failure_lines(unsafe, Ink(width=width), everything=True))) <= width


def test_what_a_file_expects_or_waives_is_said_in_the_table() -> None:
    text = OPEN_CIRCUIT + (
        'expect broken wire-broken for "wire from D-Main to B1"\n'
        'waive wire-broken for "wire from D-Switch to B1" because "tested each morning"\n'
    )
    report = verifier.prove(verifier.load_text(text))
    told = {row[0]: row[1] for row in rows(list(failure_lines(report, Ink()))) if len(row) == 3}
    assert told["wire from D-Main to B1"] == "false proceed (expected)"
    assert told["wire from D-Switch to B1"] == "false proceed (waived)"


def test_a_file_without_equipment_has_no_table() -> None:
    start, end = SAFE.index("supply Track-A"), SAFE.index("signal 2R")
    bare = f"{SAFE[:start]}block Yard, Main, Switch\nturnout T1 in Switch\n"
    bare += "track West = Yard | normal T1 | Main = East\ntrack T1 reverse = Spur\n" + SAFE[end:]
    report = verifier.prove(verifier.load_text(bare))
    assert list(failure_lines(report, Ink())) == []


def test_advice_of_the_table_is_drawn_only_when_all_is_asked_for(safe: Report) -> None:
    heading = re.compile(r"\d+\. note report-stuck")
    assert not any(heading.match(line) for line in report_lines(safe, Ink()))
    assert any(heading.match(line) for line in report_lines(safe, Ink(), everything=True))


def test_only_one_property_asks_for_its_own_rows_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "millrace.ixl"
    path.write_text(OPEN_CIRCUIT)
    main(["prove", "--only", "report-stuck", str(path)])
    out = capsys.readouterr().out
    assert "detector D-Main" in out and "wire from D-Main" not in out


def test_the_json_report_has_every_row(unsafe: Report) -> None:
    found = file_report(unsafe)
    part = {"$ref": "#/$defs/proved_file", "$defs": schema()["$defs"]}
    jsonschema.validate(found, part)
    assert [tuple(row["faults"]) for row in found["failures"]] == [
        row.faults for row in unsafe.failures
    ]
    assert {row["kind"] for row in found["failures"] if row["advice"]} == {"report-stuck"}


def test_the_command_line_looks_at_pairs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "millrace.ixl"
    path.write_text(SAFE)
    assert main(["prove", "--pairs", str(path)]) == 0
    captured = capsys.readouterr()
    assert "and every two of them" in captured.out
    assert captured.err == ""
