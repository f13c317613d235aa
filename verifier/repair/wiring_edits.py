"""Changes of the wiring that may mend a broken obligation, cheapest first.

In: a plan, what a question is about, and how it is asked. Out: changes to try; whether one
helps is decided in :mod:`verifier.repair.wiring_repair`.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from math import ceil, floor

from verifier.language.source import Span
from verifier.plan.model import Line, Plan
from verifier.plan.observables import Observable
from verifier.plan.wiring.derive_equipment import OWN_SHARE, margin
from verifier.plan.wiring.faults import FaultKind
from verifier.plan.wiring.wiring_model import Driver, DriverInput, Machine, Number, Wiring
from verifier.properties.amounts import decimal, length_to_write
from verifier.properties.obligation import Obligation
from verifier.reference.condition_eval import all_says
from verifier.repair.new_equipment import another_feeder, more_detectors, sensing, spots
from verifier.repair.wiring_edit import (
    About,
    Change,
    and_beside,
    change,
    detectors,
    feeders,
    is_read,
    passed_through,
    step_of,
    wired_to,
    with_detectors,
    with_drivers,
)

# More than this many turns do not go through a ring (common practice, no source).
MAX_TURNS = 12

# Which changes can help at all, by the kind of what is broken (a property of faults) or by the
# property; for any other property those of `_SITUATION`.
_SITUATION = frozenset(
    ("sense", "missing", "turns", "through", "return", "reads", "isolated", "contacts",
     "sensitivity", "spots", "sensing", "detector")
)  # fmt: skip
_SEEN = frozenset(("sense", "power", "missing", "lamp"))
_HELPFUL = {
    "lamp-out": frozenset(("lamp",)),
    "wire-broken": frozenset(("sense", "power", "missing", "contacts", "feeder", "through",
                              "detector")),
    "supply-lost": _SEEN | {"detector"},
    "gap-bridged": frozenset(("turns", "sensitivity", "through", "detector")),
    "points-stalled": frozenset(("contacts",)),
    "fouling-undetected": frozenset(("gap",)),
    "train-hidden": frozenset(("spots", "sensing", "turns", "sensitivity", "detector")),
    "feeder-undetected": frozenset(("through",)),
    "detector-misplaced": frozenset(("astray",)),
    "supply-mismatch": frozenset(("return", "isolated", "sense")),
    "input-unread": frozenset(("reads",)),
}  # fmt: skip


def about(plan: Plan, obligation: Obligation, facts: Iterable[Observable]) -> About:
    """What an obligation is about. ``facts`` are those of a situation that breaks it."""
    wiring = plan.wiring
    rules = [line for name in obligation.signals for line in _lines_of(name, plan)]
    asked = [says.what for line in rules if line.when for says in all_says(line.when, plan)]
    names = [
        *(name for what in facts for name in _names(plan, what)),
        *obligation.subjects,
        *(need.points for route in obligation.routes for need in route.needs),
        *(block for route in obligation.routes for block in route.blocks),
        *(what.name for what in asked if what.kind in ("block report", "points report")),
    ]
    beside = {b.name: b.blocks for b in (*plan.equipment.gaps, *plan.equipment.joined)}
    blocks: list[str] = []
    for name in names:
        if name in wiring.detectors:
            blocks.append(wiring.detectors[name].block)
        if name in wiring.feeders:
            blocks.append(wiring.feeders[name].block)
        blocks += [name, *beside.get(name, ())]
    lit = (wiring.driver_of(h.name) for s in obligation.signals for h in plan.signals[s].heads)
    drivers = [*(driver.name for driver in lit if driver), *names]
    return About(
        _those(blocks, plan.blocks),
        _those(names, wiring.machines),
        _those(drivers, wiring.drivers),
        _HELPFUL.get(obligation.property, _SITUATION),
    )


def _names(plan: Plan, what: Observable) -> tuple[str, ...]:
    """What a fact is about: of faults, the feeder or the gap."""
    if what.kind != "fault":
        return (what.name,)
    fault = plan.equipment.fault_of(what)
    return fault.subjects if fault.kind in (FaultKind.FEEDER, FaultKind.GAP) else ()


def _those(names: Iterable[str], known: Iterable[str]) -> tuple[str, ...]:
    known = set(known)
    return tuple(name for name in dict.fromkeys(names) if name in known)


def changes(plan: Plan, about: About) -> list[Change]:
    """All changes that might help, cheapest first."""
    found = [
        change
        for kinds, make in _MAKERS
        if about.kinds.intersection(kinds)
        for change in make(plan, about)
        if change.kind in about.kinds
    ]
    return sorted(found, key=lambda change: change.cost)


def _drivers(plan: Plan, about: About) -> Iterator[Driver]:
    return (plan.wiring.drivers[name] for name in about.drivers)


# ------------------------------------------------------------------ settings


def _outputs(plan: Plan, about: About) -> Iterator[Change]:
    for d in detectors(plan, about):
        if d.closed_when == "occupied":
            text = f"sense the other way round at {d.name}"
            yield change(
                "sense", d.name,
                with_detectors(plan.wiring, replace(d, closed_when="clear")), [d.block],
                step_of("sense", text, d.span, "output closed when clear"),
            )  # fmt: skip
        if d.kind == "current-sensing" and not d.without_power:
            text = f"let {d.name} read occupied when its track has no power"
            yield change(
                "power", d.name,
                with_detectors(plan.wiring, replace(d, without_power=True)), [d.block],
                step_of("power", text, d.span, "without track power reads occupied"),
            )  # fmt: skip


def _red(plan: Plan, about: About) -> Iterator[Change]:
    for d in _drivers(plan, about):
        if d.when_out != "red":
            text = f"let driver {d.name} put a signal to red when a lamp of it is out"
            yield change(
                "lamp", d.name, with_drivers(plan.wiring, replace(d, when_out="red")), [d.name],
                step_of("lamp", text, d.span, "when lamp out shows red"),
            )  # fmt: skip
        if d.when_missing != "red":
            text = f"let driver {d.name} show red when an input is dead"
            yield change(
                "missing", d.name,
                with_drivers(plan.wiring, replace(d, when_missing="red")), [d.name],
                step_of("missing", text, d.span, "when input missing shows red"),
            )  # fmt: skip


# ------------------------------------------------------------------ current through detectors


def _sensitive(plan: Plan, about: About) -> Iterator[Change]:
    """Just so many turns, or so sensitive a detector, as it takes to see the weakest stock,
    and then a tenth of its current: nothing else depends on either."""
    for d in detectors(plan, about, "current-sensing"):
        times = margin(d, d.block, plan.wiring)
        for share in (Number(1), OWN_SHARE) if times else ():
            if times is None or times * share >= 1 or d.sensitivity is None:
                continue
            touched = list(and_beside(d.block, plan))
            turns = ceil(d.turns / (times * share))
            if turns <= MAX_TURNS:
                text = f"wind the feeders {turns} times through {d.name}"
                yield change(
                    "turns", d.name, with_detectors(plan.wiring, replace(d, turns=turns)),
                    touched, step_of("turns", text, d.span, f"turns {turns}"),
                )  # fmt: skip
            # Rounded down to a hundredth of a milliampere.
            least = Number(floor(d.sensitivity * times * share * 100_000), 100_000)
            if least > 0:
                text = f"use a more sensitive detector as {d.name}"
                said = f"sensitivity {decimal(least * 1000)} mA"
                yield change(
                    "sensitivity", d.name,
                    with_detectors(plan.wiring, replace(d, sensitivity=least)),
                    touched, step_of("sensitivity", text, d.span, said),
                )  # fmt: skip


def _through(plan: Plan, about: About) -> Iterator[Change]:
    for d in detectors(plan, about, "current-sensing"):
        through = {n for o in plan.wiring.detectors_of(d.block) for n in o.through}
        own = [feeder.name for feeder in plan.wiring.feeders_of(d.block)]
        missed = [name for name in own if name not in through]
        touched = list(and_beside(d.block, plan))
        if missed:
            passed, step = passed_through(d, missed, "through", f"pass {feeders(missed)} through")
            yield change("through", d.name, with_detectors(plan.wiring, passed), touched, step)
        astray = [name for name in d.through if name not in own]
        if astray and len(astray) < len(d.through):
            kept = tuple(name for name in d.through if name in own)
            text = f"lead {feeders(astray)} past detector {d.name}"
            touched += [plan.wiring.feeders[name].block for name in astray]
            yield change(
                "astray", d.name, with_detectors(plan.wiring, replace(d, through=kept)), touched,
                step_of("astray", text, d.span, f"through {', '.join(kept)}"),
            )  # fmt: skip


# ------------------------------------------------------------------ wires to drivers


def _returns(plan: Plan, about: About) -> Iterator[Change]:
    """So that a driver can hear a detector of another supply."""
    wiring, told = plan.wiring, set()
    for driver in _drivers(plan, about):
        for d in detectors(plan, about):
            one, other = driver.supply, d.supply
            if wiring.has_usable_input(driver, d) or one is None or other is None:
                continue
            if not is_read(driver, d.name, contacts=False):
                continue
            pair = f"{one}, {other}"
            if pair not in told:
                told.add(pair)
                joined = replace(wiring, common_returns=(*wiring.common_returns, (one, other)))
                hearing = [
                    b.name for b in wiring.drivers.values() for other_d in wiring.detectors.values()
                    if joined.has_usable_input(b, other_d) != wiring.has_usable_input(b, other_d)
                ]  # fmt: skip
                text = f"join the returns of {one} and {other}"
                span = wiring.supplies[one].span
                yield change(
                    "return", pair, joined, hearing,
                    step_of("return", text, span, f"common return {pair}", "after"),
                )  # fmt: skip
            text = f"use a detector with an isolated output as {d.name}"
            yield change(
                "isolated", d.name, with_detectors(wiring, replace(d, isolated=True)), [d.block],
                step_of("isolated", text, d.span, "isolated output"),
            )  # fmt: skip


def _inputs(plan: Plan, about: About) -> Iterator[Change]:
    """Wires to a driver's inputs for what its rules ask for."""
    for driver in _drivers(plan, about):
        asked = _asked(driver, plan)
        missing = [DriverInput(d.name, False, driver.span) for d in detectors(plan, about)
                   if ("block report", d.block) in asked]  # fmt: skip
        missing += [DriverInput(name, True, driver.span) for name in about.turnouts
                    if ("points report", name) in asked
                    and plan.wiring.machines[name].contacts != ()]  # fmt: skip
        for reading in missing:
            if not is_read(driver, reading.name, contacts=reading.contacts):
                reading_driver, step = wired_to(driver, [reading], "reads")
                yield change(
                    "reads", f"{driver.name} {reading.name}",
                    with_drivers(plan.wiring, reading_driver), [driver.name], step,
                )  # fmt: skip


def _asked(driver: Driver, plan: Plan) -> set[tuple[str, str]]:
    """The reports that the rules of a driver's heads ask for."""
    return {
        (says.what.kind, says.what.name)
        for signal in plan.signals.values()
        for head in signal.heads
        if head.name in driver.heads
        for line in head.lines or signal.lines
        if line.when
        for says in all_says(line.when, plan)
    }


def _lines_of(name: str, plan: Plan) -> tuple[Line, ...]:
    signal = plan.signals[name]
    return (*signal.lines, *(line for head in signal.heads for line in head.lines))


# ------------------------------------------------------------------ at the points


def _contacts(plan: Plan, about: About) -> Iterator[Change]:
    """Contacts for both ways, and their wires to the drivers that ask for them. Turnouts of
    one statement share what it says."""
    done: set[Span] = set()
    for name in about.turnouts:
        machine = plan.wiring.machines[name]
        if machine.contacts is None or len(machine.contacts) == 2 or machine.span in done:
            continue
        done.add(machine.span)
        alike = [m for m in plan.wiring.machines.values() if m.span == machine.span]
        turnouts = [m.turnout for m in alike]
        text = f"give {' and '.join(turnouts)} contacts for both ways"
        steps = [step_of("contacts", text, machine.span, "contacts normal, reverse")]
        machines = {m.turnout: replace(m, contacts=("normal", "reverse")) for m in alike}
        wiring = replace(plan.wiring, machines={**plan.wiring.machines, **machines})
        for driver in plan.wiring.drivers.values():
            asked = _asked(driver, plan)
            more = [DriverInput(t, True, driver.span) for t in turnouts
                    if ("points report", t) in asked
                    and not is_read(driver, t, contacts=True)]  # fmt: skip
            if more:
                reading_driver, step = wired_to(driver, more, "contacts")
                wiring = with_drivers(wiring, reading_driver)
                steps.append(step)
        yield change("contacts", name, wiring, turnouts, *steps)


def _gaps(plan: Plan, about: About) -> Iterator[Change]:
    for name in about.turnouts:
        machine = plan.wiring.machines[name]
        fouling = machine.fouling
        if fouling is None or all(gap >= fouling for gap in machine.gaps.values()):
            continue
        if any(m.span == machine.span and m is not machine for m in plan.wiring.machines.values()):
            continue
        yield _moved_gaps(machine, fouling, plan.wiring)


def _moved_gaps(machine: Machine, fouling: Number, wiring: Wiring) -> Change:
    name = machine.turnout
    gaps = {leg: max(gap, fouling) for leg, gap in machine.gaps.items()}
    moved = " and ".join(leg for leg, gap in machine.gaps.items() if gap < fouling)
    text = f"move the gap on the {moved} leg of {name} to the fouling point"
    unit = wiring.units.track
    legs = ", ".join(f"{leg} {length_to_write(gap, unit)}" for leg, gap in gaps.items())
    machines = {**wiring.machines, name: replace(machine, gaps=gaps)}
    step = step_of("gap", text, machine.span, f"gap {legs}")
    return change("gap", name, replace(wiring, machines=machines), [name], step)


_MAKERS: tuple[tuple[tuple[str, ...], Callable[[Plan, About], Iterator[Change]]], ...] = (
    (("sense", "power"), _outputs),
    (("lamp", "missing"), _red),
    (("turns", "sensitivity"), _sensitive),
    (("through", "astray"), _through),
    (("return", "isolated"), _returns),
    (("reads",), _inputs),
    (("contacts",), _contacts),
    (("feeder",), another_feeder),
    (("gap",), _gaps),
    (("spots",), spots),
    (("sensing",), sensing),
    (("detector",), more_detectors),
)
