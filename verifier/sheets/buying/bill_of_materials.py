"""The parts of a layout, one by one, each with the thing of the plan that it is there for.

In: a plan. Out: parts. What the file does not say is not counted; the sheet says so.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from verifier.plan.model import Plan
from verifier.plan.wiring.hearing import watched_arms
from verifier.plan.wiring.wiring_model import Driver
from verifier.properties.wiring import lamp_colors
from verifier.sheets.buying.part_kinds import PartKind
from verifier.sheets.conductors import conductors
from verifier.sheets.heads import head_kind


@dataclass(frozen=True, slots=True)
class BillItem:
    """``count``: how many, or of wire how many meters. ``serves``: the signal, head, driver,
    detector, turnout, supply, block, district, lever, button, indicator or bell that it is
    there for, by name."""

    kind: PartKind
    serves: str
    count: Fraction = Fraction(1)


def bill_of_materials(plan: Plan) -> tuple[BillItem, ...]:
    """Every part that the file says there is, in the order of the kinds."""
    return tuple(_all(plan))


def _all(plan: Plan) -> Iterator[BillItem]:
    yield from _at_signals(plan)
    for driver in plan.wiring.drivers.values():
        yield BillItem(PartKind("driver", _outputs(driver, plan)), driver.name)
    yield from _detection(plan)
    for machine in plan.wiring.machines.values():
        if machine.live_frog is not None and machine.live_frog.by != "points":
            yield BillItem(PartKind("frog-contact"), machine.turnout)
        for _ in machine.contacts or ():
            yield BillItem(PartKind("contact"), machine.turnout)
        if machine.motor is not None:
            yield BillItem(PartKind(f"machine-{machine.motor}"), machine.turnout)
    for what in plan.inputs:
        if what.kind in ("lever", "button"):
            yield BillItem(PartKind(what.kind), what.name)
    for indicator in plan.indicators.values():
        yield BillItem(PartKind(indicator.kind), indicator.name)
    for supply in plan.wiring.supplies.values():
        family = "booster" if supply.fed_by is not None else "supply"
        kind = PartKind("reverser") if supply.reverses else PartKind(family, supply.amps)
        yield BillItem(kind, supply.name)
        if supply.fuse is not None:
            yield BillItem(PartKind("fuse", supply.fuse), supply.name)
    wiring = plan.wiring
    for wires in (wiring.districts, wiring.sub_buses, wiring.feeders, wiring.drivers):
        for wire in wires.values():
            if wire.fuse is not None:
                yield BillItem(PartKind("fuse", wire.fuse.rating), wire.name)
    for conductor in conductors(plan):
        if conductor.run is not None:
            kind = PartKind("wire", Fraction(conductor.run.gauge))
            yield BillItem(kind, conductor.serves, conductor.run.length)


def _at_signals(plan: Plan) -> Iterator[BillItem]:
    arms = watched_arms(plan)
    for signal in plan.signals.values():
        for head in signal.heads:
            yield BillItem(head_kind(head, plan), head.name)
            if head.name in arms:
                yield BillItem(PartKind("arm-contact"), head.name)
        yield BillItem(PartKind("mast", Fraction(len(signal.heads))), signal.name)
        if signal.plate:
            yield BillItem(PartKind("plate"), signal.name)


def _outputs(driver: Driver, plan: Plan) -> Fraction:
    """How many outputs it has, or where the file does not say, needs."""
    if driver.outputs is not None:
        return Fraction(driver.outputs)
    heads = (h for s in plan.signals.values() for h in s.heads if h.name in driver.heads)
    return Fraction(sum(len(lamp_colors(head)) for head in heads) + len(driver.indicators))


def _detection(plan: Plan) -> Iterator[BillItem]:
    for detector in plan.wiring.detectors.values():
        if detector.kind == "spot":
            count = Fraction(len(detector.spots))
            yield BillItem(PartKind("spot-detector"), detector.name, count)
        else:
            yield BillItem(PartKind("current-detector"), detector.name)
        if detector.isolated:
            yield BillItem(PartKind("adapter"), detector.name)
