"""Reports of layouts that are made of modules and included files."""

import json
from pathlib import Path

import pytest

from tests.reports.schemas import validator
from verifier.cli import main

# Each end of the passing siding lets two trains onto the main.
LAYOUT = """\
edge Quarry, Millrace
block West-Single, East-Single
module Passing-Siding (west, east)
  block Main, Siding, West-Switch, East-Switch
  turnout 1 in West-Switch
  turnout 3 in East-Switch
  track west | 1 normal  | Main   | normal  3 | east
  track        1 reverse | Siding | reverse 3
  signal 2R at west | 1
    Approach  when 1 normal and West-Switch clear
    Stop      otherwise
end
use Passing-Siding as Birch with west = West-Single, east = East-Single
track Quarry      = West-Single
track East-Single = Millrace
"""
NESTED = LAYOUT.replace("use ", "module Outer (west, east)\n  use ").replace(
    "west = West-Single, east = East-Single",
    "west = west, east = east\nend\nuse Outer as Far with west = West-Single, east = East-Single",
)


def prove(text: str, folder: Path, *options: str) -> int:
    (folder / "valley.ixl").write_text(text, "utf-8")
    return main(["prove", *options, str(folder / "valley.ixl")])


def test_a_finding_in_a_module_is_about_one_use(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "100")
    assert prove(LAYOUT, tmp_path, "--ascii", "--only", "proceed-into-occupied") == 1
    shown = capsys.readouterr().out
    assert "BROKEN proceed-into-occupied: Birch.2R, Birch.Main" in shown
    assert "add `and Birch.Main clear` to `Approach when ...` of Birch.2R" in shown
    assert "This was proved for the use Birch of module Passing-Siding only." in " ".join(
        shown.split()
    )


def test_the_json_report_says_which_use_a_place_is_of(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert prove(NESTED, tmp_path, "--json") == 1
    document = json.loads(capsys.readouterr().out)
    validator().validate(document)
    (file,) = document["files"]
    places = [place for verdict in file["verdicts"] for place in verdict["places"]]
    used = [place["used"] for place in places if "used" in place]
    assert {(u["module"], u["as"]) for u in used} == {("Passing-Siding", "Far.Birch")}
    outer = {(u["place"]["line"], u["place"]["used"]["as"]) for u in used}
    assert outer == {(14, "Far")}


def test_the_json_of_an_error_says_which_use_it_is_about(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wrong = LAYOUT.replace("east = East-Single", "east = Quarry-Way")
    wrong += "lever Quarry-Way positions left, right\n"
    assert prove(wrong, tmp_path, "--json") == 2
    document = json.loads(capsys.readouterr().out)
    validator().validate(document)
    (place,) = (e["place"] for e in document["files"][0]["errors"] if e["code"] == "CP203")
    assert (place["line"], place["used"]["as"], place["used"]["place"]["line"]) == (7, "Birch", 13)


def test_asking_about_the_inside_of_a_module(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "valley.ixl").write_text(LAYOUT, "utf-8")
    path = str(tmp_path / "valley.ixl")
    assert main(["ask", "--ascii", path, "Birch.1 reverse, train on Birch.Main"]) == 0
    shown = capsys.readouterr().out
    assert "Birch.2R" in shown and "Stop" in shown
    assert main(["ask", path, "1 reverse"]) == 2
    assert "Birch.1" in capsys.readouterr().err
    assert main(["sheet", path]) == 0
    assert "Birch.2R" in capsys.readouterr().out
