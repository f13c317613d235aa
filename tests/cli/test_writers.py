"""Each command that writes, on a full disk and to a full standard output: one line, exit code 2.

The night tries the same commands (`tests/nightly/writers.py`) on real disks, killed, two at once.
"""

import errno
import os
import sys
from pathlib import Path

import pytest

from tests.nightly.commands_that_write import IN_PLACE, TO_STANDARD_OUTPUT, UNTIDY, WRITERS, Writer
from tests.nightly.writers import fresh
from tests.sweep import sample
from verifier.cli import main
from verifier.verdicts.exit_codes import ExitCode

# These take seconds each, and write as others do.
LONG = {"pack", "farm", "draft"}
SHORT = sample([name for name in WRITERS if name not in LONG], 2, "writers")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(fresh(tmp_path / "here"))
    monkeypatch.setenv("CLEARPROOF_NO_CACHE", "1")
    return tmp_path / "here"


@pytest.fixture
def full(folder: Path, monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """A disk that is full once something was written into a file; which were told so."""
    told: list[int] = []

    def no_room(number: int) -> None:
        told.append(number)
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", no_room)
    return told


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.rglob("*"))


@pytest.mark.parametrize("name", SHORT)
def test_a_full_disk(
    name: str, folder: Path, full: list[int], capsys: pytest.CaptureFixture[str]
) -> None:
    writer: Writer = WRITERS[name]
    before = names(folder)
    assert main(writer.words(f"out{writer.ends}")) == ExitCode.BAD_INPUT
    [line] = capsys.readouterr().err.splitlines()
    assert "cannot be written: the disk is full." in line
    assert full and names(folder) == before


@pytest.mark.parametrize("name", IN_PLACE)
def test_a_full_disk_keeps_what_is_changed(
    name: str, folder: Path, full: list[int], capsys: pytest.CaptureFixture[str]
) -> None:
    words, text = IN_PLACE[name]
    (folder / "x.ixl").write_text(text)
    before = names(folder)
    assert main(words("x.ixl")) == ExitCode.BAD_INPUT
    [line] = capsys.readouterr().err.splitlines()
    assert line == "x.ixl cannot be written: the disk is full."
    assert full and names(folder) == before and (folder / "x.ixl").read_text() == text


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device of Linux")
@pytest.mark.parametrize("name", sample(TO_STANDARD_OUTPUT, 6, "outputs"))
@pytest.mark.usefixtures("folder")
def test_a_full_output(
    name: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    with open("/dev/full", "w", encoding="utf-8") as output:
        monkeypatch.setattr(sys, "stdout", output)
        code = main(TO_STANDARD_OUTPUT[name])
        monkeypatch.undo()
    [line] = capsys.readouterr().err.splitlines()
    assert line == "The output cannot be written: the disk is full." and code == ExitCode.BAD_INPUT


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device of Linux")
@pytest.mark.parametrize("words", [["draw", "none.ixl"], ["nothing"], ["prove", "--nothing"]])
@pytest.mark.usefixtures("folder")
def test_nobody_to_tell(words: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """It is still the input that is wrong, not a junction."""
    with open("/dev/full", "w", buffering=1, encoding="utf-8") as errors:
        monkeypatch.setattr(sys, "stderr", errors)
        try:
            code: object = main(words)
        except SystemExit as ended:  # argparse ends the program itself
            code = ended.code
        monkeypatch.undo()
    assert code == ExitCode.BAD_INPUT


def test_what_was_printed_and_what_went_wrong_are_both_lost(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second file is locked when what was said of the first cannot be printed."""
    for name in ("1.ixl", "2.ixl"):
        (folder / name).write_text(UNTIDY)
    (folder / "2.ixl").chmod(0o444)
    with open("/dev/full", "w", encoding="utf-8") as output:
        monkeypatch.setattr(sys, "stdout", output)
        code = main(["format", "1.ixl", "2.ixl"])
        monkeypatch.undo()
    [line] = capsys.readouterr().err.splitlines()
    assert line == "2.ixl cannot be written: the file is read-only."
    assert code == ExitCode.BAD_INPUT and (folder / "2.ixl").read_text() == UNTIDY
