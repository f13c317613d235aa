"""The equipment of a layout in one situation, worked out directly from the plan.

Part of the reference, beside :mod:`verifier.reference.evaluator`. In: a plan and a situation,
faults included. Out: where stock and points truly are, what detectors and contacts report to
each driver, which heads light.
"""

from collections.abc import Iterator, Mapping

from verifier.plan import observables
from verifier.plan.model import Head, Plan, Signal
from verifier.plan.observables import Observable
from verifier.plan.signals.colors import flashes, flashing, steady
from verifier.plan.signals.heads import signal_of
from verifier.plan.situation import Situation
from verifier.plan.wiring.derive_equipment import by_way_of, motion_of
from verifier.plan.wiring.equipment import Beside, DeadRails, StockPlace
from verifier.plan.wiring.faults import (
    DISOBEYED,
    FLASHER_LIT,
    STUCK_CLOSED,
    STUCK_OCCUPIED,
    FaultKind,
)
from verifier.plan.wiring.wiring_model import Detector, Driver, Machine, Supply
from verifier.reference.currents import detects
from verifier.reference.inputs import asked_by, is_read
from verifier.reference.lamps import lamps_taken, taken_for

# The observables that the rules of each head read, kept once they are known.
Asked = dict[str, tuple[Observable, ...]]


class EquipmentState:
    """The equipment of a plan in one situation. ``asked`` may be shared between situations.

    Raises :class:`~verifier.plan.wiring.faults.UnknownFault` for a fault that the plan does
    not have, in the situation or wherever it is asked about."""

    def __init__(self, plan: Plan, situation: Situation, asked: Asked | None = None):
        self._plan = plan
        self._wiring = plan.wiring
        self._equipment = plan.equipment
        self._situation = situation
        self._broken = {
            self._equipment.fault_of(what).what: state
            for what, state in situation
            if what.kind == "fault"
        }
        self._senses: dict[str, bool] = {}
        self._dead: dict[str, bool] = {}
        self._asked = {} if asked is None else asked

    def is_broken(self, kind: FaultKind, *subjects: str) -> bool:
        """Whether a fault of the plan is present."""
        return self._equipment.fault(kind, *subjects).what in self._broken

    def fault(self, kind: FaultKind, *subjects: str) -> str:
        """The state of a fault of the plan; empty if it is absent."""
        return self._broken.get(self._equipment.fault(kind, *subjects).what, "")

    # -------------------------------------------------------------- truth

    def place(self, block: str) -> StockPlace | None:
        """Where stock stands on a block whose wiring distinguishes places; None if vacant."""
        places = self._equipment.places[block]
        state = self._situation.state(observables.standing(block, tuple(p.name for p in places)))
        return next((place for place in places if place.name == state), None)

    def vacant(self, block: str) -> bool:
        """Whether no stock is on a block."""
        if block in self._equipment.places:
            return self.place(block) is None
        return self._situation.state(observables.stock(block)) == "vacant"

    def lies(self, turnout: str) -> str:
        """How points truly lie: normal, reverse or open."""
        machine = self._wiring.machines.get(turnout)
        if machine is None or machine.motor is None or self._wiring.points_kept:
            return self._situation.state(observables.points(turnout))
        told = self.commanded(machine)
        before = "reverse" if told == "normal" else "normal"
        stalled = self.fault(FaultKind.MACHINE, turnout)
        if stalled:
            return before if stalled == DISOBEYED else "open"
        motion = motion_of(machine)
        state = "settled" if motion is None else self._situation.state(motion)
        if state == "moving":
            return "open"
        # Without power the points lie as before the command, or the command changed nothing.
        powerless = not self.can_move(machine)
        return before if powerless and state == observables.AS_BEFORE else told

    def truly_lies(self, machine: Machine) -> str:
        """How what a machine moves, or contacts report, truly lies."""
        match machine.kind:
            case "points":
                return self.lies(machine.turnout)
            case "derail":
                return self.derail_lies(machine.turnout)
            case _:
                return self._situation.state(machine.lies)

    def derail_lies(self, name: str) -> str:
        """How a derail truly lies: derailing, non-derailing or open."""
        pipe = self._plan.derails[name].pipe
        if pipe is None:
            return self._situation.state(observables.derail(name))
        return pipe.derail_for(self.lies(pipe.points))

    def commanded(self, machine: Machine) -> str:
        """The position that points are commanded to."""
        if machine.lever is None:
            return self._situation.state(machine.told)
        levers = {what.name: what for what in self._plan.inputs if what.kind == "lever"}
        return self._situation.state(levers[machine.lever])

    # -------------------------------------------------------------- power

    def has_power(self, name: str, supply: str | None) -> bool:
        """Whether a detector, driver or machine has power."""
        if supply is None:
            return True
        return self.is_on(supply) and not self.is_broken(FaultKind.POWER_WIRE, name)

    def can_move(self, machine: Machine) -> bool:
        """Whether a machine, and the board that throws it, have power."""
        return all(self.has_power(wire, supply) for wire, supply in machine.powers)

    def is_on(self, supply: str | None) -> bool:
        """Whether a supply, and those it is fed by, are on."""
        while supply is not None:
            if self.is_broken(FaultKind.SUPPLY, supply):
                return False
            supply = self._wiring.supplies[supply].fed_by
        return True

    def is_powered(self, block: str) -> bool:
        """Whether a block has track power."""
        name = self._wiring.district_of.get(block)
        if name is None:
            return True
        bus = self.is_broken(FaultKind.BUS, name)
        return not bus and self.is_on(self._wiring.districts[name].supply)

    # -------------------------------------------------------------- reports

    def block_report(self, block: str, reader: str) -> str:
        """What the inputs of a reader say of a block: clear or occupied."""
        detectors = self._wiring.detectors_of(block)
        if not detectors:
            return "clear" if self.vacant(block) else "occupied"
        clear = all(self.says_clear(detector, reader) for detector in detectors)
        return "clear" if clear else "occupied"

    def says_clear(self, detector: Detector, reader: str) -> bool:
        """Whether a detector reads as clear at the inputs of a reader."""
        stuck = self.fault(FaultKind.DETECTOR, detector.name)
        occupied = stuck == STUCK_OCCUPIED if stuck else self.senses(detector)
        if not self.follows(detector, reader):
            # The input is open, whatever the detector says.
            return detector.closed_when == "occupied"
        return not occupied

    def follows(self, detector: Detector, reader: str) -> bool:
        """Whether a reader's input follows the output of a detector."""
        driver = self._wiring.drivers[reader] if reader else None
        if driver is not None and not (
            is_read(driver, detector.name, False)
            and self._wiring.has_usable_input(driver, detector, self.broken_returns())
        ):
            return False
        ends = self._equipment.wire_ends(detector.name, reader, contacts=False)
        if driver is None and ends:
            relays = self._equipment.relays_supply
            if not self._wiring.reaches(relays, detector, self.broken_returns()):
                return False
        if not self.has_power(detector.name, detector.supply):
            return False
        return not any(self.is_broken(FaultKind.DETECTOR_WIRE, detector.name, end) for end in ends)

    def broken_returns(self) -> frozenset[int]:
        """The positions of the common returns that are broken."""
        returns = enumerate(self._wiring.common_returns)
        return frozenset(
            n for n, group in returns if self.is_broken(FaultKind.COMMON_RETURN, *group)
        )

    def points_report(self, turnout: str, reader: str) -> str:
        """What the inputs of a reader say of points: normal, reverse or moving."""
        machine = self._wiring.machines.get(turnout)
        if machine is None or machine.contacts is None:
            lies = self.lies(turnout)
            return "moving" if lies == "open" else lies
        return self._by_contacts(machine, reader)

    def derail_report(self, name: str, reader: str) -> str:
        """What the inputs of a reader say of a derail: derailing, non-derailing or moving."""
        machine = self._wiring.machines.get(name)
        if machine is None or machine.contacts is None:
            lies = self.derail_lies(name)
            return "moving" if lies == "open" else lies
        return self._by_contacts(machine, reader)

    def gate_report(self, name: str, reader: str) -> str:
        """What the inputs of a reader say of a gate: seated, or open where that is not sure."""
        machine = self._wiring.machines.get(name)
        if machine is None or machine.contacts is None:
            return self._situation.state(observables.gate(name))
        says = self._by_contacts(machine, reader)
        return "open" if says == "moving" else says

    def _by_contacts(self, machine: Machine, reader: str) -> str:
        if not machine.contacts:
            return self.commanded(machine)
        closed = [leg for leg in machine.contacts if self.reads_closed(machine, leg, reader)]
        if len(machine.contacts) == 2:
            return closed[0] if len(closed) == 1 else "moving"
        (only,) = machine.contacts
        return only if closed else machine.other(only)

    def reads_closed(self, machine: Machine, leg: str, reader: str) -> bool:
        """Whether a contact reads as closed at the inputs of a reader."""
        driver = self._wiring.drivers[reader] if reader else None
        if driver is not None and not is_read(driver, machine.turnout, True):
            return False
        if self.is_wire_broken(machine, leg, reader):
            return False
        follows = leg
        if machine.turnout in self._wiring.swapped_contacts:
            follows = machine.other(leg)
        stuck = self.fault(FaultKind.CONTACT, machine.turnout, leg)
        return stuck == STUCK_CLOSED if stuck else self.truly_lies(machine) == follows

    def is_wire_broken(self, machine: Machine, leg: str, reader: str) -> bool:
        """Whether a wire leads from a contact to a reader and is broken, or the return that all
        contacts of the machine have for this reader."""
        ends = self._equipment.wire_ends(machine.turnout, reader, contacts=True)
        return self.is_return_broken(machine, reader) or any(
            self.is_broken(FaultKind.CONTACT_WIRE, machine.turnout, leg, end) for end in ends
        )

    def is_return_broken(self, machine: Machine, reader: str) -> bool:
        """Whether the return is broken by which a reader reads the contacts of a machine."""
        ends = self._equipment.wire_ends(machine.turnout, reader, contacts=True)
        return any(
            self.is_broken(FaultKind.CONTACT_RETURN, machine.turnout, supply)
            for supply, serves in self._equipment.contact_returns[machine.turnout]
            for end in ends
            if end in serves
        )

    # -------------------------------------------------------------- detection

    def senses(self, detector: Detector) -> bool:
        """Whether a detector detects something."""
        if detector.name not in self._senses:
            dead = detector.without_power and not self.is_powered(detector.block)
            self._senses[detector.name] = dead or (
                self._covered(detector)
                if detector.kind == "spot"
                else self.current_from(detector) is not None
            )
        return self._senses[detector.name]

    def _covered(self, detector: Detector) -> bool:
        place = self.place(detector.block)
        spots = self._equipment.spots_of[detector.name]
        return place is not None and any(spot in place.covers for spot in spots)

    def current_from(self, detector: Detector) -> str | None:
        """The block whose stock draws current that a detector senses; None if there is none."""
        supply = self._wiring.power_of(detector.block)
        # A coil sees nothing of DC, diodes without bias nothing with the throttle at zero.
        unsure = detector.by is None or detector.by in ("coil", "diodes")
        if unsure and supply is not None and self.kind_of_current(supply) == "DC":
            return None
        fed = dict.fromkeys(self._wiring.feeders[name].block for name in detector.through)
        reached = [*fed, *(other for block in fed for _, other in self.neighbors(block))]
        for block in dict.fromkeys(reached):
            place = self.place(block)
            if place is None or not place.draws or (place.dead and not self.is_live(place.dead)):
                continue
            if self._is_seen_next_door(detector, block) or self._is_seen_at_home(detector, block):
                return block
        return None

    def kind_of_current(self, supply: Supply) -> str:
        """The kind of current of a supply, or of the one that feeds it; empty where unknown."""
        if supply.current is None and supply.fed_by is not None:
            return self.kind_of_current(self._wiring.supplies[supply.fed_by])
        return supply.current or ""

    def is_live(self, rails: DeadRails) -> bool:
        """Whether the frog stands for the leg that rails beyond it are on, and has power."""
        if self.is_broken(FaultKind.FROG, rails.turnout):
            return False
        if rails.frog.by == "lever":
            levers = {what.name: what for what in self._plan.inputs if what.kind == "lever"}
            return self._situation.state(levers[rails.frog.of]) == rails.leg
        return self.lies(rails.frog.of) == rails.leg

    def _is_seen_next_door(self, detector: Detector, block: str) -> bool:
        """Whether stock on a block surely draws through a detector by way of the next block: where
        no gap isolates them, and all feeders of that block pass through the detector."""
        return any(
            self.flow(beside) in ("bridged", by_way_of(other)) and self.is_powered(other)
            and {f.name for f in self._wiring.feeders_of(other)} <= set(detector.through)
            for beside, other in self.neighbors(block)
        )  # fmt: skip

    def _is_seen_at_home(self, detector: Detector, block: str) -> bool:
        """Whether a detector detects what stock draws through the feeders of its own block."""
        biased = detector.by == "biased diodes"
        if not self.draws_at_home(block, biased=biased):
            return False
        if self.detects_share(detector.name, block):
            return True
        others = self._equipment.together.get(block, ())
        sound = self.sound_feeders(block)
        passed = {f for name in others for f in self._wiring.detectors[name].through}
        return (
            detector.name in others
            and not sound.isdisjoint(detector.through)
            and sound <= passed
            and not any(self.detects_share(name, block) for name in others)
        )

    def draws_at_home(self, block: str, *, biased: bool) -> bool:
        """Whether stock on a block draws by way of its own feeders, and not of the next block's
        alone. A ``biased`` detector sends current through its own block over a whole bus, whether
        or not the supply is on."""
        bus = self._wiring.district_of.get(block)
        bias = biased and not (bus and self.is_broken(FaultKind.BUS, bus))
        away = (self.flow(beside) == by_way_of(other) for beside, other in self.neighbors(block))
        return (bias or self.is_powered(block)) and not any(away)

    def sound_feeders(self, block: str) -> frozenset[str]:
        """The feeders of a block that lead to the bus."""
        names = (feeder.name for feeder in self._wiring.feeders_of(block))
        return frozenset(name for name in names if self.leads(name))

    def leads(self, feeder: str) -> bool:
        """Whether a feeder leads to the bus: neither it nor the sub-bus it comes from is broken."""
        cut = (
            self.is_broken(FaultKind.SUB_BUS, bus.name)
            for bus in self._wiring.sub_buses.values()
            if feeder in bus.feeders
        )
        return not any(cut) and not self.is_broken(FaultKind.FEEDER, feeder)

    def _is_bridged(self, block: str) -> bool:
        return any(self.flow(beside) == "bridged" for beside, _ in self.neighbors(block))

    def detects_share(self, name: str, block: str) -> bool:
        """Whether enough of what stock on a block draws through its own feeders passes a detector,
        leaving aside what other detectors detect."""
        place = self.place(block)
        sound = self.sound_feeders(block)
        through = sound.intersection(self._wiring.detectors[name].through)
        if place is None or not through:
            return False
        if through == sound:
            return True
        division = self._equipment.divisions[name, block]
        all_ = (feeder.name for feeder in self._wiring.feeders_of(block))
        spot = place.feeder or "", tuple(feeder for feeder in all_ if feeder not in sound)
        says = detects(division, spot)
        if says == "never" or (says == "surely" and not self._is_bridged(block)):
            return says == "surely"
        nearest = place.feeder in through
        return nearest != (self._situation.state(division.what) == observables.DIVIDED)

    def neighbors(self, block: str) -> Iterator[tuple[Beside, str]]:
        """The joints of a block by which current may flow, each with the block beyond."""
        for beside in self._equipment.beside(block):
            one, other = beside.blocks
            yield beside, other if block == one else one

    def flow(self, beside: Beside) -> str:
        """How current flows between two blocks; empty if a gap isolates them."""
        if beside.joined:
            return self._situation.state(observables.current(beside.name, beside.states))
        return self.fault(FaultKind.GAP, beside.name)

    # -------------------------------------------------------------- heads

    def told(self, head: str, ruled: dict[str, str]) -> str:
        """The color that a head is caused to display, given the colors that the rules give the
        heads of its signal."""
        driver = self._wiring.driver_of(head)
        if driver is None:
            return ruled[head]
        if not self.has_power(driver.name, driver.supply):
            return "dark"
        if driver.when_out is not None:
            for other in ruled:
                if other in driver.heads and self.fails_to_light(other, driver, ruled):
                    return driver.when_out
        return self._driven(head, driver, ruled)

    def fails_to_light(self, head: str, driver: Driver, ruled: dict[str, str]) -> bool:
        """Whether a driver detects that a head does not light when driven."""
        color = self._driven(head, driver, ruled)
        seen = self._head(head).tested or self.lit_up(head)
        return seen and color != "dark" and not self.can_light(head, color)

    def lit_up(self, head: str) -> bool:
        """Whether a head is not dark for want of a train before its signal."""
        lit = self._plan.signals[signal_of(head, self._plan.signals)].lit
        driver = self._wiring.driver_of(head)
        if lit is None or driver is None or not self._head(head).approach:
            return True
        return self.block_report(lit.what.name, driver.name) == "occupied"

    def can_light(self, head: str, color: str) -> bool:
        """Whether the lamp of a color and its wires are sound. A head that shows another's color
        because their wires are swapped has no lamp of that color that could fail."""
        if self._wiring.driver_of(head) is None:
            return True
        own = self._head(head)
        if own.make == "semaphore":  # whether the arm is as it is told to be
            return steady(color) == "red" or bool(self._burning(own, steady(color)))
        whole = not self.is_broken(FaultKind.HEAD, head) and not (
            own.in_common and self.is_broken(FaultKind.LAMP_COMMON, *own.in_common)
        )
        return whole and bool(self._burning(own, steady(color)))

    def is_turned_on(self, indicator: str) -> bool:
        """Whether an indicator or a bell comes on as it is told: its board has power, and no wire
        to it is broken."""
        board = self._wiring.driver_of(indicator)
        if board is None:
            return True
        broken = self.is_broken(FaultKind.INDICATOR, indicator)
        return self.has_power(board.name, board.supply) and not broken

    def _head(self, name: str) -> Head:
        signal = self._plan.signals[signal_of(name, self._plan.signals)]
        return next(head for head in signal.heads if head.name == name)

    def _burning(self, head: Head, color: str) -> set[str]:
        """The lamps of a steady color that light. One that a head does not have cannot fail."""
        kind = FaultKind.ARM if head.make == "semaphore" else FaultKind.LAMP
        return {
            lamp for lamp in lamps_taken(head, color)
            if lamp not in head.lamps or not self.is_broken(kind, head.name, lamp)
        }  # fmt: skip

    def _left_of(self, head: str, color: str) -> str:
        """What is left of a steady color by the lamps that do not fail."""
        own = self._head(head)
        return taken_for(own, color, self._burning(own, color))

    def _driven(self, head: str, driver: Driver, ruled: dict[str, str]) -> str:
        if driver.when_missing is not None and self._input_dead(head, driver):
            return driver.when_missing
        return ruled[head]

    def _input_dead(self, head: str, driver: Driver) -> bool:
        if head not in self._dead:
            self._dead[head] = self._finds_dead(head, driver)
        return self._dead[head]

    def _finds_dead(self, head: str, driver: Driver) -> bool:
        if head not in self._asked:
            self._asked[head] = tuple(dict.fromkeys(asked_by(self._plan, head)))
        for what in self._asked[head]:
            if what.kind == "block report":
                detectors = self._wiring.detectors_of(what.name)
                tells = (d for d in detectors if d.closed_when != "occupied")
                if not all(self.follows(detector, driver.name) for detector in tells):
                    return True
            elif what.kind in observables.OF_CONTACTS:
                machine = self._wiring.machines.get(what.name)
                if machine and machine.contacts and not is_read(driver, what.name, True):
                    return True
        return False

    def shown(self, head: str, told: Mapping[str, str]) -> str:
        """The color that a head really displays, given what every head is caused to display."""
        if self._wiring.drivers and not self.lit_up(self._source(head)):
            return self._fallen(head, "dark")
        return self._fallen(head, self._lens(head, told))

    def sight(self, signal: Signal, told: Mapping[str, str]) -> tuple[str, ...]:
        """The colors that an engineer sees: where nobody stands before a signal whose heads trains
        light, those that one would see who came."""
        if signal.lit is None or not self.vacant(signal.lit.what.name):
            return tuple(self.shown(head.name, told) for head in signal.heads)
        lit = self._once_lit(signal, told)
        return tuple(self._fallen(head.name, self._lens(head.name, lit)) for head in signal.heads)

    def _once_lit(self, signal: Signal, told: Mapping[str, str]) -> dict[str, str]:
        """What all heads are told once a train lights those of a signal: the boards of these see,
        at once as ever, that a lamp is out."""
        lit = dict(told)
        for driver in self._wiring.drivers.values():
            own = [head.name for head in signal.heads if head.name in driver.heads]
            if driver.when_out is not None and any(self.would_fail(name, told) for name in own):
                lit.update(dict.fromkeys(own, driver.when_out))
        return lit

    def would_fail(self, head: str, told: Mapping[str, str]) -> bool:
        """Whether a head would not light as it is told, were it lit."""
        return told[head] != "dark" and not self.can_light(head, told[head])

    def _fallen(self, head: str, seen: str) -> str:
        """An arm that nothing holds up is at stop."""
        fallen = seen == "dark" and self._head(head).make == "semaphore"
        return "red" if fallen and self._wiring.drivers else seen

    def _source(self, head: str) -> str:
        """The head whose wires lead to this one."""
        for pair in self._wiring.swapped_heads:
            if head in pair:
                return pair[0] if head == pair[1] else pair[1]
        return head

    def _lens(self, head: str, told: Mapping[str, str]) -> str:
        source = self._source(head)
        if not self._wiring.drivers:
            return told[source]
        if self._wiring.driver_of(source) is None or not self.can_light(head, told[source]):
            return "dark"
        left = self._left_of(head, steady(told[source]))
        if left == "dark" or not flashes(told[source]):
            return left
        stopped = self.stopped_flasher(source)
        if stopped:
            return left if stopped == FLASHER_LIT else "dark"
        return flashing(left)

    def stopped_flasher(self, head: str) -> str:
        """How the flasher of the driver that lights a head has stopped; empty while it runs."""
        driver = self._wiring.driver_of(head)
        return self.fault(FaultKind.FLASHER, driver.name) if driver else ""
