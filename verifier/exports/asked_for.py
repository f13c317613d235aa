"""What the program of a layout, or of one board, asks for.

In: a plan. Out: the part of it that runs on a board; every observable that its conditions read;
and what drivers notice.
"""

from collections.abc import Iterator
from dataclasses import replace

from verifier.exports.told_signals import told_signals
from verifier.plan import observables
from verifier.plan.model import Plan, Signal
from verifier.plan.observables import Condition, Observable
from verifier.plan.signals.heads import signal_of
from verifier.plan.wiring.wiring_model import Driver

# What is safest to assume of a report that is missing.
RESTRICTIVE = {
    "block report": "occupied", "points report": "moving", "derail report": "moving",
    "gate report": "open",
}  # fmt: skip


def part_of(plan: Plan, board: str | None) -> Plan:
    """What of a plan runs on one board: the signals of its heads and those they ask (but those it
    is told of), and, where the program of the file runs on it, memory and what locks and throws
    points."""
    if board is None:
        return plan
    driver = plan.wiring.drivers[board]
    shown = {n: each for n, each in plan.indicators.items() if n in driver.indicators}
    own = {signal_of(head, plan.signals) for head in driver.heads}
    told = set(told_signals(driver, plan))
    locking = plan.locking
    if locking.building.board != board:
        throws = {n: t for n, t in locking.throws.items() if n in driver.throws}
        locking = replace(
            locking, relays={}, timers={}, traffic={}, throws=throws, memory=(),
            starts=replace(locking.starts, positions={}, alike=()),
        )  # fmt: skip
    part = replace(
        plan, signals={n: s for n, s in plan.signals.items() if n in own}, locking=locking,
        indicators=shown,
    )  # fmt: skip
    while (
        asked := {
            signal_of(what.name, plan.signals)
            for what in observables_read(part)
            if what.kind in ("aspect", "color")
        }
        - part.signals.keys()
        - told
    ):
        wanted = asked | part.signals.keys()
        part = replace(part, signals={n: s for n, s in plan.signals.items() if n in wanted})
    return part


def conditions_of(plan: Plan) -> Iterator[Condition]:
    """Every condition the export works out: of signals, indicators, memory, and what moves
    points."""
    for signal in plan.signals.values():
        yield from signal.conditions
    yield from (indicator.when for indicator in plan.indicators.values())
    for relay in plan.locking.relays.values():
        yield relay.picks
        if relay.sticks is not None:
            yield relay.sticks
    yield from (timer.runs for timer in plan.locking.timers.values())
    for traffic in plan.locking.traffic.values():
        yield from (traffic.rightward, traffic.leftward)
        if traffic.locked is not None:
            yield traffic.locked
    for throw in plan.locking.throws.values():
        yield from (c for c in (throw.away_when, throw.locked) if c is not None)


def observables_read(plan: Plan) -> Iterator[Observable]:
    """Every observable those conditions ask for, and the levers and buttons that throw points."""
    named = plan.conditions
    for says in observables.facts_unfolded(conditions_of(plan), lambda name: named[name].condition):
        yield says.what
    for throw in plan.locking.throws.values():
        yield from map(observables.button, throw.buttons)
        yield from (w for w in plan.inputs if w.kind == "lever" and w.name == throw.lever)


def reports_read(signal: Signal, head: int, plan: Plan) -> tuple[Observable, ...]:
    """The reports that a driver listens to for one head."""
    lines = signal.lines or signal.heads[head].lines
    whens = (line.when for line in lines if line.when is not None)
    named = plan.conditions
    asked = (s.what for s in observables.facts_unfolded(whens, lambda name: named[name].condition))
    return tuple(dict.fromkeys(what for what in asked if what.kind in RESTRICTIVE))


def noticed_missing(plan: Plan) -> Iterator[Observable]:
    """Reports of which some driver notices that they are missing."""
    for signal in plan.signals.values():
        for i, head in enumerate(signal.heads):
            driver = plan.wiring.driver_of(head.name)
            if driver and driver.when_missing is not None:
                yield from reports_read(signal, i, plan)


def watched_heads(plan: Plan) -> Iterator[str]:
    """Heads of which a driver notices that they do not light."""
    for signal in plan.signals.values():
        for head in signal.heads:
            driver: Driver | None = plan.wiring.driver_of(head.name)
            if driver and driver.when_out is not None:
                yield head.name
