"""Changes of the wiring that may mend a broken obligation, cheapest first.

In: a plan, what a question is about, and how it is asked. Out: changes to try; whether one
helps is decided in :mod:`verifier.findings.rewiring`.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from math import ceil, floor

from verifier.engines.conditions import all_says
from verifier.findings.verdicts import Rewiring, Writing
from verifier.language.source import Span
from verifier.plan.equip import OWN_SHARE, margin, may_stand_unseen
from verifier.plan.model import Line, Plan
from verifier.plan.wiring import Detector, Driver, Feeder, Machine, Number, Reading, Wiring
from verifier.properties.obligation import Obligation

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
# More than this many turns do not go through a ring, nor so many spots under one track
# (common practice, no source).
MAX_TURNS = 12
MAX_SPOTS = 6

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


def about(plan: Plan, obligation: Obligation, named: Iterable[str]) -> About:
    """What an obligation is about. ``named`` are the names of the facts of a situation that
    breaks it."""
    wiring = plan.wiring
    rules = [line for name in obligation.signals for line in _lines_of(name, plan)]
    asked = [says.what for line in rules if line.when for says in all_says(line.when, plan)]
    names = [
        *named,
        *obligation.subjects,
        *(need.points for route in obligation.routes for need in route.needs),
        *(block for route in obligation.routes for block in route.blocks),
        *(what.name for what in asked if what.kind in ("block report", "points report")),
    ]
    beside = {b.name: b.blocks for b in (*plan.equipment.gaps, *plan.equipment.joined)}
    blocks: list[str] = []
    for name in names:
        _, _, thing = name.partition(" ")  # of a fault: `feeder m1`, `gap Main | Switch`
        if name in wiring.detectors:
            blocks.append(wiring.detectors[name].block)
        for feeder in (name, thing):
            if feeder in wiring.feeders:
                blocks.append(wiring.feeders[feeder].block)
        blocks += [name, *beside.get(thing, ())]
    lit = (wiring.driver_of(h.name) for s in obligation.signals for h in plan.signals[s].heads)
    drivers = [*(driver.name for driver in lit if driver), *names]
    return About(
        _those(blocks, plan.blocks),
        _those(names, wiring.machines),
        _those(drivers, wiring.drivers),
        _HELPFUL.get(obligation.property, _SITUATION),
    )


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


def _change(
    kind: str, subject: str, wiring: Wiring, touched: Iterable[str], *steps: Rewiring
) -> Change:
    return Change(kind, subject, steps, wiring, frozenset(touched))


def _step(kind: str, text: str, span: Span, write: str, how: Writing = "clause") -> Rewiring:
    return Rewiring(f"{text}: `{' '.join(write.split())}`", span, COSTS[kind], write, how)


def _with_detectors(wiring: Wiring, *detectors: Detector) -> Wiring:
    return replace(wiring, detectors={**wiring.detectors, **{d.name: d for d in detectors}})


def _with_drivers(wiring: Wiring, *drivers: Driver) -> Wiring:
    return replace(wiring, drivers={**wiring.drivers, **{d.name: d for d in drivers}})


def _detectors(plan: Plan, about: About, kind: str = "") -> Iterator[Detector]:
    for block in about.blocks:
        yield from (d for d in plan.wiring.detectors_of(block) if kind in ("", d.kind))


def _drivers(plan: Plan, about: About) -> Iterator[Driver]:
    return (plan.wiring.drivers[name] for name in about.drivers)


def _and_beside(block: str, plan: Plan) -> Iterator[str]:
    """A block and those beside it, into which its current may flow."""
    yield block
    for beside in (*plan.equipment.gaps, *plan.equipment.joined):
        if block in beside.blocks:
            yield from beside.blocks


# ------------------------------------------------------------------ settings


def _outputs(plan: Plan, about: About) -> Iterator[Change]:
    for d in _detectors(plan, about):
        if d.closed_when == "occupied":
            text = f"sense the other way round at {d.name}"
            yield _change(
                "sense", d.name,
                _with_detectors(plan.wiring, replace(d, closed_when="clear")), [d.block],
                _step("sense", text, d.span, "output closed when clear"),
            )  # fmt: skip
        if d.kind == "current-sensing" and not d.without_power:
            text = f"let {d.name} read occupied when its track has no power"
            yield _change(
                "power", d.name,
                _with_detectors(plan.wiring, replace(d, without_power=True)), [d.block],
                _step("power", text, d.span, "without track power reads occupied"),
            )  # fmt: skip


def _red(plan: Plan, about: About) -> Iterator[Change]:
    for d in _drivers(plan, about):
        if d.when_out != "red":
            text = f"let driver {d.name} put a signal to red when a lamp of it is out"
            yield _change(
                "lamp", d.name, _with_drivers(plan.wiring, replace(d, when_out="red")), [d.name],
                _step("lamp", text, d.span, "when lamp out shows red"),
            )  # fmt: skip
        if d.when_missing != "red":
            text = f"let driver {d.name} show red when an input is dead"
            yield _change(
                "missing", d.name,
                _with_drivers(plan.wiring, replace(d, when_missing="red")), [d.name],
                _step("missing", text, d.span, "when input missing shows red"),
            )  # fmt: skip


# ------------------------------------------------------------------ current through detectors


def _sensitive(plan: Plan, about: About) -> Iterator[Change]:
    """Just so many turns, or so sensitive a detector, as it takes to see the weakest stock,
    and then a tenth of its current: nothing else depends on either."""
    for d in _detectors(plan, about, "current-sensing"):
        times = margin(d, d.block, plan.wiring)
        for share in (Number(1), OWN_SHARE) if times else ():
            if times is None or times * share >= 1 or d.sensitivity is None:
                continue
            touched = list(_and_beside(d.block, plan))
            turns = ceil(d.turns / (times * share))
            if turns <= MAX_TURNS:
                text = f"wind the feeders {turns} times through {d.name}"
                yield _change(
                    "turns", d.name, _with_detectors(plan.wiring, replace(d, turns=turns)),
                    touched, _step("turns", text, d.span, f"turns {turns}"),
                )  # fmt: skip
            # Rounded down to a hundredth of a milliampere.
            least = Number(floor(d.sensitivity * times * share * 100_000), 100_000)
            if least > 0:
                text = f"use a more sensitive detector as {d.name}"
                said = f"sensitivity {_decimal(least * 1000)} mA"
                yield _change(
                    "sensitivity", d.name,
                    _with_detectors(plan.wiring, replace(d, sensitivity=least)),
                    touched, _step("sensitivity", text, d.span, said),
                )  # fmt: skip


def _through(plan: Plan, about: About) -> Iterator[Change]:
    for d in _detectors(plan, about, "current-sensing"):
        through = {n for o in plan.wiring.detectors_of(d.block) for n in o.through}
        own = [feeder.name for feeder in plan.wiring.feeders_of(d.block)]
        missed = [name for name in own if name not in through]
        touched = list(_and_beside(d.block, plan))
        if missed:
            passed, step = _passed(d, missed, "through", f"pass {_feeders(missed)} through")
            yield _change("through", d.name, _with_detectors(plan.wiring, passed), touched, step)
        astray = [name for name in d.through if name not in own]
        if astray and len(astray) < len(d.through):
            kept = tuple(name for name in d.through if name in own)
            text = f"lead {_feeders(astray)} past detector {d.name}"
            touched += [plan.wiring.feeders[name].block for name in astray]
            yield _change(
                "astray", d.name, _with_detectors(plan.wiring, replace(d, through=kept)), touched,
                _step("astray", text, d.span, f"through {', '.join(kept)}"),
            )  # fmt: skip


def _passed(d: Detector, more: list[str], kind: str, text: str) -> tuple[Detector, Rewiring]:
    passed = replace(d, through=(*d.through, *more))
    written = f"through {', '.join(passed.through)}"
    return passed, _step(kind, f"{text} detector {d.name}", d.span, written)


def _feeders(names: list[str]) -> str:
    return f"feeder{'s' if len(names) > 1 else ''} {', '.join(names)}"


def _another_feeder(plan: Plan, about: About) -> Iterator[Change]:
    for d in _detectors(plan, about, "current-sensing"):
        old = plan.wiring.feeders_of(d.block)
        if not old:
            continue
        new = Feeder(_next_name(old[-1].name, plan), d.block, None, old[-1].span)
        passed, through = _passed(d, [new.name], "feeder", f"pass {new.name} through")
        wiring = _with_detectors(
            replace(plan.wiring, feeders={**plan.wiring.feeders, new.name: new}), passed
        )
        text = f"bring another feeder to {d.block}"
        span = plan.blocks[d.block].span
        yield _change(
            "feeder", d.block, wiring, _and_beside(d.block, plan),
            _step("feeder", text, span, f"feeders {new.name}", "further clause"), through,
        )  # fmt: skip


def _next_name(name: str, plan: Plan) -> str:
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


# ------------------------------------------------------------------ wires to drivers


def _returns(plan: Plan, about: About) -> Iterator[Change]:
    """So that a driver can hear a detector of another supply."""
    wiring, told = plan.wiring, set()
    for driver in _drivers(plan, about):
        for d in _detectors(plan, about):
            one, other = driver.supply, d.supply
            if wiring.hears(driver, d) or one is None or other is None:
                continue
            if not _is_read(driver, d.name, contacts=False):
                continue
            pair = f"{one}, {other}"
            if pair not in told:
                told.add(pair)
                joined = replace(wiring, common_returns=(*wiring.common_returns, (one, other)))
                hearing = [
                    b.name for b in wiring.drivers.values() for other_d in wiring.detectors.values()
                    if joined.hears(b, other_d) != wiring.hears(b, other_d)
                ]  # fmt: skip
                text = f"join the returns of {one} and {other}"
                span = wiring.supplies[one].span
                yield _change(
                    "return", pair, joined, hearing,
                    _step("return", text, span, f"common return {pair}", "after"),
                )  # fmt: skip
            text = f"use a detector with an isolated output as {d.name}"
            yield _change(
                "isolated", d.name, _with_detectors(wiring, replace(d, isolated=True)), [d.block],
                _step("isolated", text, d.span, "isolated output"),
            )  # fmt: skip


def _is_read(driver: Driver, name: str, *, contacts: bool) -> bool:
    return driver.reads is None or any(
        r.name == name and r.contacts == contacts for r in driver.reads
    )


def _inputs(plan: Plan, about: About) -> Iterator[Change]:
    """Wires to a driver's inputs for what its rules ask for."""
    for driver in _drivers(plan, about):
        asked = _asked(driver, plan)
        missing = [Reading(d.name, False, driver.span) for d in _detectors(plan, about)
                   if ("block report", d.block) in asked]  # fmt: skip
        missing += [Reading(name, True, driver.span) for name in about.turnouts
                    if ("points report", name) in asked
                    and plan.wiring.machines[name].contacts != ()]  # fmt: skip
        for reading in missing:
            if not _is_read(driver, reading.name, contacts=reading.contacts):
                reading_driver, step = _reading(driver, [reading], "reads")
                yield _change(
                    "reads", f"{driver.name} {reading.name}",
                    _with_drivers(plan.wiring, reading_driver), [driver.name], step,
                )  # fmt: skip


def _reading(driver: Driver, more: list[Reading], kind: str) -> tuple[Driver, Rewiring]:
    reads = (*(driver.reads or ()), *more)
    words = [f"{r.name} contacts" if r.contacts else r.name for r in reads]
    wired = ", ".join(words[len(words) - len(more) :])
    text = f"wire {wired} to driver {driver.name}"
    step = _step(kind, text, driver.span, f"reads {', '.join(words)}")
    return replace(driver, reads=reads), step


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
        steps = [_step("contacts", text, machine.span, "contacts normal, reverse")]
        machines = {m.turnout: replace(m, contacts=("normal", "reverse")) for m in alike}
        wiring = replace(plan.wiring, machines={**plan.wiring.machines, **machines})
        for driver in plan.wiring.drivers.values():
            asked = _asked(driver, plan)
            more = [Reading(t, True, driver.span) for t in turnouts
                    if ("points report", t) in asked
                    and not _is_read(driver, t, contacts=True)]  # fmt: skip
            if more:
                reading_driver, step = _reading(driver, more, "contacts")
                wiring = _with_drivers(wiring, reading_driver)
                steps.append(step)
        yield _change("contacts", name, wiring, turnouts, *steps)


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
    written = "gap " + ", ".join(f"{leg} {_mm(gap)}" for leg, gap in gaps.items())
    machines = {**wiring.machines, name: replace(machine, gaps=gaps)}
    step = _step("gap", text, machine.span, written)
    return _change("gap", name, replace(wiring, machines=machines), [name], step)


# ------------------------------------------------------------------ spots and new detectors


def _spots(plan: Plan, about: About) -> Iterator[Change]:
    for d in _detectors(plan, about, "spot"):
        spots = enough_spots(d.block, plan.wiring)
        if spots and spots != d.spots:
            text = f"set the spots of {d.name} closer, one at each end of {d.block}"
            yield _change(
                "spots", d.name, _with_detectors(plan.wiring, replace(d, spots=spots)), [d.block],
                _step("spots", text, d.span, f"at {', '.join(map(_mm, spots))}"),
            )  # fmt: skip


def enough_spots(block: str, wiring: Wiring) -> tuple[Number, ...]:
    """The fewest spots between which no train of the file can stand on a block; none where
    lengths are not given, or it takes too many."""
    trains, length = wiring.trains, wiring.lengths.get(block)
    if trains is None or length is None or length > trains.shortest * (MAX_SPOTS - 1):
        return ()
    return (*(i * trains.shortest for i in range(ceil(length / trains.shortest))), length)


def _sensing(plan: Plan, about: About) -> Iterator[Change]:
    """Current sensing instead of spots, with a feeder where there is none."""
    for d in _detectors(plan, about, "spot"):
        wiring = plan.wiring
        feeders = [feeder.name for feeder in wiring.feeders_of(d.block)]
        steps = []
        if not (feeders or _has_its_statement(d.block, plan)):
            continue
        if not feeders:
            span = plan.blocks[d.block].span
            new = Feeder(_next_name(f"{d.block.lower()}-1", plan), d.block, None, span)
            feeders = [new.name]
            wiring = replace(wiring, feeders={**wiring.feeders, new.name: new})
            text = f"bring a feeder to {d.block}"
            steps = [_step("sensing", text, span, f"feeders {new.name}", "further clause")]
        new_d = _current_sensing(d, tuple(feeders), plan)
        text = f"sense current on {d.block} instead of spots"
        steps.append(_step("sensing", text, d.span, _statement(new_d), "instead"))
        touched = _and_beside(d.block, plan)
        yield _change("sensing", d.name, _with_detectors(wiring, new_d), touched, *steps)


def _current_sensing(d: Detector, through: tuple[str, ...], plan: Plan) -> Detector:
    """As sensitive as another of the layout, and safe when its track has no power."""
    others = plan.wiring.detectors.values()
    like = next((o for o in others if o.kind == "current-sensing"), None)
    return replace(
        d, kind="current-sensing", through=through, spots=(), hold=None, without_power=True,
        turns=like.turns if like else 1, sensitivity=like.sensitivity if like else None,
    )  # fmt: skip


def _has_its_statement(block: str, plan: Plan) -> bool:
    """Whether a block shares its statement with no other: feeders can only then be given."""
    text, span = plan.source.text, plan.blocks[block].span
    return not (
        text[span.end :].lstrip().startswith(",") or text[: span.start].rstrip().endswith(",")
    )


def _more_detectors(plan: Plan, about: About) -> Iterator[Change]:
    """Spots beside current sensing, where stock that draws too little may stand."""
    for d in _detectors(plan, about, "current-sensing"):
        spots = enough_spots(d.block, plan.wiring)
        if not spots or not may_stand_unseen(d.block, plan.wiring):
            continue
        if any(o.kind == "spot" for o in plan.wiring.detectors_of(d.block)):
            continue
        new = replace(d, name=_next_name(f"{d.name}-spots-1", plan), kind="spot", through=(),
                      turns=1, sensitivity=None, spots=spots, without_power=False)  # fmt: skip
        text = f"add spot detectors to {d.block}"
        steps = [_step("detector", text, d.span, _statement(new), "after")]
        wiring = _with_detectors(plan.wiring, new)
        for driver in plan.wiring.drivers.values():
            if driver.reads is not None and _is_read(driver, d.name, contacts=False):
                reading = Reading(new.name, False, driver.span)
                reading_driver, step = _reading(driver, [reading], "detector")
                wiring = _with_drivers(wiring, reading_driver)
                steps.append(step)
        yield _change("detector", d.block, wiring, [d.block], *steps)


def _statement(d: Detector) -> str:
    """A detector as a file says it, a line for each clause."""
    spot = f" on {d.block} at {', '.join(map(_mm, d.spots))}"
    head = f"detector {d.name} {d.kind}"
    lines = [head + (spot if d.kind == "spot" else f" through {', '.join(d.through)}")]
    lines += [f"turns {d.turns}"] if d.turns > 1 else []
    lines += [f"sensitivity {_decimal(d.sensitivity * 1000)} mA"] if d.sensitivity else []
    lines += [f"powered by {d.supply}"] if d.supply else []
    lines += [f"output closed when {d.closed_when}"] if d.closed_when else []
    lines += ["isolated output"] if d.isolated else []
    lines += ["without track power reads occupied"] if d.without_power else []
    return "\n  ".join(lines)


def _mm(metres: Number) -> str:
    return f"{_decimal(metres * 1000)} mm"


def _decimal(number: Number) -> str:
    """Exact: what a file gives ends after some decimals, whatever its units."""
    text = f"{Decimal(number.numerator) / Decimal(number.denominator):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


_MAKERS: tuple[tuple[tuple[str, ...], Callable[[Plan, About], Iterator[Change]]], ...] = (
    (("sense", "power"), _outputs),
    (("lamp", "missing"), _red),
    (("turns", "sensitivity"), _sensitive),
    (("through", "astray"), _through),
    (("return", "isolated"), _returns),
    (("reads",), _inputs),
    (("contacts",), _contacts),
    (("feeder",), _another_feeder),
    (("gap",), _gaps),
    (("spots",), _spots),
    (("sensing",), _sensing),
    (("detector",), _more_detectors),
)
