"""The registry of diagnostic codes: complete, and its examples do what they say."""

import re
from pathlib import Path

import pytest

from verifier.api import prove_file
from verifier.cli import main
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.diagnostics.registry import CODES

ROOT = Path(__file__).resolve().parents[2]

JUNCTION = """\
edge West, East
bumper End
block Main, Spur, Switch, Single
turnout T1 in Switch
track West = Main | normal  T1 | Single = East
track End  = Spur | reverse T1

signal 2 at Single | T1
  Stop otherwise

supply Bus-1 12 V 3 A
driver B1 drives 2 powered by Bus-1
"""

COMMANDS = [code.code for code in CODES.values() if code.bad.startswith("clearproof ")]
FILES = [code for code in CODES if code not in COMMANDS]


def used_in_the_program() -> set[str]:
    found: set[str] = set()
    for path in (ROOT / "verifier").rglob("*.py"):
        if not path.name.startswith("code"):
            found |= set(re.findall(r"\bCP\d{3}\b", path.read_text("utf-8")))
    return found


def codes_of(text: str, folder: Path) -> list[str]:
    """The codes of everything wrong with a file, up to what only a proof finds. Another file
    lies below it that it may include."""
    (folder / "common").mkdir()
    (folder / "common" / "aspects.ixl").write_text("aspect Slow-Clear lunar proceed\n", "utf-8")
    (folder / "junction.ixl").write_text(text, "utf-8")
    try:
        prove_file(folder / "junction.ixl")
    except InputError as error:
        return [d.code for d in error.diagnostics]
    return []


def test_every_code_the_program_uses_is_explained_and_no_other() -> None:
    assert used_in_the_program() == set(CODES)


def test_codes_are_listed_in_order_under_their_own_names() -> None:
    assert list(CODES) == sorted(CODES)
    assert all(code.code == name for name, code in CODES.items())


@pytest.mark.parametrize("name", FILES)
def test_the_bad_example_has_exactly_this_wrong(name: str, tmp_path: Path) -> None:
    assert codes_of(CODES[name].bad, tmp_path) == [name]


@pytest.mark.parametrize("name", FILES)
def test_the_good_example_has_nothing_wrong(name: str, tmp_path: Path) -> None:
    # Most examples are of track alone: they can be read, and nothing is left to prove.
    track_alone = "signal " not in CODES[name].good
    assert codes_of(CODES[name].good, tmp_path) == (["CP502"] if track_alone else [])


@pytest.mark.parametrize("name", COMMANDS)
def test_commands_of_the_examples(
    name: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    (tmp_path / "junction.ixl").write_text(JUNCTION, "utf-8")
    monkeypatch.chdir(tmp_path)
    assert main(arguments(CODES[name].bad)) == 2
    said = capsys.readouterr().err
    assert f" {name}: " in said and said.count(": CP") == 1
    main(arguments(CODES[name].good))
    assert "CP" not in capsys.readouterr().err


def arguments(example: str) -> list[str]:
    """The words of a command as a shell would pass them on. Below it may stand, after an empty
    line, the file that its last word names."""
    command, _, text = example.partition("\n\n")
    if text:
        Path(command.split()[-1]).write_text(text, "utf-8")
    return [quoted or plain for quoted, plain in re.findall(r'"([^"]*)"|(\S+)', command)][1:]


@pytest.mark.parametrize("name", CODES)
def test_an_explanation_says_enough_in_words_of_the_trade(name: str) -> None:
    code = CODES[name]
    assert 5 < len(code.title) < 60
    assert not code.title.endswith(".")
    *reason, advice = code.explanation.split("\n\n")
    assert reason and advice.endswith(".")
    assert len(code.explanation.split()) > 25
    assert all(len(line) <= 80 for line in code.explanation.splitlines())
    words = set(re.findall(r"[a-z]+", code.explanation.lower()))
    assert not words & {"model", "sat", "unsat", "invariant", "variable", "assertion", "token",
                        "parse", "parser", "syntax", "boolean", "identifier"}  # fmt: skip


@pytest.mark.parametrize("name", CODES)
def test_the_program_explains_the_code(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["explain", name]) == 0
    shown = capsys.readouterr().out
    assert shown.startswith(f"{name}: {CODES[name].title}\n")
    assert CODES[name].explanation in shown
