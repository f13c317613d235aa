"""Why the equipment says what it says: the chain from a report down to the rail.

In: a plan, what its equipment does in one situation, a report and who reads it. Out: one
sentence about the report, and behind it each link between truth and what is reported, with
the line of the file that has to do with it.
"""

from collections.abc import Iterator

from verifier.explain.stock_text import stock_stands
from verifier.language.listing import listing
from verifier.language.source import Span
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.wiring.derive_equipment import by_way_of, unseen_anywhere
from verifier.plan.wiring.equipment import Place
from verifier.plan.wiring.faults import FaultKind, fault_name
from verifier.plan.wiring.wiring_model import Detector, Machine
from verifier.properties.amounts import amps, length, ohms, volts
from verifier.reference.equipment import Wires, how_it_stands, is_read
from verifier.verdicts.report import Cause

_OTHER = {"normal": "reverse", "reverse": "normal"}


class Told:
    """A report as one reader gets it: its sentence, what is behind it, and whether it says
    what is true."""

    def __init__(self, text: str, because: tuple[Cause, ...] = (), *, true: bool = True):
        self.text, self.because, self.true = text, because, true


class Circuit:
    """The equipment of a plan in one situation, asked for reasons."""

    def __init__(self, plan: Plan, wires: Wires):
        self._plan = plan
        self._wiring = plan.wiring
        self._wires = wires

    # -------------------------------------------------------------- blocks

    def block(self, block: str, reader: str) -> Told:
        """What is reported of a block."""
        says = self._wires.block_report(block, reader)
        vacant = self._wires.vacant(block)
        stands = "nothing stands there" if vacant else self.stock_on(block)
        if vacant == (says == "clear"):
            return Told(f"{block} reports {says} ({stands})")
        because: list[Cause] = []
        detectors = self._wiring.detectors_of(block)
        if says == "clear":
            for detector in detectors:
                because += self._says_clear(detector, reader)
        else:
            wrong = next(d for d in detectors if not self._wires.says_clear(d, reader))
            because += self._says_occupied(wrong, reader)
        return Told(f"{block} reports {says}, though {stands}", tuple(because), true=False)

    def stock_on(self, block: str) -> str:
        """What stands on a block that is not vacant."""
        place = self._place(block)
        if place is None:
            return "stock stands there"
        return stock_stands(self._plan, block, place)

    def _place(self, block: str) -> Place | None:
        return self._wires.place(block) if block in self._plan.equipment.places else None

    def _says_clear(self, detector: Detector, reader: str) -> Iterator[Cause]:
        """Why a detector is heard to say clear though stock stands on its block."""
        if not self._wires.follows(detector, reader):
            deaf = self._not_followed(detector, reader)
            text = f"the output of {detector.name} is closed when occupied: open, it reads clear"
            yield Cause(text, detector.span, (deaf,))
        elif self._wires.is_broken(FaultKind.DETECTOR, detector.name):
            yield Cause(f"{detector.name} is stuck at clear", detector.span)
        elif detector.kind == "spot":
            yield self._uncovered(detector)
        else:
            yield from self._no_current(detector)

    def _says_occupied(self, detector: Detector, reader: str) -> Iterator[Cause]:
        """Why a detector is heard to say occupied though nothing stands on its block."""
        if not self._wires.follows(detector, reader):
            deaf = self._not_followed(detector, reader)
            text = f"the output of {detector.name} is closed when clear: open, it reads occupied"
            yield Cause(text, detector.span, (deaf,))
            return
        if self._wires.is_broken(FaultKind.DETECTOR, detector.name):
            yield Cause(f"{detector.name} is stuck at occupied", detector.span)
            return
        beyond = self._wires.current_from(detector) if detector.kind != "spot" else None
        if beyond is None:
            dead = self._no_power(detector.block)
            yield Cause(f"{detector.name} reads occupied without track power", detector.span, dead)
            return
        reasons = tuple(self._strays(detector, beyond))
        text = f"{self.stock_on(beyond)}, and its current flows through {detector.name}"
        yield Cause(text, detector.span, reasons)

    def _strays(self, detector: Detector, block: str) -> Iterator[Cause]:
        """How current of stock on another block comes to pass a detector."""
        for name in detector.through:
            if self._wiring.feeders[name].block == block:
                feeder = self._wiring.feeders[name]
                yield Cause(f"feeder {name} of {block} passes through {detector.name}", feeder.span)
        for beside, other in self._wires.neighbors(block):
            if self._wires.flow(beside) and other == detector.block:
                yield self._bridged(beside.name, beside.joined, beside.span)

    # -------------------------------------------------------------- inputs

    def _not_followed(self, detector: Detector, reader: str) -> Cause:
        """Why a reader's input does not follow a detector."""
        driver = self._wiring.drivers.get(reader)
        if driver is not None and not is_read(driver, detector.name, False):
            return Cause(f"{driver.name} does not read {detector.name}", driver.span)
        heard = driver is None or self._wiring.hears(driver, detector, self._wires.broken_returns())
        if driver is not None and not heard:
            broken = next((b for b in self._wires.broken_returns()), None)
            if broken is not None and self._wiring.hears(driver, detector):
                group = self._wiring.common_returns[broken]
                name = fault_name(FaultKind.COMMON_RETURN, *group)
                text = f"the {name} is broken: {driver.name} gets nothing from {detector.name}"
                return Cause(text, driver.span)
            text = (
                f"{detector.name} is powered by {detector.supply}, {driver.name} by "
                f"{driver.supply}, and they have no common return: there is no usable input"
            )
            return Cause(text, driver.span)
        off = self.unpowered(detector.name, detector.supply, detector.span)
        if off is not None:
            return Cause(f"{detector.name} has no power", detector.span, (off,))
        return Cause(f"{_the_wire(detector.name, reader)} is broken", detector.span)

    def dead_input(self, driver_name: str, what: Observable) -> Cause | None:
        """Why an input that a driver's rules ask for is dead; None for one that is not."""
        if what.kind == "block report":
            for detector in self._wiring.detectors_of(what.name):
                if not self._wires.follows(detector, driver_name):
                    return self._not_followed(detector, driver_name)
        machine = self._wiring.machines.get(what.name) if what.kind == "points report" else None
        driver = self._wiring.drivers[driver_name]
        if machine and machine.contacts and not is_read(driver, what.name, True):
            return Cause(f"{driver_name} does not read the contacts of {what.name}", driver.span)
        return None

    def unpowered(self, name: str, supply: str | None, span: Span) -> Cause | None:
        """Why a detector, driver or machine has no power; None where it has."""
        if supply is not None and self._wires.is_broken(FaultKind.POWER_WIRE, name):
            return Cause(f"the {fault_name(FaultKind.POWER_WIRE, name)} is broken", span)
        return self.lost(supply)

    def lost(self, supply: str | None) -> Cause | None:
        """The supply that is off, be it one that feeds this one; None where none is."""
        while supply is not None:
            given = self._wiring.supplies[supply]
            if self._wires.is_broken(FaultKind.SUPPLY, supply):
                return Cause(f"supply {supply} is off", given.span)
            supply = given.fed_by
        return None

    def _no_power(self, block: str) -> tuple[Cause, ...]:
        """Why a block has no track power; nothing where it has."""
        district = self._wiring.districts.get(self._wiring.district_of.get(block, ""))
        if district is None or self._wires.is_powered(block):
            return ()
        if self._wires.is_broken(FaultKind.BUS, district.name):
            return (Cause(f"the bus of {district.name} is broken", district.span),)
        off = self.lost(district.supply)
        return (off,) if off else ()

    # -------------------------------------------------------------- spots and current

    def _uncovered(self, detector: Detector) -> Cause:
        """A train that stands where no spot is."""
        block = detector.block
        place = self._place(block)
        stands = how_it_stands(self._plan, block, place.covers) if place else None
        unit = self._wiring.units.track
        at = listing([length(spot, unit) for spot in detector.spots])
        text = f"{detector.name} looks only at {at}"
        if stands is not None and stands.length:
            first, last = stands.start, stands.start + stands.length
            text += f", and the train reaches from {length(first, unit)} to {length(last, unit)}"
        return Cause(text, detector.span)

    def _no_current(self, detector: Detector) -> Iterator[Cause]:
        """Why no current of the stock on its block passes a detector."""
        block = detector.block
        place = self._place(block)
        if place is None or place.feeder is None or not place.draws:
            yield self._draws_nothing(detector, block)
            return
        dead = self._no_power(block)
        if dead:
            text = f"{block} has no track power, so that stock draws no current"
            span = self._plan.blocks[block].span
            yield Cause(text, span, dead)
            return
        for beside, other in self._wires.neighbors(block):
            if self._wires.flow(beside) == by_way_of(other):
                open_way = self._bridged(beside.name, beside.joined, beside.span)
                text = f"its current flows by way of {other}, past {detector.name}"
                yield Cause(text, detector.span, (open_way,))
                return
        yield self._past(detector, block, place.feeder)

    def _past(self, detector: Detector, block: str, nearest: str) -> Cause:
        """Current that flows through feeders none of which, or not all, pass the detector."""
        broken = self._wires.is_broken(FaultKind.FEEDER, nearest)
        feeders = [nearest]
        if broken:
            others = [f.name for f in self._wiring.feeders_of(block) if f.name != nearest]
            feeders = [name for name in others if not self._wires.is_broken(FaultKind.FEEDER, name)]
        missed = [name for name in feeders if name not in detector.through]
        links = tuple(self._misses(name, detector) for name in missed)
        if not broken:
            return links[0]
        span = self._wiring.feeders[nearest].span
        if not feeders:
            text = f"feeder {nearest} is broken, and {block} has no other"
            return Cause(f"{text}: stock draws no current", span)
        text = f"feeder {nearest} is broken, so that stock draws through {listing(feeders)}"
        return Cause(text, span, links)

    def _misses(self, name: str, detector: Detector) -> Cause:
        feeder = self._wiring.feeders[name]
        text = f"feeder {name} does not pass through {detector.name}"
        other = next((d.name for d in self._wiring.detectors.values()
                      if name in d.through and d.name != detector.name), None)  # fmt: skip
        return Cause(f"{text}, but through {other}" if other else text, feeder.span)

    def _draws_nothing(self, detector: Detector, block: str) -> Cause:
        """Stock that draws no current, or less than the detector needs, by its numbers."""
        trains, supply = self._wiring.trains, self._wiring.power_of(block)
        if not self._wiring.feeders_of(block):
            return Cause(f"no feeder of {block} passes through {detector.name}", detector.span)
        if trains is None:
            return Cause("the stock there draws no current", detector.span)
        if not unseen_anywhere(block, self._wiring):
            text = (
                "only the ends of a train draw current, and both are beyond this block: "
                f"trains are up to {length(trains.longest, self._wiring.units.track)} long"
            )
            return Cause(text, trains.span)
        if trains.detectable == "locomotive":
            text = "only locomotives draw current: cars left standing draw none"
            return Cause(text, trains.span)
        if not (trains.wheelsets and supply and supply.volts and detector.sensitivity):
            return Cause("the stock there draws too little current", trains.span)
        current = supply.volts / trains.wheelsets
        text = f"{volts(supply.volts)} over {ohms(trains.wheelsets)} is {amps(current)}"
        if detector.turns > 1:
            text += f", {detector.turns} turns make {amps(current * detector.turns)} of it"
        text += f", and {detector.name} needs {amps(detector.sensitivity)}"
        return Cause(text, detector.span)

    def _bridged(self, name: str, missing: bool, span: Span) -> Cause:
        if missing:
            return Cause(f"there is no gap at {name}", span)
        return Cause(f"gap {name} is bridged", span)

    # -------------------------------------------------------------- points

    def points(self, turnout: str, reader: str) -> Told:
        """What is reported of points."""
        says, lies = self._wires.points_report(turnout, reader), self._wires.lies(turnout)
        words = "open, between its ends" if lies == "open" else lies
        if says == lies or (says == "moving" and lies == "open"):
            return Told(f"{turnout} reports {says} (it lies {words})")
        machine = self._wiring.machines[turnout]
        because = tuple(self._misreported(machine, says, lies, reader))
        return Told(f"{turnout} reports {says}, though it lies {words}", because, true=False)

    def _misreported(self, machine: Machine, says: str, lies: str, reader: str) -> Iterator[Cause]:
        turnout = machine.turnout
        if not machine.contacts:
            yield Cause(
                f"{turnout} has no contacts: what is reported is what it was told", machine.span
            )
            yield from self._disobeyed(machine, lies)
            return
        driver = self._wiring.drivers.get(reader)
        if driver is not None and not is_read(driver, turnout, True):
            yield Cause(f"{driver.name} does not read the contacts of {turnout}", driver.span)
            return
        wrong = list(self._wrong_contacts(machine, lies, reader))
        yield from wrong
        if len(machine.contacts) == 1 and not wrong:
            (only,) = machine.contacts
            text = f"{turnout} has no contact but {only}: whenever that is open, it reads"
            yield Cause(f"{text} {_OTHER[only]}", machine.span)
            yield from self._disobeyed(machine, lies)

    def _wrong_contacts(self, machine: Machine, lies: str, reader: str) -> Iterator[Cause]:
        """Contacts that do not read as the points lie."""
        turnout = machine.turnout
        if turnout in self._wiring.swapped_contacts:
            yield Cause(f"the contact wires of {turnout} are swapped", machine.span)
        for leg in machine.contacts or ():
            name = f"{turnout} {leg}"
            stuck = self._wires.fault(FaultKind.CONTACT, turnout, leg)
            if stuck:
                yield Cause(f"the contact {name} is {stuck}", machine.span)
            elif lies == leg and self._wires.is_wire_broken(machine, leg, reader):
                yield Cause(f"{_the_wire(f'the contact {name}', reader)} is broken", machine.span)

    def _disobeyed(self, machine: Machine, lies: str) -> Iterator[Cause]:
        """Why points do not lie as they were told."""
        told = self._wires.commanded(machine)
        turnout = machine.turnout
        by = f"by lever {machine.lever}" if machine.lever else ""
        if machine.motor is None or lies == told:
            return
        span = machine.span
        stalled = self._wires.fault(FaultKind.MACHINE, turnout)
        off = self.unpowered(turnout, machine.supply, span)
        text = f"it was told {by} to lie {told}".replace("  ", " ")
        if off is not None:
            yield Cause(f"{text}, and its motor has no power", span, (off,))
        elif stalled:
            yield Cause(f"{text}, and its motor {stalled}", span)
        else:
            yield Cause(f"{text}, and is still moving", span)


def _the_wire(source: str, reader: str) -> str:
    return f"the wire from {source}" + (f" to {reader}" if reader else "")
