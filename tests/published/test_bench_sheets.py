"""What the sheets count and compute, against facts of the trade and the project's notes on
sources (5.2 and 5.4).

Common practice, no source: three detection sections to an end of siding, four heads to its control
point, a driver for each head or a shared one, a gap in one rail only. [C]: computed there.
"""

from collections import Counter

import pytest

import verifier
from verifier.patterns import pattern_text
from verifier.plan.model import Plan
from verifier.sheets.buying.bill_of_materials import bill_of_materials
from verifier.sheets.buying.build_order import build_steps
from verifier.sheets.electrical import electrical_sheet
from verifier.sheets.gaps import gap_sheet
from verifier.sheets.options import USUAL_OPTIONS
from verifier.sheets.sheet import Row

END_OF_SIDING = pattern_text("wired-end-of-siding")


def counts(text: str) -> Counter[str]:
    found: Counter[str] = Counter()
    for part in bill_of_materials(verifier.load_text(text)):
        found[part.kind.family] += int(part.count)
    return found


# ------------------------------------------------------------------ facts of the trade


def test_practice_three_detection_sections_to_an_end_of_siding() -> None:
    """Main, siding and the one around the points; the single track beyond belongs to the line,
    and the next station shares it. Common practice, no source."""
    plan = verifier.load_text(END_OF_SIDING)
    seen = [detector.block for detector in plan.wiring.detectors.values()]
    assert len(seen) == counts(END_OF_SIDING)["current-detector"]
    assert sorted(block for block in seen if block != "Single") == ["Main", "Siding", "Switch"]


def test_practice_four_heads_to_the_control_point() -> None:
    """Two facing the points, one on each track beyond. Common practice, no source."""
    plan = verifier.load_text(END_OF_SIDING)
    (step,) = build_steps(plan)
    here = [
        p for p in bill_of_materials(plan) if p.kind.family == "head" and p.serves in step.things
    ]
    assert len(here) == 4 and counts(END_OF_SIDING)["head"] == 4
    assert counts(END_OF_SIDING)["mast"] == 3


@pytest.mark.parametrize("groups", [
    ("4L.upper", "4L.lower", "4RA", "4RB"),
    ("4L.upper, 4L.lower", "4RA, 4RB"),
    ("4L.upper, 4L.lower, 4RA, 4RB",),
], ids=len)  # fmt: skip
def test_practice_one_driver_for_each_head_or_a_shared_one(groups: tuple[str, ...]) -> None:
    """As many boards as there are, and however heads are shared out, one output for each lamp.
    Common practice, no source."""
    track = END_OF_SIDING[: END_OF_SIDING.index("driver ")]
    text = track + "".join(f"driver B{i} drives {heads}\n" for i, heads in enumerate(groups))
    parts = [
        p
        for p in bill_of_materials(verifier.load_text(text))
        if p.kind.family in ("driver", "head")
    ]
    boards = [p.kind.size or 0 for p in parts if p.kind.family == "driver"]
    lamps = [p.kind.size or 0 for p in parts if p.kind.family == "head"]
    assert len(boards) == len(groups) and sum(boards) == sum(lamps)


def test_practice_one_rail_only_is_cut() -> None:
    """Three legs of a switch, a gap in one rail of each. Common practice, no source."""
    (table,) = gap_sheet(verifier.load_text(END_OF_SIDING)).tables
    assert [row[2] for row in table.rows] == ["one rail"] * 3
    assert table.notes == ("Cuts in all: 3.",)


# ------------------------------------------------------------------ the electrical sheet


def run(supply: str, wire: str, lamps: str = "") -> Plan:
    """A driver at the end of a run; what its only head draws is the current asked for."""
    return verifier.load_text(
        "edge West, East\nblock Main, Single\ntrack West = Main | Single = East\n"
        "signal 2 at Main | Single\n  Clear when Single clear\n  Stop otherwise\n"
        f"supply Bus-1 {supply}\ndriver B1 drives 2 powered by Bus-1 over {wire} {lamps}\n"
    )


def row(plan: Plan, title: str) -> Row:
    (table,) = [t for t in electrical_sheet(plan, USUAL_OPTIONS).tables if t.title == title]
    (found,) = table.rows
    return found


@pytest.mark.parametrize(("gauge", "left", "enough"), [(18, 10.85, "TOO LOW"), (16, 11.28, "yes")])
def test_voltage_drop_C_30_ft_at_3_A_of_12_V_where_11_V_are_needed(
    gauge: int, left: float, enough: str
) -> None:
    """What is left is rounded down: 11.277 V is no 11.28 V."""
    found = row(run("12 V 5 A", f"30 ft of {gauge} AWG", "lamps 3 A needs 11 V"),
                "Voltage at the end of each run")  # fmt: skip
    volts, unit = found[5].split()
    assert (found[3], unit, found[7]) == ("3 A", "V", enough)
    assert left - 0.01 <= float(volts) <= left


def test_short_circuit_C_no_fuse_of_4_A_behind_30_ft_of_24_AWG() -> None:
    """12 V over the loop of 1.540 ohm gives at most 7.8 A: 4 A open for sure at 8.4 A only."""
    found = row(run("12 V 10 A fuse 4 A", "30 ft of 24 AWG", "lamps 2 A"), "Fuses")
    assert float(found[4].split()[0]) == pytest.approx(7.8 / 2.1, abs=0.05)
    assert found[5].startswith("a short at B1 draws no more than 7.7")
    assert found[6].startswith("NOT the one")


@pytest.mark.parametrize(("volts", "most"), [(12, 8.3), (16, 6.25), (24, 4.17)])
def test_class_2_C_more_than_100_VA_is_remarked_on(volts: int, most: float) -> None:
    """100 VA up to 30 V [V as a summary]: 8.3 A at 12 V, 6.25 A at 16 V, 4.17 A at 24 V [C]."""
    for amps, remarked in ((most - 0.05, False), (most + 0.05, True)):
        plan = run(f"{volts} V {amps * 1000:.0f} mA", "30 ft of 14 AWG", "lamps 15 mA")
        notes = " ".join(
            note for table in electrical_sheet(plan, USUAL_OPTIONS).tables for note in table.notes
        )
        assert ("Class 2" in notes) == remarked
