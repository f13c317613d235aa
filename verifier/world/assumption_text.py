"""What is taken for granted where a file does not say otherwise; every report prints it.

In: a plan. Out: short sentences, each about one thing that the file leaves out.
"""

from collections.abc import Iterable, Iterator
from fractions import Fraction

from verifier.plan.locking.time_steps import moment
from verifier.plan.model import Plan

# Names listed in one sentence before the rest is counted.
NAMED = 5

NO_WIRING_GIVEN = "No wiring is given, so every detector and contact is taken to report the truth."
ALWAYS = "Trains are taken to obey signals; beyond the edges of the plan nothing is checked."


def assumption_texts(plan: Plan) -> tuple[str, ...]:
    """The sentences for one plan, from the rail to the lens."""
    histories = _histories(plan) if plan.locking.over_time else ()
    return (*_wiring(plan), *_gaps(plan), *histories, ALWAYS)


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


# ------------------------------------------------------------------ over time


def _histories(plan: Plan) -> Iterator[str]:
    """What is taken for granted from one moment to the next."""
    yield from _trains_run(plan)
    yield from _ends(plan)
    yield from _memory_acts(plan)
    yield from _points_move(plan)
    if plan.wiring.given:
        yield (
            "Over time, detectors report the truth, and so do contacts where there are any: what "
            "wiring and failures do is proved of single moments only, with relays, timers and "
            "directions of traffic as they come to be while nothing is broken or, with something "
            "broken that they hear of, as they could come to be whatever they hear."
        )
    else:
        yield "Over time, too, detectors and contacts report the truth."
    if any(t.by in ("lever", "buttons", "rule") or t.electric
           for t in plan.locking.throws.values()):  # fmt: skip
        yield "For loss-of-shunt alone, any train may go unseen for up to 5 s (49 CFR 236.309)."


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
    shown = {aspect for s in plan.signals.values() for aspect in s.aspect.values}
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
    kinds = ["points lie normal"]
    kinds += ["relays are down"] if plan.locking.relays else []
    kinds += ["timers are idle"] if plan.locking.timers else []
    kinds += ["traffic is rightward"] if plan.locking.traffic else []
    yield f"At the start {stands}; {_named(kinds)}."
    edges = [p for p in plan.track.pieces.values() if p.kind == "edge"]
    own = [e.name for e in edges if e.name in running.entering]
    usual = [e.name for e in edges if e.name not in running.entering and e.direction != "leaving"]
    if usual:
        yield (
            f"Trains come in at {_named(usual)} only onto vacant track, and not while a train "
            "comes out there or a signal lets one come."
        )
    if own:
        yield f"Trains come in at {_named(own)} whenever the file says so, and then only."


def _memory_acts(plan: Plan) -> Iterator[str]:
    locking = plan.locking
    if len(locking.memory) > 1:
        yield (
            "Relays, timers and directions of traffic act in the order of the file, over and over: "
            "each sees at once what those before it did."
        )
    slow = [r.name for r in locking.relays.values() if r.slow_pick or r.slow_release]
    if not (locking.timers or slow):
        return
    unit = moment(locking)
    what = _named([*locking.timers, *slow])
    if unit is None:
        yield f"The times of {what} are taken to be as long or as short as they like."
    else:
        yield (
            f"Time is counted in moments of {_seconds(unit)}; the times of {what} last for as many "
            "whole ones as fit into them at least, and end before one more has passed; how long "
            "trains need is rounded up."
        )


def _points_move(plan: Plan) -> Iterator[str]:
    throws = plan.locking.throws
    moved = [p.name for p in plan.track.pieces.values() if p.kind in ("turnout", "slip")]
    anyone = [n for n in moved if n not in throws or throws[n].by == "anyone"]
    if anyone:
        yield f"Nothing is said of how {_named(anyone)} is thrown: anyone may, at any time."
    snap = [n for n in moved if n in throws and throws[n].snap]
    slow = [n for n in moved if n not in snap]
    if slow:
        yield (
            f"Points of {_named(slow)} take as long as they like to move, and once on their way "
            "come to the end even if locked by then."
        )
    if snap:
        yield f"Points of {_named(snap)} move in no time (`motor snap`)."


def _seconds(time: Fraction) -> str:
    return f"{float(time):g} s"


def _named(names: Iterable[str]) -> str:
    """A handful of names; of more, how many there are."""
    listed = list(names)
    if len(listed) > NAMED + 1:
        return f"{', '.join(listed[:NAMED])} and {len(listed) - NAMED} more"
    if len(listed) < 2:
        return "".join(listed)
    return f"{', '.join(listed[:-1])} and {listed[-1]}"
