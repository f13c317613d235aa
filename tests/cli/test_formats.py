"""Where reports go, and what a baseline knows."""

import json
from pathlib import Path

import pytest

from tests.decide.layouts import BROKEN, SAFE
from tests.reports.schemas import validator
from verifier.cli import main
from verifier.verdicts.exit_codes import ExitCode


@pytest.fixture
def broken(tmp_path: Path) -> str:
    path = tmp_path / "broken.ixl"
    path.write_text(BROKEN, "utf-8")
    return str(path)


@pytest.fixture
def safe(tmp_path: Path) -> str:
    path = tmp_path / "safe.ixl"
    path.write_text(SAFE, "utf-8")
    return str(path)


def test_the_text_stays_on_the_terminal_beside_files(
    broken: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "r.sarif"
    assert main(["prove", "--output-format", "sarif", "-o", str(out), broken]) == ExitCode.BROKEN
    said = capsys.readouterr()
    assert "not proved: 2 broken" in said.out and f"Report written: {out}" in said.err
    assert json.loads(out.read_text("utf-8"))["version"] == "2.1.0"


def test_one_format_on_standard_output(broken: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["prove", "--output-format", "json", broken]) == ExitCode.BROKEN
    one = capsys.readouterr().out
    assert main(["prove", "--json", broken]) == ExitCode.BROKEN
    assert capsys.readouterr().out == one
    validator().validate(json.loads(one))


def test_text_into_a_file(
    broken: str, safe: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "r.txt"
    options = ["--output-format", "text", "-o", str(out), "--color", "always"]
    main(["prove", *options, broken, safe])
    assert out.read_text("utf-8") == capsys.readouterr().out
    assert "\x1b" not in out.read_text("utf-8")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--output-format", "tap", "--output-format", "junit"], "tap and junit on standard"),
        (["--json", "--output-format", "tap"], "tap and json on standard"),
        (["-o", "x"], "write `--output-format FORMAT` before `-o x`"),
        (["--output-format", "tap", "-o", "x", "-o", "y"], "before `-o y`"),
        (["--output-format", "tap", "-o", "x", "--output-format", "json", "-o", "x"],
         "two reports into one file"),
        (["--output-format", "html"], "`html` is none of text, "),
        (["--output-format", "tap", "-o", "missing/x.tap"], "the folder does not exist"),
        (["--baseline", "missing.json"], '"missing.json" does not exist'),
    ],
)  # fmt: skip
def test_what_cannot_be(
    options: list[str], said: str, broken: str, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    try:
        code: object = main(["prove", *options, broken])
    except SystemExit as ended:
        code = ended.code
    assert code == ExitCode.BAD_INPUT
    captured = capsys.readouterr()
    [line] = captured.err.splitlines()
    assert said in line and not captured.out
    assert not any(path.suffix != ".ixl" for path in tmp_path.iterdir())


def test_an_input_is_never_overwritten(broken: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["prove", "--output-format", "tap", "-o", broken, broken]) == ExitCode.BAD_INPUT
    assert Path(broken).read_text("utf-8") == BROKEN


# ------------------------------------------------------------------ baseline


def baseline(file: str, to: Path) -> str:
    main(["prove", "--quiet", "--output-format", "json", "-o", str(to), file])
    return str(to)


def test_what_is_known_does_not_fail_but_is_said(
    broken: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    known = baseline(broken, tmp_path / "known.json")
    capsys.readouterr()
    assert main(["prove", "--quiet", "--baseline", known, broken]) == ExitCode.AS_EXPECTED
    assert capsys.readouterr().out.startswith("not proved: 2 broken, known")
    assert main(["prove", "--json", "--baseline", known, broken]) == ExitCode.AS_EXPECTED
    document = json.loads(capsys.readouterr().out)
    validator().validate(document)
    [file] = document["files"]
    assert file["counts"]["known"] == 2 and file["counts"]["broken"] == 0
    assert file["headline"].startswith("not proved: 2 broken as the baseline says")
    for kind, mark in (("sarif", '"kind": "external"'), ("tap", "known by the baseline")):
        main(["prove", "--output-format", kind, "--baseline", known, broken])
        assert mark in capsys.readouterr().out


def test_what_is_new_fails(broken: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    known = baseline(broken, tmp_path / "known.json")
    text = BROKEN.replace("Switch, Main clear", "Switch clear", 1)
    assert text != BROKEN
    Path(broken).write_text(text, "utf-8")
    capsys.readouterr()
    assert main(["prove", "--quiet", "--baseline", known, broken]) == ExitCode.BROKEN
    out = capsys.readouterr().out
    assert "broken as the baseline says" in out and "1 BROKEN" in out


def test_what_was_undecided_is_never_known(
    broken: str, safe: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "known.json"
    options = ["--within", "0.000001", "--output-format", "json", "-o", str(out)]
    assert main(["prove", "--quiet", *options, broken]) == ExitCode.UNDECIDED
    capsys.readouterr()
    assert main(["prove", "--quiet", "--baseline", str(out), broken]) == ExitCode.BROKEN
    known = baseline(broken, out)
    code = main(["prove", "--quiet", "--within", "0.000001", "--baseline", known, broken, safe])
    assert code == ExitCode.UNDECIDED


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"schema_version": 1}', "\x00", "[" * 100_000,
                                  '{"schema_version": 1, "files": [{"verdicts": [1]}]}',
                                  '{"schema_version": 2, "files": []}'])  # fmt: skip
def test_a_baseline_that_is_none(
    text: str, broken: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "b.json"
    path.write_text(text, "utf-8")
    with pytest.raises(SystemExit) as ended:
        main(["prove", "--baseline", str(path), broken])
    assert ended.value.code == ExitCode.BAD_INPUT
    assert "is not a report that `clearproof prove --json` wrote" in capsys.readouterr().err
