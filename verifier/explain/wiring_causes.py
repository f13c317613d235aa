"""Why the equipment says what it says: the chain from a report down to the rail.

In: a plan, what its equipment does in one situation, a report and who reads it. Out: one
sentence about the report, and behind it each link between truth and what is reported, with
the line of the file that has to do with it.
"""

from collections.abc import Iterator, Mapping

from verifier.explain.stock_text import stock_stands, way_of
from verifier.language.listing import listing
from verifier.language.source import Span
from verifier.plan.model import Block, Plan
from verifier.plan.observables import OF_CONTACTS, Observable
from verifier.plan.wiring.derive_equipment import by_way_of, unseen_anywhere
from verifier.plan.wiring.division import least_load
from verifier.plan.wiring.equipment import StockPlace
from verifier.plan.wiring.faults import RELAYS, FaultKind, fault_name
from verifier.plan.wiring.spots import over_words
from verifier.plan.wiring.wiring_model import (
    Detector,
    District,
    Driver,
    Feeder,
    Machine,
    Sense,
    SubBus,
    Supply,
)
from verifier.properties.amounts import amps, length, ohms, volts
from verifier.reference.equipment import EquipmentState
from verifier.reference.inputs import is_read
from verifier.reference.standing import train_covering
from verifier.verdicts.causes import Cause, CauseKind, Subject, cause

# Why a detector does not see all that stands on DC.
_BLIND: Mapping[Sense | None, CauseKind] = {
    None: CauseKind.SENSE_UNKNOWN,
    "coil": CauseKind.COIL_ON_DC,
    "diodes": CauseKind.THROTTLE_AT_ZERO,
}


class Circuit:
    """The equipment of a plan in one situation, asked for reasons."""

    def __init__(self, plan: Plan, wires: EquipmentState):
        self._plan = plan
        self._wiring = plan.wiring
        self._wires = wires

    # -------------------------------------------------------------- blocks

    def block(self, block: str, reader: str) -> Cause:
        """What is reported of a block, and, where that is not true, why."""
        says = self._wires.block_report(block, reader)
        vacant = self._wires.vacant(block)
        stands = "nothing stands there" if vacant else self.stock_on(block)
        subject = Subject("block", block)
        if vacant == (says == "clear"):
            return cause(CauseKind.REPORTS, subject, None, state=says, truth=stands)
        because: list[Cause] = []
        detectors = self._wiring.detectors_of(block)
        if says == "clear":
            for detector in detectors:
                because += self._says_clear(detector, reader)
        else:
            wrong = next(d for d in detectors if not self._wires.says_clear(d, reader))
            because += self._says_occupied(wrong, reader)
        kind = CauseKind.REPORTS_FALSELY
        return cause(kind, subject, None, tuple(because), state=says, truth=stands)

    def stock_on(self, block: str) -> str:
        """What stands on a block that is not vacant."""
        place = self._place(block)
        if place is None:
            return "stock stands there"
        return stock_stands(self._plan, block, place)

    def _place(self, block: str) -> StockPlace | None:
        return self._wires.place(block) if block in self._plan.equipment.places else None

    def _says_clear(self, detector: Detector, reader: str) -> Iterator[Cause]:
        """Why a detector is heard to say clear though stock stands on its block."""
        if not self._wires.follows(detector, reader):
            yield self._open(detector, reader, "clear")
        elif self._wires.is_broken(FaultKind.DETECTOR, detector.name):
            yield _of(CauseKind.STUCK, detector, state="clear")
        elif detector.kind == "spot":
            yield self._uncovered(detector)
        else:
            yield from self._no_current(detector)

    def _says_occupied(self, detector: Detector, reader: str) -> Iterator[Cause]:
        """Why a detector is heard to say occupied though nothing stands on its block."""
        if not self._wires.follows(detector, reader):
            yield self._open(detector, reader, "occupied")
            return
        if self._wires.is_broken(FaultKind.DETECTOR, detector.name):
            yield _of(CauseKind.STUCK, detector, state="occupied")
            return
        beyond = self._wires.current_from(detector) if detector.kind != "spot" else None
        if beyond is None:
            dead = self._no_power(detector.block)
            yield _of(CauseKind.READS_WITHOUT_POWER, detector, dead, state="occupied")
            return
        yield cause(
            CauseKind.STRAY_CURRENT,
            Subject("block", beyond),
            detector.span,
            tuple(self._strays(detector, beyond)),
            stock=self.stock_on(beyond),
            other=detector.name,
        )

    def _open(self, detector: Detector, reader: str, reads: str) -> Cause:
        """What a detector reads whose output stays open, and why that is."""
        closed = "occupied" if reads == "clear" else "clear"
        because = (self._not_followed(detector, reader),)
        return _of(CauseKind.OPEN_READS, detector, because, state=reads, closed=closed)

    def _strays(self, detector: Detector, block: str) -> Iterator[Cause]:
        """How current drawn by stock on another block passes through a detector."""
        for name in detector.through:
            if self._wiring.feeders[name].block == block:
                feeder = self._wiring.feeders[name]
                yield _of(CauseKind.FEEDER_ASTRAY, feeder, block=block, other=detector.name)
        for beside, other in self._wires.neighbors(block):
            if self._wires.flow(beside) and other == detector.block:
                yield self._bridged(beside.name, beside.joined, beside.span)

    # -------------------------------------------------------------- inputs

    def _not_followed(self, detector: Detector, reader: str) -> Cause:
        """Why a reader's input does not follow a detector."""
        driver = self._wiring.drivers.get(reader)
        if driver is not None and not is_read(driver, detector.name, False):
            return _of(CauseKind.NOT_READ, driver, other=detector.name)
        wired = driver or self._plan.equipment.wire_ends(detector.name, reader, contacts=False)
        name, span = (driver.name, driver.span) if driver else (RELAYS, detector.span)
        one = driver.supply if driver else self._plan.equipment.relays_supply
        if wired and not self._wiring.reaches(one, detector, self._wires.broken_returns()):
            broken = next((b for b in self._wires.broken_returns()), None)
            if broken is not None and self._wiring.reaches(one, detector):
                group = self._wiring.common_returns[broken]
                kind, subject = CauseKind.RETURN_BROKEN, fault_name(FaultKind.COMMON_RETURN, *group)
                names = {"driver": name, "detector": detector.name}
                return cause(kind, Subject("common return", subject), span, (), **names)
            return self._apart(str(one), name, detector, span)
        off = self.unpowered(detector.name, detector.supply, detector.span)
        if off is not None:
            return _of(CauseKind.NO_POWER, detector, (off,))
        return _wire_broken(detector.name, reader, detector.span)

    def _apart(self, one: str, reader: str, detector: Detector, span: Span) -> Cause:
        """Supplies that have no common return, or are of two kinds."""
        kind, other = CauseKind.NO_COMMON_RETURN, str(detector.supply)
        names = {"supply": other, "driver": reader, "other": one}
        if not self._wiring.may_be_alike(one, other):
            kind = CauseKind.OTHER_KIND_OF_SUPPLY
            gives = self._wiring.current_of
            names |= {"current": str(gives(other)), "wanted": str(gives(one))}
        return cause(kind, Subject("detector", detector.name), span, (), **names)

    def dead_input(self, driver_name: str, what: Observable) -> Cause | None:
        """Why an input that a driver's rules ask for is dead; None for one that is not."""
        if what.kind == "block report":
            for detector in self._wiring.detectors_of(what.name):
                if not self._wires.follows(detector, driver_name):
                    return self._not_followed(detector, driver_name)
        contacts = what.kind in OF_CONTACTS
        machine = self._wiring.machines.get(what.name) if contacts else None
        driver = self._wiring.drivers[driver_name]
        if machine and machine.contacts and not is_read(driver, what.name, True):
            return _of(CauseKind.CONTACTS_NOT_READ, driver, other=what.name)
        return None

    def unpowered(self, name: str, supply: str | None, span: Span) -> Cause | None:
        """Why a detector, driver or machine has no power; None where it has."""
        if supply is not None and self._wires.is_broken(FaultKind.POWER_WIRE, name):
            subject = Subject("wire", fault_name(FaultKind.POWER_WIRE, name))
            return cause(CauseKind.POWER_WIRE_BROKEN, subject, span)
        return self.lost(supply)

    def lost(self, supply: str | None) -> Cause | None:
        """The supply that is off, be it one that feeds this one; None where none is."""
        while supply is not None:
            given = self._wiring.supplies[supply]
            if self._wires.is_broken(FaultKind.SUPPLY, supply):
                return _of(CauseKind.SUPPLY_OFF, given)
            supply = given.fed_by
        return None

    def _no_power(self, block: str) -> tuple[Cause, ...]:
        """Why a block has no track power; nothing where it has."""
        district = self._wiring.districts.get(self._wiring.district_of.get(block, ""))
        if district is None or self._wires.is_powered(block):
            return ()
        if self._wires.is_broken(FaultKind.BUS, district.name):
            return (_of(CauseKind.BUS_BROKEN, district),)
        off = self.lost(district.supply)
        return (off,) if off else ()

    # -------------------------------------------------------------- spots and current

    def _uncovered(self, detector: Detector) -> Cause:
        """A train that stands where no spot is."""
        block = detector.block
        place = self._place(block)
        stands = train_covering(self._plan, block, place.covers) if place else None
        unit = self._wiring.units.track
        at = listing([length(spot.at, unit) + over_words(spot) for spot in detector.spots])
        if place is None or stands is None or not stands.length:
            return _of(CauseKind.SPOTS_ELSEWHERE, detector, spots=at)
        ends = {
            "start": length(stands.start, unit),
            "end": length(stands.start + stands.length, unit)
            + way_of(self._plan, block, place.covers, stands),
        }
        return _of(CauseKind.SPOTS_BESIDE_TRAIN, detector, (), spots=at, **ends)

    def _no_current(self, detector: Detector) -> Iterator[Cause]:
        """Why a detector senses no current of the stock on its block."""
        block = detector.block
        if self._wiring.is_blind(detector):
            yield _of(_BLIND[detector.by], detector, supply=self._supply_of(block))
            return
        place = self._place(block)
        if place is None or not place.draws:
            yield self._draws_nothing(detector, block)
            return
        if place.dead is not None and not self._wires.is_live(place.dead):
            rails = place.dead
            broken = self._wires.is_broken(FaultKind.FROG, rails.turnout)
            yield cause(
                CauseKind.FROG_DEAD if broken else CauseKind.RAILS_DEAD,
                Subject("stock", block), rails.frog.span, turnout=rails.turnout, leg=rails.leg,
            )  # fmt: skip
            return
        dead = self._no_power(block)
        if dead and (detector.by != "biased diodes" or dead[0].kind is CauseKind.BUS_BROKEN):
            yield _of(CauseKind.NO_TRACK_POWER, self._plan.blocks[block], dead)
            return
        for beside, other in self._wires.neighbors(block):
            if self._wires.flow(beside) == by_way_of(other):
                open_way = self._bridged(beside.name, beside.joined, beside.span)
                yield _of(CauseKind.CURRENT_BYPASSES, detector, (open_way,), other=other)
                return
        sound = self._wires.sound_feeders(block)
        through = [f.name for f in self._wiring.feeders_of(block)
                   if f.name in sound and f.name in detector.through]  # fmt: skip
        if through and not (place.feeder in sound and place.feeder not in through):
            past = [f.name for f in self._wiring.feeders_of(block)
                    if f.name in sound and f.name not in through]  # fmt: skip
            links = tuple(self._misses(name, detector) for name in past)
            yield _of(CauseKind.CURRENT_DIVIDES, detector, links,
                      through=listing(through), past=listing(past))  # fmt: skip
            return
        nearest = place.feeder or self._wiring.feeders_of(block)[0].name
        yield self._past(detector, block, nearest)

    def _supply_of(self, block: str) -> str:
        power = self._wiring.power_of(block)
        return power.name if power else ""

    def _past(self, detector: Detector, block: str, nearest: str) -> Cause:
        """Current that flows through feeders none of which, or not all, pass the detector."""
        broken = not self._wires.leads(nearest)
        feeders = [nearest]
        if broken:
            others = [f.name for f in self._wiring.feeders_of(block) if f.name != nearest]
            feeders = [name for name in others if self._wires.leads(name)]
        missed = [name for name in feeders if name not in detector.through]
        links = tuple(self._misses(name, detector) for name in missed)
        if not broken:
            return links[0]
        feeder, sub_bus = self._wiring.feeders[nearest], self._wiring.sub_bus_of(nearest)
        if sub_bus is not None and self._wires.is_broken(FaultKind.SUB_BUS, sub_bus.name):
            said = {"feeders": listing(sub_bus.feeders)}
            return _of(CauseKind.SUB_BUS_BROKEN, sub_bus, links, **said)
        if not feeders:
            return _of(CauseKind.ONLY_FEEDER_BROKEN, feeder, block=block)
        return _of(CauseKind.FEEDER_BROKEN, feeder, links, others=listing(feeders))

    def _misses(self, name: str, detector: Detector) -> Cause:
        feeder = self._wiring.feeders[name]
        missed = detector.name
        other = next((d.name for d in self._wiring.detectors.values()
                      if name in d.through and d.name != detector.name), None)  # fmt: skip
        if other is None:
            return _of(CauseKind.FEEDER_MISSES, feeder, missed=missed)
        return _of(CauseKind.FEEDER_PASSES_OTHER, feeder, missed=missed, other=other)

    def _draws_nothing(self, detector: Detector, block: str) -> Cause:
        """Stock that draws no current, or less than the detector needs, by its numbers."""
        trains, supply = self._wiring.trains, self._wiring.power_of(block)
        stock = Subject("stock", block)
        if not self._wiring.feeders_of(block):
            kind, other = CauseKind.NO_FEEDER_PASSES, detector.name
            return cause(kind, Subject("block", block), detector.span, other=other)
        if trains is None:
            return _of(CauseKind.NO_CURRENT_DRAWN, detector)
        if not unseen_anywhere(block, self._wiring):
            longest = length(trains.longest, self._wiring.units.track)
            return cause(CauseKind.ONLY_ENDS_DRAW, stock, trains.span, longest=longest)
        if trains.detectable == "locomotive":
            return cause(CauseKind.ONLY_LOCOMOTIVES_DRAW, stock, trains.span)
        load = least_load(block, self._wiring)
        if load is not None and load == trains.load and detector.sensitivity:
            said = {"current": amps(load), "needed": amps(detector.sensitivity)}
            return _of(CauseKind.LOAD_TOO_SMALL, detector, (), turns=str(detector.turns), **said)
        gives = self._wiring.volts_of(supply.name) if supply else None
        if not (trains.wheelsets and gives and detector.sensitivity):
            return cause(CauseKind.LITTLE_CURRENT_DRAWN, stock, trains.span)
        current = gives / trains.wheelsets
        amounts = {
            "volts": volts(gives),
            "ohms": ohms(trains.wheelsets),
            "current": amps(current),
            "needed": amps(detector.sensitivity),
        }
        if detector.turns == 1:
            return _of(CauseKind.CURRENT_TOO_SMALL, detector, (), **amounts)
        amounts["turns"] = str(detector.turns)
        amounts["multiplied"] = amps(current * detector.turns)
        return _of(CauseKind.CURRENT_TOO_SMALL_IN_TURNS, detector, (), **amounts)

    def _bridged(self, name: str, missing: bool, span: Span) -> Cause:
        kind = CauseKind.NO_GAP if missing else CauseKind.GAP_BRIDGED
        return cause(kind, Subject("gap", name), span)

    # -------------------------------------------------------------- points

    def points(self, turnout: str, reader: str) -> Cause:
        """What is reported of points, and, where that is not true, why."""
        says, lies = self._wires.points_report(turnout, reader), self._wires.lies(turnout)
        return self._position("points", turnout, says, lies, reader)

    def derail(self, name: str, reader: str) -> Cause:
        """The same of a derail."""
        says, lies = self._wires.derail_report(name, reader), self._wires.derail_lies(name)
        return self._position("derail", name, says, lies, reader)

    def gate(self, name: str, reader: str, lies: str) -> Cause:
        """The same of a gate that truly lies so."""
        return self._position("gate", name, self._wires.gate_report(name, reader), lies, reader)

    def _position(self, kind_: str, turnout: str, says: str, lies: str, reader: str) -> Cause:
        ends = kind_ != "gate" and lies == "open"
        truth = f"it lies {'open, between its ends' if ends else lies}"
        subject = Subject(kind_, turnout)
        if says == lies or (says == "moving" and lies == "open"):
            return cause(CauseKind.REPORTS, subject, None, state=says, truth=truth)
        because = tuple(self._misreported(self._wiring.machines[turnout], lies, reader))
        kind = CauseKind.REPORTS_FALSELY
        return cause(kind, subject, None, because, state=says, truth=truth)

    def _misreported(self, machine: Machine, lies: str, reader: str) -> Iterator[Cause]:
        turnout = machine.turnout
        subject = Subject(machine.kind, turnout)
        if not machine.contacts:
            yield cause(CauseKind.NO_CONTACTS, subject, machine.span)
            yield from self._disobeyed(machine, lies)
            return
        driver = self._wiring.drivers.get(reader)
        if driver is not None and not is_read(driver, turnout, True):
            yield _of(CauseKind.CONTACTS_NOT_READ, driver, other=turnout)
            return
        wrong = list(self._wrong_contacts(machine, lies, reader))
        yield from wrong
        if len(machine.contacts) == 1 and not wrong:
            (only,) = machine.contacts
            kind, reads = CauseKind.ONE_CONTACT, machine.other(only)
            yield cause(kind, subject, machine.span, contact=only, state=reads)
            yield from self._disobeyed(machine, lies)

    def _wrong_contacts(self, machine: Machine, lies: str, reader: str) -> Iterator[Cause]:
        """Contacts that do not read as the points lie."""
        turnout = machine.turnout
        if turnout in self._wiring.swapped_contacts:
            kind = CauseKind.CONTACT_WIRES_SWAPPED
            yield cause(kind, Subject(machine.kind, turnout), machine.span)
        if lies in (machine.contacts or ()) and self._wires.is_return_broken(machine, reader):
            subject = Subject(machine.kind, turnout)
            yield cause(CauseKind.CONTACT_RETURN_BROKEN, subject, machine.span)
            return
        for leg in machine.contacts or ():
            name = f"{turnout} {leg}"
            subject = Subject("contact", name)
            stuck = self._wires.fault(FaultKind.CONTACT, turnout, leg)
            if stuck:
                yield cause(CauseKind.CONTACT_STUCK, subject, machine.span, state=stuck)
            elif lies == leg and self._wires.is_wire_broken(machine, leg, reader):
                yield _wire_broken(f"the contact {name}", reader, machine.span)

    def _disobeyed(self, machine: Machine, lies: str) -> Iterator[Cause]:
        """Why points do not lie as they were told."""
        told = self._wires.commanded(machine)
        turnout = machine.turnout
        by = f" by lever {machine.lever}" if machine.lever else ""
        if machine.motor is None or lies == told:
            return
        subject, span, said = Subject("machine", turnout), machine.span, {"state": told, "by": by}
        fault = self._wires.fault(FaultKind.MACHINE, turnout)
        each = (self.unpowered(wire, supply, span) for wire, supply in machine.powers)
        off = next((found for found in each if found is not None), None)
        if off is not None:
            yield cause(CauseKind.THROWN_UNPOWERED, subject, span, (off,), **said)
        elif fault:
            yield cause(CauseKind.THROWN_FAULTY, subject, span, (), fault=fault, **said)
        else:
            yield cause(CauseKind.THROWN_MOVING, subject, span, (), **said)


_Thing = Block | Detector | District | Driver | Feeder | SubBus | Supply
_KINDS: Mapping[type[_Thing], str] = {
    Block: "block", Detector: "detector", District: "district", Driver: "driver",
    Feeder: "feeder", SubBus: "sub-bus", Supply: "supply",
}  # fmt: skip


def _of(kind: CauseKind, thing: _Thing, because: tuple[Cause, ...] = (), **said: str) -> Cause:
    """A cause that is about a thing of the plan, at the place where that is written."""
    return cause(kind, Subject(_KINDS[type(thing)], thing.name), thing.span, because, **said)


def _wire_broken(source: str, reader: str, span: Span) -> Cause:
    ends = f"{source} to {reader}" if reader else source
    return cause(CauseKind.WIRE_BROKEN, Subject("wire", ends), span)
