"""Clauses of drivers and detectors that cannot do what they say.

In: the wiring of a file and what follows from it. Out: an error for each such clause.
"""

from collections.abc import Iterator

from verifier.language.diagnostics.diagnostic import Diagnostic
from verifier.language.diagnostics.registry import diagnostic
from verifier.plan.wiring.equipment import Equipment
from verifier.plan.wiring.wiring_model import Driver, Wiring


def impossible_clauses(wiring: Wiring, equipment: Equipment) -> Iterator[Diagnostic]:
    """A driver does not notice a missing input that looks like a valid report, nor one where it has
    none; a detector without power of its own reports nothing."""
    for driver in wiring.drivers.values():
        if driver.when_missing is not None:
            yield from _unnoticed(driver, driver.when_missing, wiring, equipment)
    for detector in wiring.detectors.values():
        supply = wiring.power_of(detector.block)
        fed = [] if supply is None else list(wiring.chain_of(supply.name))
        dead = any(name in fed for name in wiring.chain_of(detector.supply))
        if detector.without_power and detector.closed_when == "occupied" and dead:
            yield diagnostic(
                "CP651", detector.span, name=detector.name, block=detector.block,
                supply=detector.supply or "",
            )  # fmt: skip


def _unnoticed(
    driver: Driver, shows: str, wiring: Wiring, equipment: Equipment
) -> Iterator[Diagnostic]:
    """Inputs of which a driver does not notice that they are missing."""
    heard = [d for d in wiring.detectors.values()
             if driver.name in equipment.detector_readers[d.name]]  # fmt: skip
    if not heard:
        yield diagnostic("CP650", driver.span, "nothing", name=driver.name, shows=shows)
    for detector in heard:
        if detector.closed_when == "occupied":
            yield diagnostic(
                "CP650", driver.span, others=[(detector.span, detector.name)],
                name=driver.name, detector=detector.name, shows=shows,
            )  # fmt: skip
    for machine in wiring.machines.values():
        reads = driver.name in equipment.contact_readers.get(machine.turnout, ())
        if reads and machine.contacts and len(machine.contacts) == 1:
            (contact,) = machine.contacts
            yield diagnostic(
                "CP650", driver.span, "contact", others=[(machine.span, machine.turnout)],
                name=driver.name, shows=shows, turnout=machine.turnout, contact=contact,
                position=machine.other(contact),
            )  # fmt: skip
