"""What takes its current from a supply: what it powers, and where its wires end.

In: a supply and the wiring. Out: names, with the currents and the runs of wire that the file gives.
"""

from collections.abc import Iterator
from typing import NamedTuple

from verifier.language.source import Span
from verifier.plan.wiring.wiring_model import (
    District,
    Driver,
    Feeder,
    Fuse,
    Number,
    Run,
    SubBus,
    Supply,
    Wiring,
)


def drawn_from(supply: Supply, wiring: Wiring) -> Iterator[tuple[str, Number | None, Span]]:
    """What a supply powers and how much that draws itself, lamps apart; None: not in the file."""
    behind = reached_from(supply, wiring)
    for driver in wiring.drivers.values():
        if driver.supply in behind:
            yield driver.name, driver.draws, driver.span
    for detector in wiring.detectors.values():
        if detector.supply in behind:
            yield detector.name, detector.draws, detector.span
    for machine in wiring.machines.values():
        if machine.supply in behind:
            yield machine.turnout, machine.draws, machine.span
    for booster in wiring.supplies.values():
        if booster.fed_by in behind:
            yield booster.name, booster.draws, booster.span
    trains = wiring.trains
    feeds_rails = any(district.supply in behind for district in wiring.districts.values())
    if feeds_rails and trains is not None and trains.most_load is not None:
        yield "one train", trains.most_load, trains.span


class WireEnd(NamedTuple):
    """The end of a wire from a supply: its ``own`` run where that is given, all ``runs`` that lead
    there, one after the other, the spans of what they belong to, and the ``fuses`` at the beginning
    of any of them, that of the supply itself apart, each with what it stands at."""

    name: str
    own: Run | None
    runs: tuple[Run, ...]
    spans: tuple[Span, ...]
    fuses: tuple[tuple[str, Fuse], ...]


_SUPPLY = WireEnd("", None, (), (), ())


def ends_of(supply: Supply, wiring: Wiring) -> Iterator[WireEnd]:
    """The ends of the wires from a supply that are given with their length and size, or with a fuse
    of their own; none from one that passes on what another gives, whose ends they are."""
    if not passes_on(supply):
        yield from _ends_behind(supply, _SUPPLY, wiring)


def passes_on(supply: Supply) -> bool:
    """Whether it passes on what the supply before it gives: a reverser without volts or amperes of
    its own."""
    return supply.reverses and supply.volts is None and supply.amps is None


def reached_from(supply: Supply, wiring: Wiring) -> frozenset[str]:
    """A supply, and what passes on its current."""
    return frozenset((supply.name, *(reverser.name for reverser in _passing(supply, wiring))))


def _passing(supply: Supply, wiring: Wiring) -> Iterator[Supply]:
    """What passes on the current of a supply, directly or through others."""
    for reverser in wiring.supplies.values():
        if reverser.fed_by == supply.name and passes_on(reverser):
            yield reverser
            yield from _passing(reverser, wiring)


def _ends_behind(supply: Supply, at: WireEnd, wiring: Wiring) -> Iterator[WireEnd]:
    for driver in wiring.drivers.values():
        if driver.supply == supply.name and (driver.run or driver.fuse):
            yield _on(at, driver)
    for district in wiring.districts.values():
        if district.supply != supply.name:
            continue
        bus = _on(at, district)
        if district.run or district.fuse:
            yield bus
        fed = [f for f in wiring.feeders.values()
               if wiring.district_of.get(f.block) == district.name]  # fmt: skip
        names = {feeder.name for feeder in fed}
        for sub_bus in wiring.sub_buses.values():
            if names.intersection(sub_bus.feeders) and (sub_bus.run or sub_bus.fuse):
                yield _on(bus, sub_bus)
        for feeder in fed:
            by_way_of = wiring.sub_bus_of(feeder.name)
            if feeder.run or feeder.fuse:
                yield _on(_on(bus, by_way_of) if by_way_of else bus, feeder)
    for reverser in wiring.supplies.values():
        if reverser.fed_by == supply.name and passes_on(reverser):
            yield from _ends_behind(reverser, _through(at, reverser), wiring)


def _through(end: WireEnd, reverser: Supply) -> WireEnd:
    """The end of the wire to a reverser, and of its own fuse."""
    spans, fuses = (reverser.span, *end.spans), end.fuses
    if reverser.fuse is not None:
        own = Fuse(reverser.fuse, reverser.fuse_kind, reverser.trips)
        fuses = (*fuses, (reverser.name, own))
    return WireEnd(reverser.name, None, end.runs, spans, fuses)


def _on(end: WireEnd, wire: Driver | District | SubBus | Feeder) -> WireEnd:
    """The end of a wire that begins at the end of another."""
    return WireEnd(
        wire.name,
        wire.run,
        (*end.runs, *((wire.run,) if wire.run else ())),
        (wire.span, *end.spans),
        (*end.fuses, *(((wire.name, wire.fuse),) if wire.fuse else ())),
    )
