"""The parts sheet counts wire by what it is sold by, and never prices feet as meters."""

from decimal import Decimal

import pytest

import verifier
from tests.junction_files import spec
from verifier.language.source import Source
from verifier.plan.model import Plan
from verifier.sheets.buying.parts import parts_sheet
from verifier.sheets.buying.prices import prices_in
from verifier.sheets.options import SheetOptions
from verifier.sheets.sheet import Sheet

# 20 ft of 14 AWG; 12 feeders of 1 ft and two drivers 15 ft away, of 22 AWG: each run is two
# conductors, so 40 ft and 84 ft.
FEET = spec("wired-end-of-siding").read_text("utf-8")
METERS = FEET.replace("20 ft", "6.096 m").replace("15 ft", "4.572 m").replace("1 ft", "304.8 mm")


def sheet_of(text: str, prices: str = "", spares: int = 10, other: str = "") -> Sheet:
    def plan(text: str) -> Plan:
        return verifier.load_text(text)

    found = prices_in(Source("parts.csv", prices)) if prices else None
    others = (plan(other),) if other else ()
    return parts_sheet(plan(text), SheetOptions(prices=found, spares=spares, others=others))


def wire(sheet: Sheet, title: str = "Parts in all") -> dict[str, tuple[str, ...]]:
    """By kind, the cells behind it, of the rows of wire."""
    table = next(table for table in sheet.tables if table.title == title)
    at = table.columns.index("kind")
    return {row[at]: row[at + 1 :] for row in table.rows if row[at].startswith("wire")}


def notes(sheet: Sheet) -> str:
    return " ".join((*sheet.notes, *(note for table in sheet.tables for note in table.notes)))


HEADS = """
edge West, East
supply Bus-1 DC 12 V
block A, B
track West = A | B = East
signal 2 at A | B
  Clear     when B clear and A clear
  Approach  when B clear
  Stop      otherwise
driver B1 drives 2
  {}
  powered by Bus-1
"""


@pytest.mark.parametrize(
    ("made", "wanted"),
    [
        ("lamps 20 mA", {"head-3": "signal head, 3 lamps"}),
        ("incandescent 2", {"head-bulbs-3": "signal head, 3 lamps, bulbs"}),
        ("target 2", {"target-3": "target, 3 lenses"}),
        ("target 2\n  incandescent 2", {"target-bulbs-3": "target, 3 lenses, bulbs"}),
        ("position-light 2", {"position-light-3": "position light, 3 rows"}),
        ("position-light 2\n  incandescent 2",
         {"position-light-bulbs-3": "position light, 3 rows, bulbs"}),
        ("two-color 2", {"two-color": "searchlight head, two-color LED"}),
        ("three-color 2", {"three-color": "searchlight head, three-color LED"}),
        ("semaphore 2", {"semaphore": "semaphore arm with its coil and weight"}),
        ("semaphore 2\n  when lamp out shows red",
         {"semaphore": "semaphore arm with its coil and weight",
          "arm-contact": "contact at a semaphore arm"}),
    ],
)  # fmt: skip
def test_a_head_is_bought_as_what_it_is(made: str, wanted: dict[str, str]) -> None:
    (parts,) = [t for t in sheet_of(HEADS.format(made)).tables if t.title == "Parts in all"]
    heads = {row[0]: row[1] for row in parts.rows}
    assert {
        kind: text
        for kind, text in heads.items()
        if not kind.startswith(("mast", "driver", "supply"))
    } == wanted


def test_wire_of_a_file_in_feet_is_counted_by_the_foot() -> None:
    sheet = sheet_of(FEET)
    assert wire(sheet) == {
        "wire-14AWG": ("hook-up wire, 14 AWG, by the foot", "40 ft", "4 ft", "44 ft"),
        "wire-22AWG": ("hook-up wire, 22 AWG, by the foot", "84 ft", "9 ft", "93 ft"),
    }
    assert "bought in whole feet." in notes(sheet) and "meter" not in notes(sheet)
    assert {cells[0] for cells in wire(sheet, "Step by step").values()} <= {
        f"{n} ft" for n in range(1, 100)
    }


def test_wire_of_a_file_in_meters_is_counted_by_the_meter() -> None:
    """40 ft are 12.192 m, 84 ft are 25.6032 m: told rounded up, bought in whole meters."""
    sheet = sheet_of(METERS)
    assert wire(sheet) == {
        "wire-14AWG": ("hook-up wire, 14 AWG, by the meter", "12.2 m", "2 m", "15 m"),
        "wire-22AWG": ("hook-up wire, 22 AWG, by the meter", "25.61 m", "3 m", "29 m"),
    }
    assert "bought in whole meters." in notes(sheet) and "feet" not in notes(sheet)


PRICED = "kind,price,currency,per\nwire-14AWG,0.20,USD,{}\nwire-22AWG,0.10,USD,{}\n"


@pytest.mark.parametrize("text", [FEET, METERS])
@pytest.mark.parametrize(
    ("per", "bought"),
    [
        ("foot", {"wire-14AWG": (40, "ft", "0.20"), "wire-22AWG": (84, "ft", "0.10")}),
        ("meter", {"wire-14AWG": (13, "m", "0.20"), "wire-22AWG": (26, "m", "0.10")}),
    ],
)
def test_wire_costs_what_its_price_is_for(
    text: str, per: str, bought: dict[str, tuple[int, str, str]]
) -> None:
    """Whatever units the junction file is written in."""
    found = wire(sheet_of(text, PRICED.format(per, per), spares=0))
    assert {kind: cells[3:6] for kind, cells in found.items()} == {
        kind: (f"{count} {unit}", f"{each} USD per {per}", f"{count * Decimal(each)} USD")
        for kind, (count, unit, each) in bought.items()
    }


def test_wire_of_two_ways_of_being_sold() -> None:
    sheet = sheet_of(FEET, PRICED.format("foot", "meter"), spares=0)
    assert [cells[3] for cells in wire(sheet).values()] == ["40 ft", "26 m"]
    assert "in whole feet and whole meters." in notes(sheet)


def test_the_steps_cost_together_what_is_bought_less_what_is_left_of_the_wire() -> None:
    sheet = sheet_of(FEET, PRICED.format("meter", "meter"), spares=0)
    (rest,) = [n for t in sheet.tables for n in t.notes if n.startswith("Spares and what is left")]
    steps = next(table for table in sheet.tables if table.title == "Step by step")
    sums = [Decimal(row[-1].split()[0]) for row in steps.rows if row[2].startswith("sum")]
    bought = 13 * Decimal("0.20") + 26 * Decimal("0.10")
    assert sum(sums) + Decimal(rest.split(": ")[1].split()[0]) == bought


def test_files_beside_each_other_are_counted_alike() -> None:
    """Whatever each is written in: as the first one is."""
    title = "Alternatives: parts to buy"
    assert wire(sheet_of(FEET, other=METERS), title) == {
        "wire-14AWG": ("44 ft", "44 ft"), "wire-22AWG": ("93 ft", "93 ft"),
    }  # fmt: skip
