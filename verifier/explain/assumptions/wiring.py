"""The assumptions where a file leaves something out; every report prints them.

In: a plan. Out: short sentences, each about one thing that the file leaves out.
"""

from collections.abc import Iterable, Iterator
from fractions import Fraction

from verifier.language.listing import listing
from verifier.plan.devices import Device, devices, signaled_entries
from verifier.plan.locking.building import VERSIONS
from verifier.plan.locking.durations import durations_matter
from verifier.plan.locking.false_reports import releases_in_sequence
from verifier.plan.locking.locking_model import conditions_of, never_broken, power_of
from verifier.plan.model import Plan
from verifier.plan.observables import facts_unfolded
from verifier.plan.track.turning import comes_back_turned
from verifier.plan.wiring.division import margin
from verifier.plan.wiring.hearing import heard
from verifier.plan.wiring.sections import may_be_too_short, two_fed
from verifier.plan.wiring.supplied import drawn_from, ends_of
from verifier.plan.wiring.wiring_model import Detector
from verifier.world.division_text import of_known_rails, unknown_divisions
from verifier.world.head_text import of_heads

# Names listed in one sentence before the rest is counted.
NAMED = 5

NO_WIRING_GIVEN = "No wiring is given, so every detector and contact is taken to report the truth."
ALWAYS = "Trains are taken to obey signals; beyond the edges of the plan nothing is checked."


def assumption_texts(plan: Plan) -> tuple[str, ...]:
    """The sentences for one plan, from the rail to the lens."""
    histories = _histories(plan) if plan.locking.over_time else ()
    return (*_wiring(plan), *_gaps(plan), *histories, ALWAYS)


def _about(names: Iterable[str], sentence: str, draw: tuple[str, str] = ("", "")) -> Iterator[str]:
    """A sentence about some things; none where there are none. ``draw``: what one does, and what
    several do."""
    listed = list(names)
    if listed:
        yield sentence.format(_named(listed), draw=draw[len(listed) > 1])


def _wiring(plan: Plan) -> Iterator[str]:
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
    yield from _about(
        (n for n in (*plan.derails, *plan.gates) if n not in plan.wiring.machines),
        "Nothing is said of the contacts of {}: taken to report truthfully.",
    )
    yield from _drivers(plan)


def _detection(plan: Plan) -> Iterator[str]:
    wiring = plan.wiring
    detectors = wiring.detectors.values()
    yield from _about(
        (b.name for b in plan.blocks.values() if b.detected and not wiring.detectors_of(b.name)),
        "No detector is given for {}: taken to report stock truthfully.",
    )
    yield from _about(
        (d.name for d in detectors if d.closed_when is None),
        "Outputs of {}: taken to be closed when clear, so that a broken wire reads occupied.",
    )
    yield from _about(
        (d.name for d in detectors if d.supply is None),
        "No supply is given for {}: taken to be on, and to suit every reader.",
    )
    yield from _about(
        (d.name for d in detectors if d.kind == "spot" and _has_lost_spots(d, plan)),
        "Some spots of {} stand in a block with points or a crossing, and the file does not say "
        "over which leg (`900 mm over normal T1`; before the points, `over T1`): a train is taken "
        "to pass none of these.",
    )
    yield from _about(
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
    yield from _about(
        (name for name in turning if may_be_too_short(name, longest, track, wiring)),
        "Whether the longest train is shorter than the section of {} does not follow from the "
        "lengths in the file: taken to be so.",
    )
    pairs = two_fed(plan.blocks, track, wiring)
    unknown = (s for p in pairs for s in p.supplies if wiring.current_of(s) is None)
    yield from _about(
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
        yield from _about(
            (b for b in plan.blocks if b in fed and b not in wiring.district_of),
            "No power district is given for {}: taken to have track power.",
        )
        beside = (
            [plan.track.pieces[port.piece].block for port in (joint.a, joint.b)]
            for joint in plan.track.joints
            if joint.kind != "="
        )
        bare = {b for pair in beside if not fed.issuperset(pair) for b in pair if b} - fed
        yield from _about(
            (b for b in plan.blocks if b in bare),
            "No feeders are given for {}: the gaps beside are taken to hold.",
        )
    yield from _bridged(plan)
    sensing = (d.block for d in wiring.detectors.values() if d.kind == "current-sensing")
    power = dict.fromkeys(s.name for b in sensing if (s := wiring.power_of(b)))
    yield from _about(
        (name for name in power if wiring.current_of(name) is None),
        "Whether {} is DC, AC or DCC is not given: taken to be what the detectors there can sense.",
    )
    reading = {
        plan.equipment.relays_supply,
        *(driver.supply for driver in wiring.drivers.values()),
        *(detector.supply for detector in wiring.detectors.values()),
    }
    yield from _about(
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
    yield from _about(
        weak,
        "Track voltage, wheelsets or sensitivity are not all given for {}: stock that draws "
        f"current is taken to draw enough{gaps if plan.equipment.gaps else ''}.",
    )


def _division(plan: Plan) -> Iterator[str]:
    """How current divides where not all feeders of a block pass through one detector."""
    wiring = plan.wiring
    whys = dict(unknown_divisions(plan))
    for why in dict.fromkeys(whys.values()):
        yield from _about(
            (block for block, said in whys.items() if said == why),
            "How current divides between the feeders of {} does not follow from the file "
            f"({why}): a detector with some of them is taken to see all of it, or none.",
        )
    known = dict.fromkeys(d.block for d in plan.equipment.divisions.values() if d.known)
    of_rails = list(of_known_rails(plan))
    for text in dict.fromkeys(text for _, text in of_rails):
        yield from _about((name for name, said in of_rails if said == text), text)
    yield from _about(
        known,
        "Where current divides between the feeders of {}, detectors, joints and terminals are "
        "taken to add no resistance, and these feeders to leave one point of the bus.",
    )
    yield from _about(
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
    yield from _about(
        dict.fromkeys(n for s in limited for n, draws, _ in drawn_from(s, wiring) if draws is None),
        "What {} {draw} is not given (`draws 20 mA`): not counted as load.",
        draw=("draws itself", "draw themselves"),
    )
    fed = {name for d in wiring.districts.values() for name in wiring.chain_of(d.supply)}
    counted = wiring.trains is not None and wiring.trains.most_load is not None
    yield from _about(
        (s.name for s in limited if s.name in fed),
        "How many trains draw from {} at once is not in the file: one is counted as load."
        if counted
        else "What trains draw from {} is not in the file: not counted as load.",
    )
    ends = (end for s in wiring.supplies.values() for end in ends_of(s, wiring)
            if s in limited or end.fuses)  # fmt: skip
    gauges = {end.own.gauge for end in ends if end.own}
    yield from _about(
        (f"{gauge} AWG" for gauge in sorted(gauges) if gauge not in wiring.ampacity),
        "What wire of {} carries is not given (`wire 22 AWG carries 3 A`): ask its maker whether "
        "it suits the fuse.",
    )
    yield from _about(
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
    yield from _about(
        (p.name for p in turnouts if not (p.name in given and given[p.name].frog)),
        "Nothing is said of the frogs of {}: taken to be insulated, with live rails all around.",
    )
    # A slip has no machine of its own: what is said of turnouts does for it.
    machines = {d.name: plan.wiring.machines.get(d.name) for d in _moving(plan) if d.has_points}
    yield from _about(
        (name for name, machine in machines.items() if not machine or machine.contacts is None),
        "No contacts are given for {}: taken to report how the points lie.",
    )
    yield from _about(
        (name for name, machine in machines.items() if not machine or machine.motor is None),
        "No motor is given for {}: the points may lie any way at any moment, and no machine can "
        "stall.",
    )
    yield from _about(
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
        yield from _about(
            (d.name for d in drivers if d.reads is None),
            "Inputs of {}: taken to be all that their rules read.",
        )
        yield from _about(
            (d.name for d in drivers if d.supply is None),
            "No supply is given for {}: taken to be on, and to suit all inputs.",
        )
        yield from _about(
            (d.name for d in drivers if d.when_out is None and len(d.heads) > 1),
            "Nothing is said of a lamp out for {}: the other heads stay as they are.",
        )
    for names, sentence in of_heads(plan):
        yield from _about(names, sentence)
    yield from _about(
        dict.fromkeys(name for driver in drivers for _, name in heard(driver, plan)),
        "Not looked at: a wire of {} that breaks, or is swapped with another. Drivers are taken to "
        "hear them as they are, at once.",
    )


def _gaps(plan: Plan) -> Iterator[str]:
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
    yield from _about(
        unsaid,
        f"{which} are taken to stand at or beyond the fouling points: stock inside one block "
        "fouls no other.",
    )


# ------------------------------------------------------------------ over time


def _histories(plan: Plan) -> Iterator[str]:
    """The assumptions about what changes over time."""
    yield from _trains_run(plan)
    yield from _ends(plan)
    yield from _memory_acts(plan)
    yield from _points_move(plan)
    if plan.locking.promises:
        yield "Beyond what your crew promises, people may do anything at any time."
    if plan.wiring.given:
        yield (
            "Over time, too, reports come through the wiring, wherever on its block stock stands "
            "at each moment. Of what can break, one thing may be broken from any moment on, and "
            "may work now and then, as a loose wire makes contact. Two at once are looked at in "
            "single moments only."
        )
        if untried := listing(never_broken(plan.locking)):
            yield (
                f"The {untried} themselves are taken never to fail: that one sticks, or does not "
                "hold, is not looked at."
            )
        relays = plan.locking.relays
        yield from _about(
            (
                name for name in plan.locking.memory
                if power_of(name, plan.locking) is None
                and not (name in relays and relays[name].step_of)
            ),
            "No supply is given for {}: taken to have power always.",
        )  # fmt: skip
    else:
        yield "Over time, too, detectors and contacts report the truth."
    if releases_in_sequence(plan) or _has_loss_of_shunt(plan):
        yield (
            "For false-occupancy alone, one block, or all blocks of a district whose detectors "
            "read occupied without track power, may once be reported occupied, for however long."
        )
    elif plan.locking.relays:
        yield "No detector reports occupied falsely."
    if _has_loss_of_shunt(plan):
        yield "For loss-of-shunt alone, any train may go unseen for up to 5 s (49 CFR 236.309)."


def _has_loss_of_shunt(plan: Plan) -> bool:
    """Whether the property is about anything in the plan: what is locked or moved by a machine,
    and signals whose routes cross."""
    throws = plan.locking.throws.values()
    machines = any(t.by in ("lever", "buttons", "rule") or t.locked is not None for t in throws)
    return machines or any(
        c.kind == "crossing" and c.first.signal != c.second.signal for c in plan.conflicts
    )


def _trains_run(plan: Plan) -> Iterator[str]:
    running = plan.locking.running
    yield (
        "Trains of any length and any speed pass a signal only while it lets them, go where facing "
        "points send them, and may stop anywhere; people may throw levers and press buttons at any "
        "time."
    )
    if running.to_stop is None:
        yield "A train can always stop before a signal that is put back in its face."
    else:
        yield (
            f"A train that saw a signal clear may still pass it for {_seconds(running.to_stop)} "
            "after it was put back."
        )
    slow = {a.name for a in plan.chart.aspects if a.permits and not a.proceeds}
    after_a_stop = {a.name for a in plan.chart.aspects if a.permits and not a.clears}
    shown = {aspect for s in plan.signals.values() for aspect in s.aspect.values}
    if after_a_stop & shown:
        yield (
            f"Trains stop at a signal that shows {_named(sorted(after_a_stop & shown))}, and then "
            "may pass it at restricted speed."
        )
    if slow & shown or any(block.switching for block in plan.blocks.values()):
        yield "Trains at restricted speed, and on track for switching only, stop short of others."
    where = "No train ever turns back."
    if running.reverse_on is None:
        where = (
            "Trains turn back on plain track outside interlocking limits, where a signal or the "
            "end of the plan comes next on their way, and nowhere else."
        )
    elif running.reverse_on:
        where = f"Trains turn back on plain track of {_named(running.reverse_on)}, nowhere else."
    yield where


def _ends(plan: Plan) -> Iterator[str]:
    running = plan.locking.running
    stands = "all track is vacant"
    if running.start_on:
        stands = f"stock may stand on {_named(running.start_on)}, and all other track is vacant"
    locking = plan.locking
    kinds = ["relays are down"] if locking.relays else []
    kinds += ["timers are idle"] if locking.timers else []
    kinds += ["traffic is rightward"] if locking.traffic else []
    yield "; ".join(filter(None, (f"At the start {stands}", _named(kinds)))) + "."
    yield from _starts(plan)
    edges = [p for p in plan.track.pieces.values() if p.kind == "edge"]
    yield from _about(
        (e.name for e in edges if e.name not in running.entering and e.direction != "leaving"),
        "Trains come in at {} only onto vacant track, and not while a train comes out there or a "
        "signal lets one come.",
    )
    yield from _about(
        (e.name for e in edges if e.name in running.entering),
        "Trains come in at {} whenever the file says so, and then only.",
    )


def _starts(plan: Plan) -> Iterator[str]:
    """How points, derails and gates may lie at the start."""
    positions = plan.locking.starts.positions
    moved = [device.name for device in _moving(plan)]
    said: dict[str, list[str]] = {}
    for name in moved:
        if name in positions:
            said.setdefault(positions[name][0], []).append(name)
    for position, names in said.items():
        yield f"{_named(names)} lie{'s' * (len(names) == 1)} {position} at the start."
    yield from _about(
        (name for name in moved if name not in positions),
        "{} may lie either way at the start, at rest.",
    )


def _memory_acts(plan: Plan) -> Iterator[str]:
    locking = plan.locking
    if len(locking.memory) > 1:
        yield from _order(plan)
    slow = [r.name for r in locking.relays.values() if r.slow_pick or r.slow_release]
    if not (locking.timers or slow):
        return
    what = _named([*locking.timers, *slow])
    if durations_matter(locking):
        yield f"The times of {what} last as long as the file says."
        return
    but = ", but for loss-of-shunt as long as the file says" if _has_loss_of_shunt(plan) else ""
    yield f"The times of {what} are taken to be of any length, however long or short{but}."


def _order(plan: Plan) -> Iterator[str]:
    """Which of those that act sees what the others do, and what an older file says of it."""
    building = plan.locking.building
    if not building.of_relays:
        yield (
            "One program goes through relays, timers and directions of traffic in the order of the "
            "file, over and over: each sees at once what those before it did. Built of relays, "
            "nothing of this is proved."
        )
        return
    yield (
        "Relays, timers and directions of traffic move in any order, several at once too: each "
        "sees another as it was or after it has moved."
    )
    if not building.said and building.version != VERSIONS[-1] and _reads_another(plan):
        yield (
            "The file does not say how it is built: taken to be built of relays. Before version "
            "0.4 it was taken to be one program, in the order of its lines. Write `built of "
            "relays` or `built as one program`."
        )


def _reads_another(plan: Plan) -> bool:
    """Whether a relay, timer or direction of traffic depends on another one."""
    locking = plan.locking
    return any(
        fact.what.kind in ("relay", "timer", "traffic") and fact.what.name != name
        for name in locking.memory
        for fact in facts_unfolded(
            conditions_of(name, locking), lambda n: plan.conditions[n].condition
        )
    )


def _points_move(plan: Plan) -> Iterator[str]:
    throws = plan.locking.throws
    moved = _moving(plan)
    snap = [d for d in moved if d.name in throws and throws[d.name].snap]
    yield from _about(
        (d.name for d in moved if d.name not in throws or throws[d.name].by == "anyone"),
        "Nothing is said of what throws {}: anyone may, at any time.",
    )
    yield from _about(
        (d.name for d in moved if d.has_points and d not in snap),
        "Points of {} may take any time to move, and once on their way complete their travel even "
        "if locked by then.",
    )
    yield from _about(
        (d.name for d in moved if not d.has_points and d not in snap),
        "{} may take any time to move, and once on the way complete the travel even if locked by "
        "then.",
    )
    yield from _about(
        (d.name for d in snap if d.has_points), "Points of {} move in no time (`motor snap`)."
    )
    yield from _about(
        (d.name for d in snap if not d.has_points), "{} move in no time (`motor snap`)."
    )
    yield from _about(
        _stopped_short(plan),
        "No signal leads over {} from at least one side: a train from there stops short while it "
        "is not non-derailing.",
    )


def _moving(plan: Plan) -> list[Device]:
    """What moves, apart from derails that are pipe-connected."""
    return [device for device in devices(plan).values() if device.pipe is None]


def _stopped_short(plan: Plan) -> Iterator[str]:
    """The derails at which a train that no signal governs stops."""
    signaled = signaled_entries(plan)
    for derail in plan.derails.values():
        joint = plan.track.joint_at[derail.port]
        ends = {port: plan.track.pieces[port.piece] for port in (joint.a, joint.b)}
        into = [p for p, piece in ends.items() if p not in signaled and piece.kind != "bumper"]
        leaves = any(piece.direction == "leaving" for piece in ends.values())
        if into and not leaves:
            yield derail.name


def _seconds(time: Fraction) -> str:
    return f"{float(time):g} s"


def _named(names: Iterable[str]) -> str:
    """A handful of names; of more, how many there are."""
    listed = list(names)
    if len(listed) > NAMED + 1:
        listed = [*listed[:NAMED], f"{len(listed) - NAMED} more"]
    return listing(listed)
