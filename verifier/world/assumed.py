"""What is taken for granted where a file does not say otherwise; every report prints it.

In: a plan. Out: short sentences, each about one thing that the file leaves out.
"""

from collections.abc import Iterable, Iterator

from verifier.plan.model import Plan

# Names listed in one sentence before the rest is counted.
NAMED = 5

NO_WIRING_GIVEN = "No wiring is given, so every detector and contact is taken to report the truth."
ALWAYS = "Trains are taken to obey signals; beyond the edges of the plan nothing is checked."


def assumed(plan: Plan) -> tuple[str, ...]:
    """The sentences for one plan, from the rail to the lens."""
    return (*_wiring(plan), *_gaps(plan), ALWAYS)


def _wiring(plan: Plan) -> Iterator[str]:
    if not plan.wiring.given:
        yield NO_WIRING_GIVEN
        return
    yield from _detection(plan)
    yield from _power(plan)
    yield from _stock(plan)
    yield from _points(plan)
    others = [*plan.derails, *plan.gates]
    if others:
        yield f"Nothing can be said of the wiring of {_named(others)}: taken to report truthfully."
    yield from _drivers(plan)


def _detection(plan: Plan) -> Iterator[str]:
    wiring = plan.wiring
    bare = [b.name for b in plan.blocks.values() if b.detected and not wiring.detectors_of(b.name)]
    if bare:
        yield f"No detector is given for {_named(bare)}: taken to report stock truthfully."
    detectors = wiring.detectors.values()
    unsaid = [d.name for d in detectors if d.closed_when is None]
    if unsaid:
        yield (
            f"Outputs of {_named(unsaid)}: taken to be closed when clear, so that a broken wire "
            "reads occupied."
        )
    unpowered = [d.name for d in detectors if d.supply is None]
    if unpowered:
        yield (
            f"No supply is given for {_named(unpowered)}: taken to be on, and to suit every reader."
        )
    forked = {p.block for p in plan.track.pieces.values() if p.kind not in ("plain", "bumper")}
    spread = [d.name for d in detectors if d.kind == "spot" and d.block in forked]
    if spread:
        yield (
            f"Spots of {_named(spread)} stand in a block with points or a crossing: taken to watch "
            "every way through it at these places, so put one on each leg."
        )
    held = [d.name for d in detectors if d.hold]
    if held:
        yield (
            f"Hold times of {_named(held)} only make a report of occupied last longer: a train "
            "that stands still outlasts any."
        )


def _power(plan: Plan) -> Iterator[str]:
    wiring = plan.wiring
    if wiring.feeders:
        yield (
            "Stock draws its current through the feeder nearest to it; where that is broken, "
            "through the other feeders of its block (common practice, no source)."
        )
    adrift = [b for b in plan.blocks if wiring.feeders_of(b) and b not in wiring.district_of]
    if adrift:
        yield f"No power district is given for {_named(adrift)}: taken to have track power."
    fed = {b for b in plan.blocks if wiring.feeders_of(b)}
    if fed:
        beside = (
            [plan.track.pieces[port.piece].block for port in (joint.a, joint.b)]
            for joint in plan.track.joints
            if joint.kind != "="
        )
        bare = {b for pair in beside if not fed.issuperset(pair) for b in pair if b} - fed
        if bare:
            listed = _named(b for b in plan.blocks if b in bare)
            yield f"No feeders are given for {listed}: the gaps beside are taken to hold."
    sensing = [d for d in wiring.detectors.values() if d.kind == "current-sensing"]
    weak = dict.fromkeys(
        d.block
        for d in sensing
        if not (
            wiring.trains
            and wiring.trains.wheelsets
            and d.sensitivity
            and (supply := wiring.power_of(d.block))
            and supply.volts
        )
    )
    if weak:
        gaps = "; beside a bridged gap it is then taken to be seen on one side only"
        yield (
            f"Track voltage, wheelsets or sensitivity are not all given for {_named(weak)}: stock "
            "that draws current is taken to draw enough"
            f"{gaps if plan.equipment.gaps else ''}."
        )


def _stock(plan: Plan) -> Iterator[str]:
    wiring = plan.wiring
    if wiring.trains is not None:
        return
    if any(d.kind == "current-sensing" for d in wiring.detectors.values()):
        yield "Nothing is said of trains: taken to be detectable throughout."
    if any(d.kind == "spot" for d in wiring.detectors.values()):
        yield "Nothing is said of trains: taken to be of any length, however short."


def _points(plan: Plan) -> Iterator[str]:
    wiring = plan.wiring
    # A slip has no machine of its own: what is said of turnouts does for it.
    moved = [p.name for p in plan.track.pieces.values() if p.kind in ("turnout", "slip")]
    machines = {name: wiring.machines.get(name) for name in moved}
    unsaid = [name for name, machine in machines.items() if not machine or machine.contacts is None]
    if unsaid:
        yield f"No contacts are given for {_named(unsaid)}: taken to report how the points lie."
    still = [name for name, machine in machines.items() if not machine or machine.motor is None]
    if still:
        yield (
            f"No motor is given for {_named(still)}: the points may lie any way at any moment, "
            "and no machine can stall."
        )
    unpowered = [n for n, m in machines.items() if m and m.motor and m.supply is None]
    if unpowered:
        yield f"No supply is given for the motors of {_named(unpowered)}: taken to be on."


def _drivers(plan: Plan) -> Iterator[str]:
    wiring = plan.wiring
    if not plan.signals:
        return
    if not wiring.drivers:
        yield (
            "No drivers are given: the rules read every report as it is, every head lights as it "
            "is told, and no lamp nor wire to a head can fail."
        )
        return
    drivers = wiring.drivers.values()
    reads_all = [d.name for d in drivers if d.reads is None]
    if reads_all:
        yield f"Inputs of {_named(reads_all)}: taken to be all that their rules ask for."
    unpowered = [d.name for d in drivers if d.supply is None]
    if unpowered:
        yield f"No supply is given for {_named(unpowered)}: taken to be on, and to hear all inputs."
    silent = [d.name for d in drivers if d.when_out is None and len(d.heads) > 1]
    if silent:
        told = "the other heads stay as they are."
        yield f"Nothing is said of a lamp out for {_named(silent)}: {told}"


def _gaps(plan: Plan) -> Iterator[str]:
    """Where gaps lie: at or beyond the fouling points, unless the file tells."""
    machines = plan.wiring.machines
    kinds = ("turnout", "slip", "crossing")
    fouled = [p.name for p in plan.track.pieces.values() if p.kind in kinds]
    unsaid = [
        name
        for name in fouled
        if not ((machine := machines.get(name)) and machine.fouling and len(machine.gaps) == 2)
    ]
    if not unsaid:
        return
    if len(unsaid) == len(fouled):
        yield (
            "Gaps are taken to stand at or beyond the fouling points: stock inside one block "
            "fouls no other."
        )
    else:
        yield (
            f"Gaps at {_named(unsaid)} are taken to stand at or beyond the fouling points: stock "
            "inside one block fouls no other."
        )


def _named(names: Iterable[str]) -> str:
    """A handful of names; of more, how many there are."""
    listed = list(names)
    if len(listed) > NAMED + 1:
        return f"{', '.join(listed[:NAMED])} and {len(listed) - NAMED} more"
    if len(listed) < 2:
        return "".join(listed)
    return f"{', '.join(listed[:-1])} and {listed[-1]}"
