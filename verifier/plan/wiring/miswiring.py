"""Wiring mistakes: single differences between a layout's wiring and its file.

In: a plan. Out: the possible mistakes, and, for each, the wiring with it. Faults are in
:mod:`verifier.plan.wiring.derive_equipment`: a gap that was never cut is a bridged one there, a
return that was never run a broken one.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product
from typing import Literal

from verifier.language.source import Span
from verifier.plan.model import Plan
from verifier.plan.signals.heads import signal_of
from verifier.plan.wiring.wiring_model import Detector, Wiring

# With so many detectors or fewer, the wires of any two may be confused.
ALL_DETECTORS = 12

MistakeKind = Literal[
    "feeder missed", "contacts swapped", "feeders swapped", "wrong feed", "detectors swapped",
    "not isolated", "heads swapped",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Mistake:
    """One mistake in the wiring. ``about`` has its subjects:

    feeder missed: detector, feeder; feeders swapped: detector, its feeder, the other detector,
    its feeder; wrong feed: detector, block; detectors swapped: two detectors; contacts swapped:
    turnout, and its leg where there is one contact only; heads swapped: two heads; not
    isolated: detector."""

    kind: MistakeKind
    about: tuple[str, ...]
    span: Span

    @property
    def text(self) -> str:
        """In words, as a fact."""
        about = self.about
        match self.kind:
            case "feeder missed":
                return f"feeder {about[1]} does not pass through {about[0]}"
            case "feeders swapped":
                one, feeder, other, its = about
                return f"feeders {feeder} and {its} are swapped between {one} and {other}"
            case "wrong feed":
                return f"{about[0]} is on the feeders of {about[1]}"
            case "detectors swapped":
                return f"{about[0]} and {about[1]} are each on the other's feeders"
            case "contacts swapped" if len(about) > 1:
                return f"the {about[1]} contact of {about[0]} is wired at the other leg"
            case "contacts swapped":
                return f"the contact wires of {about[0]} are swapped"
            case "heads swapped":
                return f"the wires of heads {about[0]} and {about[1]} are swapped"
            case "not isolated":
                return f"the output of {about[0]} is not isolated"


def mistakes(plan: Plan) -> tuple[Mistake, ...]:
    """Every single mistake that is possible and changes the wiring."""
    return tuple(dict.fromkeys((
        *_at_detectors(plan),
        *_of_contacts(plan.wiring),
        *_of_heads(plan),
        *_of_isolation(plan.wiring),
    )))  # fmt: skip


def miswired(wiring: Wiring, mistake: Mistake) -> Wiring:
    """The wiring with one mistake in it."""
    about = mistake.about
    match mistake.kind:
        case "feeder missed":
            return _through(wiring, {about[0]: _less(wiring, about[0], about[1])})
        case "feeders swapped":
            one, f, other, g = about
            return _through(wiring, {
                one: (*_less(wiring, one, f), g), other: (*_less(wiring, other, g), f),
            })  # fmt: skip
        case "wrong feed":
            return _through(wiring, {about[0]: tuple(f.name for f in wiring.feeders_of(about[1]))})
        case "detectors swapped":
            one, other = about
            through = {one: wiring.detectors[other].through, other: wiring.detectors[one].through}
            return _through(wiring, through)
        case "contacts swapped":
            return replace(wiring, swapped_contacts=wiring.swapped_contacts ^ {about[0]})
        case "heads swapped":
            return replace(wiring, swapped_heads=(*wiring.swapped_heads, (about[0], about[1])))
        case "not isolated":
            detector = replace(wiring.detectors[about[0]], isolated=False)
            return replace(wiring, detectors={**wiring.detectors, about[0]: detector})


def _less(wiring: Wiring, detector: str, feeder: str) -> tuple[str, ...]:
    return tuple(f for f in wiring.detectors[detector].through if f != feeder)


def _through(wiring: Wiring, through: dict[str, tuple[str, ...]]) -> Wiring:
    changed = {
        name: replace(wiring.detectors[name], through=feeders) for name, feeders in through.items()
    }
    return replace(wiring, detectors={**wiring.detectors, **changed})


# ------------------------------------------------------------------ possible mistakes


def _at_detectors(plan: Plan) -> Iterator[Mistake]:
    wiring = plan.wiring
    sensing = [d for d in wiring.detectors.values() if d.kind == "current-sensing"]
    for d in sensing:
        for feeder in d.through:
            yield Mistake("feeder missed", (d.name, feeder), d.span)
    side_by_side = list(_side_by_side(plan, sensing))
    for one, other in side_by_side:
        for f, g in product(one.through, other.through):
            if f not in other.through and g not in one.through:
                yield Mistake("feeders swapped", (one.name, f, other.name, g), one.span)
    for d in sensing:
        beside = dict.fromkeys(o.block for pair in side_by_side if d in pair for o in pair)
        for block in beside if len(sensing) > ALL_DETECTORS else plan.blocks:
            feeders = {feeder.name for feeder in wiring.feeders_of(block)}
            if feeders and feeders != set(d.through):
                yield Mistake("wrong feed", (d.name, block), d.span)
    for one, other in side_by_side:
        # With one feeder each it is the same as swapping these.
        single = len(one.through) == len(other.through) == 1
        if set(one.through) != set(other.through) and not single:
            yield Mistake("detectors swapped", (one.name, other.name), one.span)


def _side_by_side(plan: Plan, detectors: Sequence[Detector]) -> Iterator[tuple[Detector, Detector]]:
    """Detectors whose wires may be confused: any two of a small layout; in a large one those of
    neighboring blocks, and those that one driver reads."""
    if len(detectors) <= ALL_DETECTORS:
        yield from combinations(detectors, 2)
        return
    by_block = {d.block: d for d in detectors}
    near: set[frozenset[str]] = set()
    for joint in plan.track.joints:
        blocks = (plan.track.pieces[port.piece].block for port in (joint.a, joint.b))
        near.add(frozenset(by_block[block].name for block in blocks if block in by_block))
    for driver in plan.wiring.drivers.values():
        read = [reading.name for reading in driver.reads or () if not reading.contacts]
        near.update(map(frozenset, combinations(read, 2)))
    for one, other in combinations(detectors, 2):
        if {one.name, other.name} in near:
            yield one, other


def _of_contacts(wiring: Wiring) -> Iterator[Mistake]:
    for machine in wiring.machines.values():
        if machine.contacts:
            only = machine.contacts if len(machine.contacts) == 1 else ()
            yield Mistake("contacts swapped", (machine.turnout, *only), machine.span)


def _of_heads(plan: Plan) -> Iterator[Mistake]:
    """Heads of one signal, and heads lit by one driver, whose wires run side by side."""
    for signal in plan.signals.values():
        for one, other in combinations(signal.heads, 2):
            yield Mistake("heads swapped", (one.name, other.name), one.span)
    heads = {head.name: head for signal in plan.signals.values() for head in signal.heads}
    for driver in plan.wiring.drivers.values():
        for one_name, other_name in combinations(driver.heads, 2):
            signals = {signal_of(name, plan.signals) for name in (one_name, other_name)}
            if one_name in heads and len(signals) > 1:
                yield Mistake("heads swapped", (one_name, other_name), heads[one_name].span)


def _of_isolation(wiring: Wiring) -> Iterator[Mistake]:
    for detector in wiring.detectors.values():
        if detector.isolated and _needs_isolation(detector, wiring):
            yield Mistake("not isolated", (detector.name,), detector.span)


def _needs_isolation(detector: Detector, wiring: Wiring) -> bool:
    bare = replace(detector, isolated=False)
    return any(not wiring.has_usable_input(driver, bare) for driver in wiring.drivers.values())
