"""Grades: every surface that shows a verdict shows what it is worth, and nothing is a bare `ok`."""

import json
import os
import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

import verifier
from tests.junction_files import spec
from tests.proofs import proved
from tests.reports.schemas import validator
from verifier.cli import main
from verifier.exports.checked_export import checked_export
from verifier.language.source import Span
from verifier.reports.certificates import certificate_files
from verifier.reports.ink import Ink
from verifier.reports.machine import file_report
from verifier.reports.page.document import FileReport, document
from verifier.reports.page.made import sheets_of
from verifier.reports.sheets import sheet_lines
from verifier.reports.terminal import report_lines
from verifier.reports.why import why_lines
from verifier.sheets.catalog import SHEETS
from verifier.verdicts.exit_codes import ExitCode
from verifier.verdicts.grade import (
    Grade,
    KeptOut,
    Shortfall,
    ShortfallKind,
    exit_code_of,
    grade_of,
)
from verifier.verdicts.grade_words import (
    NO_TRAINS,
    TO_ADD,
    headline,
    quiet_words,
    shortfall_words,
    stamp,
)
from verifier.verdicts.report import Report, Stopped, Unmet, Verdict
from verifier.workbench.report_json import report_json

MOMENT, LESSON, TIMED = (
    spec("end-of-siding-mended"), spec("end-of-siding-broken"), spec("slow-track-relay"),
)  # fmt: skip
EXPECTED = [
    (TIMED, Grade.OPERATION),
    (MOMENT, Grade.MOMENT),
    (LESSON, Grade.NONE),
    (spec("padlocked-switch"), Grade.NONE),
]
each = pytest.mark.parametrize(("path", "grade"), EXPECTED, ids=lambda x: getattr(x, "stem", ""))

# A junction that is safe because nothing ever moves.
DEAD = """
edge West, East
block A, B
track West = A | B = East
button Never
signal 2 at A | B
  Clear when Never pressed and B clear
  Stop otherwise
assume "nobody presses it" never Never pressed
expect broken never-shown for 2, Clear
expect broken route-never-clears
"""


def mended() -> str:
    return MOMENT.read_text("utf-8")


def report_on(text: str) -> Report:
    return verifier.prove(verifier.load_text(text))


def one_line(text: str) -> str:
    return " ".join(text.split())


def told_on_terminal(report: Report) -> str:
    return one_line(" ".join(report_lines(report, Ink(width=80))))


# ------------------------------------------------------------------ every surface


@each
def test_the_report_has_a_grade(path: Path, grade: Grade) -> None:
    assert proved(path).grade is grade


@each
def test_the_terminal_says_it_first_and_last(path: Path, grade: Grade) -> None:
    report = proved(path)
    lines = list(report_lines(report, Ink(width=80)))
    said = one_line(" ".join(lines[1:4]))
    assert said.lower().startswith(grade.value), said
    assert lines[-1].startswith(f"{grade.value}: ")
    table = next(i for i, line in enumerate(lines) if line.startswith("  property"))
    assert max(map(len, lines[1:table])) <= 80


@each
def test_quiet_says_it(path: Path, grade: Grade, capsys: pytest.CaptureFixture[str]) -> None:
    main(["prove", "--quiet", str(path)])
    [line] = capsys.readouterr().out.splitlines()
    assert line.startswith(grade.value) and str(path) in line
    assert not re.search(r"\bok\b", line)


@each
def test_json_says_it_of_the_file_and_of_each_verdict(path: Path, grade: Grade) -> None:
    report = proved(path)
    told = file_report(report)
    assert told["grade"] == grade.value and told["headline"].startswith(grade.value)
    assert {v["grade"] for v in told["verdicts"] if v["status"] != "proved"} <= {"not proved"}
    best = Grade.OPERATION if report.plan.locking.over_time else Grade.MOMENT
    assert {v["grade"] for v in told["verdicts"] if v["status"] == "proved"} == {best.value}
    assert (told["line_to_add"] == TO_ADD) == (best is Grade.MOMENT)


@each
def test_the_html_report_says_it_alone_and_among_others(path: Path, grade: Grade) -> None:
    report = proved(path)
    sheets = sheets_of(report.plan)
    alone = document([FileReport(report, sheets)], options="")
    other = FileReport(proved(MOMENT), {})
    among = document([other, FileReport(report, {}), other], options="")
    for text in (alone, among):
        stamps = re.findall(r'<strong class="stamp \w+">([^<]*)</strong>', text)
        assert stamp(report) in stamps
    assert alone.count("Grade of the rules: ") == len(sheets) > 1
    assert f"Grade of the rules: {grade.value}" in alone
    assert re.search(rf'<span class="\w+">{re.escape(stamp(report))}</span>', among)


@each
def test_the_page_says_it(path: Path, grade: Grade) -> None:
    told = report_json(proved(path), path.name, path)
    assert told["grade"] == grade.value
    assert told["stamp"].startswith(grade.value) and told["headline"].startswith(grade.value)
    script = Path(verifier.__file__).parent / "workbench" / "static" / "verdicts.js"
    shown = script.read_text("utf-8")
    assert "stamp(report.style, report.stamp)" in shown and "report.beside_counts" in shown


@each
def test_why_says_it(path: Path, grade: Grade) -> None:
    report = proved(path)
    lines = list(why_lines(report, report.verdicts[:1], Ink()))
    assert lines[1].strip().lower().startswith(grade.value)


@each
def test_certificates_say_it(path: Path, grade: Grade) -> None:
    files = dict(certificate_files([proved(path)]))
    checker = files.pop("check.py")
    for text in files.values():
        assert headline(proved(path)) in text
    assert checker and (len(files) > 1 or grade is not Grade.OPERATION)


@each
def test_exported_c_says_it(path: Path, grade: Grade, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["export", str(path)]) == 0
    head = one_line(capsys.readouterr().out.partition("*/")[0])
    assert f"GRADE OF THE RULES: {grade.value}" in head


def test_c_that_nobody_graded_says_so() -> None:
    made, _ = checked_export(verifier.load(MOMENT))
    assert "GRADE OF THE RULES: Not proved here" in one_line(made.text.partition("*/")[0])


@pytest.mark.parametrize("name", SHEETS)
def test_sheets_say_that_they_prove_nothing(name: str) -> None:
    for path, best in ((MOMENT, Grade.MOMENT), (spec("slow-track-relay"), Grade.OPERATION)):
        said = one_line(" ".join(sheet_lines(SHEETS[name].make(verifier.load(path)))))
        assert f"`clearproof prove {path.name}` gives the grade of these rules" in said
        assert f"at best {best.value}" in said
        assert (f"add the line `{TO_ADD}`" in said) == (best is Grade.MOMENT)


def test_alternatives_have_their_grades(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wired = spec("broken-wire-mended")
    other = tmp_path / "other.ixl"
    other.write_text(wired.read_text("utf-8") + f"\n{TO_ADD}\n", "utf-8")
    assert main(["sheet", str(wired), "parts", "--compare", str(other)]) == 0
    lines = capsys.readouterr().out.splitlines()
    [row] = [line for line in lines if re.match("grade {2,}[a-z]", line)]
    assert Grade.MOMENT.value in row
    assert Grade.OPERATION.value in row or Grade.NONE.value in row


def test_a_folder_counts_grades(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for path, _ in EXPECTED:
        (tmp_path / path.name).write_text(path.read_text("utf-8"), "utf-8")
    assert main(["prove", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    assert "4 of 4 files checked, exit code 0: everything is as the files say" in out
    for counted in ("1  proved in operation", "1  proved at every single moment", "2  not proved"):
        assert f"      {counted}" in out
    assert main(["prove", "--json", str(tmp_path)]) == 0
    found = json.loads(capsys.readouterr().out)
    validator().validate(found)
    assert found["grades"] == {
        "proved in operation": 1, "proved at every single moment": 1, "nothing to prove": 0,
        "not proved": 2,
    }  # fmt: skip


# ------------------------------------------------------------------ the next grade


def test_the_line_to_add_gives_the_next_grade() -> None:
    assert f"add `{TO_ADD}`" in headline(proved(MOMENT))
    again = verifier.prove(
        verifier.load_text(f"{mended()}\n{TO_ADD}\n"), only=["converging-proceeds"]
    )
    kinds = {s.kind for s in again.shortfalls}
    assert ShortfallKind.NO_HISTORIES not in kinds and TO_ADD not in headline(again)


def test_require_operation_takes_nothing_less(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["prove", "--quiet", "--require", "operation", str(TIMED)]) == 0
    assert "required" not in capsys.readouterr().out
    for path in (MOMENT, LESSON, spec("padlocked-switch")):
        assert main(["prove", "--quiet", "--require", "operation", str(path)]) == 3
        assert "less than proved in operation, which is required" in capsys.readouterr().out
    assert main(["prove", "--json", "--require", "operation", str(MOMENT)]) == 3
    found = json.loads(capsys.readouterr().out)
    assert found["exit_code"] == found["files"][0]["exit_code"] == 3
    assert "which is required" in found["files"][0]["headline"]


# ------------------------------------------------------------------ shortfalls

# No edge, and no train at the start.
CLOSED = """
bumper West, East
block Main, Single
track West = Main | Single = East
trains obey signals
signal 2R at Main | Single
  Clear when Single clear
  Stop otherwise
"""
BARE = Shortfall(ShortfallKind.NO_HISTORIES, 1)


@pytest.mark.parametrize("kind", ShortfallKind, ids=lambda kind: kind.name)
def test_whatever_a_proof_falls_short_by_shows_in_its_grade(kind: ShortfallKind) -> None:
    found = [Shortfall(kind, 1)]
    assert grade_of(found) is not Grade.OPERATION
    assert exit_code_of(found) in (0, 1, 3)
    assert exit_code_of(found, Grade.OPERATION) in (1, 3)
    assert (grade_of(found) is Grade.MOMENT) == (kind is ShortfallKind.NO_HISTORIES)
    # The gravest counts.
    worst = [Shortfall(kind, 1) for kind in (ShortfallKind.BROKEN, kind)]
    assert exit_code_of(worst) == ExitCode.BROKEN and grade_of(worst) is Grade.NONE


def test_nothing_falls_short_of_the_best() -> None:
    assert grade_of([]) is Grade.OPERATION and exit_code_of([], Grade.OPERATION) == 0


@cache
def variants() -> tuple[tuple[ShortfallKind, Report], ...]:
    """A report for each kind of shortfall, made when the first is asked for."""
    return tuple(_variants())


def _variants() -> Iterator[tuple[ShortfallKind, Report]]:
    report = proved(TIMED)
    plan, one = report.plan, report.verdicts[0]
    span = Span(plan.source, 0, 1)
    useful = next(v for v in report.verdicts if v.obligation.mode == "possible")

    def changed(verdict: Verdict, **fields: object) -> Report:
        new = replace(verdict, **fields)  # type: ignore[arg-type]
        return replace(report, verdicts=tuple(new if v is verdict else v for v in report.verdicts))

    yield ShortfallKind.BROKEN, changed(one, status="broken")
    yield ShortfallKind.EXPECTED, changed(one, status="broken", expected=True)
    yield ShortfallKind.KNOWN, changed(one, status="broken", known=True)
    yield ShortfallKind.UNDECIDED, changed(useful, status="undecided")
    yield ShortfallKind.UNDECIDED, changed(useful, status="undecided", expected=True)
    advice = replace(useful.obligation, advice=True)
    yield ShortfallKind.UNDECIDED, changed(useful, status="undecided", obligation=advice)
    yield ShortfallKind.WAIVED, changed(one, status="waived")
    yield ShortfallKind.UNMET, replace(report, unmet=(Unmet("it is not", span),))
    yield ShortfallKind.STOPPED, replace(report, stopped=Stopped("stopped", "so"))
    yield ShortfallKind.KEPT_OUT, replace(report, kept_out=(KeptOut(("x",), "block", "Main"),))
    yield ShortfallKind.NOTHING_CLEARS, replace(report, nothing_clears=True)
    yield ShortfallKind.NOTHING_ASKED, replace(report, verdicts=())
    yield ShortfallKind.NO_TRAINS, report_on(CLOSED)
    yield ShortfallKind.SELECTED, replace(report, only=("collision",))
    yield ShortfallKind.NO_HISTORIES, proved(MOMENT)


@pytest.mark.parametrize("number", range(15))
def test_every_shortfall_is_said_everywhere(number: int) -> None:
    kind, report = variants()[number]
    [found] = [s for s in report.shortfalls if s.kind is kind]
    words = shortfall_words(found, report)
    assert report.grade is not Grade.OPERATION
    if kind is ShortfallKind.NO_HISTORIES:
        words = TO_ADD
    assert words and words in headline(report)
    assert words in told_on_terminal(report)
    assert words in file_report(report)["headline"]
    assert words in report_json(report, "", None)["headline"]
    told = stamp(report) + quiet_words(report)
    assert words in told or str(found.number) in told


def test_every_kind_of_shortfall_has_a_report() -> None:
    assert {kind for kind, _ in variants()} == set(ShortfallKind) and len(variants()) == 15


def test_waived_usefulness_and_needless_waivers_leave_the_grade() -> None:
    report = proved(TIMED)
    useful = next(v for v in report.verdicts if v.obligation.mode == "possible")
    safe = report.verdicts[0]
    for verdict, needless in ((useful, False), (safe, True)):
        new = replace(verdict, status="waived", needless=needless)
        changed = tuple(new if v is verdict else v for v in report.verdicts)
        assert replace(report, verdicts=changed).grade is Grade.OPERATION


# ------------------------------------------------------------------ nothing to prove, unread


def test_a_selection_that_matches_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["prove", "--quiet", "--only", "span-not-locked", str(MOMENT)]) == 3
    out = capsys.readouterr().out
    assert out.startswith("nothing to prove") and "no check of span-not-locked" in out


def test_a_part_is_never_the_whole(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["prove", "--quiet", "--only", "converging-proceeds", str(MOMENT)]) == 0
    out = capsys.readouterr().out
    assert out.startswith("not proved: a part only")
    assert "only converging-proceeds was checked" in out


@pytest.mark.parametrize("text", ["", "edge W, E\nblock A, B\ntrack W = A | B = E\n"])
def test_a_file_with_nothing_to_prove(
    text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "bare.ixl"
    path.write_text(text, "utf-8")
    assert main(["prove", "--quiet", str(path)]) == 3
    assert capsys.readouterr().out.startswith("nothing to prove")
    assert main(["prove", "--json", str(path)]) == 3
    found = json.loads(capsys.readouterr().out)
    validator().validate(found)
    assert found["files"][0]["grade"] == "nothing to prove"


def test_files_that_cannot_be_read_among_others(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "a.ixl").write_text(mended(), "utf-8")
    (tmp_path / "gone.ixl").symlink_to(tmp_path / "nowhere")
    assert main(["prove", "--quiet", str(tmp_path)]) == 3
    told = capsys.readouterr()
    assert "not proved: unread" in told.out and "does not exist" in told.err
    assert main(["prove", "--json", str(tmp_path)]) == 3
    found = json.loads(capsys.readouterr().out)
    validator().validate(found)
    assert [file["exit_code"] for file in found["files"]] == [0, 3]
    # What is broken, or wrong, counts before.
    (tmp_path / "b.ixl").write_text(without_expectations(), "utf-8")
    assert main(["prove", "--quiet", str(tmp_path)]) == 1
    (tmp_path / "c.ixl").write_text("block A\ntrack B = A\n", "utf-8")
    assert main(["prove", "--quiet", str(tmp_path)]) == 2
    # One file alone that is not there is a slip of whoever typed its name.
    assert main(["prove", "--quiet", str(tmp_path / "nowhere.ixl")]) == 2


def without_expectations() -> str:
    text = LESSON.read_text("utf-8")
    return "\n".join(line for line in text.splitlines() if not line.startswith("expect "))


def test_a_folder_that_cannot_be_looked_into(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "a.ixl").write_text(mended(), "utf-8")
    secret = tmp_path / "secret"
    secret.mkdir()
    looked = os.scandir

    def refused(path: "str | Path") -> object:
        if Path(path) == secret:
            raise PermissionError(13, "Permission denied", str(path))
        return looked(path)

    monkeypatch.setattr(os, "scandir", refused)
    assert main(["prove", "--quiet", str(tmp_path)]) == 3
    told = capsys.readouterr()
    assert "not proved: unread" in told.out and "Permission denied" in told.err


# ------------------------------------------------------------------ no signal can clear


def test_that_no_signal_can_clear_comes_first() -> None:
    report = report_on(DEAD)
    assert not any(v.fails for v in report.verdicts) and not report.unmet
    assert report.nothing_clears and report.exit_code == ExitCode.UNDECIDED
    lines = [line for line in report_lines(report, Ink(width=80)) if line.strip()]
    assert lines[1].strip().startswith("No signal can ever clear")
    page = document([FileReport(report, {})], options="")
    assert page.index("No signal can ever clear") < page.index('class="stamp')
    assert report_json(report, "", None)["nothing_clears"]
    assert not proved(MOMENT).nothing_clears


def test_it_is_known_without_asking_for_usefulness() -> None:
    text = DEAD.replace("expect broken", "# expect broken")
    some = verifier.prove(verifier.load_text(text), only=["occupied-block"])
    assert some.nothing_clears and some.exit_code == ExitCode.UNDECIDED
    rest = verifier.prove(verifier.load(MOMENT), only=["converging-proceeds"])
    assert not rest.nothing_clears


def test_it_is_known_of_histories() -> None:
    """At a single moment the relay may be up; it never gets there."""
    text = re.sub("assume.*|expect.*|button.*", "", DEAD).replace("Never pressed", "K up") + (
        "relay K picks when K up\n"
        "expect broken never-shown for 2, Clear\n"
        "expect broken route-never-clears\nexpect broken route-never-set\n"
    )
    report = verifier.prove(verifier.load_text(text), only=["occupied-block"])
    assert report.nothing_clears


# ------------------------------------------------------------------ no train ever comes


@pytest.mark.parametrize(
    ("ends", "empty"),
    [
        ("bumper West, East", True),
        ("bumper West\nedge East leaving only", True),
        ("bumper West, East\ntrains start on Main", False),
        ("bumper West\nedge East", False),
    ],
)
def test_what_is_proved_of_a_layout_without_trains_is_nothing(ends: str, empty: bool) -> None:
    report = report_on(CLOSED.replace("bumper West, East", ends))
    assert (ShortfallKind.NO_TRAINS in {s.kind for s in report.shortfalls}) == empty
    assert (NO_TRAINS in headline(report)) == empty
    assert ShortfallKind.NO_TRAINS.at_best is Grade.NOTHING
