"""What an assumption or a promise keeps trains from is named on every surface, and never exits 0;
an assumption that is always true changes nothing."""

from functools import cache
from pathlib import Path

import pytest

import verifier
from verifier.cli import main
from verifier.reports.certificates import certificate_files
from verifier.reports.ink import Ink
from verifier.reports.machine import file_report
from verifier.reports.page.document import FileReport, document
from verifier.reports.terminal import report_lines
from verifier.verdicts.exit_codes import ExitCode
from verifier.verdicts.grade import Grade
from verifier.verdicts.grade_words import headline, quiet_words
from verifier.verdicts.report import Report
from verifier.workbench.report_json import report_json

# Everything that may come of keeping trains out is waived, so that nothing but that is left.
BASE = """
edge West, East
block A, B, C
track West = A | B | C = East
lever Way positions west, east
signal 2 at A | B
  Clear  when Way east and B, C clear
  Stop   otherwise
signal 4 at C | B
  Clear  when Way west and B, A clear
  Stop   otherwise
"""
USEFUL = ("never-shown", "route-never-clears")
OVER_TIME = (*USEFUL, "route-never-set", "locked-for-good", "train-cannot-leave", "collision",
             "opposing-signals-drop")  # fmt: skip

Things = set[tuple[str, str]]
ASSUMED: list[tuple[str, str, Things]] = [
    ("a block", 'assume "x" always C vacant', {("block", "C")}),
    ("a signal and its route", 'assume "x" always 4 at stop',
     {("signal", "4"), ("route", "4 to West")}),
    ("by a lever", 'assume "x" never Way west', {("signal", "4"), ("route", "4 to West")}),
    ("all signals", 'assume "x" always 2, 4 at stop',
     {("signal", "2"), ("signal", "4"), ("route", "2 to East"), ("route", "4 to West")}),
    ("two at once", 'assume "x" never Way west\nassume "y" always Way west or A vacant',
     {("block", "A")}),
]  # fmt: skip
TIMED: list[tuple[str, str, Things]] = [
    ("a block", 'assume "x" always C vacant', {("block", "C")}),
    ("by a lever", 'assume "x" never Way west', {("route", "4 to West")}),
    ("two at once", 'assume "x" never Way west\nassume "y" always Way west or A vacant',
     {("block", "A")}),
    ("an edge", 'assume "x" never train on A', {("block", "A")}),
]  # fmt: skip


def text_of(added: str, *, timed: bool) -> str:
    waived = OVER_TIME if timed else USEFUL
    claims = "".join(f'waive {name} because "a lesson"\n' for name in waived)
    return f"{BASE}{'trains obey signals' if timed else ''}\n{added}\n{claims}"


@cache
def report_on(added: str, timed: bool) -> Report:
    return verifier.prove(verifier.load_text(text_of(added, timed=timed)))


CASES = [
    *(pytest.param(a, things, False, id=f"at a moment: {name}") for name, a, things in ASSUMED),
    *(pytest.param(a, things, True, id=f"over time: {name}") for name, a, things in TIMED),
]


@pytest.mark.parametrize(("added", "things", "timed"), CASES)
def test_what_trains_are_kept_from_is_named_and_never_exits_0(
    added: str, things: Things, timed: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    report = report_on(added, timed)
    assert things <= {(kept.kind, kept.name) for kept in report.kept_out}
    assert all(kept.sure for kept in report.kept_out)
    assert report.exit_code == ExitCode.UNDECIDED and report.grade in (Grade.NONE, Grade.NOTHING)
    path = tmp_path / "kept-out.ixl"
    path.write_text(text_of(added, timed=timed), "utf-8")
    assert main(["prove", "--quiet", str(path)]) == 3
    assert "trains from" in capsys.readouterr().out


def test_every_surface_names_it() -> None:
    for timed in (False, True):
        report = report_on('assume "x" always C vacant', timed)
        words = 'the assumption "x" keeps trains from block C'
        assert words in headline(report) and words in quiet_words(report)
        assert words in " ".join(" ".join(report_lines(report, Ink(width=80))).split())
        assert words in file_report(report)["headline"]
        assert {"assumptions": ["x"], "kind": "block", "name": "C", "sure": True} in file_report(
            report
        )["kept_out"]
        assert words in report_json(report, "", None)["headline"]
        page = document([FileReport(report, {})], options="")
        assert words.replace('"', "&quot;") in page or words in page
        for name, text in certificate_files([report]):
            assert words in text or name == "check.py"


@pytest.mark.parametrize("timed", [False, True])
@pytest.mark.parametrize(
    "condition",
    ["always A vacant or train on A", "never 2 at stop and 2 proceeds",
     "always Way west or Way east"],
)  # fmt: skip
def test_what_is_always_true_changes_nothing(condition: str, timed: bool) -> None:
    without, report = report_on("", timed), report_on(f'assume "x" {condition}', timed)
    assert [a.title for a in report.always_true] == ["x"] and not report.kept_out
    told = {v.obligation.key: v.status for v in report.verdicts}
    # The one check that every file with an assumption has.
    assert told.pop("assumptions-contradict: assumptions") == "proved"
    assert told == {v.obligation.key: v.status for v in without.verdicts}
    assert report.grade is without.grade and report.exit_code == without.exit_code


LIMITED: list[tuple[str, str, Things]] = [
    ("relay N picks when A clear and A occupied\nedge East entering when N up\n"
     "trains never reverse",
     "the line `edge East entering when N up` keeps trains from signal 4", {("signal", "4")}),
    ("edge East entering only\ntrains never reverse", "", set()),
]  # fmt: skip


@pytest.mark.parametrize(("added", "words", "things"), LIMITED)
def test_an_edge_at_which_no_train_comes_in_is_named(
    added: str, words: str, things: Things
) -> None:
    text = text_of(added, timed=True).replace("edge West, East", "edge West")
    report = verifier.prove(verifier.load_text(text))
    assert things <= {(kept.kind, kept.name) for kept in report.kept_out}
    assert words in headline(report)
    assert bool(words) == bool(report.kept_out)
    assert (report.exit_code == ExitCode.UNDECIDED) == bool(words)


def test_without_assumptions_nothing_is_kept_out() -> None:
    for timed in (False, True):
        assert not report_on("", timed).kept_out


# Signals are always clear over T1, so whoever keeps the promise never throws it.
PROMISED = """
edge West, Yard, East
block Main, Siding, Switch, Single
turnout T1 in Switch
  thrown by hand
  starts normal
track West = Main   | normal  T1 | Single = East
track Yard = Siding | reverse T1
signal 2 at Main | T1
  Clear  when T1 normal
  Stop   otherwise
signal 4 at Siding | T1
  Clear  when T1 reverse and Switch, Single clear
  Stop   otherwise
signal 6 at Single | T1
  Stop   otherwise
crew promises not to throw T1 under clear signals
"""


def test_what_a_promise_keeps_trains_from_is_named_on_every_surface(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "promised.ixl"
    path.write_text(PROMISED, "utf-8")
    words = (
        "the promise `not to throw T1 under clear signals` keeps trains from signal 4 and "
        "route 4 to East"
    )
    report = verifier.prove(verifier.load(path))
    assert {("signal", "4"), ("route", "4 to East")} <= {(k.kind, k.name) for k in report.kept_out}
    assert words in headline(report) and words in quiet_words(report)
    assert words in " ".join(" ".join(report_lines(report, Ink(width=80))).split())
    assert (
        words in file_report(report)["headline"]
        and words in report_json(report, "", None)["headline"]
    )
    plain = document([FileReport(report, {})], options="").replace("<code>", "`")
    assert words in plain.replace("</code>", "`")
    certificates = dict(certificate_files([report]))
    assert (
        certificates.pop("check.py")
        and certificates
        and all(words in text for text in certificates.values())
    )
    assert main(["export", str(path), "-o", str(tmp_path / "a.c")]) in (0, 1, 3)
    exported = (tmp_path / "a.c").read_text("utf-8").replace("*", " ")
    assert words in " ".join(exported.split())
    capsys.readouterr()
    assert main(["sheet", str(path), "locking"]) == 0
    taken = "takes for granted: your crew promises not to throw T1 under clear signals."
    assert taken in " ".join(capsys.readouterr().out.split())
