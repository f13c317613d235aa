"""What is assumed of trains, memory and moving points over time.

In: a plan. Out: short sentences, each about one thing.
"""

from collections.abc import Iterator

from verifier.explain.assumptions.saying import about, in_seconds, moving, named
from verifier.language.listing import listing
from verifier.plan.devices import signaled_entries
from verifier.plan.locking.building import VERSIONS
from verifier.plan.locking.durations import durations_matter
from verifier.plan.locking.false_reports import releases_in_sequence
from verifier.plan.locking.locking_model import conditions_of, never_broken, power_of
from verifier.plan.model import Plan
from verifier.plan.observables import facts_unfolded


def of_histories(plan: Plan) -> Iterator[str]:
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
        yield from about(
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
            f"A train that saw a signal clear may still pass it for {in_seconds(running.to_stop)} "
            "after it was put back."
        )
    slow = {a.name for a in plan.chart.aspects if a.permits and not a.proceeds}
    after_a_stop = {a.name for a in plan.chart.aspects if a.permits and not a.clears}
    shown = {aspect for s in plan.signals.values() for aspect in s.aspect.values}
    if after_a_stop & shown:
        yield (
            f"Trains stop at a signal that shows {named(sorted(after_a_stop & shown))}, and then "
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
        where = f"Trains turn back on plain track of {named(running.reverse_on)}, nowhere else."
    yield where


def _ends(plan: Plan) -> Iterator[str]:
    running = plan.locking.running
    stands = "all track is vacant"
    if running.start_on:
        stands = f"stock may stand on {named(running.start_on)}, and all other track is vacant"
    locking = plan.locking
    kinds = ["relays are down"] if locking.relays else []
    kinds += ["timers are idle"] if locking.timers else []
    kinds += ["traffic is rightward"] if locking.traffic else []
    yield "; ".join(filter(None, (f"At the start {stands}", named(kinds)))) + "."
    yield from _starts(plan)
    edges = [p for p in plan.track.pieces.values() if p.kind == "edge"]
    yield from about(
        (e.name for e in edges if e.name not in running.entering and e.direction != "leaving"),
        "Trains come in at {} only onto vacant track, and not while a train comes out there or a "
        "signal lets one come.",
    )
    yield from about(
        (e.name for e in edges if e.name in running.entering),
        "Trains come in at {} whenever the file says so, and then only.",
    )


def _starts(plan: Plan) -> Iterator[str]:
    """How points, derails and gates may lie at the start."""
    positions = plan.locking.starts.positions
    moved = [device.name for device in moving(plan)]
    said: dict[str, list[str]] = {}
    for name in moved:
        if name in positions:
            said.setdefault(positions[name][0], []).append(name)
    for position, names in said.items():
        yield f"{named(names)} lie{'s' * (len(names) == 1)} {position} at the start."
    yield from about(
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
    what = named([*locking.timers, *slow])
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
    moved = moving(plan)
    snap = [d for d in moved if d.name in throws and throws[d.name].snap]
    yield from about(
        (d.name for d in moved if d.name not in throws or throws[d.name].by == "anyone"),
        "Nothing is said of what throws {}: anyone may, at any time.",
    )
    yield from about(
        (d.name for d in moved if d.has_points and d not in snap),
        "Points of {} may take any time to move, and once on their way complete their travel even "
        "if locked by then.",
    )
    yield from about(
        (d.name for d in moved if not d.has_points and d not in snap),
        "{} may take any time to move, and once on the way complete the travel even if locked by "
        "then.",
    )
    yield from about(
        (d.name for d in snap if d.has_points), "Points of {} move in no time (`motor snap`)."
    )
    yield from about(
        (d.name for d in snap if not d.has_points), "{} move in no time (`motor snap`)."
    )
    yield from about(
        _stopped_short(plan),
        "No signal leads over {} from at least one side: a train from there stops short while it "
        "is not non-derailing.",
    )


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
