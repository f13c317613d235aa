"""Numbered terminals, terminal blocks, cables and labels: one set of numbers for all sheets."""

import re
from functools import cache
from pathlib import Path

import pytest

import verifier
from tests.junction_files import spec
from tests.sheets.wired_files import TEXTS, by_chance
from verifier.cli import main
from verifier.plan.model import Plan
from verifier.sheets.labels import wire_labels
from verifier.sheets.options import USUAL_OPTIONS
from verifier.sheets.terminals import harness
from verifier.sheets.wiring import wiring_sheet

END_OF_SIDING = "wired-end-of-siding"
SOME = ("wired-end-of-siding.ixl", "sub-bus-mended.ixl")
BY_CHANCE = 10
PLANS = pytest.mark.parametrize("number", range(len(SOME) + BY_CHANCE))


@cache
def plan_of(number: int) -> Plan:
    if number < len(SOME):
        return verifier.load_text(TEXTS[SOME[number]])
    return verifier.load_text(by_chance(number - len(SOME)))


@PLANS
def test_one_wire_to_each_terminal_numbered_without_holes(number: int) -> None:
    plan = plan_of(number)
    wired = harness(plan)
    used = [t for wire in wired.wires for t in (wire.start, wire.end) if t is not None]
    assert len(used) == len(set(used))
    for device in {t.device for t in used}:
        numbers = sorted(t.number for t in used if t.device == device)
        assert numbers == list(range(1, len(numbers) + 1))
    titles = [block.device.title for block in wired.blocks]
    assert len(titles) == len(set(titles))


@PLANS
def test_terminals_joined_are_those_of_one_port(number: int) -> None:
    """A jumper joins what is one point of the circuit: ends of the list with the same words."""
    plan = plan_of(number)
    wired = harness(plan)
    port_of = {}
    for wire in wired.wires:
        for end, terminal in wire.ends:
            port_of[terminal] = (str(end), end.port)
    for block in wired.blocks:
        for _, terminals in block.ports:
            assert len({port_of[terminal] for terminal in terminals}) == 1


@PLANS
def test_a_cable_has_wires_between_its_two_places_and_no_track_power(number: int) -> None:
    plan = plan_of(number)
    wired = harness(plan)
    of = {wire.number: wire for wire in wired.wires}
    for cable in wired.cables:
        assert len(cable.wires) > 1
        for number in cable.wires:
            assert of[number].cable == cable.number
            assert of[number].conductor.function.role not in ("track power", "track return")
    assert sum(len(cable.wires) for cable in wired.cables) == sum(
        wire.cable is not None for wire in wired.wires
    )


def test_a_board_counted_by_hand() -> None:
    """B1 of the end of siding: two of power, five inputs, two heads of two lamps and a common."""
    wired = harness(verifier.load(spec(END_OF_SIDING)))
    board = next(block for block in wired.blocks if block.device.name == "B1")
    assert board.terminals == 2 + 5 + 2 * 3
    joined = [[t.number for t in found] for _, found in board.ports if len(found) > 1]
    assert joined == [[10, 13]]
    lamps = next(cable for cable in wired.cables if cable.between == ("B1", "signal 4L"))
    assert len(lamps.wires) == 6


def test_labels_have_the_numbers_of_the_list(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = verifier.load(spec(END_OF_SIDING))
    sheet = wiring_sheet(plan, USUAL_OPTIONS)
    rows = [row for table in sheet.tables if table.columns[1] == "no." for row in table.rows]
    for row, (start, end) in zip(rows, wire_labels(harness(plan)), strict=True):
        assert str(start.number) == str(end.number) == row[1]
        assert (start.here, end.here) == (end.there, start.there)
        assert (start.here.split(":")[1], end.here.split(":")[1]) == (row[9], row[10])
    target = tmp_path / "labels.html"
    file = str(spec(END_OF_SIDING))
    assert main(["sheet", file, "labels", "-o", str(target)]) == 0
    text = target.read_text("utf-8")
    for row in rows:
        assert len(re.findall(rf'data-wire="{row[1]}"', text)) == 2
    capsys.readouterr()
    assert main(["sheet", file, "wiring", "-o", str(target)]) == 2
    assert "--output is for the sheet labels" in capsys.readouterr().err
