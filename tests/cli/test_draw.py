"""`clearproof draw`: a picture to standard output, to a file, or in strips."""

import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from tests.drawing.samples import END_OF_SIDING, line_of_sidings
from verifier.cli import main


@pytest.fixture
def siding(tmp_path: Path) -> str:
    path = tmp_path / "alder-creek.ixl"
    path.write_text(END_OF_SIDING, encoding="utf-8")
    return str(path)


def test_a_situation_is_drawn(siding: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["draw", siding, "train on Main", "T1 reverse"]) == 0
    drawn = ET.fromstring(capsys.readouterr().out)
    states = {g.get("data-name"): g.get("data-state") for g in drawn.iter() if g.get("data-state")}
    assert states["T1"] == "reverse"
    assert [g.get("data-name") for g in drawn.iter() if g.get("data-kind") == "stock"] == ["Main"]


def test_a_plan_is_written(siding: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "plan.svg"
    assert main(["draw", siding, "-o", str(path), "--gaps"]) == 0
    assert str(path) in capsys.readouterr().out
    assert ET.fromstring(path.read_text("utf-8")).tag.endswith("svg")


def test_strips_are_written_one_by_one(tmp_path: Path) -> None:
    line = tmp_path / "line.ixl"
    line.write_text(line_of_sidings(5), encoding="utf-8")
    assert main(["draw", str(line), "-o", str(tmp_path / "line.svg"), "--strips", "900"]) == 0
    made = sorted(path.name for path in tmp_path.glob("*.svg"))
    assert len(made) > 1 and made[0] == "line-1.svg"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["T9 reverse"], "T9"),
        (["--strips", "900"], "-o FILE.svg"),
        (["-o", "nowhere/at/all.svg"], "cannot be written"),
    ],
)
def test_what_cannot_be_drawn_is_told(
    siding: str, arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["draw", siding, *arguments]) == 2
    assert said in capsys.readouterr().err
