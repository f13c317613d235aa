"""The wiring as written: what must be so whatever trains and people do.

Each function's docstring is what ``clearproof explain NAME`` prints. All of these are common
practice: no published standard was found for how a model railroad's detectors are wired.
"""

from collections.abc import Iterator

from verifier.language.listing import listing
from verifier.logic.expr import constant
from verifier.plan.model import Head, Line, Plan, Signal
from verifier.plan.observables import Observable, facts_in
from verifier.plan.wiring.wiring_model import Detector, Driver
from verifier.properties.obligation import Obligation
from verifier.properties.phrases import pieces_in


def blocks_joined(plan: Plan) -> Iterator[Obligation]:
    """Between two blocks there is a gap, and none within a block unless it has a name.

    Without a gap current flows from one block into the other: the detector of either sees
    what stands on the other, or misses what stands on its own. A gap within a block cuts part
    of it off from its feeders.
    """
    if not plan.wiring.given:
        return
    pieces = plan.track.pieces
    between: dict[tuple[str, ...], bool] = {}
    spans = {}
    for joint in plan.track.joints:
        one, other = (pieces[port.piece].block for port in (joint.a, joint.b))
        if one is None or other is None:
            continue
        if one != other:
            wrong = joint.kind == "="
        elif joint.kind == "=" or joint.gap:
            continue
        else:
            wrong = True
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
            else f"no gap lies between {listing(blocks)}: they are one block to a detector",
            (spans[blocks],),
            pieces=tuple(p.name for p in pieces.values() if p.block in blocks),
            place=listing(blocks),
            hint=f"Join the rail there (`=`), make two blocks of {blocks[0]}, or name the gap "
            "(`|(g1)`) to say that it is meant." if within
            else "Cut a gap there and write `|`, or make one block of the two.",
        )  # fmt: skip


# ------------------------------------------------------------------ feeders and detectors


def feeder_undetected(plan: Plan) -> Iterator[Obligation]:
    """Every feeder of a block with a current-sensing detector passes through that detector.

    The detector does not see current through a feeder that bypasses it: near that feeder the
    block reads clear with a train on it.
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
            f"{listing([d.name for d in sensing])}: a locomotive near it is not seen",
            (feeder.span, *(d.span for d in sensing)),
            pieces=pieces_in(feeder.block, plan),
            place=feeder.block,
            hint=f"Lead {feeder.name} through {sensing[0].name} too and add it to its `through`.",
        )


def detector_misplaced(plan: Plan) -> Iterator[Obligation]:
    """The feeders that pass through a detector are those of its own block.

    A detector on another block's feeder reads occupied for trains that are not on its block,
    and that other block may be read by nobody.
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
            f"detector {detector.name} is that of {detector.block}, and feeder {names} of "
            f"{others} passes through it",
            (detector.span, *(feeder.span for feeder in astray)),
            pieces=pieces_in(detector.block, plan),
            place=detector.block,
            hint=f"Lead {names} past {detector.name} and take it out of its `through`, or through "
            f"the detector of {others}.",
        )


def _sensing(block: str, plan: Plan) -> list[Detector]:
    return [d for d in plan.wiring.detectors_of(block) if d.kind == "current-sensing"]


# ------------------------------------------------------------------ drivers and their inputs


def supply_mismatch(plan: Plan) -> Iterator[Obligation]:
    """A driver and every detector it reads are on one supply, or on two with a common return,
    or the detector's output is isolated.

    Current must have a way back: without one the driver's input stays as it is, whatever the
    detector says. A driver for which the file does not say what it `reads` reads every detector
    that the rules of its heads ask for. Checked where both supplies are given.
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
                f"driver {driver.name} on {one} cannot hear detector {detector.name} on {other}: "
                "they have no return in common",
                (driver.span, detector.span),
                pieces=pieces_in(detector.block, plan),
                place=detector.block,
                hint=f"Join the returns of the two and write `common return {one}, {other}`; or "
                f"power {detector.name} by {one}; or use a detector with `isolated output`.",
            )


def input_unread(plan: Plan) -> Iterator[Obligation]:
    """A driver reads everything that the rules of its heads ask for.

    Where the file lists what a driver `reads`, every detector of every block in those rules is
    among it, and the contacts of every turnout, unless it has none.
    """
    for driver in plan.wiring.drivers.values():
        if driver.reads is None:
            continue
        for name, contacts, line in _wanted(driver, plan):
            read = any(r.name == name and r.contacts == contacts for r in driver.reads)
            wanted = f"{name} contacts" if contacts else name
            yield Obligation(
                "input-unread",
                (driver.name, name),
                constant(not read),
                f"the rules of {listing(driver.heads)} need {wanted}, which driver {driver.name} "
                "does not read",
                (driver.span, line.span),
                pieces=(name,) if contacts
                else pieces_in(plan.wiring.detectors[name].block, plan),
                place=name,
                hint=f"Wire {wanted} to {driver.name} and add it to its `reads`.",
            )  # fmt: skip


def _detectors_read(driver: Driver, plan: Plan) -> list[Detector]:
    if driver.reads is None:
        names = [name for name, contacts, _ in _wanted(driver, plan) if not contacts]
    else:
        names = [reading.name for reading in driver.reads if not reading.contacts]
    known = plan.wiring.detectors
    return [known[name] for name in dict.fromkeys(names) if name in known]


def _wanted(driver: Driver, plan: Plan) -> Iterator[tuple[str, bool, Line]]:
    """The detectors, and (True) the turnouts with contacts, that the rules of a driver's heads
    ask for, each once, with the first line that does."""
    seen: set[tuple[str, bool]] = set()
    for line in _lines_of(driver, plan):
        for what in _reports_in(line, plan):
            for name, contacts in _sources(what, plan):
                if (name, contacts) not in seen:
                    seen.add((name, contacts))
                    yield name, contacts, line


def _sources(what: Observable, plan: Plan) -> Iterator[tuple[str, bool]]:
    if what.kind == "block report":
        yield from ((d.name, False) for d in plan.wiring.detectors_of(what.name))
    elif what.kind == "points report":
        machine = plan.wiring.machines.get(what.name)
        if machine is None or machine.contacts != ():
            yield what.name, True


def _reports_in(line: Line, plan: Plan) -> Iterator[Observable]:
    """What a line asks for, named conditions opened up."""
    waiting = [line.when] if line.when is not None else []
    opened: set[str] = set()
    while waiting:
        for says in facts_in(waiting.pop()):
            if says.what.kind != "condition":
                yield says.what
            elif says.what.name not in opened:
                opened.add(says.what.name)
                waiting.append(plan.conditions[says.what.name].condition)


def _lines_of(driver: Driver, plan: Plan) -> Iterator[Line]:
    for signal, head in _heads(plan):
        if head.name in driver.heads:
            yield from head.lines or signal.lines


def _heads(plan: Plan) -> Iterator[tuple[Signal, Head]]:
    return ((signal, head) for signal in plan.signals.values() for head in signal.heads)


# ------------------------------------------------------------------ drivers and their heads


def head_without_driver(plan: Plan) -> Iterator[Obligation]:
    """Every head is lit by a driver, in a file that gives drivers at all."""
    for signal, head in _heads(plan) if plan.wiring.drivers else ():
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


def driver_short_of_outputs(plan: Plan) -> Iterator[Obligation]:
    """A driver has an output for every lamp of its heads.

    Counted are the colors that the rules of each head can show and those its driver shows of
    itself, flashing and steady being one lamp, and dark none. Checked where `outputs` is given.
    """
    for driver in plan.wiring.drivers.values():
        if driver.outputs is None:
            continue
        heads = [(signal, head) for signal, head in _heads(plan) if head.name in driver.heads]
        lamps = {head.name: len(lamp_colors(head)) for _, head in heads}
        need = sum(lamps.values())
        counted = ", ".join(f"{count} for {name}" for name, count in lamps.items())
        yield Obligation(
            "driver-short-of-outputs",
            (driver.name,),
            constant(need > driver.outputs),
            f"driver {driver.name} has {driver.outputs} outputs and needs {need} ({counted})",
            (driver.span,),
            pieces=tuple(dict.fromkeys(signal.enters.piece for signal, _ in heads)),
            place=driver.name,
            hint=f"Let another driver light some of these heads, or use one with {need} outputs.",
        )


def lamp_colors(head: Head) -> tuple[str, ...]:
    """The colors of its lamps, one each: flashing and steady are one lamp, dark is none."""
    shown = (color.removeprefix("flashing ") for color in head.color.values)
    return tuple(dict.fromkeys(color for color in shown if color != "dark"))
