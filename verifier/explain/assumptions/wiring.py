"""What is assumed of the equipment where a file leaves something out, from the rail to the lens.

In: a plan. Out: short sentences, each about one thing.
"""

from collections.abc import Iterator

from verifier.explain.assumptions.division import of_known_rails, unknown_divisions
from verifier.explain.assumptions.heads import of_heads
from verifier.explain.assumptions.saying import about, moving
from verifier.plan.model import Plan
from verifier.plan.track.turning import comes_back_turned
from verifier.plan.wiring.division import margin
from verifier.plan.wiring.hearing import heard
from verifier.plan.wiring.sections import may_be_too_short, two_fed
from verifier.plan.wiring.supplied import drawn_from, ends_of
from verifier.plan.wiring.wiring_model import Detector

NO_WIRING_GIVEN = "No wiring is given, so every detector and contact is taken to report the truth."


def of_wiring(plan: Plan) -> Iterator[str]:
    if not plan.wiring.given:
        yield NO_WIRING_GIVEN
        if comes_back_turned(plan.track.joints, plan.track):
            yield (
                "Track comes back turned around: the sections that take this up are taken to be "
                "cut off in both rails, and fed through reversers."
            )
        return
    yield from _detection(plan)
    yield from _power(plan)
    yield from _loads(plan)
    yield from _stock(plan)
    yield from _points(plan)
    yield from about(
        (n for n in (*plan.derails, *plan.gates) if n not in plan.wiring.machines),
        "Nothing is said of the contacts of {}: taken to report truthfully.",
    )
    yield from _drivers(plan)


def _detection(plan: Plan) -> Iterator[str]:
    wiring = plan.wiring
    detectors = wiring.detectors.values()
    yield from about(
        (b.name for b in plan.blocks.values() if b.detected and not wiring.detectors_of(b.name)),
        "No detector is given for {}: taken to report stock truthfully.",
    )
    yield from about(
        (d.name for d in detectors if d.closed_when is None),
        "Outputs of {}: taken to be closed when clear, so that a broken wire reads occupied.",
    )
    yield from about(
        (d.name for d in detectors if d.supply is None),
        "No supply is given for {}: taken to be on, and to suit every reader.",
    )
    yield from about(
        (d.name for d in detectors if d.kind == "spot" and _has_lost_spots(d, plan)),
        "Some spots of {} stand in a block with points or a crossing, and the file does not say "
        "over which leg (`900 mm over normal T1`; before the points, `over T1`): a train is taken "
        "to pass none of these.",
    )
    yield from about(
        (d.name for d in detectors if d.hold),
        "Over time, {} may report a train for as long as their hold times after it has left."
        if plan.locking.over_time
        else "Hold times of {} only make a report of occupied last longer: a train that stands "
        "still outlasts any.",
    )


def _bridged(plan: Plan) -> Iterator[str]:
    """What is taken of gaps that a train may reach over."""
    wiring, track = plan.wiring, plan.track
    longest = wiring.trains.longest if wiring.trains else None
    turning = (name for name, supply in wiring.supplies.items() if supply.reverses)
    yield from about(
        (name for name in turning if may_be_too_short(name, longest, track, wiring)),
        "Whether the longest train is shorter than the section of {} does not follow from the "
        "lengths in the file: taken to be so.",
    )
    pairs = two_fed(plan.blocks, track, wiring)
    unknown = (s for p in pairs for s in p.supplies if wiring.current_of(s) is None)
    yield from about(
        dict.fromkeys(unknown),
        "Whether {} is DC, AC or DCC is not given: taken to go together with the supplies of the "
        "blocks beside.",
    )


def _has_lost_spots(detector: Detector, plan: Plan) -> bool:
    """Whether a train surely passes some spot of a detector on no way through its block."""
    room = plan.equipment.geometry.get(detector.block)
    if room is None:
        return False
    passed = {spot for way in room.each_way for spot in way}
    return not passed.issuperset(plan.equipment.spots_of[detector.name])


def _power(plan: Plan) -> Iterator[str]:
    wiring = plan.wiring
    fed = {b for b in plan.blocks if wiring.feeders_of(b)}
    if fed:
        yield "Stock draws its current through all feeders of its block that are not broken."
        yield from _division(plan)
        yield from about(
            (b for b in plan.blocks if b in fed and b not in wiring.district_of),
            "No power district is given for {}: taken to have track power.",
        )
        beside = (
            [plan.track.pieces[port.piece].block for port in (joint.a, joint.b)]
            for joint in plan.track.joints
            if joint.kind != "="
        )
        bare = {b for pair in beside if not fed.issuperset(pair) for b in pair if b} - fed
        yield from about(
            (b for b in plan.blocks if b in bare),
            "No feeders are given for {}: the gaps beside are taken to hold.",
        )
    yield from _bridged(plan)
    sensing = (d.block for d in wiring.detectors.values() if d.kind == "current-sensing")
    power = dict.fromkeys(s.name for b in sensing if (s := wiring.power_of(b)))
    yield from about(
        (name for name in power if wiring.current_of(name) is None),
        "Whether {} is DC, AC or DCC is not given: taken to be what the detectors there can sense.",
    )
    reading = {
        plan.equipment.relays_supply,
        *(driver.supply for driver in wiring.drivers.values()),
        *(detector.supply for detector in wiring.detectors.values()),
    }
    yield from about(
        (
            name
            for name in wiring.supplies
            if name in reading
            and wiring.current_of(name) is None
            and any(map(wiring.current_of, wiring.sharing_return(name)))
        ),
        "Whether {} is DC, AC or DCC is not given: taken to suit what reads detectors over its "
        "common return.",
    )
    weak = dict.fromkeys(
        d.block
        for d in wiring.detectors.values()
        if d.kind == "current-sensing" and margin(d, d.block, wiring) is None
    )
    gaps = "; beside a bridged gap it is then taken to be seen on one side only"
    yield from about(
        weak,
        "Track voltage, wheelsets or sensitivity are not all given for {}: stock that draws "
        f"current is taken to draw enough{gaps if plan.equipment.gaps else ''}.",
    )


def _division(plan: Plan) -> Iterator[str]:
    """How current divides where not all feeders of a block pass through one detector."""
    wiring = plan.wiring
    whys = dict(unknown_divisions(plan))
    for why in dict.fromkeys(whys.values()):
        yield from about(
            (block for block, said in whys.items() if said == why),
            "How current divides between the feeders of {} does not follow from the file "
            f"({why}): a detector with some of them is taken to see all of it, or none.",
        )
    known = dict.fromkeys(d.block for d in plan.equipment.divisions.values() if d.known)
    of_rails = list(of_known_rails(plan))
    for text in dict.fromkeys(text for _, text in of_rails):
        yield from about((name for name, said in of_rails if said == text), text)
    yield from about(
        known,
        "Where current divides between the feeders of {}, detectors, joints and terminals are "
        "taken to add no resistance, and these feeders to leave one point of the bus.",
    )
    yield from about(
        (
            block
            for block, names in plan.equipment.together.items()
            if any((name, block) in plan.equipment.divisions for name in names)
            and any(margin(wiring.detectors[n], block, wiring) is None for n in names)
        ),
        "Current of {} divides between several detectors: of all that these see together, one is "
        "taken to see enough.",
    )


def _loads(plan: Plan) -> Iterator[str]:
    """What supplies, wires and coils are not asked about, since the file does not say."""
    wiring = plan.wiring
    limited = [s for s in wiring.supplies.values() if s.amps is not None or s.fuse is not None]
    yield from about(
        dict.fromkeys(n for s in limited for n, draws, _ in drawn_from(s, wiring) if draws is None),
        "What {} {draw} is not given (`draws 20 mA`): not counted as load.",
        draw=("draws itself", "draw themselves"),
    )
    fed = {name for d in wiring.districts.values() for name in wiring.chain_of(d.supply)}
    counted = wiring.trains is not None and wiring.trains.most_load is not None
    yield from about(
        (s.name for s in limited if s.name in fed),
        "How many trains draw from {} at once is not in the file: one is counted as load."
        if counted
        else "What trains draw from {} is not in the file: not counted as load.",
    )
    ends = (end for s in wiring.supplies.values() for end in ends_of(s, wiring)
            if s in limited or end.fuses)  # fmt: skip
    gauges = {end.own.gauge for end in ends if end.own}
    yield from about(
        (f"{gauge} AWG" for gauge in sorted(gauges) if gauge not in wiring.ampacity),
        "What wire of {} carries is not given (`wire 22 AWG carries 3 A`): ask its maker whether "
        "it suits the fuse.",
    )
    yield from about(
        (t.device for t in plan.locking.throws.values() if t.snap and t.by == "anyone"),
        "Nothing is said of what throws {}: its coil is taken to get a pulse.",
    )


def _stock(plan: Plan) -> Iterator[str]:
    kinds = {d.kind for d in plan.wiring.detectors.values() if plan.wiring.trains is None}
    if "current-sensing" in kinds:
        yield "Nothing is said of trains: taken to be detectable throughout."
    if "spot" in kinds:
        yield "Nothing is said of trains: taken to be of any length, however short."


def _points(plan: Plan) -> Iterator[str]:
    given = plan.wiring.machines
    sensing = {d.block for d in plan.wiring.detectors.values() if d.kind == "current-sensing"}
    turnouts = (p for p in plan.track.pieces.values() if p.kind == "turnout" and p.block in sensing)
    yield from about(
        (p.name for p in turnouts if not (p.name in given and given[p.name].frog)),
        "Nothing is said of the frogs of {}: taken to be insulated, with live rails all around.",
    )
    # A slip has no machine of its own: what is said of turnouts does for it.
    machines = {d.name: plan.wiring.machines.get(d.name) for d in moving(plan) if d.has_points}
    yield from about(
        (name for name, machine in machines.items() if not machine or machine.contacts is None),
        "No contacts are given for {}: taken to report how the points lie.",
    )
    yield from about(
        (name for name, machine in machines.items() if not machine or machine.motor is None),
        "No motor is given for {}: the points may lie any way at any moment, and no machine can "
        "stall.",
    )
    yield from about(
        (n for n, m in machines.items() if m and m.motor and m.supply is None),
        "No supply is given for the motors of {}: taken to be on.",
    )


def _drivers(plan: Plan) -> Iterator[str]:
    drivers = plan.wiring.drivers.values()
    if plan.signals and not drivers:
        yield (
            "No drivers are given: the rules read every report as it is, every head lights as "
            "commanded, and no lamp nor wire to a head can fail."
        )
    elif plan.signals:
        yield from about(
            (d.name for d in drivers if d.reads is None),
            "Inputs of {}: taken to be all that their rules read.",
        )
        yield from about(
            (d.name for d in drivers if d.supply is None),
            "No supply is given for {}: taken to be on, and to suit all inputs.",
        )
        yield from about(
            (d.name for d in drivers if d.when_out is None and len(d.heads) > 1),
            "Nothing is said of a lamp out for {}: the other heads stay as they are.",
        )
    for names, sentence in of_heads(plan):
        yield from about(names, sentence)
    yield from about(
        dict.fromkeys(name for driver in drivers for _, name in heard(driver, plan)),
        "Not looked at: a wire of {} that breaks, or is swapped with another. Drivers are taken to "
        "hear them as they are, at once.",
    )


def of_gaps(plan: Plan) -> Iterator[str]:
    """Where gaps lie: at or beyond the fouling points, unless the file says so."""
    machines = plan.wiring.machines
    kinds = ("turnout", "slip", "crossing")
    fouled = [p.name for p in plan.track.pieces.values() if p.kind in kinds]
    unsaid = [
        name
        for name in fouled
        if not ((machine := machines.get(name)) and machine.fouling and len(machine.gaps) == 2)
    ]
    which = "Gaps" if unsaid == fouled else "Gaps at {}"
    yield from about(
        unsaid,
        f"{which} are taken to stand at or beyond the fouling points: stock inside one block "
        "fouls no other.",
    )
