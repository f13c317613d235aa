"""What the wiring list says beside its tables: wires that are not in it and why, and what to do
before any of it is soldered.

In: a plan, and its conductors. Out: notes; by what rules ask for and no wire brings, the boards.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from verifier.decide.claims import matches
from verifier.language.listing import listing
from verifier.logic.expr import TRUE
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.signals.heads import signal_of
from verifier.plan.wiring.hearing import heard, watched_arms
from verifier.plan.wiring.supplied import ends_of
from verifier.properties.amounts import amps, length
from verifier.properties.wiring import (
    feeder_undetected,
    head_without_driver,
    supply_mismatch,
)
from verifier.sheets.conductors import Conductor, is_locked, pulse_of
from verifier.sheets.heads import open_leads


def unlisted(plan: Plan, wires: Sequence[Conductor]) -> Iterator[str]:
    """Every note."""
    yield from _given_in_part(plan, wires)
    yield from _beside_the_wires(plan)
    yield from _heads(plan)
    yield from _motors(plan)
    yield from _frogs(plan)
    yield from _jumpers(plan)
    for name, machine in plan.wiring.machines.items():
        if machine.contacts is None:
            yield f"Contacts of {name} are not in the file, so no wire to them is listed."
    yield from _wrong(plan)


def _given_in_part(plan: Plan, wires: Sequence[Conductor]) -> Iterator[str]:
    unknown = sum(1 for wire in wires if wire.run is None)
    if unknown:
        yield (
            f"Length and size of {unknown} of {len(wires)} wires are not in the file: measure them "
            "where they will lie."
        )
    elsewhere = [f"{what} ({', '.join(drivers)})" for what, drivers in not_listed(plan).items()]
    if elsewhere:
        yield (
            "Not listed, since the file does not say how they reach the drivers whose rules test "
            f"them: {'; '.join(elsewhere)}."
        )


def _beside_the_wires(plan: Plan) -> Iterator[str]:
    ends = (end for s in plan.wiring.supplies.values() for end in ends_of(s, plan.wiring))
    fuses = dict(pair for end in ends for pair in end.fuses)
    if fuses:
        each = listing([f"{of} {amps(fuse.rating)}" for of, fuse in fuses.items()])
        yield f"Fuses of single wires stand where the wire begins, at its supply or bus: {each}."
    spots = [d.name for d in plan.wiring.detectors.values() if len(d.spots) > 1]
    if spots:
        yield (
            f"Not listed: the wires between the spots of {', '.join(spots)}. How they are joined "
            "to one output is on their maker's sheet."
        )


def _heads(plan: Plan) -> Iterator[str]:
    """Contacts at arms, and leads that no color needs."""
    arms = watched_arms(plan)
    if arms:
        many = len(arms) > 1
        yield (
            f"Not listed: the contact{'s' * many} at the arm{'s' * many} of {listing(arms)}, by "
            f"which {'their boards notice' if many else 'its board notices'} that an arm is not as "
            "it should be."
        )
    for lead, heads in open_leads(plan):
        yield f"Leave the {lead} lead of {listing(heads)} open."


def _motors(plan: Plan) -> Iterator[str]:
    locked = [
        n for n, m in plan.wiring.machines.items() if m.motor and is_locked(plan, n) and not m.board
    ]
    if locked:
        yield (
            f"Not listed: the locks of {', '.join(locked)} and their inputs. The wires of the "
            "motor begin at the lock: how it is built is not in the file."
        )
    coils = [n for n, m in plan.wiring.machines.items() if m.motor == "snap"]
    pulsed = [n for n in coils if pulse_of(plan, n) is not None]
    if pulsed:
        each = listing([f"{n} {float(pulse_of(plan, n) or 0) * 1000:g} ms" for n in pulsed])
        yield (
            f"Twin-coil machines get a pulse: {each}. Their throw wires begin at a capacitor "
            "discharge unit, or at an output that pulses, and the lever or program only starts "
            "it. A coil on a contact that stays closed burns."
        )
    bare = [n for n in coils if n not in pulsed]
    if bare:
        yield (
            f"The pulse of the twin-coil machines of {listing(bare)} is not in the file. Put a "
            "capacitor discharge unit, or contacts that close for an instant only, before their "
            "throw wires: a coil on a contact that stays closed burns."
        )


def _frogs(plan: Plan) -> Iterator[str]:
    frogs = {n: frog.by for n, m in plan.wiring.machines.items() if (frog := m.live_frog)}
    wired = [name for name, by in frogs.items() if by != "points"]
    if wired:
        yield (
            f"Which rail the frog of {listing(wired)} has while the points lie normal follows from "
            "their hand, which is not in the file: where throwing them shorts the track, exchange "
            "the two wires at the contact of that frog."
        )
    touching = [name for name, by in frogs.items() if by == "points"]
    if touching:
        yield f"The frog of {listing(touching)} has no wire: the points feed it."


def _jumpers(plan: Plan) -> Iterator[str]:
    for name, machine in plan.wiring.machines.items():
        if machine.bond is not None:
            most = length(machine.bond.length, plan.wiring.units.wire)
            yield (
                f"Not listed: the jumpers that bond the rails of {name}, soldered on before its "
                "fouling point, from each stock rail to the closure rail and the rail beyond the "
                f"frog that it is to feed, each at most {most} of {machine.bond.gauge} AWG."
            )


def _wrong(plan: Plan) -> Iterator[str]:
    """What proves wrong whatever anybody does, or what the file says of it."""
    for obligation in (
        *supply_mismatch(plan), *feeder_undetected(plan), *head_without_driver(plan),
    ):  # fmt: skip
        if obligation.formula != TRUE:
            continue
        waiver = next((w for w in plan.waivers if matches(w, obligation)), None)
        said = "Repair first"
        because = ""
        if waiver is not None:
            said, because = "Set aside by the file", f', because "{waiver.reason}"'
        yield f"{said} ({obligation.property}){because}: {obligation.trouble}."


@dataclass(frozen=True, slots=True)
class Unwired:
    """Something that a rule tests, in words: ``tells`` what, where something has to tell it."""

    what: str
    tells: str = ""

    def __str__(self) -> str:
        return f"{self.what} {self.tells}".rstrip()

    def to(self, boards: str) -> str:
        """With the boards that have to know it."""
        return f"{self.what} {boards} {self.tells}" if self.tells else f"{self.what} to {boards}"


def not_listed(plan: Plan) -> dict[Unwired, list[str]]:
    """What rules ask for and no wire of the file brings, each with the drivers that need it."""
    found: dict[Unwired, list[str]] = {}
    for asked, drivers in _asked(plan):
        for driver in drivers:
            what = _without_wire(asked, driver, plan)
            if what and driver not in found.setdefault(what, []):
                found[what].append(driver)
    return found


def _asked(plan: Plan) -> Iterator[tuple[Observable, tuple[str, ...]]]:
    """Everything that rules of signals and indicators ask for, each with the drivers that need
    it."""
    for signal in plan.signals.values():
        lit_by = (d.name for h in signal.heads if (d := plan.wiring.driver_of(h.name)))
        drivers = tuple(dict.fromkeys(lit_by))
        yield from ((says.what, drivers) for says in plan.facts_read(signal))
    for indicator in plan.indicators.values():
        driver = plan.wiring.driver_of(indicator.name)
        for says in plan.facts_repeated(indicator.name):
            yield says.what, (driver.name,) if driver else ()


def _without_wire(what: Observable, driver: str, plan: Plan) -> Unwired | None:
    """What it is; None where the file has wires for it, or where it needs none."""
    wiring = plan.wiring
    board = wiring.drivers[driver]
    if any(name == what.name for _, name in heard(board, plan)):
        return None
    if driver == plan.locking.building.board and what.kind in ("relay", "timer", "traffic"):
        return None
    match what.kind:
        case "lever" | "button" | "relay" | "timer":
            return Unwired(f"{what.kind} {what.name}")
        case "traffic":
            return Unwired(f"the direction of traffic {what.name}")
        case "derail report" | "gate report" if what.name not in wiring.machines:
            return Unwired(f"what {what.name} reports")
        case "block report" if not wiring.detectors_of(what.name):
            return Unwired("what tells", f"that {what.name} is clear")
        case "points report" if what.name not in wiring.machines:
            return Unwired("what tells", f"how {what.name} lies")
        case "aspect" | "color":
            signal = plan.signals[signal_of(what.name, plan.signals)]
            lit_by = {d.name for h in signal.heads if (d := wiring.driver_of(h.name))}
            told = any(name == signal.name for _, name in heard(board, plan))
            return None if told or lit_by == {driver} else Unwired(f"what {what.name} shows")
        case _:
            return None
