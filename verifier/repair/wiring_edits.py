"""Edits of the wiring that may repair a broken obligation, cheapest first.

Whether one helps is decided in :mod:`verifier.repair.wiring_repair`.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from math import ceil, floor

from verifier.language.source import Span
from verifier.plan.model import Plan
from verifier.plan.observables import OF_CONTACTS, Observable
from verifier.plan.wiring.derive_equipment import OWN_SHARE
from verifier.plan.wiring.division import margin
from verifier.plan.wiring.faults import FaultKind
from verifier.plan.wiring.wiring_model import Driver, DriverInput, Number
from verifier.properties.amounts import decimal, length_to_write
from verifier.properties.obligation import Obligation
from verifier.reference.inputs import heard_for, is_read
from verifier.repair.new_equipment import another_feeder, more_detectors, sensing, spots
from verifier.repair.wiring_edit import (
    Scope,
    WiringEdit,
    and_beside,
    clause_edit,
    detectors,
    edit,
    step_of,
    wired_to,
    with_devices,
)

# More turns than these do not go through a ring (common practice, no source).
MAX_TURNS = 12

# Which edits can help at all, by the kind of what is broken (a property of faults) or by the
# property; for any other property those of `_SITUATION`.
_SITUATION = frozenset(
    ("sense", "missing", "turns", "through", "return", "reads", "isolated", "contacts",
     "sensitivity", "spots", "sensing", "detector")
)  # fmt: skip
_HELPFUL = {
    "lamp-out": frozenset(("lamp",)),
    "wire-broken": frozenset(("sense", "power", "missing", "contacts", "feeder", "through",
                              "detector")),
    "supply-lost": frozenset(("sense", "power", "missing", "lamp", "detector")),
    "gap-bridged": frozenset(("turns", "sensitivity", "through", "detector")),
    "points-stalled": frozenset(("contacts",)),
    "fouling-undetected": frozenset(("gap",)),
    "train-hidden": frozenset(("spots", "sensing", "turns", "sensitivity", "detector")),
    "feeder-undetected": frozenset(("through",)),
    "detector-misplaced": frozenset(("astray",)),
    "supply-mismatch": frozenset(("return", "isolated", "sense")),
    "input-unread": frozenset(("reads",)),
}  # fmt: skip


def scope_of(plan: Plan, obligation: Obligation, facts: Iterable[Observable]) -> Scope:
    """What an obligation is about. ``facts`` are those of a situation that breaks it."""
    wiring = plan.wiring
    signals = [plan.signals[name] for name in obligation.signals]
    read = [says.what for signal in signals for says in plan.facts_read(signal)]
    names = [
        *(name for what in facts for name in _names(plan, what)),
        *obligation.subjects,
        *(need.points for route in obligation.routes for need in route.needs),
        *(block for route in obligation.routes for block in route.blocks),
        *(what.name for what in read if what.kind in ("block report", *OF_CONTACTS)),
    ]
    beside = {b.name: b.blocks for b in (*plan.equipment.gaps, *plan.equipment.joined)}
    blocks: list[str] = []
    for name in names:
        devices = (wiring.detectors.get(name), wiring.feeders.get(name))
        blocks += [device.block for device in devices if device]
        blocks += [name, *beside.get(name, ())]
    lit = (wiring.driver_of(head.name) for signal in signals for head in signal.heads)
    drivers = [*(driver.name for driver in lit if driver), *names]
    return Scope(
        _known(blocks, plan.blocks),
        _known(names, wiring.machines),
        _known(drivers, wiring.drivers),
        _HELPFUL.get(obligation.property, _SITUATION),
    )


def _names(plan: Plan, what: Observable) -> tuple[str, ...]:
    """What a fact is about: of faults, the feeder or the gap."""
    if what.kind != "fault":
        return (what.name,)
    fault = plan.equipment.fault_of(what)
    return fault.subjects if fault.kind in (FaultKind.FEEDER, FaultKind.GAP) else ()


def _known(names: Iterable[str], known: Iterable[str]) -> tuple[str, ...]:
    known = set(known)
    return tuple(name for name in dict.fromkeys(names) if name in known)


def edits(plan: Plan, scope: Scope) -> list[WiringEdit]:
    """All edits that might help, cheapest first."""
    found = (edit for edits_of in _ALL for edit in edits_of(plan, scope))
    return sorted((e for e in found if e.kind in scope.kinds), key=lambda e: e.cost)


def _drivers(plan: Plan, scope: Scope) -> Iterator[Driver]:
    return (plan.wiring.drivers[name] for name in scope.drivers)


def _settings(plan: Plan, scope: Scope) -> Iterator[WiringEdit]:
    """Detectors and drivers set to fail safe."""
    for d in detectors(plan, scope):
        if d.closed_when == "occupied":
            text, written = f"sense the other way round at {d.name}", "output closed when clear"
            yield clause_edit(plan, "sense", d, text, written, closed_when="clear")
        if d.kind == "current-sensing" and not d.without_power:
            text = f"let {d.name} read occupied when its track has no power"
            written = "without track power reads occupied"
            yield clause_edit(plan, "power", d, text, written, without_power=True)
    for driver in _drivers(plan, scope):
        if driver.when_out != "red":
            text = f"let driver {driver.name} put a signal to red when a lamp of it is out"
            written = "when lamp out shows red"
            yield clause_edit(plan, "lamp", driver, text, written, when_out="red")
        if driver.when_missing != "red":
            text = f"let driver {driver.name} show red when an input is dead"
            written = "when input missing shows red"
            yield clause_edit(plan, "missing", driver, text, written, when_missing="red")


def _sensitivity(plan: Plan, scope: Scope) -> Iterator[WiringEdit]:
    """Just so many turns, or so sensitive a detector, as it takes to see the weakest stock,
    and then a tenth of its current: nothing else depends on either."""
    for d in detectors(plan, scope, "current-sensing"):
        times = margin(d, d.block, plan.wiring)
        for share in (Number(1), OWN_SHARE):
            if times is None or times * share >= 1 or d.sensitivity is None:
                continue
            touched = and_beside(d.block, plan)
            turns = ceil(d.turns / (times * share))
            if turns <= MAX_TURNS:
                text = f"wind the feeders {turns} times through {d.name}"
                yield clause_edit(plan, "turns", d, text, f"turns {turns}", touched, turns=turns)
            # Rounded down to a hundredth of a milliampere.
            least = Number(floor(d.sensitivity * times * share * 100_000), 100_000)
            if least > 0:
                text = f"use a more sensitive detector as {d.name}"
                written = f"sensitivity {decimal(least * 1000)} mA"
                yield clause_edit(plan, "sensitivity", d, text, written, touched, sensitivity=least)


def _feeders(plan: Plan, scope: Scope) -> Iterator[WiringEdit]:
    """Feeders passed through the detector of their block, and past those of others."""
    wiring = plan.wiring
    for d in detectors(plan, scope, "current-sensing"):
        detected = {n for other in wiring.detectors_of(d.block) for n in other.through}
        own = [feeder.name for feeder in wiring.feeders_of(d.block)]
        missed = [name for name in own if name not in detected]
        astray = [name for name in d.through if name not in own]
        near = and_beside(d.block, plan)
        if missed:
            through = (*d.through, *missed)
            text = f"pass {_named(missed)} through detector {d.name}"
            written = f"through {', '.join(through)}"
            yield clause_edit(plan, "through", d, text, written, near, through=through)
        if astray and len(astray) < len(d.through):
            through = tuple(name for name in d.through if name in own)
            text = f"lead {_named(astray)} past detector {d.name}"
            written = f"through {', '.join(through)}"
            near |= {wiring.feeders[name].block for name in astray}
            yield clause_edit(plan, "astray", d, text, written, near, through=through)


def _named(feeders: list[str]) -> str:
    return f"feeder{'s' if len(feeders) > 1 else ''} {', '.join(feeders)}"


def _returns(plan: Plan, scope: Scope) -> Iterator[WiringEdit]:
    """A common return, or an isolated output, for a driver and a detector of another supply."""
    wiring, offered = plan.wiring, set()
    for driver in _drivers(plan, scope):
        for d in detectors(plan, scope):
            one, other = driver.supply, d.supply
            if wiring.has_usable_input(driver, d) or one is None or other is None:
                continue
            if not is_read(driver, d.name, contacts=False):
                continue
            pair = f"{one}, {other}"
            if pair not in offered and wiring.may_be_alike(one, other):
                offered.add(pair)
                joined = replace(wiring, common_returns=(*wiring.common_returns, (one, other)))
                newly_usable = [
                    b.name for b in wiring.drivers.values() for other_d in wiring.detectors.values()
                    if joined.has_usable_input(b, other_d) != wiring.has_usable_input(b, other_d)
                ]  # fmt: skip
                text, span = f"join the returns of {one} and {other}", wiring.supplies[one].span
                step = step_of("return", text, span, f"common return {pair}", "after")
                yield edit("return", pair, joined, newly_usable, step)
            text = f"use a detector with an isolated output as {d.name}"
            yield clause_edit(plan, "isolated", d, text, "isolated output", isolated=True)


def _inputs(plan: Plan, scope: Scope) -> Iterator[WiringEdit]:
    """Wires to a driver's inputs for the reports that its rules read."""
    for driver in _drivers(plan, scope):
        read = _reports_read(driver, plan)
        missing = [DriverInput(d.name, False, driver.span) for d in detectors(plan, scope)
                   if ("block report", d.block) in read]  # fmt: skip
        missing += [DriverInput(name, True, driver.span) for name in scope.turnouts
                    if (f"{plan.wiring.machines[name].kind} report", name) in read
                    and plan.wiring.machines[name].contacts != ()]  # fmt: skip
        for reading in missing:
            if not is_read(driver, reading.name, contacts=reading.contacts):
                wired, step = wired_to(driver, [reading], "reads")
                subject, wiring = f"{driver.name} {reading.name}", with_devices(plan.wiring, wired)
                yield edit("reads", subject, wiring, [driver.name], step)


def _reports_read(driver: Driver, plan: Plan) -> set[tuple[str, str]]:
    """The kinds and names of what the rules of a driver's heads read."""
    return {(what.kind, what.name) for head in driver.heads for what in heard_for(plan, head)}


def _contacts(plan: Plan, scope: Scope) -> Iterator[WiringEdit]:
    """Contacts for both positions, and their wires to the drivers whose rules read them.
    Turnouts of one statement share its clauses."""
    done: set[Span] = set()
    for name in scope.turnouts:
        machine = plan.wiring.machines[name]
        if machine.contacts is None or len(machine.contacts) == 2 or machine.span in done:
            continue
        done.add(machine.span)
        shared = [m for m in plan.wiring.machines.values() if m.span == machine.span]
        turnouts = [m.turnout for m in shared]
        text = f"give {' and '.join(turnouts)} contacts for both ways"
        clause = f"contacts {', '.join(machine.positions)}"
        steps = [step_of("contacts", text, machine.span, clause)]
        both = (replace(m, contacts=m.positions) for m in shared)
        wiring = with_devices(plan.wiring, *both)
        for driver in plan.wiring.drivers.values():
            read = _reports_read(driver, plan)
            more = [DriverInput(t, True, driver.span) for t in turnouts
                    if (f"{machine.kind} report", t) in read
                    and not is_read(driver, t, contacts=True)]  # fmt: skip
            if more:
                driver, step = wired_to(driver, more, "contacts")
                wiring = with_devices(wiring, driver)
                steps.append(step)
        yield edit("contacts", name, wiring, turnouts, *steps)


def _gaps(plan: Plan, scope: Scope) -> Iterator[WiringEdit]:
    """Gaps moved to the fouling point, of a turnout that has a statement of its own."""
    wiring = plan.wiring
    for name in scope.turnouts:
        machine = wiring.machines[name]
        fouling = machine.fouling
        if fouling is None or all(gap >= fouling for gap in machine.gaps.values()):
            continue
        if any(m.span == machine.span and m is not machine for m in wiring.machines.values()):
            continue
        gaps = {leg: max(gap, fouling) for leg, gap in machine.gaps.items()}
        moved = " and ".join(leg for leg, gap in machine.gaps.items() if gap < fouling)
        text = f"move the gap on the {moved} leg of {name} to the fouling point"
        lengths = (f"{leg} {length_to_write(gap, wiring.units.track)}" for leg, gap in gaps.items())
        step = step_of("gap", text, machine.span, f"gap {', '.join(lengths)}")
        yield edit("gap", name, with_devices(wiring, replace(machine, gaps=gaps)), [name], step)


_ALL = (
    _settings,
    _sensitivity,
    _feeders,
    _returns,
    _inputs,
    _contacts,
    another_feeder,
    _gaps,
    spots,
    sensing,
    more_detectors,
)
