"""Clauses of drivers and detectors that cannot do what they say.

In: the wiring of a file and what follows from it. Out: an error for each such clause.
"""

from collections.abc import Iterator

from verifier.language.diagnostics.diagnostic import Diagnostic
from verifier.language.diagnostics.registry import diagnostic
from verifier.plan.wiring.equipment import Equipment
from verifier.plan.wiring.wiring_model import Wiring


def impossible_clauses(wiring: Wiring, equipment: Equipment) -> Iterator[Diagnostic]:
    """A driver does not notice a missing input that looks like a valid report; a detector without
    power of its own reports nothing."""
    for driver in wiring.drivers.values():
        shows = driver.when_missing
        for detector in wiring.detectors.values() if shows else ():
            reads = driver.name in equipment.detector_readers[detector.name]
            if shows and reads and detector.closed_when == "occupied":
                yield diagnostic(
                    "CP650",
                    driver.span,
                    others=[(detector.span, detector.name)],
                    name=driver.name,
                    detector=detector.name,
                    shows=shows,
                )
    for detector in wiring.detectors.values():
        supply = wiring.power_of(detector.block)
        fed = [] if supply is None else list(wiring.chain_of(supply.name))
        dead = any(name in fed for name in wiring.chain_of(detector.supply))
        if detector.without_power and detector.closed_when == "occupied" and dead:
            yield diagnostic(
                "CP651", detector.span, name=detector.name, block=detector.block,
                supply=detector.supply or "",
            )  # fmt: skip
