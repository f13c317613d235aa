"""The registry of diagnostic codes: complete, and its examples do what they say."""

import re
from pathlib import Path

import pytest

from verifier.api import load
from verifier.cli import main
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.diagnostics.registry import kinds
from verifier.language.modules.expand import MAX_STATEMENTS
from verifier.language.modules.includes import ENDING, MAX_FILES
from verifier.language.syntax.parse import MAX_CHARACTERS, MAX_NAME, MAX_NESTING
from verifier.pipeline import prove

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

KINDS = kinds()
COMMANDS = [code.code for code in KINDS.values() if code.bad.startswith("clearproof ")]
FILES = [code for code in KINDS if code not in COMMANDS]


def used_in_the_program() -> set[str]:
    found: set[str] = set()
    for path in (ROOT / "verifier").rglob("*.py"):
        if path.name != "registry.py":
            found |= set(re.findall(r"\bCP\d{3}\b", path.read_text("utf-8")))
    return found


def codes_of(text: str, folder: Path) -> list[str]:
    """The codes of everything wrong with a file, up to what only a proof finds. Another file
    lies below it that it may include."""
    (folder / "common").mkdir()
    (folder / "common" / "aspects.ixl").write_text("aspect Slow-Clear lunar proceed\n", "utf-8")
    (folder / "junction.ixl").write_text(text, "utf-8")
    try:
        prove(load(folder / "junction.ixl"), repairs=False, brief=True)
    except InputError as error:
        return [d.code for d in error.diagnostics]
    return []


def test_every_code_the_program_uses_is_explained_and_no_other() -> None:
    assert used_in_the_program() == set(KINDS)


def test_codes_are_listed_in_order_under_their_own_names() -> None:
    assert list(KINDS) == sorted(KINDS)
    assert all(code.code == name for name, code in KINDS.items())


@pytest.mark.parametrize("name", FILES)
def test_the_bad_example_has_exactly_this_wrong(name: str, tmp_path: Path) -> None:
    assert codes_of(KINDS[name].bad, tmp_path) == [name]


@pytest.mark.parametrize("name", FILES)
def test_the_good_example_has_nothing_wrong(name: str, tmp_path: Path) -> None:
    # Most examples are of track alone: they can be read, and nothing is left to prove.
    track_alone = "signal " not in KINDS[name].good
    assert codes_of(KINDS[name].good, tmp_path) == (["CP502"] if track_alone else [])


@pytest.mark.parametrize("name", COMMANDS)
def test_commands_of_the_examples(
    name: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    (tmp_path / "junction.ixl").write_text(JUNCTION, "utf-8")
    monkeypatch.chdir(tmp_path)
    assert main(arguments(KINDS[name].bad)) == 2
    said = capsys.readouterr().err
    assert f" {name}: " in said and said.count(": CP") == 1
    main(arguments(KINDS[name].good))
    assert "CP" not in capsys.readouterr().err


def arguments(example: str) -> list[str]:
    """The words of a command as a shell would pass them on. Below it may stand, after an empty
    line, the file that its last word names."""
    command, _, text = example.partition("\n\n")
    if text:
        Path(command.split()[-1]).write_text(text, "utf-8")
    return [quoted or plain for quoted, plain in re.findall(r'"([^"]*)"|(\S+)', command)][1:]


@pytest.mark.parametrize("name", KINDS)
def test_an_explanation_says_enough_in_words_of_the_trade(name: str) -> None:
    code = KINDS[name]
    assert 5 < len(code.title) < 60
    assert not code.title.endswith(".")
    *reason, advice = code.explanation.split("\n\n")
    assert reason and advice.endswith(".")
    assert len(code.explanation.split()) > 25
    assert all(len(line) <= 80 for line in code.explanation.splitlines())
    words = set(re.findall(r"[a-z]+", code.explanation.lower()))
    assert not words & {"model", "sat", "unsat", "invariant", "variable", "assertion", "token",
                        "parse", "parser", "syntax", "boolean", "identifier"}  # fmt: skip


@pytest.mark.parametrize("name", KINDS)
def test_the_program_explains_the_code(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["explain", name]) == 0
    shown = capsys.readouterr().out
    assert shown.startswith(f"{name}: {KINDS[name].title}\n")
    assert KINDS[name].explanation in shown


@pytest.mark.parametrize(
    ("name", "limits"),
    [
        ("CP100", [f"{MAX_CHARACTERS:,} characters"]),
        ("CP108", [f"{MAX_NESTING} deep"]),
        ("CP109", [f"{MAX_NAME} letters"]),
        ("CP730", [f"{MAX_CHARACTERS:,} characters"]),
        ("CP731", [f"*{ENDING}"]),
        ("CP742", [f"{MAX_STATEMENTS:,} statements", f"{MAX_CHARACTERS:,} characters",
                   f"{MAX_FILES} included files"]),
    ],
)  # fmt: skip
def test_the_limits_told_are_those_in_force(name: str, limits: list[str]) -> None:
    text = " ".join(KINDS[name].explanation.split())
    assert all(limit in text for limit in limits)
