"""The wiring as logic: what is reported, as a function of truth and of what is broken.

In: a plan and the faults that may be present. Out: expressions over truth, commands and
faults. :mod:`verifier.reference.equipment` is its twin: it evaluates one situation.
"""

from collections.abc import Iterable, Iterator

from verifier.logic.expr import (
    FALSE,
    TRUE,
    Atom,
    Expr,
    atom,
    conjunction,
    constant,
    disjunction,
    negation,
)
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.signals.colors import flashes
from verifier.plan.wiring.derive_equipment import by_way_of
from verifier.plan.wiring.equipment import Beside, DeadRails
from verifier.plan.wiring.faults import (
    DISOBEYED,
    FLASHER_LIT,
    STOPPED,
    STUCK_CLOSED,
    STUCK_OCCUPIED,
    FaultKind,
)
from verifier.plan.wiring.lamps import lit_in
from verifier.plan.wiring.wiring_model import Detector, Driver, Machine

_LEGS = {"normal": "reverse", "reverse": "normal"}


class Circuits:
    """The reports of one plan's equipment as functions of truth. ``faults`` are the observables
    of the plan's faults that may be present; every other fault is absent.

    Raises :class:`~verifier.plan.wiring.faults.UnknownFault` for one that the plan does not
    have."""

    def __init__(self, plan: Plan, faults: Iterable[Observable]):
        self.plan = plan
        self.wiring = plan.wiring
        self.equipment = plan.equipment
        self._faults = frozenset(self.equipment.fault_of(what).what for what in faults)
        self._inputs = {(what.kind, what.name): what for what in plan.inputs}
        self._sensed: dict[str, Expr] = {}
        heads = (head for signal in plan.signals.values() for head in signal.heads)
        self._colors = {h.name: h.color.values for h in heads}
        self._heads = {h.name: h for s in plan.signals.values() for h in s.heads}

    def broken(self, kind: FaultKind, *subjects: str, ways: tuple[str, ...] = ()) -> Expr:
        """The fault is present (in one of these ways; in any, when none is given)."""
        fault = self.equipment.fault(kind, *subjects)
        return atom(fault.what, *(ways or fault.ways)) if fault.what in self._faults else FALSE

    def sound(self, kind: FaultKind, *subjects: str) -> Expr:
        """The fault is absent."""
        return negation(self.broken(kind, *subjects))

    # -------------------------------------------------------------- truth

    def truth(self, part: Atom) -> Expr:
        """Truth that is not an input itself: stock by places, points by their machine, derails by
        the points that they are pipe-connected to."""
        if part.what.kind == "points":
            return disjunction(*(self._lies(part.what.name, state) for state in part.values))
        if part.what.kind == "derail":
            return disjunction(*(self._derail(part.what.name, state) for state in part.values))
        standing = self._inputs["standing", part.what.name]
        vacant = atom(standing, "vacant")
        return vacant if part.values == ("vacant",) else negation(vacant)

    def _derail(self, name: str, state: str) -> Expr:
        pipe = self.plan.derails[name].pipe
        if pipe is None:
            return atom(observables.derail(name), state)
        return self._lies(pipe.points, pipe.points_for(state))

    def _lies(self, turnout: str, state: str) -> Expr:
        machine = self.wiring.machines.get(turnout)
        if machine is None or machine.motor is None or self.wiring.points_kept:
            return atom(observables.points(turnout), state)
        sound, moving = self.sound(FaultKind.MACHINE, turnout), self._moves(machine, "moving")
        if state == "open":
            stopped = self.broken(FaultKind.MACHINE, turnout, ways=(STOPPED,))
            return disjunction(stopped, conjunction(sound, moving))
        # Without power it lies as before the last command, unless that was given with power.
        fed = self.may_move(machine)
        left = conjunction(negation(fed), self._moves(machine, observables.AS_BEFORE))
        disobeyed = self.broken(FaultKind.MACHINE, turnout, ways=(DISOBEYED,))
        before = disjunction(disobeyed, conjunction(sound, left))
        return disjunction(
            conjunction(sound, negation(moving), negation(left), self._commanded(machine, state)),
            conjunction(before, self._commanded(machine, _LEGS[state])),
        )

    def _moves(self, machine: Machine, state: str) -> Expr:
        """That a machine has moved as far as this."""
        motion = self._inputs.get(("motion", machine.turnout))
        return atom(motion, state) if motion and state in motion.values else FALSE

    def _commanded(self, machine: Machine, leg: str) -> Expr:
        lever = self._inputs.get(("lever", machine.lever or ""))
        return atom(lever or machine.told, leg)

    def on(self, supply: str | None) -> Expr:
        """That a supply, and those it is fed by, are on."""
        lost = []
        while supply is not None:
            lost.append(self.broken(FaultKind.SUPPLY, supply))
            supply = self.wiring.supplies[supply].fed_by
        return negation(disjunction(*lost))

    def fed(self, name: str, supply: str | None) -> Expr:
        """That a detector, driver or machine has power."""
        if supply is None:
            return TRUE
        return conjunction(self.on(supply), self.sound(FaultKind.POWER_WIRE, name))

    def may_move(self, machine: Machine) -> Expr:
        """That a machine, and the board that throws it, have power."""
        return conjunction(*(self.fed(wire, supply) for wire, supply in machine.powers))

    def powered(self, block: str) -> Expr:
        """That a block has track power."""
        district = self.wiring.districts.get(self.wiring.district_of.get(block, ""))
        if district is None:
            return TRUE
        return conjunction(self.on(district.supply), self.sound(FaultKind.BUS, district.name))

    def _draws(self, block: str, detector: Detector) -> Expr:
        """That stock on a block draws current a detector could see: with a bias current also
        while the supply of the track is off, as long as the bus is whole."""
        district = self.wiring.district_of.get(block)
        if detector.by != "biased diodes" or district is None:
            return self.powered(block)
        return self.sound(FaultKind.BUS, district)

    # -------------------------------------------------------------- reports

    def report(self, report: Atom) -> Expr:
        """When a report, as its reader gets it, says one of these things."""
        name, reader = report.what.name, report.what.reader
        match report.what.kind:
            case "block report":
                clear = self._clear(name, reader)
                return clear if report.values == ("clear",) else negation(clear)
            case "points report" | "derail report" | "gate report":
                return disjunction(
                    *(self._position_report(report.what, v, reader) for v in report.values)
                )
            case _:
                raise AssertionError(f"no report: {report}")

    def meanings(self, what: Observable) -> tuple[Expr, ...]:
        """When a report, points, a derail or a gate are in each of their states."""
        if what.kind == "gate":
            return tuple(atom(what, v) for v in what.values)
        of = self.truth if what.kind in ("points", "derail") else self.report
        return tuple(of(a) for v in what.values if isinstance(a := atom(what, v), Atom))

    def lights(self, head: str, color: str) -> Expr:
        """A head that is driven in a color lights. A head that shows another's color, as
        their wires are swapped, has no lamp of that color that can fail."""
        if self.wiring.driver_of(head) is None:
            return TRUE
        lamps = [self._lamp(head, lamp) for lamp in self._heads[head].lamps_of(color)]
        if not lamps:  # an arm that nothing holds
            return TRUE
        return conjunction(self._wired(head), disjunction(*lamps))

    def shows(self, head: str, driven: str, seen: str) -> Expr:
        """A head that is driven in one steady color shows another, or the same: of a color that
        several lamps make something is left where some of them fail."""
        make, lamps = self._heads[head].make, self._heads[head].lamps_of(driven)
        if self.wiring.driver_of(head) is None:
            return TRUE if seen == driven else FALSE
        ways = (
            conjunction(*(
                self._lamp(head, lamp) if lamp in lit else negation(self._lamp(head, lamp))
                for lamp in lamps
            ))
            for lit, look in lit_in(make, driven) if look == seen
        )  # fmt: skip
        return conjunction(self._wired(head), disjunction(*ways))

    def turns_on(self, indicator: str) -> Expr:
        """That an indicator or a bell that is told to be on is on."""
        driver = self.wiring.driver_of(indicator)
        if driver is None:
            return TRUE
        fed = self.fed(driver.name, driver.supply)
        return conjunction(fed, self.sound(FaultKind.INDICATOR, indicator))

    def _wired(self, head: str) -> Expr:
        """That a head, and the wire that it may have in common with others, are sound."""
        if self._heads[head].make == "semaphore":
            return TRUE
        group = self._heads[head].in_common
        common = self.sound(FaultKind.LAMP_COMMON, *group) if group else TRUE
        return conjunction(self.sound(FaultKind.HEAD, head), common)

    def _lamp(self, head: str, lamp: str) -> Expr:
        has = lamp in self._heads[head].lamps
        kind = FaultKind.ARM if self._heads[head].make == "semaphore" else FaultKind.LAMP
        return self.sound(kind, head, lamp) if has else TRUE

    def flashes(self, head: str) -> Expr:
        """The flasher of the driver that lights a head runs."""
        driver = self._flashed_by(head)
        return self.sound(FaultKind.FLASHER, driver) if driver else TRUE

    def flasher_stays_lit(self, head: str) -> Expr:
        """The flasher of the driver that lights a head has stopped with its lamps lit."""
        driver = self._flashed_by(head)
        ways = (FLASHER_LIT,)
        return self.broken(FaultKind.FLASHER, driver, ways=ways) if driver else FALSE

    def _flashed_by(self, head: str) -> str | None:
        """The driver of a head, if it has a flasher."""
        driver = self.wiring.driver_of(head)
        if driver is None or not any(map(flashes, self._shown_by(driver))):
            return None
        return driver.name

    def _shown_by(self, driver: Driver) -> Iterator[str]:
        """The colors of all heads of a driver."""
        return (color for head in driver.heads for color in self._colors.get(head, ()))

    def _clear(self, block: str, reader: str) -> Expr:
        detectors = self.wiring.detectors_of(block)
        if not detectors:
            return self._vacant(block)
        return conjunction(*(self._says_clear(d, reader) for d in detectors))

    # Whether lamps that fail are told at inputs: then only where they are meant to be lit.
    hears_of_lamps = False

    def vacant(self, block: str) -> Expr:
        """That nothing stands on a block, whatever is reported."""
        return self._vacant(block)

    def _vacant(self, block: str) -> Expr:
        return atom(self._inputs.get(("standing", block)) or observables.stock(block), "vacant")

    def _says_clear(self, detector: Detector, reader: str) -> Expr:
        kind, name = FaultKind.DETECTOR, detector.name
        occupied = disjunction(
            self.broken(kind, name, ways=(STUCK_OCCUPIED,)),
            conjunction(self.sound(kind, name), self._senses(detector)),
        )
        usable = self.usable(detector, reader)
        if detector.closed_when == "occupied":
            return negation(conjunction(usable, occupied))
        return conjunction(usable, negation(occupied))

    def usable(self, detector: Detector, reader: str) -> Expr:
        """That a reader's input follows the detector's output at all."""
        driver = self.wiring.drivers[reader] if reader else None
        ends = self.equipment.wire_ends(detector.name, reader, contacts=False)
        if driver is not None:
            read = _reads(driver, detector.name, contacts=False)
            connected = conjunction(constant(read), self._has_return(driver.supply, detector))
        else:
            relays = self.equipment.relays_supply if ends else None
            connected = self._has_return(relays, detector)
        wires = (self.sound(FaultKind.DETECTOR_WIRE, detector.name, end) for end in ends)
        return conjunction(
            connected,
            self.fed(detector.name, detector.supply),
            *wires,
        )

    def _has_return(self, one: str | None, detector: Detector) -> Expr:
        """That what a supply powers and a detector have the same one, or, where both give the
        same kind of current, a common return by one way or another."""
        other = detector.supply
        if one is None or other is None or one == other or detector.isolated:
            return TRUE
        kinds = {self.wiring.current_of(one), self.wiring.current_of(other)} - {None}
        if len(kinds) == 2:
            return FALSE
        return disjunction(*self._ways_back(one, other, ()))

    def _ways_back(self, one: str, other: str, passed: tuple[int, ...]) -> Iterable[Expr]:
        """Each way from one supply to another over common returns, each used once."""
        for number, group in enumerate(self.wiring.common_returns):
            if one not in group or number in passed:
                continue
            sound = self.sound(FaultKind.COMMON_RETURN, *group)
            if other in group:
                yield sound
                continue
            for step in group:
                if step != one:
                    for way in self._ways_back(step, other, (*passed, number)):
                        yield conjunction(sound, way)

    def _position_report(self, report: Observable, state: str, reader: str) -> Expr:
        machine = self.wiring.machines.get(report.name)
        if machine is None or machine.contacts is None:
            state = "open" if state == "moving" else state
            match report.kind:
                case "points report":
                    return self._lies(report.name, state)
                case "derail report":
                    return self._derail(report.name, state)
                case _:
                    return atom(observables.gate(report.name), state)
        if machine.contacts == ():
            return FALSE if state == "moving" else self._commanded(machine, state)
        made = {leg: self._made(machine, leg, reader) for leg in machine.contacts}
        if len(made) == 1:
            ((leg, closed),) = made.items()
            if state == "moving":
                return FALSE
            return closed if state == leg else negation(closed)
        if state == "moving":
            one, other = made.values()
            return disjunction(conjunction(one, other), conjunction(negation(one), negation(other)))
        sure = {leg: conjunction(made[leg], negation(made[machine.other(leg)])) for leg in made}
        if state == "open":  # a gate that is not surely seated
            return negation(sure[machine.other(state)])
        return sure[state]

    def _made(self, machine: Machine, leg: str, reader: str) -> Expr:
        driver = self.wiring.drivers[reader] if reader else None
        if driver and not _reads(driver, machine.turnout, contacts=True):
            return FALSE
        swapped = machine.turnout in self.wiring.swapped_contacts
        follows = machine.other(leg) if swapped else leg
        match machine.kind:
            case "points":
                lies = self._lies(machine.turnout, follows)
            case "derail":
                lies = self._derail(machine.turnout, follows)
            case _:
                lies = atom(machine.lies, follows)
        contact = FaultKind.CONTACT, machine.turnout, leg
        made = disjunction(
            self.broken(*contact, ways=(STUCK_CLOSED,)), conjunction(self.sound(*contact), lies)
        )
        ends = self.equipment.wire_ends(machine.turnout, reader, contacts=True)
        wires = (self.sound(FaultKind.CONTACT_WIRE, machine.turnout, leg, end) for end in ends)
        returns = (
            self.sound(FaultKind.CONTACT_RETURN, machine.turnout, supply)
            for supply in self.equipment.returns(machine.turnout, reader)
        )
        return conjunction(made, *wires, *returns)

    # -------------------------------------------------------------- detection

    def _senses(self, detector: Detector) -> Expr:
        if detector.name not in self._sensed:
            sensed = self._covered(detector) if detector.kind == "spot" else self._drawn(detector)
            if detector.without_power:
                sensed = disjunction(sensed, negation(self.powered(detector.block)))
            self._sensed[detector.name] = sensed
        return self._sensed[detector.name]

    def _covered(self, detector: Detector) -> Expr:
        spots = set(self.equipment.spots_of[detector.name])
        places = self.equipment.places[detector.block]
        covering = (place.name for place in places if spots.intersection(place.covers))
        return atom(self._inputs["standing", detector.block], *covering)

    def _drawn(self, detector: Detector) -> Expr:
        """That a current-sensing detector senses current that flows through it."""
        if self.wiring.is_blind(detector):
            return FALSE
        through = set(detector.through)
        found = []
        for block in self._within_reach(detector.through):
            places, beside = self.equipment.places[block], self._beside(block)
            away = disjunction(
                *(
                    conjunction(
                        self._current(gap, by_way_of(other), "bridged"), self.powered(other)
                    )
                    for gap, other in beside
                    if through.issuperset(self._feeders(other))
                )
            )
            home = conjunction(
                self._draws(block, detector),
                negation(
                    disjunction(*(self._current(gap, by_way_of(other)) for gap, other in beside))
                ),
            )
            if away is FALSE and not through.intersection(self._feeders(block)):
                continue
            at: dict[Expr, list[str]] = {}
            for place in places:
                if place.draws:
                    own = self._through_own(detector, block, place.feeder or "")
                    seen = disjunction(conjunction(home, own), away)
                    if place.dead is not None:
                        seen = conjunction(self._is_live(place.dead), seen)
                    at.setdefault(seen, []).append(place.name)
            standing = self._inputs["standing", block]
            found += [conjunction(atom(standing, *names), when) for when, names in at.items()]
        return disjunction(*found)

    def _is_live(self, rails: DeadRails) -> Expr:
        """That the frog stands for the leg that rails beyond it are on, and its wire is whole."""
        frog = rails.frog
        stands = (
            atom(self._inputs["lever", frog.of], rails.leg)
            if frog.by == "lever"
            else self._lies(frog.of, rails.leg)
        )
        return conjunction(self.sound(FaultKind.FROG, rails.turnout), stands)

    def _through_own(self, detector: Detector, block: str, nearest: str) -> Expr:
        """That enough of what stock nearest to a feeder of its block draws passes the detector;
        ``nearest`` is empty where it may be any."""
        alone = self._sees_alone(detector.name, block, nearest)
        names = self.equipment.together.get(block, ())
        if detector.name not in names or (detector.name, block) not in self.equipment.divisions:
            return alone
        # One of these detects whatever all of their feeders carry.
        through = {f for name in names for f in self._own(name, block)}
        rest = [f for f in self._feeders(block) if f not in through]
        nobody = negation(disjunction(*(self._sees_alone(n, block, nearest) for n in names)))
        carried = conjunction(
            self._any_sound(self._own(detector.name, block)),
            *(negation(self._leads(f)) for f in rest),
        )
        return disjunction(alone, conjunction(nobody, carried))

    def _sees_alone(self, name: str, block: str, nearest: str) -> Expr:
        """The same, leaving aside what other detectors detect."""
        division = self.equipment.divisions.get((name, block))
        own = self._own(name, block)
        if division is None:
            return self._any_sound(own)
        past = self._any_sound(division.past)
        by_nearest = self._leads(nearest) if nearest in own else FALSE
        whole = atom(division.what, division.what.usual)
        left_open = disjunction(
            conjunction(whole, by_nearest), conjunction(negation(whole), negation(by_nearest))
        )
        surely, never = (
            disjunction(*(self._just(block, broken) for at, broken in spots if at == nearest))
            for spots in (division.surely, division.never)
        )
        surely = conjunction(surely, self._undivided_by_gaps(block))
        divided = disjunction(surely, conjunction(left_open, negation(never)))
        return conjunction(self._any_sound(own), disjunction(negation(past), divided))

    def _own(self, name: str, block: str) -> list[str]:
        """The feeders of a block that pass through a detector."""
        through = self.wiring.detectors[name].through
        return [feeder for feeder in self._feeders(block) if feeder in through]

    def _any_sound(self, feeders: Iterable[str]) -> Expr:
        return disjunction(*map(self._leads, feeders))

    def _leads(self, feeder: str) -> Expr:
        """That a feeder leads to the bus, and the sub-bus that it may come from."""
        sound, sub_bus = self.sound(FaultKind.FEEDER, feeder), self.wiring.sub_bus_of(feeder)
        if sub_bus is None:
            return sound
        return conjunction(sound, self.sound(FaultKind.SUB_BUS, sub_bus.name))

    def _just(self, block: str, broken: Iterable[str]) -> Expr:
        """That these feeders of a block are broken, and no others."""
        return conjunction(*(
            negation(self._leads(name)) if name in broken else self._leads(name)
            for name in self._feeders(block)
        ))  # fmt: skip

    def _undivided_by_gaps(self, block: str) -> Expr:
        """That no current leaves a block by way of the next."""
        beside = (gap for gap, _ in self._beside(block))
        return negation(disjunction(*(self._current(gap, "bridged") for gap in beside)))

    def _feeders(self, block: str) -> tuple[str, ...]:
        return tuple(feeder.name for feeder in self.wiring.feeders_of(block))

    def _beside(self, block: str) -> list[tuple[Beside, str]]:
        return [
            (beside, next(b for b in beside.blocks if b != block))
            for beside in self.equipment.beside(block)
        ]

    def _within_reach(self, through: Iterable[str]) -> list[str]:
        """The blocks from which current may come through these feeders: theirs, and those
        beside them."""
        own = [self.wiring.feeders[name].block for name in through]
        near = (other for block in own for _, other in self._beside(block))
        return [b for b in dict.fromkeys((*own, *near)) if b in self.equipment.places]

    def _current(self, beside: Beside, *states: str) -> Expr:
        """That the gap is bridged, or missing, and current flows in one of these ways."""
        states = tuple(state for state in states if state in beside.states)
        if not states:
            return FALSE
        if not beside.joined:
            return self.broken(FaultKind.GAP, beside.name, ways=states)
        return atom(observables.current(beside.name, beside.states), *states)

    # -------------------------------------------------------------- dead inputs

    def dead_inputs(self, driver: Driver, read: Iterable[Observable]) -> Expr:
        """Some input that a driver's rules read is dead."""
        dead = []
        for what in read:
            if what.kind == "block report":
                dead += [
                    negation(self.usable(detector, driver.name))
                    for detector in self.wiring.detectors_of(what.name)
                    # Closed when occupied, a dead input looks like one that says clear.
                    if detector.closed_when != "occupied"
                ]
            elif what.kind in observables.OF_CONTACTS:
                machine = self.wiring.machines.get(what.name)
                unread = (
                    machine and machine.contacts and not _reads(driver, what.name, contacts=True)
                )
                dead.append(constant(bool(unread)))
        return disjunction(*dead)


def _reads(driver: Driver, name: str, *, contacts: bool) -> bool:
    """Whether something is wired to a driver's inputs."""
    return driver.reads is None or any(
        reading.name == name and reading.contacts == contacts for reading in driver.reads
    )
