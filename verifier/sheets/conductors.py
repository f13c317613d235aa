"""Every conductor of a wired layout: from where to where, what it is for, of what wire.

In: a plan. Out: conductors in an order in which a person can work through them under a table:
the supplies, then district by district its bus and, block by block, feeders, detectors,
contacts and machines, then the drivers whose signals stand there and their lamps.

A run in the file is one way; each is two conductors. Names are those of
:mod:`verifier.plan.wiring.faults`, so that the failure table and this list speak of the
same wires.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Literal

from verifier.plan.devices import devices
from verifier.plan.locking.locking_model import power_of
from verifier.plan.model import Head, Plan
from verifier.plan.signals.heads import signal_of
from verifier.plan.wiring.faults import FaultKind, fault_name
from verifier.plan.wiring.hearing import Source, heard, keeper_of, readers_of, wires_of
from verifier.plan.wiring.lamps import CommonSide
from verifier.plan.wiring.wiring_model import Detector, Driver, Machine, Panel, Run, Supply
from verifier.sheets.ends import Device, DeviceKind, End, end, open_end
from verifier.sheets.heads import lamp_words

Role = Literal[
    "track power", "track return", "booster feed", "power", "return", "detector output",
    "contact", "throw", "frog", "lock", "told", "lamp", "lamp common",
]  # fmt: skip
# Of these every supply has its own; the others may be in common to supplies with a common
# return.
_OWN: frozenset[Role] = frozenset(("track power", "track return", "booster feed", "power"))
# A slow machine turns by the polarity of its two wires; one of two coils has a wire to
# each, and one in common (common practice, no source).
_THROW_WIRES = {
    "slow": ("throw + for normal", "throw - for normal"),
    "snap": ("throw normal", "throw reverse", "common"),
}
SUPPLIES = "Supplies"
PANEL = "Panel"
NO_DISTRICT = "No district given"


@dataclass(frozen=True, slots=True)
class WireFunction:
    """What a conductor is for, and the supplies it may belong to: one, or several with a
    common return; none where the file does not say."""

    role: Role
    supplies: tuple[str, ...]

    def __str__(self) -> str:
        return f"{self.role} {'+'.join(self.supplies)}".rstrip()


@dataclass(frozen=True, slots=True)
class Conductor:
    """``name`` is that of its wire, which two conductors may share. ``section`` is the
    district it is worked on with. ``joins`` are the supplies whose circuits it is part of.
    ``through``: the detectors that it passes through, and how often. ``serves``: the block,
    turnout, head or driver that it is there for."""

    name: str
    start: End
    end: End
    function: WireFunction
    section: str
    serves: str
    joins: frozenset[str]
    run: Run | None = None
    through: tuple[tuple[str, int], ...] = ()


def conductors(plan: Plan) -> tuple[Conductor, ...]:
    """Every conductor, in the order of working through them."""
    return tuple(_Harness(plan).everything())


class _Harness:
    def __init__(self, plan: Plan):
        self.plan, self.wiring = plan, plan.wiring
        self.equipment = plan.equipment
        self.section = SUPPLIES

    def everything(self) -> Iterator[Conductor]:
        yield from self._supplies()
        self.section = PANEL
        for panel in self.wiring.panel.values():
            yield from self._panel(panel)
        districts = [*self.wiring.districts, None]
        for district in districts:
            self.section = district or NO_DISTRICT
            if district is not None:
                yield from self._bus(district)
            for block in self.plan.blocks:
                if self.wiring.district_of.get(block) == district:
                    yield from self._block(block)
            for driver in self.wiring.drivers.values():
                if self._district_of(driver) == district:
                    yield from self._driver(driver)

    def _conductor(
        self,
        name: str,
        start: End,
        to: End,
        role: Role,
        supply: str | None,
        serves: str,
        *,
        run: Run | None = None,
        through: tuple[tuple[str, int], ...] = (),
        also: str | None = None,
    ) -> Conductor:
        """``also``: a second supply whose circuit it is part of."""
        own = () if supply is None else (supply,)
        supplies = own if role in _OWN else self.wiring.sharing_return(supply)
        if supply and also and not self.wiring.share_a_return(supply, also):
            supplies = (*supplies, also)  # no other wire is of both
        joins = frozenset(s for s in (supply, also) if s is not None)
        function = WireFunction(role, supplies)
        return Conductor(name, start, to, function, self.section, serves, joins, run, through)

    # -------------------------------------------------------------- supplies

    def _supplies(self) -> Iterator[Conductor]:
        for supply in self.wiring.supplies.values():
            if supply.fed_by is not None:
                name = f"feed of {supply.name}"
                hot, back = self._hot(supply.fed_by), self._return(supply.fed_by)
                for rail, start in zip(_RAILS, (hot, back), strict=True):
                    yield self._conductor(
                        name, start, end("supply", supply.name, f"{rail}-rail input"),
                        "booster feed", supply.fed_by, supply.name,
                    )  # fmt: skip
            if supply.fuse is not None:
                role: Role = "track power" if supply.track_power else "power"
                yield self._conductor(
                    f"fuse of {supply.name}", end("supply", supply.name, _out(supply)),
                    _fuse(supply.name, "in"), role, supply.name, supply.name,
                )  # fmt: skip
        for group in self.wiring.common_returns:
            for one, other in pairwise(group):
                yield self._conductor(
                    fault_name(FaultKind.COMMON_RETURN, *group),
                    self._return(one), self._return(other),
                    "return", one, one, also=other,
                )  # fmt: skip
        locking = self.plan.locking
        powers = (power_of(name, locking) for name in locking.memory)
        for wire, fed in {p.wire: p.supply for p in powers if p is not None}.items():
            if wire == locking.building.board:
                continue
            yield from self._power(wire, fed, Device("relay", wire))

    def _hot(self, supply: str | None) -> End:
        """Where the power of a supply is taken from: behind its fuse."""
        if supply is None:
            return open_end("its supply (not given)")
        given = self.wiring.supplies[supply]
        if given.fuse is not None:
            return _fuse(supply, "out")
        return end("supply", supply, _out(given))

    def _return(self, supply: str | None) -> End:
        if supply is None:
            return open_end("return of its supply (not given)")
        return end("supply", supply, _back(self.wiring.supplies[supply]))

    # -------------------------------------------------------------- the panel, and what is told

    def _panel(self, panel: Panel) -> Iterator[Conductor]:
        """A lever or button: a wire from each contact to each reader, and the other side of all."""
        source: Source = (panel.kind, panel.name)
        readers = readers_of(source, self.plan)
        for contact in panel.contacts:
            for reader in readers:
                yield self._conductor(
                    f"wire from {panel.name} {contact} to {reader}",
                    end(panel.kind, panel.name, f"{contact} contact"),
                    self._input(reader, f"{panel.name} {contact}"), "contact",
                    self._supply_at(reader) or panel.supply, panel.name,
                )  # fmt: skip
        supplies = (panel.supply,) if panel.supply else self._returns_at(readers)
        for supply in supplies:
            tag = f" on {supply}" if len(supplies) > 1 else ""
            yield self._conductor(
                f"return of {panel.name}{tag}",
                end(panel.kind, panel.name, f"common{tag}"),
                self._return(supply), "return", supply, panel.name,
            )  # fmt: skip

    def _supply_at(self, reader: str) -> str | None:
        driver = self.wiring.drivers.get(reader)
        return driver.supply if driver else self.equipment.relays_supply

    def _returns_at(self, readers: Sequence[str]) -> tuple[str | None, ...]:
        """A supply for each group of readers that have a return in common."""
        found: dict[tuple[str, ...], str | None] = {}
        for reader in readers:
            supply = self._supply_at(reader)
            found.setdefault(self.wiring.sharing_return(supply), supply)
        return tuple(found.values())

    def _heard(self, driver: Driver) -> Iterator[Conductor]:
        """What a board hears of relays, or of other boards."""
        for source in heard(driver, self.plan):
            kind, name = source
            if kind == "lever" or kind == "button":
                continue
            keeper = keeper_of(source, self.plan)
            for state in wires_of(source, self.plan):
                said = f"{name} {state}"
                wire = f"wire from {said} to {driver.name}"
                if keeper is None:
                    at = f"contact {state} for {driver.name}"
                    start, other = end("relay", name, at), end("relay", name, f"{at}, return")
                    yield self._conductor(
                        f"return of {said} at {driver.name}", other, self._return(driver.supply),
                        "return", driver.supply, driver.name,
                    )  # fmt: skip
                else:
                    start = end("driver", keeper, f"output {said}", shown=said)
                yield self._conductor(
                    wire, start, self._input(driver.name, said),
                    "contact" if keeper is None else "told", driver.supply, driver.name,
                    also=self.wiring.drivers[keeper].supply if keeper else None,
                )  # fmt: skip

    def _unlocks(self, driver: Driver) -> Iterator[Conductor]:
        """The coil of each electric lock that a board opens."""
        board, supply = driver.name, driver.supply
        for name in driver.unlocks:
            wire, coil = f"lock wire of {name}", Device("lock", name)
            start = end("driver", board, f"lock {name}", shown=f"lock {name}")
            yield self._conductor(wire, start, end(coil.kind, name, "coil"), "lock", supply, board)
            yield self._conductor(
                wire, self._return(supply), end(coil.kind, name, "coil, return"),
                "return", supply, board,
            )  # fmt: skip

    # -------------------------------------------------------------- track

    def _bus(self, name: str) -> Iterator[Conductor]:
        district = self.wiring.districts[name]
        supply = district.supply
        ends = (self._hot(supply), self._return(supply))
        for (rail, role), start in zip(_RAILS.items(), ends, strict=True):
            yield self._conductor(
                fault_name(FaultKind.BUS, name),
                start,
                end("bus", name, rail),
                role,
                supply,
                name,
                run=district.run,
            )

    def _block(self, block: str) -> Iterator[Conductor]:
        district = self.wiring.districts.get(self.wiring.district_of.get(block, ""))
        supply = district.supply if district else None

        def bus(rail: str) -> End:
            if district is None:
                return open_end(f"track power (not given) {rail}")
            return end("bus", district.name, rail)

        feeders = self.wiring.feeders_of(block)
        for sub_bus in self.wiring.sub_buses.values():
            # It is listed where its first feeder is.
            if sub_bus.feeders and self.wiring.feeders[sub_bus.feeders[0]] in feeders:
                through = tuple(
                    (d.name, d.turns)
                    for d in self.wiring.detectors.values()
                    if sub_bus.name in d.sub_buses
                )
                for rail, role in _RAILS.items():
                    yield self._conductor(
                        fault_name(FaultKind.SUB_BUS, sub_bus.name), bus(rail),
                        end("sub-bus", sub_bus.name, rail), role, supply, sub_bus.name,
                        through=through if rail == "cut" else (),
                    )  # fmt: skip
        for feeder in feeders:
            before = self.wiring.sub_bus_of(feeder.name)
            passes = tuple(
                (d.name, d.turns)
                for d in self.wiring.detectors.values()
                if feeder.name in d.through
                and not (before is not None and before.name in d.sub_buses)
            )
            for rail, role in _RAILS.items():
                yield self._conductor(
                    fault_name(FaultKind.FEEDER, feeder.name),
                    bus(rail) if before is None else end("sub-bus", before.name, rail),
                    end("block", block, f"{rail} rail, {feeder.name}"), role, supply, block,
                    run=feeder.run, through=passes if rail == "cut" else (),
                )  # fmt: skip
        for detector in self.wiring.detectors_of(block):
            yield from self._detector(detector)
        for device in devices(self.plan).values():
            machine = self.wiring.machines.get(device.name)
            if device.block == block and machine is not None:
                yield from self._machine(machine)

    # -------------------------------------------------------------- detectors, machines

    def _power(
        self,
        name: str,
        supply: str | None,
        to: Device,
        run: Run | None = None,
        what: str = "",
    ) -> Iterator[Conductor]:
        """``to``: where the two wires end, which bring ``name`` its power; ``what``: behind the
        ports, where that is not the power of the device itself."""
        wires: tuple[tuple[Role, End, str], ...] = (
            ("power", self._hot(supply), f"+{what}"),
            ("return", self._return(supply), f"-{what}"),
        )
        for role, start, port in wires:
            wire = fault_name(FaultKind.POWER_WIRE, name)
            there = end(to.kind, to.name, port, f"{_of(to)} {port}")
            yield self._conductor(wire, start, there, role, supply, name, run=run)

    def _detector(self, detector: Detector) -> Iterator[Conductor]:
        yield from self._power(detector.name, detector.supply, Device("detector", detector.name))
        for reader in self.equipment.detector_readers[detector.name] or ("",):
            driver = self.wiring.drivers.get(reader)
            # To a board whose supply is not given it is kept apart by that of the detector.
            own = None if detector.isolated else detector.supply
            name, supply = detector.name, (driver.supply if driver else detector.supply) or own
            yield self._conductor(
                fault_name(FaultKind.DETECTOR_WIRE, name, reader), end("detector", name, "output"),
                self._input(reader, name), "detector output", supply, name,
                also=own,
            )  # fmt: skip

    def _machine(self, machine: Machine) -> Iterator[Conductor]:
        name = machine.turnout
        contacts = machine.contacts or ()
        for leg in contacts:
            for reader in self.equipment.contact_readers[name] or ("",):
                driver = self.wiring.drivers.get(reader)
                yield self._conductor(
                    fault_name(FaultKind.CONTACT_WIRE, name, leg, reader),
                    end("turnout", name, f"{leg} contact"),
                    self._input(reader, f"{name} {leg}"), "contact",
                    driver.supply if driver else machine.supply, name,
                )  # fmt: skip
        if contacts:
            yield from self._contact_return(machine)
        yield from self._frog(machine)
        if machine.motor is None:
            return
        mover = self._mover(machine)
        yield from self._power(
            name, machine.supply, mover, what=f" {name}" if mover.kind == "driver" else ""
        )
        for way in _THROW_WIRES[machine.motor]:
            begins = f"{name} {way}" if mover.kind == "driver" else way
            yield self._conductor(
                f"throw wire of {name}",
                end(mover.kind, mover.name, begins, f"{_of(mover)}, {begins}"),
                end("turnout", name, way, f"machine of {name}, {way}"), "throw",
                machine.supply, name,
            )  # fmt: skip

    def _frog(self, machine: Machine) -> Iterator[Conductor]:
        """From the two rails beside the points to a SPDT contact, and on to the frog. (What
        the rails bring has passed the detectors of the block.) Points that set their frog need no
        wire."""
        frog, name = machine.live_frog, machine.turnout
        if frog is None or frog.by == "points":
            return
        block = self.plan.track.pieces[name].block or ""
        wire, power = fault_name(FaultKind.FROG, name), self.wiring.power_of(block)
        supply = power.name if power else None
        moved = f"lever {frog.of}" if frog.by == "lever" else f"points of {frog.of}"
        for rail, role in _RAILS.items():
            yield self._conductor(
                wire, end("block", block, f"{rail} rail, frog of {name}"),
                end("frog contact", name, f"{rail} rail",
                    f"contact of {moved} for the frog of {name}, {rail} rail"),
                role, supply, name,
            )  # fmt: skip
        yield self._conductor(
            wire, end("frog contact", name, "frog",
                      f"contact of {moved} for the frog of {name}, common"),
            end("turnout", name, "frog", f"frog of {name}"), "frog", supply, name,
        )  # fmt: skip

    def _mover(self, machine: Machine) -> Device:
        """Where the wires of a motor begin."""
        name = machine.turnout
        if machine.board is not None:
            return Device("driver", machine.board)
        if pulse_of(self.plan, name) is not None:
            return Device("pulse unit", name)
        if is_locked(self.plan, name):
            return Device("lock", name)
        return Device("lever", machine.lever) if machine.lever else Device("throw switch", name)

    def _contact_return(self, machine: Machine) -> Iterator[Conductor]:
        """The other side of the contacts: to the return of what reads them, once for each
        group of supplies that have one."""
        drivers = self.wiring.drivers
        for tag, readers in self.equipment.contact_returns[machine.turnout]:
            read = [drivers[reader].supply for reader in readers if reader in drivers]
            group = self.wiring.sharing_return(read[0] if read else None)
            here = machine.supply if machine.supply in group else None
            supply = here or (group[0] if group else None)
            yield self._conductor(
                fault_name(FaultKind.CONTACT_RETURN, machine.turnout, tag),
                end("turnout", machine.turnout, f"contacts common {tag}".rstrip(),
                    f"{machine.turnout} contacts, common", "contacts, common"),
                self._return(supply), "return", supply, machine.turnout,
            )  # fmt: skip

    def _input(self, reader: str, source: str) -> End:
        if not reader:
            return open_end("what reads it (not given)")
        kind: DeviceKind = "driver" if reader in self.wiring.drivers else "relay"
        return end(kind, reader, f"input {source}", shown=source)

    # -------------------------------------------------------------- drivers

    def _district_of(self, driver: Driver) -> str | None:
        """Where the first of its signals stands, or of the points that it throws."""
        if not driver.heads:
            return self._block_of_thrown(driver)
        signal = self.plan.signals[signal_of(driver.heads[0], self.plan.signals)]
        return self.wiring.district_of.get(self.plan.track.pieces[signal.enters.piece].block or "")

    def _block_of_thrown(self, driver: Driver) -> str | None:
        thrown = (*driver.throws, *driver.unlocks)
        block = devices(self.plan)[thrown[0]].block if thrown else ""
        return self.wiring.district_of.get(block)

    def _driver(self, driver: Driver) -> Iterator[Conductor]:
        yield from self._power(
            driver.name, driver.supply, Device("driver", driver.name), driver.run
        )
        yield from self._heard(driver)
        yield from self._unlocks(driver)
        for signal in self.plan.signals.values():
            for head in signal.heads:
                if head.name not in driver.heads:
                    continue
                yield from self._head(head, driver)
        for name in driver.indicators:
            yield from self._indicator(name, driver)

    def _indicator(self, name: str, driver: Driver) -> Iterator[Conductor]:
        """The two wires of an indicator or a bell of the panel."""
        kind: DeviceKind = self.plan.indicators[name].kind
        yield self._conductor(
            fault_name(FaultKind.INDICATOR, name),
            end("driver", driver.name, f"output {name}", f"{driver.name} output", "output"),
            end(kind, name, "+"), "lamp", driver.supply, name,
        )  # fmt: skip
        yield self._conductor(
            f"return of {name}", end("driver", driver.name, "lamp common"),
            end(kind, name, "-"), "lamp common", driver.supply, name,
        )  # fmt: skip

    def _head(self, head: Head, driver: Driver) -> Iterator[Conductor]:
        """A wire for each lamp, and one in common. Heads of a signal that share it have it from
        the first of them."""
        arm = head.make == "semaphore"
        for lamp in head.lamps:
            yield self._conductor(
                fault_name(FaultKind.ARM, head.name, lamp) if arm
                else f"lamp wire of {head.name} {lamp}",
                end("driver", driver.name, f"output {head.name} {lamp}",
                    f"{driver.name} output", "output"),
                end("head", head.name, lamp_words(head, lamp)), "lamp", driver.supply, head.name,
            )  # fmt: skip
        side = _SIDES[driver.sold_as(head.name).common]
        name, start = (
            f"arm return of {head.name}" if arm else f"lamp common of {head.name}",
            end("driver", driver.name, f"lamp common{side}"),
        )
        if head.in_common and head.name == head.in_common[0]:
            name = fault_name(FaultKind.LAMP_COMMON, *head.in_common)
        elif head.in_common:
            start = end("head", head.in_common[0], "common")
        yield self._conductor(
            name, start, end("head", head.name, "common"), "lamp common", driver.supply, head.name
        )


# LEDs with their anodes joined have + in common; with their cathodes, the return.
_SIDES: dict[CommonSide | None, str] = {"anode": " +", "cathode": " -", None: ""}
# The cut rail is cut at every gap and fed through the detectors; the through rail brings the
# current back.
_RAILS: dict[str, Role] = {"cut": "track power", "through": "track return"}


def _out(supply: Supply) -> str:
    return "cut-rail output" if supply.track_power else "+"


def _back(supply: Supply) -> str:
    return "through-rail output" if supply.track_power else "return"


def _fuse(supply: str, port: str) -> End:
    return end("fuse", supply, port, f"fuse of {supply}")


# A lever is called by its kind and name, these by the turnout that they are of.
_OF_A_TURNOUT = ("throw switch", "lock", "pulse unit")


def _of(device: Device) -> str:
    if device.kind in _OF_A_TURNOUT:
        return f"{device.kind} of {device.name}"
    return device.title


def is_locked(plan: Plan, turnout: str) -> bool:
    """Whether something may keep points from being thrown."""
    throw = plan.locking.throws.get(turnout)
    return throw is not None and throw.locked is not None


def pulse_of(plan: Plan, turnout: str) -> Fraction | None:
    """How long the coils of a twin-coil machine have current, in seconds; None where the file does
    not say, or it has none."""
    throw = plan.locking.throws.get(turnout)
    return throw.pulse if throw is not None and throw.snap else None
