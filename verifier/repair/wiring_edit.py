"""An edit of the wiring: what it is, what it costs, and the parts edits are made of."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from verifier.language.source import Span
from verifier.plan.model import Plan
from verifier.plan.wiring.wiring_model import (
    Detector,
    Driver,
    DriverInput,
    Feeder,
    Machine,
    Wiring,
)
from verifier.verdicts.report import Rewiring, Writing

# What an edit costs, as ranks: a setting or a jumper first, then a wire moved, a wire added,
# work at the points or the rail, and new equipment last (common practice, no source).
COSTS = {
    "sense": 1,
    "lamp": 1,
    "missing": 1,
    "power": 1,
    "turns": 2,
    "through": 3,
    "astray": 3,
    "return": 4,
    "reads": 4,
    "isolated": 5,
    "contacts": 6,
    "feeder": 7,
    "gap": 8,
    "sensitivity": 9,
    "spots": 9,
    "sensing": 10,
    "detector": 11,
}
# An edit that costs this much or more takes new equipment.
NEW = 9


@dataclass(frozen=True, slots=True)
class WiringEdit:
    """One edit: ``steps`` belong together, ``wiring`` is the result. ``touched`` are the
    blocks, turnouts and drivers that work differently afterwards."""

    kind: str
    subject: str
    wiring: Wiring
    touched: frozenset[str]
    steps: tuple[Rewiring, ...]

    @property
    def cost(self) -> int:
        return COSTS[self.kind]


@dataclass(frozen=True, slots=True)
class Scope:
    """The equipment that an obligation is about, the most relevant first, and the kinds of edit
    that can help."""

    blocks: tuple[str, ...]
    turnouts: tuple[str, ...]
    drivers: tuple[str, ...]
    kinds: frozenset[str]


def edit(
    kind: str, subject: str, wiring: Wiring, touched: Iterable[str], *steps: Rewiring
) -> WiringEdit:
    """An edit of several steps."""
    return WiringEdit(kind, subject, wiring, frozenset(touched), steps)


def clause_edit(
    plan: Plan,
    kind: str,
    device: Detector | Driver,
    text: str,
    written: str,
    touched: Iterable[str] = (),
    **fields: Any,
) -> WiringEdit:
    """An edit that replaces one clause of one device. ``text`` says what to do, ``written`` is
    the new clause, ``fields`` are the fields of the device that it sets. Without ``touched``,
    only the block of a detector, or the driver itself, works differently."""
    own = device.block if isinstance(device, Detector) else device.name
    wiring = with_devices(plan.wiring, replace(device, **fields))
    step = step_of(kind, text, device.span, written)
    return edit(kind, device.name, wiring, touched or [own], step)


def step_of(kind: str, text: str, span: Span, write: str, how: Writing = "clause") -> Rewiring:
    return Rewiring(f"{text}: `{' '.join(write.split())}`", span, COSTS[kind], write, how)


def with_devices(wiring: Wiring, *devices: Feeder | Detector | Driver | Machine) -> Wiring:
    """The wiring with these devices added, or in place of those of the same name."""
    for device in devices:
        match device:
            case Feeder(name=name):
                wiring = replace(wiring, feeders={**wiring.feeders, name: device})
            case Detector(name=name):
                wiring = replace(wiring, detectors={**wiring.detectors, name: device})
            case Driver(name=name):
                wiring = replace(wiring, drivers={**wiring.drivers, name: device})
            case Machine(turnout=name):
                wiring = replace(wiring, machines={**wiring.machines, name: device})
    return wiring


def detectors(plan: Plan, scope: Scope, kind: str = "") -> Iterator[Detector]:
    """The detectors in scope, of one kind or of all."""
    for block in scope.blocks:
        yield from (d for d in plan.wiring.detectors_of(block) if kind in ("", d.kind))


def and_beside(block: str, plan: Plan) -> set[str]:
    """A block and those beside it, into which its current may flow."""
    return {block}.union(*(beside.blocks for beside in plan.equipment.beside(block)))


def wired_to(driver: Driver, more: list[DriverInput], kind: str) -> tuple[Driver, Rewiring]:
    """A driver with more inputs wired, and the step that says so."""
    reads = (*(driver.reads or ()), *more)
    words = [f"{r.name} contacts" if r.contacts else r.name for r in reads]
    text = f"wire {', '.join(words[-len(more) :])} to driver {driver.name}"
    step = step_of(kind, text, driver.span, f"reads {', '.join(words)}")
    return replace(driver, reads=reads), step


def next_name(name: str, plan: Plan) -> str:
    """``m4`` after ``m3``: a name not used yet."""
    w = plan.wiring
    wired = (w.feeders, w.detectors, w.drivers, w.supplies, w.districts, w.machines)
    track = (plan.blocks, plan.signals, plan.track.pieces, plan.derails, plan.gates)
    used = {what.name for what in plan.inputs}.union(plan.conditions, *wired, *track)
    stem = name.rstrip("0123456789")
    number = int(name[len(stem) :] or "1")
    while f"{stem}{number}" in used:
        number += 1
    return f"{stem}{number}"
