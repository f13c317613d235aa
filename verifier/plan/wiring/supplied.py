"""What hangs on a supply: what it powers, and where its wires end.

In: a supply and the wiring. Out: names, with the currents and the runs of wire that the file gives.
"""

from collections.abc import Iterator

from verifier.language.source import Span
from verifier.plan.wiring.wiring_model import Number, Run, Supply, Wiring


def drawn_from(supply: Supply, wiring: Wiring) -> Iterator[tuple[str, Number | None, Span]]:
    """What a supply powers and how much that draws itself, lamps apart; None: not in the file."""
    for driver in wiring.drivers.values():
        if driver.supply == supply.name:
            yield driver.name, driver.draws, driver.span
    for detector in wiring.detectors.values():
        if detector.supply == supply.name:
            yield detector.name, detector.draws, detector.span
    for machine in wiring.machines.values():
        if machine.supply == supply.name:
            yield machine.turnout, machine.draws, machine.span
    for booster in wiring.supplies.values():
        if booster.fed_by == supply.name:
            yield booster.name, booster.draws, booster.span


def ends_of(
    supply: Supply, wiring: Wiring
) -> Iterator[tuple[str, tuple[Run, ...], tuple[Span, ...]]]:
    """The ends of the wires from a supply: the name, the runs that lead there, and the spans."""
    for driver in wiring.drivers.values():
        if driver.supply == supply.name and driver.run:
            yield driver.name, (driver.run,), (driver.span,)
    for district in wiring.districts.values():
        if district.supply != supply.name:
            continue
        bus = (district.run,) if district.run else ()
        if bus:
            yield district.name, bus, (district.span,)
        for feeder in wiring.feeders.values():
            if wiring.district_of.get(feeder.block) == district.name and feeder.run:
                yield feeder.name, (*bus, feeder.run), (feeder.span, district.span)
