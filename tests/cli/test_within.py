"""``prove --within S``: all files together take no longer; what was decided is printed, the rest is
named, and no success is reported."""

import json
from pathlib import Path

import pytest

from tests.decide.layouts import BROKEN, SAFE
from tests.decide.test_within import ticking
from tests.junction_files import spec
from tests.reports.schemas import validator
from verifier.cli import main
from verifier.verdicts.exit_codes import ExitCode

# Longer than anything takes.
LONG = "900000"


@pytest.fixture
def files(tmp_path: Path) -> list[str]:
    """Three junctions of which nothing is broken."""
    paths = [tmp_path / name for name in ("one.ixl", "two.ixl", "three.ixl")]
    for path in paths:
        path.write_text(SAFE)
    return [str(path) for path in paths]


def half_of(arguments: list[str], monkeypatch: pytest.MonkeyPatch) -> str:
    """Half the time that a command takes, by a clock that moves with every look at it."""
    clock = ticking(monkeypatch)
    main([*arguments, "--within", LONG])
    half = str(int(clock.now / 2))
    ticking(monkeypatch)
    return half


def test_files_that_are_not_reached_are_named(
    files: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    half = half_of(["prove", "--jobs", "1", *files], monkeypatch)
    capsys.readouterr()
    assert main(["prove", "--jobs", "1", "--within", half, *files]) == ExitCode.UNDECIDED
    out = capsys.readouterr().out
    told = next(line for line in out.splitlines() if files[2] in line)
    assert told.startswith("not proved: undecided ")
    assert told.endswith(f"  {files[2]}  not reached within {half} s")
    assert "(stopped when its time was over)" in out and "proved" in out
    assert "3 of 3 files checked, exit code 3: nothing is broken, but" in out


def test_the_json_report_says_so(
    files: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    half = half_of(["prove", "--jobs", "1", *files], monkeypatch)
    capsys.readouterr()
    assert main(["prove", "--json", "--jobs", "1", "--within", half, *files]) == ExitCode.UNDECIDED
    said = json.loads(capsys.readouterr().out)
    validator().validate(said)
    first, second, third = said["files"]
    why = f"not reached within {half} s"
    assert (first["exit_code"], first["stopped"], first["interrupted"]) == (0, "", False)
    assert (second["exit_code"], second["stopped"], second["interrupted"]) == (3, why, True)
    assert third == {"file": files[2], "exit_code": 3, "grade": "not proved", "stopped": why}
    statuses = {v["status"] for v in second["verdicts"]}
    assert statuses == {"proved", "undecided"}


def test_what_is_broken_counts_more(
    files: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    Path(files[0]).write_text(BROKEN)
    half = half_of(["prove", "--jobs", "1", *files], monkeypatch)
    assert main(["prove", "--quiet", "--jobs", "1", "--within", half, *files]) == ExitCode.BROKEN


def test_certificates_are_written_as_far_as_there_is_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from verifier.commands import proving

    path = str(spec("electric-lock"))
    assert main(["prove", path, "--certificate", str(tmp_path / "all")]) == 0
    assert "Only" not in capsys.readouterr().err
    clock = ticking(monkeypatch)
    main(["prove", path, "--within", LONG])
    monkeypatch.setattr(proving, "GRACE", 5)
    ticking(monkeypatch)
    wanted = ["prove", path, "--certificate", str(tmp_path / "some")]
    assert main([*wanted, "--within", str(int(clock.now))]) == ExitCode.UNDECIDED
    assert "there was no time for more" in capsys.readouterr().err
    written = {file.name for file in (tmp_path / "some").iterdir()}
    every = {file.name for file in (tmp_path / "all").iterdir()}
    assert "README.txt" in written and 1 < len(written) < len(every) and written < every


def test_quiet_says_nothing_but_the_results(
    files: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from verifier.reports import progress

    monkeypatch.setattr(progress, "PLAIN_AFTER", 0.0)
    monkeypatch.setattr(progress, "PLAIN_EVERY", 0.0)
    main(["prove", "--json", files[0]])
    shown = capsys.readouterr()
    assert "one.ixl: 0 of " in shown.err and "\r" not in shown.err
    assert json.loads(shown.out)["exit_code"] == 0
    main(["prove", "--quiet", files[0]])
    assert capsys.readouterr().err == ""


def test_it_must_be_a_time(files: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    for wrong in ("0", "-1", "soon"):
        with pytest.raises(SystemExit):
            main(["prove", "--within", wrong, files[0]])
        assert "is not a number of seconds above 0" in capsys.readouterr().err
