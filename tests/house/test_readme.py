"""What the README shows is what the program does."""

import re
from pathlib import Path

import pytest

import verifier
from tests.house.readme_picture import PICTURE, ROOT, block, first_finding
from verifier.cli import main
from verifier.verdicts.exit_codes import table

README = (ROOT / "README.md").read_text("utf-8")


def test_the_first_paragraph_is_the_job() -> None:
    first = README.split("\n\n")[1]
    assert "model railroad" in first and "false clear" in first


def test_the_first_finding_is_what_prove_prints(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("heron-falls.ixl").write_text(block("first junction"), "utf-8")
    assert main(["prove", "heron-falls.ixl"]) == 1
    assert block("first finding").rstrip("\n") in capsys.readouterr().out


def test_the_picture_is_that_finding_and_stands_near_the_top() -> None:
    where = README.index(f"]({PICTURE.relative_to(ROOT).as_posix()})")
    assert README.count("\n", 0, where) < 25
    made = "python -m tests.house.readme_picture makes it anew"
    assert PICTURE.read_text("utf-8") == first_finding(), made


def test_the_exit_codes_are_the_programs() -> None:
    assert block("exit codes").splitlines() == table()


def test_the_python_example_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("heron-falls.ixl").write_text(block("first junction"), "utf-8")
    example = re.search(r"```python\n(.*?)```", README, re.DOTALL)
    assert example
    exec(compile(example.group(1), "README.md", "exec"), {})
    assert "2LB" not in (told := capsys.readouterr().out) and "4RA and 4RB both let" in told


def test_every_command_in_the_tour_exists(capsys: pytest.CaptureFixture[str]) -> None:
    commands = set(re.findall(r"`clearproof (\w+)", README))
    with pytest.raises(SystemExit):
        main(["--help"])
    told = capsys.readouterr().out
    for command in commands:
        assert f"\n    {command}" in told, command


def test_the_lever_mending_of_the_tour_proves() -> None:
    text = block("first junction")
    text += "lever 4 positions left, normal, right\n"
    text = text.replace("Clear             when T1 normal  and Switch, Main",
                        "Clear             when 4 left and T1 normal and Switch, Main")  # fmt: skip
    text = text.replace("when T1 reverse and Switch, Siding",
                        "when 4 left and T1 reverse and Switch, Siding")  # fmt: skip
    text = text.replace("when T1 normal  and Switch, Single",
                        "when 4 right and T1 normal and Switch, Single")  # fmt: skip
    text = text.replace("when Switch, Single", "when 4 right and T1 reverse and Switch, Single")
    report = verifier.prove(verifier.load_text(text))
    assert report.exit_code == 0
