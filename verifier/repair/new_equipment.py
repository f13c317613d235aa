"""Wiring edits that add equipment: feeders, spot detectors, current sensing."""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from math import ceil

from verifier.plan.model import Plan
from verifier.plan.units import Unit
from verifier.plan.wiring.derive_equipment import may_stand_unseen
from verifier.plan.wiring.spots import on_all_ways, over_words
from verifier.plan.wiring.wiring_model import Detector, DriverInput, Feeder, SpotPlace
from verifier.properties.amounts import decimal, length_to_write
from verifier.reference.inputs import is_read
from verifier.repair.wiring_edit import (
    Scope,
    WiringEdit,
    and_beside,
    clause_edit,
    detectors,
    edit,
    next_name,
    step_of,
    wired_to,
    with_devices,
)
from verifier.verdicts.report import Rewiring

# The most spots under one track (common practice, no source).
MAX_SPOTS = 8


def another_feeder(plan: Plan, scope: Scope) -> Iterator[WiringEdit]:
    """A further feeder for a block that has one, passed through its detector."""
    for d in detectors(plan, scope, "current-sensing"):
        old = plan.wiring.feeders_of(d.block)
        if not old:
            continue
        new = Feeder(next_name(old[-1].name, plan), d.block, None, old[-1].span)
        passed = replace(d, through=(*d.through, new.name))
        written = f"through {', '.join(passed.through)}"
        yield edit(
            "feeder", d.block, with_devices(plan.wiring, new, passed), and_beside(d.block, plan),
            _bring("feeder", f"bring another feeder to {d.block}", new, plan),
            step_of("feeder", f"pass {new.name} through detector {d.name}", d.span, written),
        )  # fmt: skip


def _bring(kind: str, text: str, feeder: Feeder, plan: Plan) -> Rewiring:
    span = plan.blocks[feeder.block].span
    return step_of(kind, text, span, f"feeders {feeder.name}", "further clause")


def spots(plan: Plan, scope: Scope) -> Iterator[WiringEdit]:
    """The spots of a detector set so close that no train can stand between them."""
    for d in detectors(plan, scope, "spot"):
        spots = enough_spots(d.block, plan)
        if spots and spots != d.spots:
            text = f"set the spots of {d.name} closer, one at each end of {d.block}"
            written = f"at {_places(spots, plan.wiring.units.track)}"
            yield clause_edit(plan, "spots", d, text, written, spots=spots)


def enough_spots(block: str, plan: Plan) -> tuple[SpotPlace, ...]:
    """The fewest spots between which no train of the file can stand on a block, on whichever way
    through it; empty where lengths are not given or more than ``MAX_SPOTS`` would be needed."""
    trains, length = plan.wiring.trains, plan.wiring.lengths.get(block)
    if trains is None or length is None or length > trains.shortest * (MAX_SPOTS - 1):
        return ()
    marks = (*(i * trains.shortest for i in range(ceil(length / trains.shortest))), length)
    found = on_all_ways(marks, block, length, plan.track)
    return found if len(found) <= MAX_SPOTS else ()


def sensing(plan: Plan, scope: Scope) -> Iterator[WiringEdit]:
    """Current sensing instead of spots, with a feeder where there is none."""
    for d in detectors(plan, scope, "spot"):
        wiring, steps = plan.wiring, []
        feeders = tuple(feeder.name for feeder in wiring.feeders_of(d.block))
        if not feeders:
            block = plan.blocks[d.block]
            if not block.own_statement:
                continue
            new = Feeder(next_name(f"{d.block.lower()}-1", plan), d.block, None, block.span)
            feeders = (new.name,)
            wiring = with_devices(wiring, new)
            steps = [_bring("sensing", f"bring a feeder to {d.block}", new, plan)]
        new_d = _current_sensing(d, feeders, plan)
        text = f"sense current on {d.block} instead of spots"
        written = _statement(new_d, plan.wiring.units.track)
        steps.append(step_of("sensing", text, d.span, written, "instead"))
        touched = and_beside(d.block, plan)
        yield edit("sensing", d.name, with_devices(wiring, new_d), touched, *steps)


def _current_sensing(d: Detector, through: tuple[str, ...], plan: Plan) -> Detector:
    """As sensitive as another of the layout, and safe when its track has no power."""
    others = plan.wiring.detectors.values()
    like = next((o for o in others if o.kind == "current-sensing"), None)
    return replace(
        d, kind="current-sensing", through=through, spots=(), hold=None, without_power=True,
        turns=like.turns if like else 1, sensitivity=like.sensitivity if like else None,
    )  # fmt: skip


def more_detectors(plan: Plan, scope: Scope) -> Iterator[WiringEdit]:
    """Spots beside current sensing, where stock that draws too little may stand."""
    for d in detectors(plan, scope, "current-sensing"):
        spots = enough_spots(d.block, plan)
        if not spots or not may_stand_unseen(d.block, plan.wiring):
            continue
        if any(o.kind == "spot" for o in plan.wiring.detectors_of(d.block)):
            continue
        new = replace(d, name=next_name(f"{d.name}-spots-1", plan), kind="spot", through=(),
                      turns=1, sensitivity=None, spots=spots, without_power=False)  # fmt: skip
        text = f"add spot detectors to {d.block}"
        written = _statement(new, plan.wiring.units.track)
        steps = [step_of("detector", text, d.span, written, "after")]
        wiring = with_devices(plan.wiring, new)
        for driver in plan.wiring.drivers.values():
            if driver.reads is not None and is_read(driver, d.name, contacts=False):
                reading = DriverInput(new.name, False, driver.span)
                driver, step = wired_to(driver, [reading], "detector")
                wiring = with_devices(wiring, driver)
                steps.append(step)
        yield edit("detector", d.block, wiring, [d.block], *steps)


def _places(spots: Iterable[SpotPlace], unit: Unit) -> str:
    return ", ".join(length_to_write(spot.at, unit) + over_words(spot) for spot in spots)


def _statement(d: Detector, unit: Unit) -> str:
    """A detector as a file says it, a line for each clause."""
    spot = f" on {d.block} at {_places(d.spots, unit)}"
    head = f"detector {d.name} {d.kind}"
    lines = [head + (spot if d.kind == "spot" else f" through {', '.join(d.through)}")]
    lines += [f"turns {d.turns}"] if d.turns > 1 else []
    lines += [f"sensitivity {decimal(d.sensitivity * 1000)} mA"] if d.sensitivity else []
    lines += [f"powered by {d.supply}"] if d.supply else []
    lines += [f"output closed when {d.closed_when}"] if d.closed_when else []
    lines += ["isolated output"] if d.isolated else []
    lines += ["without track power reads occupied"] if d.without_power else []
    return "\n  ".join(lines)
