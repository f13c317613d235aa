"""Every wired file, and chance wirings: what sheets list is what the text of the file has."""

from collections import Counter
from fractions import Fraction

import pytest

import verifier
from tests.sheets.counter import counted
from tests.sheets.wired_files import TEXTS, by_chance
from verifier.plan.model import Plan
from verifier.plan.track.gaps import gaps_of
from verifier.sheets.buying.bill_of_materials import bill_of_materials
from verifier.sheets.conductors import conductors
from verifier.sheets.wire_colors import assign_colors, color_conflicts, functions_of

FAMILY = {
    "masts": "mast", "heads": "head", "drivers": "driver", "contacts": "contact",
    "arm contacts": "arm-contact",
    "frogs": "frog-contact",
    "current detectors": "current-detector", "spots": "spot-detector", "isolated": "adapter",
    "supplies": "supply", "boosters": "booster", "fuses": "fuse", "levers": "lever",
}  # fmt: skip
# Heads of every make.
HEADS = (
    "head", "head-bulbs", "target", "target-bulbs", "position-light", "position-light-bulbs",
    "two-color", "three-color", "semaphore",
)  # fmt: skip

CASES = [pytest.param(text, id=name) for name, text in TEXTS.items()]
CASES += [pytest.param(seed, id=f"chance {seed}") for seed in range(25)]


@pytest.fixture
def text(request: pytest.FixtureRequest) -> str:
    """The text of a file, or of a chance wiring given by its seed."""
    return request.param if isinstance(request.param, str) else by_chance(request.param)


every_case = pytest.mark.parametrize("text", CASES, indirect=True)


def plan_of(text: str) -> Plan:
    return verifier.load_text(text, "wired.ixl")


@every_case
def test_parts_are_as_many_as_the_text_declares(text: str) -> None:
    parts: Counter[str] = Counter()
    for part in bill_of_materials(plan_of(text)):
        family = "head" if part.kind.family in HEADS else part.kind.family
        parts[family] += int(part.count)
    wanted = counted(text)
    for what, family in FAMILY.items():
        assert parts[family] == wanted[what], what
    assert parts["machine-slow"] + parts["machine-snap"] == wanted["machines"]


@every_case
def test_conductors_are_as_many_as_the_text_declares(text: str) -> None:
    wires = conductors(plan_of(text))
    wanted = counted(text)
    roles = Counter(wire.function.role for wire in wires)
    feeders = [wire for wire in wires if wire.name.startswith("feeder ")]
    buses = [wire for wire in wires if wire.name.startswith(("bus of ", "sub-bus "))]
    assert len(feeders) == 2 * wanted["feeders"]
    heads = sum(
        1 for part in bill_of_materials(plan_of(text)) if part.kind.family in HEADS
        and plan_of(text).wiring.driver_of(part.serves)
    )  # fmt: skip
    panel = sum(len(driver.indicators) for driver in plan_of(text).wiring.drivers.values())
    assert roles["lamp common"] == heads + panel
    assert roles["track return"] == wanted["feeders"] + len(buses) // 2 + wanted["frogs"]
    assert roles["frog"] == wanted["frogs"]
    frogs = [wire for wire in wires if wire.name.startswith("frog of ")]
    assert len(frogs) == 3 * wanted["frogs"]
    memory = {f"power wire of {name}" for name in ("the relays", *plan_of(text).locking.memory)}
    powered = {w.name for w in wires if w.name.startswith("power wire of ")} - memory
    devices = wanted["current detectors"] + wanted["spot detectors"]
    assert len(powered) == devices + wanted["drivers"] + wanted["machines"]
    outputs = {str(wire.start) for wire in wires if wire.function.role == "detector output"}
    assert len(outputs) <= devices


@every_case
def test_every_wire_that_can_break_is_on_the_wiring_list(text: str) -> None:
    plan = plan_of(text)
    assert breakable(plan) <= {wire.name for wire in conductors(plan)}


def test_wires_of_every_kind_can_break() -> None:
    plan = plan_of(TEXTS["wired-end-of-siding.ixl"])
    assert {name.split()[0] for name in breakable(plan)} >= {"bus", "feeder", "power", "wire"}


def breakable(plan: Plan) -> set[str]:
    faults = plan.equipment.faults
    return {fault.name for fault in faults if fault.kind.property_name == "wire-broken"}


@every_case
def test_gaps_are_those_that_are_drawn(text: str) -> None:
    gaps = gaps_of(plan_of(text).track)
    wanted = counted(text)
    assert len({gap.name for gap in gaps}) == len(gaps)
    # One joint may be drawn on two lines.
    assert len(gaps) <= wanted["gaps"]
    assert len({gap.joint for gap in gaps}) == len(gaps)
    cuts = sum(len(gap.joint.kind) for gap in gaps)
    assert cuts <= wanted["cuts"] and (cuts == wanted["cuts"]) == (len(gaps) == wanted["gaps"])


@every_case
def test_no_two_functions_share_a_color_and_no_supplies_are_mixed(text: str) -> None:
    plan = plan_of(text)
    wires = conductors(plan)
    colors = assign_colors(functions_of(wires), None, plan.source)
    assert len(set(colors.values())) == len(colors)
    # What cannot be kept apart by any color is one wire from one supply to another.
    joining = {frozenset(wire.joins) for wire in wires if len(wire.joins) > 1}
    apart = {
        frozenset((one, other))
        for one, other in map(sorted, joining)
        if not plan.wiring.share_a_return(one, other)
    }
    assert {frozenset(two) for _, *two in color_conflicts(wires, colors, plan.wiring)} == apart


def test_wire_is_as_long_as_the_runs_of_the_file() -> None:
    """wired-end-of-siding.ixl: 20 ft of 14 AWG; 12 feeders of 1 ft and two drivers 15 ft away,
    of 22 AWG: each run is two conductors."""
    plan = plan_of(TEXTS["wired-end-of-siding.ixl"])
    meters: Counter[str] = Counter()
    for part in bill_of_materials(plan):
        if part.kind.family == "wire":
            meters[str(part.kind)] += part.count  # type: ignore[assignment]
    foot = Fraction("0.3048")
    assert meters == {"wire-14AWG": 2 * 20 * foot, "wire-22AWG": 2 * (12 + 2 * 15) * foot}
