"""In which order a layout can be built and paid for: control point by control point.

In: a plan, and what is wanted first. Out: steps. Each has everything its signals need (their
drivers, the detectors and contacts their rules read, the supplies behind these), less what an
earlier step provides, so each step, once built, can be tested and used.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from verifier.language.diagnostics.diagnostic import InputError, nearest
from verifier.language.diagnostics.registry import diagnostic
from verifier.language.source import Span
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.wiring.hearing import heard, keeper_of

NO_STEP = "the rest"


@dataclass(frozen=True, slots=True)
class BuildStep:
    """``things``: whatever is new in it, by name."""

    title: str
    things: frozenset[str]


@dataclass(frozen=True, slots=True)
class _Point:
    """A control point, or the signals along the line that belong to none."""

    name: str
    title: str
    signals: tuple[str, ...]
    turnouts: tuple[str, ...]


def build_steps(plan: Plan, first: Sequence[tuple[str, Span]] = ()) -> tuple[BuildStep, ...]:
    """The steps, those with what is wanted ``first`` before the others; what belongs to no
    step is in none of them.

    Raises :class:`InputError` for names that belong to no control point."""
    points = _in_order(_points(plan), first, plan)
    steps, there = [], set[str]()
    for point in points:
        new = frozenset(_needed(point, plan)) - there
        there |= new
        steps.append(BuildStep(point.title, new))
    return tuple(steps)


def _points(plan: Plan) -> list[_Point]:
    points, taken = [], set[str]()
    for limit in plan.limits:
        signals = tuple(e.end for e in limit.entrances if e.kind == "signal" and e.end not in taken)
        taken.update(signals)
        pieces = plan.track.pieces
        turnouts = tuple(p for p in limit.pieces if pieces[p].kind in ("turnout", "slip"))
        title = f"{limit.name} ({', '.join(signals)})" if signals else limit.name
        points.append(_Point(limit.name, title, signals, turnouts))
    line = tuple(name for name in plan.signals if name not in taken)
    if line:
        points.append(_Point(line[0], f"along the line ({', '.join(line)})", line, ()))
    return points


def _in_order(points: list[_Point], first: Sequence[tuple[str, Span]], plan: Plan) -> list[_Point]:
    chosen: list[_Point] = []
    errors = []
    for name, span in first:
        point = next((p for p in points if name in (p.name, *p.signals, *p.turnouts)), None)
        if point is None:
            known = [name for p in points for name in (p.name, *p.signals, *p.turnouts)]
            errors.append(
                diagnostic(
                    "CP809",
                    span,
                    {0: "none", 1: "one"}.get(len(points), ""),
                    near=nearest(name, known),
                    name=name,
                    points=[p.name for p in points],
                )
            )
        elif point not in chosen:
            chosen.append(point)
    if errors:
        raise InputError(errors)
    return [*chosen, *(point for point in points if point not in chosen)]


def _needed(point: _Point, plan: Plan) -> Iterator[str]:
    """Everything that the signals of a control point need, by name."""
    wiring = plan.wiring
    asked: list[Observable] = []
    turnouts, blocks, supplies = dict.fromkeys(point.turnouts), dict[str, None](), set[str | None]()
    for name in point.signals:
        signal = plan.signals[name]
        yield name
        yield from (head.name for head in signal.heads)
        asked += [says.what for says in plan.facts_read(signal)]
    for name in _boards(point.signals, turnouts, plan):
        for indicator in wiring.drivers[name].indicators:
            asked += [says.what for says in plan.facts_repeated(indicator)]
    for what in asked:
        match what.kind:
            case "block report":
                blocks[what.name] = None
            case "points report":
                turnouts[what.name] = None
            case "lever" | "button":
                yield what.name
    for block in blocks:
        yield block
        district = wiring.districts.get(wiring.district_of.get(block, ""))
        if district is not None:
            yield district.name
            supplies.add(district.supply)
        for detector in wiring.detectors_of(block):
            yield detector.name
            supplies.add(detector.supply)
    for turnout in turnouts:
        yield turnout
        machine = wiring.machines.get(turnout)
        if machine is not None:
            supplies.add(machine.supply)
        throw = plan.locking.throws.get(turnout)
        lever = throw.lever if throw else machine.lever if machine else None
        if lever is not None:
            yield lever
    for name in _boards(point.signals, turnouts, plan):
        yield name
        supplies.add(wiring.drivers[name].supply)
        yield from wiring.drivers[name].indicators
        yield from (source for _, source in heard(wiring.drivers[name], plan))
    for supply in supplies:
        yield from plan.wiring.chain_of(supply)


def _boards(signals: Iterable[str], turnouts: Iterable[str], plan: Plan) -> dict[str, None]:
    """The boards that light signals and throw points, and those that tell these something."""
    wiring = plan.wiring
    heads = (head for name in signals for head in plan.signals[name].heads)
    boards = {driver.name: None for h in heads if (driver := wiring.driver_of(h.name))}
    machines = (wiring.machines[name] for name in turnouts if name in wiring.machines)
    boards |= {machine.board: None for machine in machines if machine.board is not None}
    for name in list(boards):
        for source in heard(wiring.drivers[name], plan):
            keeper = keeper_of(source, plan)
            boards |= {keeper: None} if keeper is not None else {}
    return boards
