"""New equipment and new wires to the rail: feeders, spot detectors, current sensing.

In: a plan and what a question is about. Out: changes that bring something new.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from math import ceil

from verifier.plan.model import Plan
from verifier.plan.units import Unit
from verifier.plan.wiring.derive_equipment import may_stand_unseen
from verifier.plan.wiring.wiring_model import Detector, DriverInput, Feeder, Number, Wiring
from verifier.properties.amounts import decimal, length_to_write
from verifier.repair.wiring_edit import (
    About,
    Change,
    and_beside,
    change,
    detectors,
    is_read,
    next_name,
    passed_through,
    step_of,
    wired_to,
    with_detectors,
    with_drivers,
)

# So many spots at most under one track (common practice, no source).
MAX_SPOTS = 6


def another_feeder(plan: Plan, about: About) -> Iterator[Change]:
    for d in detectors(plan, about, "current-sensing"):
        old = plan.wiring.feeders_of(d.block)
        if not old:
            continue
        new = Feeder(next_name(old[-1].name, plan), d.block, None, old[-1].span)
        passed, through = passed_through(d, [new.name], "feeder", f"pass {new.name} through")
        wiring = with_detectors(
            replace(plan.wiring, feeders={**plan.wiring.feeders, new.name: new}), passed
        )
        text = f"bring another feeder to {d.block}"
        span = plan.blocks[d.block].span
        yield change(
            "feeder", d.block, wiring, and_beside(d.block, plan),
            step_of("feeder", text, span, f"feeders {new.name}", "further clause"), through,
        )  # fmt: skip


# ------------------------------------------------------------------ spots and new detectors


def spots(plan: Plan, about: About) -> Iterator[Change]:
    for d in detectors(plan, about, "spot"):
        spots = enough_spots(d.block, plan.wiring)
        if spots and spots != d.spots:
            text = f"set the spots of {d.name} closer, one at each end of {d.block}"
            yield change(
                "spots", d.name, with_detectors(plan.wiring, replace(d, spots=spots)), [d.block],
                step_of("spots", text, d.span, f"at {_places(spots, plan.wiring.units.track)}"),
            )  # fmt: skip


def enough_spots(block: str, wiring: Wiring) -> tuple[Number, ...]:
    """The fewest spots between which no train of the file can stand on a block; none where
    lengths are not given, or it takes too many."""
    trains, length = wiring.trains, wiring.lengths.get(block)
    if trains is None or length is None or length > trains.shortest * (MAX_SPOTS - 1):
        return ()
    return (*(i * trains.shortest for i in range(ceil(length / trains.shortest))), length)


def sensing(plan: Plan, about: About) -> Iterator[Change]:
    """Current sensing instead of spots, with a feeder where there is none."""
    for d in detectors(plan, about, "spot"):
        wiring = plan.wiring
        feeders = [feeder.name for feeder in wiring.feeders_of(d.block)]
        steps = []
        if not (feeders or _has_its_statement(d.block, plan)):
            continue
        if not feeders:
            span = plan.blocks[d.block].span
            new = Feeder(next_name(f"{d.block.lower()}-1", plan), d.block, None, span)
            feeders = [new.name]
            wiring = replace(wiring, feeders={**wiring.feeders, new.name: new})
            text = f"bring a feeder to {d.block}"
            steps = [step_of("sensing", text, span, f"feeders {new.name}", "further clause")]
        new_d = _current_sensing(d, tuple(feeders), plan)
        text = f"sense current on {d.block} instead of spots"
        written = _statement(new_d, plan.wiring.units.track)
        steps.append(step_of("sensing", text, d.span, written, "instead"))
        touched = and_beside(d.block, plan)
        yield change("sensing", d.name, with_detectors(wiring, new_d), touched, *steps)


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
    span = plan.blocks[block].span
    text = span.source.text
    return not (
        text[span.end :].lstrip().startswith(",") or text[: span.start].rstrip().endswith(",")
    )


def more_detectors(plan: Plan, about: About) -> Iterator[Change]:
    """Spots beside current sensing, where stock that draws too little may stand."""
    for d in detectors(plan, about, "current-sensing"):
        spots = enough_spots(d.block, plan.wiring)
        if not spots or not may_stand_unseen(d.block, plan.wiring):
            continue
        if any(o.kind == "spot" for o in plan.wiring.detectors_of(d.block)):
            continue
        new = replace(d, name=next_name(f"{d.name}-spots-1", plan), kind="spot", through=(),
                      turns=1, sensitivity=None, spots=spots, without_power=False)  # fmt: skip
        text = f"add spot detectors to {d.block}"
        written = _statement(new, plan.wiring.units.track)
        steps = [step_of("detector", text, d.span, written, "after")]
        wiring = with_detectors(plan.wiring, new)
        for driver in plan.wiring.drivers.values():
            if driver.reads is not None and is_read(driver, d.name, contacts=False):
                reading = DriverInput(new.name, False, driver.span)
                reading_driver, step = wired_to(driver, [reading], "detector")
                wiring = with_drivers(wiring, reading_driver)
                steps.append(step)
        yield change("detector", d.block, wiring, [d.block], *steps)


def _places(spots: Iterable[Number], unit: Unit) -> str:
    return ", ".join(length_to_write(spot, unit) for spot in spots)


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
