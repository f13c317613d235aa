"""Histories in reports: told on the terminal and in JSON, and asked about with `why`."""

import json
from pathlib import Path

import pytest

from tests.decide.histories import END_OF_SIDING
from tests.reports.schemas import validator
from verifier.cli import main

LOCKED = "locked while Switch occupied or 4L-route up"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "heron-falls.ixl"
    path.write_text(END_OF_SIDING.format(lock="locked while Switch occupied"))
    return path


def printed(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, list[str]]:
    code = main([*arguments])
    return code, capsys.readouterr().out.splitlines()


def test_a_history_is_printed_event_by_event(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, lines = printed(capsys, "prove", str(file), "--only", "points-move-under-train")
    assert code == 1
    at = lines.index("   A history of 8 events, with 1 train:")
    assert lines[at + 1 : at + 3] == [
        "     1. operator presses Clear-4L",
        "     2. relay 4L-route picks   line 14",
    ]
    assert "     4. 4L clears to Clear   line 23" in lines
    assert "▐██▌ Single" in "".join(lines)
    assert "T1 open (Switch)" in "".join(lines)
    assert "   Why it was allowed:" in lines
    assert any(line.startswith("     T1 is not locked: `locked while …`") for line in lines)
    assert lines[-2].endswith("situations and every history of this plan.")
    assert lines[-1] == f"`clearproof mend {file}` looks for repairs."


def test_a_history_is_in_the_json(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, lines = printed(
        capsys, "prove", "--json", str(file), "--only", "points-move-under-train",
        "--only", "route-never-set", "--only", "opposing-signals-drop",
    )  # fmt: skip
    assert code == 1
    document = json.loads("\n".join(lines))
    validator().validate(document)
    by_property = {v["property"]: v for v in document["files"][0]["verdicts"]}
    history = by_property["points-move-under-train"]["finding"]["history"]
    assert history["trains"] == 1
    assert history["events"][1]["text"] == "relay 4L-route picks"
    assert history["events"][1]["place"]["line"] == 14
    assert history["events"][-1]["moment"] == len(history["moments"]) - 1
    on_t1 = {"kind": "train", "name": "T1", "state": "occupied"}
    assert on_t1 in history["moments"][-1]
    assert on_t1 not in history["moments"][0]
    [can_be_set] = [
        v
        for v in document["files"][0]["verdicts"]
        if v["property"] == "route-never-set" and v["subjects"] == ["4L to West-Main"]
    ]
    assert can_be_set["status"] == "proved" and can_be_set["finding"] is None
    assert [e["text"] for e in can_be_set["history"]["events"]][-1] == "4L clears to Clear"
    lasting = by_property["opposing-signals-drop"]["lasting"]
    assert lasting["moments"] >= 1 and len(lasting["sentences"]) <= lasting["facts"]


def test_why_tells_what_a_proof_rests_on(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file.write_text(END_OF_SIDING.format(lock=LOCKED))
    code, lines = printed(capsys, "why", str(file), "points-move-under-train", "T1")
    assert code == 0
    assert "1. proved points-move-under-train: T1" in lines
    assert "   It never happens that the points of T1 move while a train is on them." in lines
    rests = [line for line in lines if line.startswith("     - ")]
    assert rests and any("T1 lies normal" in line for line in rests)
    assert "Assumptions:" in lines


def test_why_of_something_broken_is_its_history(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, lines = printed(capsys, "why", str(file), "points-move-under-train")
    assert code == 1
    assert "   A history of 8 events, with 1 train:" in lines


def test_why_of_what_a_single_situation_decides(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, lines = printed(capsys, "why", str(file), "aspect-not-listed", "4L")
    assert code == 0
    assert any("No situation of this plan breaks it" in line for line in lines)


def test_why_of_what_can_come_about_is_how(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, lines = printed(capsys, "why", str(file), "route-never-set", "4L to West-Main")
    assert code == 1  # other routes of the file can not
    assert "1. proved route-never-set: 4L to West-Main" in lines
    assert "   It can happen, as this replayed history shows:" in lines
    assert "     2. relay 4L-route picks   line 14" in lines


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        (("colision",), "Did you mean `collision`?"),
        (("collision", "T7"), "no subject of collision is called `T7`"),
    ],
)
def test_why_of_nothing_is_an_error(
    file: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], complaint: str
) -> None:
    assert main(["why", str(file), *arguments]) == 2
    assert complaint in capsys.readouterr().err


def test_places_are_lines_wherever_they_lie_in_the_file_that_is_proved(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """In a module too; what another file says goes with that file's name."""
    text = END_OF_SIDING.format(lock="locked while Switch occupied")
    before, relay, after = text.partition("relay 4L-route\n")
    picks, _, rest = after.partition("\n\n")
    module = (
        "module Memory (Clear-4L, Switch, Main, T1)\n" + relay + picks + "\nend\n"
        "use Memory as Here with Clear-4L = Clear-4L, Switch = Switch, Main = Main, T1 = T1\n"
    )
    rest = rest.replace("4L-route", "Here.4L-route")
    monkeypatch.chdir(tmp_path)
    Path("one.ixl").write_text(before + module + rest)
    Path("memory.ixl").write_text(module)
    Path("other.ixl").write_text(before + 'include "memory.ixl"' + rest)
    for path, where in (("one.ixl", "line 15"), ("other.ixl", "memory.ixl:2")):
        _, lines = printed(capsys, "prove", path, "--only", "points-move-under-train")
        told = next(line for line in lines if "Here.4L-route picks" in line)
        assert told == f"     2. relay Here.4L-route picks   {where}"
        assert any("4L clears to Clear   line " in line for line in lines)
