"""The promises that a crew could make on a plan, each about one thing, and statements of several.

In: a plan. Out: promises, those first that cost a crew least: where several sets of promises do,
the later ones are left out first.
"""

from collections.abc import Iterable, Iterator

from verifier.language.statements.locking import CrewRule
from verifier.plan.devices import Device, devices
from verifier.plan.locking.crew_rules import led_to, may_be_thrown, may_lie_ahead
from verifier.plan.locking.locking_model import THROWING, Promise, promise_text
from verifier.plan.model import Plan
from verifier.reference.positions import Positions


def candidates(plan: Plan) -> list[tuple[Promise, ...]]:
    """All promises worth trying, in layers: about throwing and turning back; besides, about the
    stretches on which trains meet, those of the file among them; besides, about the whole
    layout."""
    stretches = list(dict.fromkeys((*_said(plan), *_stretches(plan))))
    whole = tuple(plan.blocks)
    layers = [
        [*_throwing(plan), *_turning(plan)],
        list(_entering(stretches)),
        list(_entering([whole])) if whole not in stretches else [],
    ]
    promises = [[_promise(plan, rule, about) for rule, about in layer] for layer in layers]
    return [tuple(p for layer in promises[:k] for p in layer) for k in range(1, len(layers) + 1)]


def merged(promises: Iterable[Promise], plan: Plan) -> tuple[Promise, ...]:
    """The same as statements: those about throwing points, and about turning back, together."""
    together: dict[CrewRule, list[str]] = {}
    alone: list[Promise] = []
    for promise in promises:
        if promise.rule in THROWING or promise.rule == "to reverse":
            together.setdefault(promise.rule, []).extend(promise.about)
        else:
            alone.append(promise)
    joined = (_promise(plan, rule, tuple(about)) for rule, about in together.items())
    return (*joined, *alone)


def _promise(plan: Plan, rule: CrewRule, about: tuple[str, ...]) -> Promise:
    first = about[0]
    span = devices(plan)[first].span if rule in THROWING else plan.blocks[first].span
    return Promise(rule, about, promise_text(rule, about), span)


def _throwing(plan: Plan) -> Iterator[tuple[CrewRule, tuple[str, ...]]]:
    known = devices(plan).values()
    thrown = [d for d in known if d.pipe is None and may_be_thrown(d.name, plan.locking)]
    for rule in THROWING:
        for device in thrown:
            if _says_something(rule, device, plan):
                yield rule, (device.name,)


def _says_something(rule: CrewRule, device: Device, plan: Plan) -> bool:
    led = [count for _, count in led_to(device, plan.routes, plan.signals)]
    match rule:
        case "under a train":
            return True
        case "ahead of a train":
            return may_lie_ahead(device, plan)
        case "before a train can stop" if plan.locking.running.to_stop is None:
            return False
        case _:
            return bool(led)


def _turning(plan: Plan) -> Iterator[tuple[CrewRule, tuple[str, ...]]]:
    if plan.locking.running.reverse_on is not None:
        return
    positions = Positions(plan)
    turning = {plan.track.pieces[n].block for n in positions.pieces if positions.may_turn(n)}
    yield from (("to reverse", (block,)) for block in plan.blocks if block in turning)


def _entering(
    stretches: Iterable[tuple[str, ...]],
) -> Iterator[tuple[CrewRule, tuple[str, ...]]]:
    """One direction at a time, which asks less than one train at a time, comes first."""
    several = list(stretches)
    yield from (("one direction at a time", stretch) for stretch in several)
    yield from (("one train at a time", stretch) for stretch in several)


def _said(plan: Plan) -> Iterator[tuple[str, ...]]:
    """The stretches that promises of the file are about."""
    for promise in plan.locking.promises:
        if promise.rule in ("one train at a time", "one direction at a time"):
            yield promise.about


def _stretches(plan: Plan) -> list[tuple[str, ...]]:
    """The blocks that opposing routes share, those of one stretch of track together."""
    found: list[set[str]] = []
    for conflict in plan.conflicts:
        if conflict.kind == "opposing":
            blocks = {b for p in conflict.pieces if (b := plan.track.pieces[p].block) is not None}
            touching = [other for other in found if _touch(blocks, other, plan)]
            found = [other for other in found if other not in touching]
            found.append(blocks.union(*touching))
    return [tuple(b for b in plan.blocks if b in some) for some in found if some]


def _touch(one: set[str], other: set[str], plan: Plan) -> bool:
    """Whether two stretches share a block, or adjoin where nothing branches off."""
    if one & other:
        return True
    pieces = plan.track.pieces
    forked = {p.block for p in pieces.values() if p.kind not in ("plain", "edge", "bumper")}
    for joint in plan.track.joints:
        beside = {pieces[port.piece].block for port in (joint.a, joint.b)}
        if beside & one and beside & other and not beside & forked:
            return True
    return False
