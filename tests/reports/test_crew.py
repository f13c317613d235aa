"""`clearproof why FILE`: what a crew has to promise, as people read it."""

from pathlib import Path

import pytest

import verifier
from tests.repair.test_fewest_promises import GATE, HAND
from verifier.cli import main
from verifier.workbench.report_json import report_json

DARK = """
edge West, East
block A, Line, B
track West = A | Line | B = East
signal 2R at A | Line
  Clear when Line, B clear
  Stop otherwise
signal 2L at B | Line
  Clear when Line, A clear
  Stop otherwise
"""


def said(
    text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], *more: str
) -> tuple[int, str]:
    file = tmp_path / "hand.ixl"
    file.write_text(text, "utf-8")
    code = main(["why", str(file), *more])
    return code, capsys.readouterr().out


def test_the_lines_to_write_come_first(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out = said(HAND, tmp_path, capsys)
    lines = out.splitlines()
    assert code == 0
    assert lines[2:6] == [
        "   Safe in operation if your crew keeps these promises (none can be left out):",
        "     crew promises not to throw T1 under a train",
        "     crew promises not to throw T1 under clear signals",
        "   With these promises: proved in operation.",
    ]
    assert "Where it is broken (replayed): The points of T1 move while a train is on them." in out
    assert "What makes it unnecessary (proved, and every route can be set as before)" in out
    assert "In place of all promises about T1 (proved)" in out
    # Written into the file, they are enough.
    code, out = said("\n".join((HAND, *lines[3:5])), tmp_path, capsys)
    assert code == 0 and "Nothing needs" not in out


def test_a_file_that_says_nothing_of_time_is_told_to(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out = said(GATE, tmp_path, capsys)
    assert code == 0 and "     trains obey signals\n     crew promises" in out


def test_what_no_promise_mends_is_shown(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out = said(DARK, tmp_path, capsys)
    assert code == 1
    assert "No promise of your crew mends" in out and "BROKEN opposing-proceeds" in out


def test_a_promise_that_nothing_needs_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    promise = "not to reverse on Main"
    _, out = said(f"{HAND}crew promises {promise}\n", tmp_path, capsys)
    assert f"Nothing needs the file's promise {promise}." in out
    promise = "one train at a time on A, Line"
    _, out = said(f"{DARK}crew promises {promise}\n", tmp_path, capsys)
    assert "your crew has to promise nothing" in out
    assert f"Nothing needs the file's promise {promise}." in out


def test_without_time_nothing_is_said_to_be_safe(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out = said(HAND, tmp_path, capsys, "--within", "0.001")
    assert code == 3 and "Not decided what your crew has to promise" in out
    assert "safe in operation" not in out.lower()


def test_the_report_of_a_file_without_locks_ends_with_the_promises(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "hand.ixl"
    file.write_text(HAND, "utf-8")
    assert main(["prove", str(file)]) == 1
    assert capsys.readouterr().out.splitlines()[-4:] == [
        "Safe over time if your crew keeps these promises (`clearproof why` shows why):",
        "   crew promises not to throw T1 under a train",
        "   crew promises not to throw T1 under clear signals",
        f"`clearproof mend {file}` looks for repairs.",
    ]


def test_every_surface_tells_the_promises(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file, html, summary = (tmp_path / name for name in ("hand.ixl", "hand.html", "hand.md"))
    file.write_text(HAND, "utf-8")
    written = ["--report", str(html), "--output-format", "markdown", "-o", str(summary)]
    assert main(["prove", str(file), "--quiet", *written]) == 1
    report = report_json(verifier.prove(verifier.load(file)), "", None)
    promises = [
        f"crew promises not to throw T1 under {what}" for what in ("a train", "clear signals")
    ]
    assert report["promises_to_make"] == promises
    assert all(f"<code>{promise}</code>" in html.read_text("utf-8") for promise in promises)
    assert all(f"- `{promise}`" in summary.read_text("utf-8") for promise in promises)


def test_a_file_with_locks_is_not_told_of_promises(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "locked.ixl"
    text = HAND.replace("by hand", "by hand electric lock released when Main clear")
    file.write_text(text, "utf-8")
    assert main(["prove", str(file)]) == 1
    assert "your crew keeps" not in capsys.readouterr().out
