"""The wiring as written: what must hold whatever trains and people do.

``clearproof explain NAME`` prints the docstring of each property. All of them are common practice:
no published standard was found for the wiring of a model railroad's detectors.
"""

from collections.abc import Iterator

from verifier.language.listing import listing
from verifier.language.source import Span
from verifier.logic.expr import constant
from verifier.plan.model import Head, Joint, Plan, Signal
from verifier.plan.observables import OF_CONTACTS, Observable
from verifier.plan.track.gaps import gaps_of
from verifier.plan.wiring.faults import RELAYS
from verifier.plan.wiring.hearing import asked, heard, supply_of, wanted
from verifier.plan.wiring.wiring_model import Detector, Driver, Feeder
from verifier.properties.obligation import Obligation
from verifier.properties.phrases import pieces_in


def blocks_joined(plan: Plan) -> Iterator[Obligation]:
    """There is a gap between two blocks, and no gap within a block unless it has a name.

    Without a gap, current flows from one block into the other: each detector sees what stands
    on the other block, or misses what stands on its own. A gap within a block cuts part of it
    off from its feeders.
    """
    if not plan.wiring.given:
        return
    pieces = plan.track.pieces
    between: dict[tuple[str, ...], bool] = {}
    spans = {}
    for joint in plan.track.joints:
        one, other = (pieces[port.piece].block for port in (joint.a, joint.b))
        if one is None or other is None or (one == other and (joint.kind == "=" or joint.gap)):
            continue
        wrong = one == other or joint.kind == "="
        key = tuple(dict.fromkeys(sorted((one, other), key=list(plan.blocks).index)))
        if wrong or key not in between:
            spans[key] = joint.span
        between[key] = between.get(key, False) or wrong
    for blocks, wrong in between.items():
        within = len(blocks) == 1
        yield Obligation(
            "blocks-joined",
            blocks,
            constant(wrong),
            f"a gap cuts {blocks[0]} in two" if within
            else f"there is no gap between {listing(blocks)}: a detector sees them as one block",
            (spans[blocks],),
            pieces=tuple(p.name for p in pieces.values() if p.block in blocks),
            place=listing(blocks),
            hint=f"Join the rail there (`=`), make two blocks of {blocks[0]}, or name the gap "
            "(`|(g1)`) if it is there on purpose." if within
            else "Cut a gap there and write `|`, or make one block of the two.",
        )  # fmt: skip


# ------------------------------------------------------------------ feeders and detectors


def feeder_undetected(plan: Plan) -> Iterator[Obligation]:
    """Every feeder of a block with a current-sensing detector passes through the detector.

    The detector does not sense the current in a feeder that bypasses it: with a train near that
    feeder, the block may read clear. So it may with a train elsewhere, since current divides
    between all feeders.
    """
    for feeder in plan.wiring.feeders.values():
        sensing = _sensing(feeder.block, plan)
        if not sensing:
            continue
        yield Obligation(
            "feeder-undetected",
            (feeder.name, feeder.block),
            constant(not any(feeder.name in d.through for d in sensing)),
            f"feeder {feeder.name} of {feeder.block} does not pass through "
            f"{listing([d.name for d in sensing])}: {_near_the_feeder(feeder, sensing, plan)}",
            (feeder.span, *(d.span for d in sensing)),
            pieces=pieces_in(feeder.block, plan),
            place=feeder.block,
            hint=f"Run {feeder.name} through {sensing[0].name} too and add it to its `through`.",
        )


def _near_the_feeder(feeder: Feeder, sensing: list[Detector], plan: Plan) -> str:
    """What becomes of stock near a feeder that bypasses the detectors of its block."""
    divisions = plan.equipment.divisions
    for detector in sensing:
        division = divisions.get((detector.name, feeder.block))
        if division is not None and (feeder.name, ()) in division.surely:
            return (
                f"by the numbers of the file {detector.name} sees stock near it by the current in "
                "other feeders, but only while all of these are sound"
            )
    return "a locomotive near it may not be detected"


def detector_misplaced(plan: Plan) -> Iterator[Obligation]:
    """Only feeders of its own block pass through a detector.

    A detector on another block's feeder reads occupied for trains that are not on its block, and
    the other block may have no detector at all.
    """
    for detector in plan.wiring.detectors.values():
        if detector.kind != "current-sensing":
            continue
        feeders = [plan.wiring.feeders[name] for name in detector.through
                   if name in plan.wiring.feeders]  # fmt: skip
        astray = [feeder for feeder in feeders if feeder.block != detector.block]
        others = listing(list(dict.fromkeys(feeder.block for feeder in astray)))
        names = listing([feeder.name for feeder in astray])
        yield Obligation(
            "detector-misplaced",
            (detector.name,),
            constant(bool(astray)),
            f"detector {detector.name} watches {detector.block}, but feeder {names} of {others} "
            "passes through it",
            (detector.span, *(feeder.span for feeder in astray)),
            pieces=pieces_in(detector.block, plan),
            place=detector.block,
            hint=f"Run {names} past {detector.name}, or through the detector of {others}, and take "
            f"it out of `through` of {detector.name}.",
        )


def detector_cannot_sense(plan: Plan) -> Iterator[Obligation]:
    """Every current-sensing detector sees each train on its block, whatever its speed, on the kind
    of track power that it has.

    A coil sees changing current alone: AC and DCC, and nothing of DC. On DC a train that stands
    still with the throttle at zero draws no current; diodes see it only if they are biased, that
    is if the detector sends a small current of its own. On DC a detector of which the file does
    not say what it senses by is taken to have a coil. Checked where the file gives the kind of the
    block's track power: `DC`, `AC` or `DCC`.
    """
    wiring = plan.wiring
    for detector in wiring.detectors.values():
        supply = wiring.power_of(detector.block)
        if detector.kind != "current-sensing" or supply is None:
            continue
        if wiring.current_of(supply.name) is None:
            continue
        why = {
            "coil": "senses by a coil, which sees nothing of DC",
            "diodes": "senses by diodes without bias, which see nothing of a train that stands "
            "with the throttle at zero",
        }.get(detector.by or "", "may sense by a coil, which sees nothing of DC")
        yield Obligation(
            "detector-cannot-sense",
            (detector.name,),
            constant(wiring.is_blind(detector)),
            f"detector {detector.name} {why}, and the track power of {detector.block}, "
            f"{supply.name}, is DC",
            (detector.span, supply.span),
            pieces=pieces_in(detector.block, plan),
            place=detector.block,
            hint="Use a detector for DC, with a bias current of its own: `detector "
            f"{detector.name} current-sensing by biased diodes`. Or use spot detectors.",
        )


def _sensing(block: str, plan: Plan) -> list[Detector]:
    return [d for d in plan.wiring.detectors_of(block) if d.kind == "current-sensing"]


# ------------------------------------------------------------------ drivers and their inputs


def supply_mismatch(plan: Plan) -> Iterator[Obligation]:
    """A driver and each detector it reads share a supply, or a common return and a kind of
    current, or the detector's output is isolated.

    Current needs a return path: without one the driver's input never changes, whatever the
    detector reports. Supplies of two kinds (DC and AC, say) may have a common return, and each
    load still sees its own. But an output on one is no signal to an input on the other: against
    that return AC swings to both sides. Such a detector needs an isolated output, such as the
    contact of a relay (common practice, no source); a supply whose kind the file does not give is
    taken to suit. A driver without `reads` reads every detector that the rules of its heads
    use. The same goes for relays, where one supply powers them all. Checked where both
    supplies are given.
    """
    for driver in plan.wiring.drivers.values():
        for detector in _detectors_read(driver, plan):
            one, other = driver.supply, detector.supply
            if one is None or other is None:
                continue
            yield Obligation(
                "supply-mismatch",
                (driver.name, detector.name),
                constant(not plan.wiring.has_usable_input(driver, detector)),
                f"driver {driver.name} on {one} cannot read detector {detector.name} on {other}: "
                f"{_why_unheard(one, other, plan)}",
                (driver.span, detector.span),
                pieces=pieces_in(detector.block, plan),
                place=detector.block,
                hint=_let_it_hear(one, detector, plan),
            )
    yield from _panel_mismatch(plan)
    if plan.locking.building.board is None:
        yield from _relays_mismatch(plan)


def _panel_mismatch(plan: Plan) -> Iterator[Obligation]:
    """The same of levers, buttons, and what one board tells another."""
    for driver in plan.wiring.drivers.values():
        for source in heard(driver, plan):
            one, other = driver.supply, supply_of(source, plan)
            if one is None or other is None:
                continue
            kind, name = source
            wiring = plan.wiring
            suits = wiring.may_be_alike(one, other) and wiring.share_a_return(one, other)
            yield Obligation(
                "supply-mismatch",
                (driver.name, name),
                constant(not suits),
                f"driver {driver.name} on {one} cannot read {kind} {name} on {other}: "
                f"{_why_unheard(one, other, plan)}",
                (driver.span,),
                place=driver.name,
                hint=f"Wire {name} to the return of {one} instead; or join the returns of the two "
                f"supplies and write `common return {one}, {other}`.",
            )


def _why_unheard(one: str, other: str, plan: Plan) -> str:
    if plan.wiring.may_be_alike(one, other):
        return "their supplies have no common return"
    kinds = [f"{name} is {plan.wiring.current_of(name)}" for name in (one, other)]
    return f"{listing(kinds)}, and a common return does not make them one"


def _let_it_hear(one: str, detector: Detector, plan: Plan) -> str:
    """What to do where what one supply powers does not hear a detector on another."""
    other = detector.supply or ""
    if plan.wiring.may_be_alike(one, other):
        join = f"Join the returns of the two supplies and write `common return {one}, {other}`; or "
    else:
        join = "Where both can work on one supply, "
    power = f"power {detector.name} by {one}"
    return f"{join}{power}; or use a detector with `isolated output`."


def _relays_mismatch(plan: Plan) -> Iterator[Obligation]:
    one, equipment = plan.equipment.relays_supply, plan.equipment
    for detector in plan.wiring.detectors.values():
        other = detector.supply
        read = equipment.wire_ends(detector.name, "", contacts=False)
        if one is None or other is None or not read:
            continue
        yield Obligation(
            "supply-mismatch",
            (RELAYS, detector.name),
            constant(not plan.wiring.reaches(one, detector)),
            f"relays on {one} cannot hear detector {detector.name} on {other}: "
            f"{_why_unheard(one, other, plan)}",
            (detector.span,),
            pieces=pieces_in(detector.block, plan),
            place=detector.block,
            hint=_let_it_hear(one, detector, plan),
        )


def input_unread(plan: Plan) -> Iterator[Obligation]:
    """A driver reads everything that the rules of its heads use.

    Where the file lists what a driver `reads`, the list has every detector of each block in those
    rules, and the contacts of each turnout that has contacts.
    """
    for driver in plan.wiring.drivers.values():
        if driver.reads is None:
            continue
        has = {(one.heard, one.name) for one in driver.reads}
        for (kind, name), span in wanted(driver, plan):
            yield Obligation(
                "input-unread",
                (driver.name, name),
                constant((kind, name) not in has),
                f"driver {driver.name} goes by {kind} {name}, which it does not read",
                (driver.span, span),
                place=driver.name,
                hint=f"Wire {name} to {driver.name} and add it to its `reads`.",
            )
        for name, contacts, span in reports_wanted(driver, plan):
            read = any(r.name == name and r.contacts == contacts for r in driver.reads)
            called = f"{name} contacts" if contacts else name
            yield Obligation(
                "input-unread",
                (driver.name, name),
                constant(not read),
                f"{_who_uses(driver)} use {called}, which driver {driver.name} does not read",
                (driver.span, span),
                pieces=(name,) if contacts
                else pieces_in(plan.wiring.detectors[name].block, plan),
                place=name,
                hint=f"Wire {called} to {driver.name} and add it to its `reads`.",
            )  # fmt: skip


def _detectors_read(driver: Driver, plan: Plan) -> list[Detector]:
    if driver.reads is None:
        names = [name for name, contacts, _ in reports_wanted(driver, plan) if not contacts]
    else:
        names = [reading.name for reading in driver.reads if not reading.contacts]
    known = plan.wiring.detectors
    return [known[name] for name in dict.fromkeys(names) if name in known]


def _who_uses(driver: Driver) -> str:
    """What of a board asks for its inputs, in words."""
    return f"the rules of {listing(driver.heads)}" if driver.heads else "relays and locks"


def reports_wanted(driver: Driver, plan: Plan) -> Iterator[tuple[str, bool, Span]]:
    """The detectors, and (True) the turnouts with contacts, that the rules of a driver's heads, and
    what it keeps in memory, use: each once, with the first place that uses it."""
    seen: set[tuple[str, bool]] = set()
    for what, span in asked(driver, plan):
        for name, contacts in _sources(what, plan):
            if (name, contacts) not in seen:
                seen.add((name, contacts))
                yield name, contacts, span


def _sources(what: Observable, plan: Plan) -> Iterator[tuple[str, bool]]:
    if what.kind == "block report":
        yield from ((d.name, False) for d in plan.wiring.detectors_of(what.name))
    elif what.kind in OF_CONTACTS:
        machine = plan.wiring.machines.get(what.name)
        if machine.contacts != () if machine else what.kind == "points report":
            yield what.name, True


def heads_of(plan: Plan) -> Iterator[tuple[Signal, Head]]:
    """Every head, with its signal."""
    return ((signal, head) for signal in plan.signals.values() for head in signal.heads)


# ------------------------------------------------------------------ two supplies that meet


def supplies_joined(plan: Plan) -> Iterator[Obligation]:
    """No uncut rail joins two supplies of track power without a common return. A note.

    Where the blocks on both sides of a gap are fed by different supplies, and the gap is cut in
    one rail only, the other rail connects the two supplies. Cut both rails, or, if their makers
    allow it, join the returns.
    """
    for gap in gaps_of(plan.track):
        names = supplies_beside(gap.joint, plan)
        if names is None:
            continue
        one, other = names
        joined = gap.joint.kind != "||" and not plan.wiring.share_a_return(one, other)
        yield Obligation(
            "supplies-joined",
            (gap.name,),
            constant(joined),
            f"at {gap.name} {one} and {other} meet, and the rail that is not cut joins them",
            (gap.joint.span,),
            pieces=(gap.joint.a.piece, gap.joint.b.piece),
            place=gap.name,
            advice=True,
            hint=f"Cut both rails (`||`), or, if their makers allow it, join the returns and write "
            f"`common return {one}, {other}`.",
        )


def supplies_beside(joint: Joint, plan: Plan) -> tuple[str, str] | None:
    """The two supplies of the track power on both sides of a joint, where they are two."""
    blocks = [plan.track.pieces[port.piece].block for port in (joint.a, joint.b)]
    power = [plan.wiring.power_of(block) for block in blocks if block is not None]
    names = [supply.name for supply in power if supply is not None]
    return (names[0], names[1]) if len(set(names)) == 2 else None


# ------------------------------------------------------------------ drivers and their heads


def head_without_driver(plan: Plan) -> Iterator[Obligation]:
    """Every head is lit by a driver. Checked in files with drivers."""
    for signal, head in heads_of(plan) if plan.wiring.drivers else ():
        yield Obligation(
            "head-without-driver",
            (head.name,),
            constant(plan.wiring.driver_of(head.name) is None),
            f"no driver lights {head.name}",
            (head.span,),
            pieces=(signal.enters.piece,),
            place=signal.name,
            hint=f"Add `{head.name}` to the heads that a driver `drives`.",
        )


def lamp_colors(head: Head) -> tuple[str, ...]:
    """The colors of the lamps of a head: flashing and steady are one lamp, dark is none."""
    return head.lamps
