"""A change of the wiring: what it is, what it costs, and the parts it is made of."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from verifier.language.source import Span
from verifier.plan.model import Plan
from verifier.plan.wiring.wiring_model import Detector, Driver, DriverInput, Wiring
from verifier.verdicts.report import Rewiring, Writing

# What a change costs, as ranks: a setting or a jumper first, then a wire moved, a wire added,
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
# From here on it takes new equipment.
NEW = 9


@dataclass(frozen=True, slots=True)
class Change:
    """One change: ``steps`` belong together, ``wiring`` is what comes of it. ``touched`` are
    the blocks, turnouts and drivers that work otherwise afterwards."""

    kind: str
    subject: str
    steps: tuple[Rewiring, ...]
    wiring: Wiring
    touched: frozenset[str]

    @property
    def cost(self) -> int:
        return COSTS[self.kind]


@dataclass(frozen=True, slots=True)
class About:
    """What a question is about, the most telling first, and which changes could help."""

    blocks: tuple[str, ...]
    turnouts: tuple[str, ...]
    drivers: tuple[str, ...]
    kinds: frozenset[str]


def change(
    kind: str, subject: str, wiring: Wiring, touched: Iterable[str], *steps: Rewiring
) -> Change:
    return Change(kind, subject, steps, wiring, frozenset(touched))


def step_of(kind: str, text: str, span: Span, write: str, how: Writing = "clause") -> Rewiring:
    return Rewiring(f"{text}: `{' '.join(write.split())}`", span, COSTS[kind], write, how)


def with_detectors(wiring: Wiring, *detectors: Detector) -> Wiring:
    return replace(wiring, detectors={**wiring.detectors, **{d.name: d for d in detectors}})


def with_drivers(wiring: Wiring, *drivers: Driver) -> Wiring:
    return replace(wiring, drivers={**wiring.drivers, **{d.name: d for d in drivers}})


def detectors(plan: Plan, about: About, kind: str = "") -> Iterator[Detector]:
    for block in about.blocks:
        yield from (d for d in plan.wiring.detectors_of(block) if kind in ("", d.kind))


def and_beside(block: str, plan: Plan) -> Iterator[str]:
    """A block and those beside it, into which its current may flow."""
    yield block
    for beside in (*plan.equipment.gaps, *plan.equipment.joined):
        if block in beside.blocks:
            yield from beside.blocks


# ------------------------------------------------------------------ clauses


def passed_through(d: Detector, more: list[str], kind: str, text: str) -> tuple[Detector, Rewiring]:
    passed = replace(d, through=(*d.through, *more))
    written = f"through {', '.join(passed.through)}"
    return passed, step_of(kind, f"{text} detector {d.name}", d.span, written)


def feeders(names: list[str]) -> str:
    return f"feeder{'s' if len(names) > 1 else ''} {', '.join(names)}"


def is_read(driver: Driver, name: str, *, contacts: bool) -> bool:
    return driver.reads is None or any(
        r.name == name and r.contacts == contacts for r in driver.reads
    )


def wired_to(driver: Driver, more: list[DriverInput], kind: str) -> tuple[Driver, Rewiring]:
    reads = (*(driver.reads or ()), *more)
    words = [f"{r.name} contacts" if r.contacts else r.name for r in reads]
    wired = ", ".join(words[len(words) - len(more) :])
    text = f"wire {wired} to driver {driver.name}"
    step = step_of(kind, text, driver.span, f"reads {', '.join(words)}")
    return replace(driver, reads=reads), step


# ------------------------------------------------------------------ names and numbers


def next_name(name: str, plan: Plan) -> str:
    """``m4`` after ``m3``: a name not used yet."""
    stem = name.rstrip("0123456789")
    number = int(name[len(stem) :] or "1")
    while f"{stem}{number}" in _names(plan):
        number += 1
    return f"{stem}{number}"


def _names(plan: Plan) -> set[str]:
    w = plan.wiring
    wired = (w.feeders, w.detectors, w.drivers, w.supplies, w.districts, w.machines)
    known = (plan.blocks, plan.signals, plan.track.pieces, plan.conditions, plan.derails)
    levers = {what.name for what in plan.inputs}
    return levers.union(*(set(names) for names in (*wired, *known, plan.gates)))
