"""What follows from a layout's wiring: the places of a block that it distinguishes, the faults.

In: the track and the wiring. Out: an :class:`Equipment`.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import combinations_with_replacement
from types import MappingProxyType

from verifier.plan import observables
from verifier.plan.locking.locking_model import Locking, conditions_of, power_of
from verifier.plan.model import (
    Block,
    Head,
    NamedCondition,
    Plan,
    Signal,
    Track,
)
from verifier.plan.observables import Observable, facts_unfolded
from verifier.plan.panel import Indicator
from verifier.plan.signals.colors import flashes
from verifier.plan.wiring.dead_rails import dead_rails
from verifier.plan.wiring.division import divisions, margin, together
from verifier.plan.wiring.equipment import NO_EQUIPMENT, Beside, Equipment, Geometry, StockPlace
from verifier.plan.wiring.faults import RELAYS, Fault, FaultKind
from verifier.plan.wiring.spots import beside_each_way
from verifier.plan.wiring.wiring_model import (
    NO_WIRING,
    Detector,
    Driver,
    Machine,
    Number,
    Wiring,
)

# While a gap is bridged, or missing, stock beside it draws through the feeders of both
# blocks; at least this share of its current still flows through its own block's feeders
# (common practice, no source).
OWN_SHARE = Fraction(1, 10)


# By detector, or by turnout with contacts: the drivers wired to it.
Readers = dict[str, tuple[str, ...]]
# Returns of contacts, each by its supply, and the readers it serves.
Returns = tuple[tuple[str, tuple[str, ...]], ...]


def derive_equipment(
    wiring: Wiring,
    track: Track,
    blocks: Mapping[str, Block],
    signals: Mapping[str, Signal],
    conditions: Mapping[str, NamedCondition],
    locking: Locking,
    indicators: Mapping[str, Indicator],
) -> Equipment:
    """What follows from a layout's wiring."""
    if not wiring.given:
        return replace(NO_EQUIPMENT, faults=tuple(_plates(signals)))
    geometry, spots_of = _spots(wiring, track)
    places = {
        block: found for block in blocks if (found := _places(block, wiring, track, geometry))
    }
    gaps, joined = _neighbors(wiring, track)
    detector_readers, contact_readers = _readers(wiring, signals, conditions, locking, indicators)
    returns = {name: contact_returns(readers, wiring) for name, readers in contact_readers.items()}
    faults = tuple(
        _faults(
            wiring, gaps, signals, locking, detector_readers, contact_readers, returns, indicators
        )
    )
    return Equipment(
        MappingProxyType(places), MappingProxyType(geometry), MappingProxyType(spots_of),
        joined, gaps, faults,
        MappingProxyType(detector_readers), MappingProxyType(contact_readers),
        MappingProxyType(returns),
        MappingProxyType(divisions(wiring, track)), MappingProxyType(together(wiring)),
        _relays_supply(locking), locking.building.board or RELAYS,
    )  # fmt: skip


def _relays_supply(locking: Locking) -> str | None:
    """The supply that powers all relays, timers and directions of traffic; None where the file
    does not say, or where there are several."""
    powers = {power_of(name, locking) for name in locking.memory}
    supplies = {power.supply if power else None for power in powers}
    return supplies.pop() if len(supplies) == 1 else None


def with_wiring(plan: Plan, wiring: Wiring) -> Plan:
    """The layout with other wiring. Rules, assumptions and proofs stay as they are."""
    equipment = derive_equipment(
        wiring, plan.track, plan.blocks, plan.signals, plan.conditions, plan.locking,
        plan.indicators,
    )  # fmt: skip
    inputs = inputs_with(plan.unwired_inputs, wiring, equipment)
    return replace(plan, wiring=wiring, equipment=equipment, inputs=inputs)


def without_wiring(plan: Plan) -> Plan:
    """The layout as if it had no wiring: what a rule asks for is heard, and nothing lacks power."""
    if not plan.wiring.given:
        return plan
    locking = plan.locking
    bare = replace(
        locking,
        relays={name: replace(each, supply=None) for name, each in locking.relays.items()},
        timers={name: replace(each, supply=None) for name, each in locking.timers.items()},
        traffic={name: replace(each, supply=None) for name, each in locking.traffic.items()},
        building=replace(locking.building, supply=None),
    )  # fmt: skip
    return with_wiring(replace(plan, locking=bare), NO_WIRING)


def inputs_with(
    inputs: Sequence[Observable], wiring: Wiring, equipment: Equipment
) -> tuple[Observable, ...]:
    """The inputs of a wired layout, given those it has without wiring: stock by its place in a
    block, turnouts by their commanded position."""
    found: list[Observable] = []
    for what in inputs:
        places = equipment.places.get(what.name) if what.kind == "stock" else None
        # (Derails and gates may lie any way at any moment, so no machine of theirs matters there.)
        machine = wiring.machines.get(what.name) if what.kind == "points" else None
        if places:
            found.append(observables.standing(what.name, tuple(place.name for place in places)))
        elif machine and not wiring.points_kept and (machine.motor or machine.contacts == ()):
            if not machine.motor:
                found.append(what)
            if machine.lever is None:
                found.append(machine.told)
            if (motion := motion_of(machine)) is not None:
                found.append(motion)
        else:
            found.append(what)
    found += [observables.current(beside.name, beside.states) for beside in equipment.joined
              if len(beside.states) > 1]  # fmt: skip
    found += [division.what for division in equipment.divisions.values()]
    return tuple(found)


def motion_of(machine: Machine) -> Observable | None:
    """How far a machine has moved; None where that follows from its command."""
    slow, supplied = machine.motor == "slow", bool(machine.powers)
    if machine.motor is None or not (slow or supplied):
        return None
    return observables.motion(machine.turnout, slow=slow, may_lose_power=supplied)


# ------------------------------------------------------------------ where stock stands


def _spots(wiring: Wiring, track: Track) -> tuple[dict[str, Geometry], dict[str, tuple[int, ...]]]:
    geometry: dict[str, Geometry] = {}
    spots_of: dict[str, tuple[int, ...]] = {}
    trains = wiring.trains
    shortest, longest = (trains.shortest, trains.longest) if trains else (Fraction(0), None)
    for block, length in wiring.lengths.items():
        spot = [d for d in wiring.detectors_of(block) if d.kind == "spot"]
        if spot:
            spots = tuple(sorted({position for d in spot for position in d.spots}))
            ways = beside_each_way(spots, block, length, track)
            places, whole = tuple(place.at for place in spots), tuple(range(len(spots)))
            geometry[block] = Geometry(
                length, places, shortest, longest, ways if ways != (whole,) else ()
            )
            spots_of |= {d.name: tuple(map(spots.index, d.spots)) for d in spot}
    return geometry, spots_of


def _places(
    block: str, wiring: Wiring, track: Track, geometry: Mapping[str, Geometry]
) -> tuple[StockPlace, ...]:
    electric = [
        StockPlace(f"at {feeder.name}", feeder.name, True, ())
        for feeder in wiring.feeders_of(block)
    ]
    sensing = [d for d in wiring.detectors_of(block) if d.kind == "current-sensing"]
    if sensing and electric:
        rails = dead_rails(block, track, wiring)
        electric += [StockPlace(dead.name, None, True, (), dead=dead) for dead in rails]
    if sensing and may_stand_unseen(block, wiring):
        electric.append(StockPlace("drawing no current", None, False, ()))
    covered = _runs(geometry[block]) if block in geometry else []
    if not covered:
        return tuple(electric)
    return tuple(
        replace(
            place, name=f"{place.name}, {over}" if place.name else over, covers=covers, over=over
        )
        for over, covers in covered
        for place in (electric or [StockPlace("", None, False, ())])
    )


def _runs(room: Geometry) -> list[tuple[str, tuple[int, ...]]]:
    """One train covers neighboring spots of a way through its block, or none. (Of several trains on
    a block one is enough: spots only add to each other.)"""
    runs: dict[tuple[int, ...], str] = {}
    for way in room.each_way:
        for first, last in combinations_with_replacement(range(len(way)), 2):
            covers = way[first : last + 1]
            numbers = [i + 1 for i in covers]
            if len(numbers) == 1:
                said = f"over spot {numbers[0]}"
            elif numbers == list(range(numbers[0], numbers[-1] + 1)):
                said = f"over spots {numbers[0]} to {numbers[-1]}"
            else:
                said = f"over spots {' and '.join(map(str, numbers))}"
            runs.setdefault(covers, said)
    return [*((said, covers) for covers, said in runs.items()), ("over no spot", ())]


def may_stand_unseen(block: str, wiring: Wiring) -> bool:
    """Whether stock that draws no current, or too little, may stand alone on a block."""
    return unseen_anywhere(block, wiring) or unseen_between_ends(block, wiring)


def unseen_anywhere(block: str, wiring: Wiring) -> bool:
    """Cars that draw nothing may be left standing, or what they draw is too little."""
    if wiring.trains is None:
        return False
    return wiring.trains.detectable == "locomotive" or any(
        margin is not None and margin < 1 for margin in _margins(block, wiring)
    )


def unseen_between_ends(block: str, wiring: Wiring) -> bool:
    """The middle of a train may fill the block, both its ends being beyond."""
    trains, length = wiring.trains, wiring.lengths.get(block)
    if trains is None or trains.detectable != "ends":
        return False
    return length is None or length < trains.longest


def _margins(block: str, wiring: Wiring) -> Iterator[Number | None]:
    for detector in wiring.detectors_of(block):
        if detector.kind == "current-sensing":
            yield margin(detector, block, wiring)


# ------------------------------------------------------------------ neighbors


def _neighbors(wiring: Wiring, track: Track) -> tuple[tuple[Beside, ...], tuple[Beside, ...]]:
    """Gaps, and joints without one, between two blocks of which a feeder goes to each."""
    found: list[Beside] = []
    names: set[str] = set()
    for joint in track.joints:
        one, other = (track.pieces[port.piece] for port in (joint.a, joint.b))
        if one.block is None or other.block is None or one.block == other.block:
            continue
        if not (wiring.feeders_of(one.block) and wiring.feeders_of(other.block)):
            continue
        joins = joint.kind == "="
        name = f"{one.title} {'=' if joins else '|'} {other.title}"
        if name in names:
            name = f"{name} ({joint.gap})"
        names.add(name)
        blocks = (one.block, other.block)
        found.append(Beside(name, blocks, joins, _currents(blocks, wiring), joint.span))
    return tuple(b for b in found if not b.joined), tuple(b for b in found if b.joined)


def _currents(blocks: tuple[str, str], wiring: Wiring) -> tuple[str, ...]:
    margins = [m for block in blocks for m in _margins(block, wiring)]
    shared = together(wiring).keys() - together(wiring, OWN_SHARE).keys()
    enough = all(m is not None and m * OWN_SHARE >= 1 for m in margins)
    if margins and enough and shared.isdisjoint(blocks):
        return ("bridged",)
    return tuple(by_way_of(block) for block in blocks)


def current_by(block: str) -> str:
    return f"all current by way of {block}"


def by_way_of(block: str) -> str:
    """The state of a bridged gap in which all current flows through one block's feeders."""
    return f"bridged, {current_by(block)}"


# ------------------------------------------------------------------ faults


def _faults(
    wiring: Wiring,
    gaps: Sequence[Beside],
    signals: Mapping[str, Signal],
    locking: Locking,
    detector_readers: Readers,
    contact_readers: Readers,
    returns: Mapping[str, Returns],
    indicators: Mapping[str, Indicator],
) -> Iterator[Fault]:
    yield from _wires(wiring, locking, detector_readers, contact_readers)
    for turnout, found in returns.items():
        for tag, _ in found:
            span = wiring.machines[turnout].span
            yield Fault(FaultKind.CONTACT_RETURN, (turnout, tag), span)
    moving = {
        name
        for machine in wiring.machines.values()
        if machine.motor
        for _, supply in machine.powers
        for name in wiring.chain_of(supply)
    }
    for supply in wiring.supplies.values():
        yield Fault(FaultKind.SUPPLY, (supply.name,), supply.span, supply.name in moving)
    frogs = {name: m.live_frog for name, m in wiring.machines.items() if m.live_frog}
    yield from (Fault(FaultKind.FROG, (name,), frog.span) for name, frog in frogs.items())
    for gap in gaps:
        yield Fault(FaultKind.GAP, (gap.name,), gap.span, ways=gap.states)
    heads = {head.name: head for signal in signals.values() for head in signal.heads}
    for driver in wiring.drivers.values():
        for name in driver.heads:
            if name in heads:
                yield from _lamps(heads[name])
        for name in driver.indicators:
            if name in indicators:
                yield Fault(FaultKind.INDICATOR, (name,), indicators[name].span)
        if any(flashes(c) for n in driver.heads if n in heads for c in heads[n].color.values):
            yield Fault(FaultKind.FLASHER, (driver.name,), driver.span)
    yield from _plates(signals)
    for machine in wiring.machines.values():
        if machine.motor:
            yield _of_points(FaultKind.MACHINE, machine)
    for detector in wiring.detectors.values():
        yield Fault(FaultKind.DETECTOR, (detector.name,), detector.span)
    for machine in wiring.machines.values():
        for leg in machine.contacts or ():
            yield Fault(FaultKind.CONTACT, (machine.turnout, leg), machine.span)


def _of_points(kind: FaultKind, machine: Machine) -> Fault:
    """A fault of a machine, with which points may not move, and which does nothing else."""
    return Fault(kind, (machine.turnout,), machine.span, moves_points=True, only_points=True)


def _plates(signals: Mapping[str, Signal]) -> Iterator[Fault]:
    """A plate can fall off its mast; it needs no wiring for that."""
    for signal in signals.values():
        if signal.plate:
            yield Fault(FaultKind.PLATE, (signal.name,), signal.span)


def _lamps(head: Head) -> Iterator[Fault]:
    if head.make == "semaphore":
        for color in head.lamps:
            yield Fault(FaultKind.ARM, (head.name, color), head.span)
        return
    for color in head.lamps:
        yield Fault(FaultKind.LAMP, (head.name, color), head.span)
    yield Fault(FaultKind.HEAD, (head.name,), head.span)
    if head.in_common and head.name == head.in_common[0]:
        yield Fault(FaultKind.LAMP_COMMON, head.in_common, head.span)


def _wires(
    wiring: Wiring, locking: Locking, detector_readers: Readers, contact_readers: Readers
) -> Iterator[Fault]:
    for district in wiring.districts.values():
        yield Fault(FaultKind.BUS, (district.name,), district.span)
    for sub_bus in wiring.sub_buses.values():
        yield Fault(FaultKind.SUB_BUS, (sub_bus.name,), sub_bus.span)
    for feeder in wiring.feeders.values():
        yield Fault(FaultKind.FEEDER, (feeder.name,), feeder.span)
    for group in wiring.common_returns:
        yield Fault(FaultKind.COMMON_RETURN, group, wiring.supplies[group[0]].span)
    powered: tuple[Detector | Driver, ...] = (*wiring.detectors.values(), *wiring.drivers.values())
    for thing in powered:
        if thing.supply is not None:
            moves = any(m.board == thing.name for m in wiring.machines.values() if m.motor)
            yield Fault(FaultKind.POWER_WIRE, (thing.name,), thing.span, moves_points=moves)
    for machine in wiring.machines.values():
        if machine.motor and machine.supply is not None:
            yield _of_points(FaultKind.POWER_WIRE, machine)
    powers = (power_of(name, locking) for name in locking.memory)
    for wire, span in {power.wire: power.span for power in powers if power}.items():
        if wire == locking.building.board:
            continue
        yield Fault(FaultKind.POWER_WIRE, (wire,), span)
    for detector in wiring.detectors.values():
        for reader in detector_readers[detector.name]:
            yield Fault(FaultKind.DETECTOR_WIRE, (detector.name, reader), detector.span)
    for machine in wiring.machines.values():
        for leg in machine.contacts or ():
            for reader in contact_readers[machine.turnout]:
                wired = (machine.turnout, leg, reader)
                yield Fault(FaultKind.CONTACT_WIRE, wired, machine.span)


def contact_returns(readers: Collection[str], wiring: Wiring) -> Returns:
    """The other side of the contacts of one turnout: to the return of what reads them, once for
    each group of supplies that have one. (Relays have theirs with the first.)"""
    served: dict[tuple[str, ...], list[str]] = {}
    for reader in (name for name in readers if name in wiring.drivers):
        group = wiring.sharing_return(wiring.drivers[reader].supply)
        served.setdefault(group, []).append(reader)
    groups = list(served.items()) or ([((), [])] if readers else [])
    others = [name for name in readers if name not in wiring.drivers]
    several = len(groups) > 1
    return tuple(
        (group[0] if several and group else "", (*(others if i == 0 else ()), *names))
        for i, (group, names) in enumerate(groups)
    )


def _heard(
    locking: Locking, conditions: Mapping[str, NamedCondition]
) -> frozenset[tuple[str, str]]:
    """The reports that relays, timers and locks read, by kind and name."""
    names = (*locking.memory, *locking.throws)
    read = [c for name in names for c in conditions_of(name, locking)]
    read += locking.running.entering.values()
    facts = facts_unfolded(read, lambda name: conditions[name].condition)
    return frozenset((fact.what.kind, fact.what.name) for fact in facts)


def _readers(
    wiring: Wiring,
    signals: Mapping[str, Signal],
    conditions: Mapping[str, NamedCondition],
    locking: Locking,
    indicators: Mapping[str, Indicator],
) -> tuple[Readers, Readers]:
    """By detector, and by turnout with contacts: the drivers it is wired to, and the relays where
    locks read it. A driver that does not say what it reads is wired to what its rules read."""
    read_by_rules: dict[str, set[tuple[str, str]]] = {name: set() for name in wiring.drivers}
    for signal in signals.values():
        for head in signal.heads:
            driver = wiring.driver_of(head.name)
            if driver is not None:
                asked = signal.conditions_of(head)
                facts = facts_unfolded(asked, lambda name: conditions[name].condition)
                read_by_rules[driver.name] |= {(f.what.kind, f.what.name) for f in facts}
    for indicator in indicators.values():
        driver = wiring.driver_of(indicator.name)
        if driver is not None:
            facts = facts_unfolded([indicator.when], lambda name: conditions[name].condition)
            read_by_rules[driver.name] |= {(f.what.kind, f.what.name) for f in facts}
    nobody = () if wiring.drivers else ("",)
    heard, board = _heard(locking, conditions), locking.building.board

    def reading(name: str, of: str, kind: str, *, contacts: bool) -> tuple[str, ...]:
        relays = (RELAYS,) if (kind, of) in heard and board is None else ()
        return nobody or relays + tuple(
            driver.name
            for driver in wiring.drivers.values()
            if (
                (kind, of) in read_by_rules[driver.name]
                or (driver.name == board and (kind, of) in heard)
                if driver.reads is None
                else any((r.name, r.contacts) == (name, contacts) for r in driver.reads)
            )
        )

    return (
        {
            d.name: reading(d.name, d.block, "block report", contacts=False)
            for d in wiring.detectors.values()
        },
        {
            m.turnout: reading(m.turnout, m.turnout, f"{m.kind} report", contacts=True)
            for m in wiring.machines.values() if m.contacts
        },
    )  # fmt: skip
