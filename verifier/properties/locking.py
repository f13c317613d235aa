"""Locking: points, derails, gates and signals do not change under a train, nor ahead of a train let
in.

Checked over time, in files with memory, locks or a statement on how trains run. ``clearproof
explain NAME`` prints the docstring of each property."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace

from verifier.language.listing import listing
from verifier.logic.expr import FALSE, Expr, atom, conjunction, disjunction, negation
from verifier.plan import observables
from verifier.plan.devices import Device
from verifier.plan.locking.false_reports import releases_in_sequence
from verifier.plan.locking.temporal_plan import comes_in_at
from verifier.plan.model import Conflict, Plan, Route, Signal
from verifier.plan.observables import Fact
from verifier.properties.locking_phrases import (
    POWERED,
    Place,
    drawn_at,
    heads_for,
    is_occupied,
    lies_over,
    lock_of,
    lock_while,
    may_still_pass,
    met,
    moves,
    moving,
    not_at_stop,
    places_in,
    places_of,
    remember_route,
    stops_all,
    thrown_with,
    train_at,
    was_put_back,
)
from verifier.properties.obligation import Obligation
from verifier.properties.phrases import (
    clears,
    permits,
    proceeds,
    signals_with_routes,
    takes,
)

# ------------------------------------------------------------------ points


def points_move_under_train(plan: Plan) -> Iterator[Obligation]:
    """Points, derails and gates never move while a train is on them.

    A train that reaches onto the points from the next track counts too. On a derail is a train that
    reaches over the end of the track where the derail stands; on a gate, one that is anywhere in
    the block of the gate. Commanding a machine under a train is allowed as long as the machine does
    not move.
    """
    for device in moving(plan):
        held, free, seen = _seen_on(device, plan)
        yield Obligation(
            "points-move-under-train",
            (device.name,),
            conjunction(train_at(device), moves(device)),
            f"{device.moves} while a train is on {device.it}",
            places_of(device, plan),
            pieces=drawn_at(device),
            place=device.name,
            hint=_detected_first(device, plan) or lock_while(device, held, free, plan),
            over="histories",
            lock=lock_of(device, seen, seen.text, plan) if seen else None,
        )


def _blocks_under(device: Device, plan: Plan) -> tuple[str, ...]:
    """The blocks on which a train stands that is on it; of a derail, those on both sides."""
    ends = [port.piece for joint in device.joints for port in (joint.a, joint.b)]
    blocks = (plan.track.pieces[piece].block for piece in (*device.pieces, *ends))
    return tuple(dict.fromkeys(block for block in blocks if block))


def _seen_on(device: Device, plan: Plan) -> tuple[str, str, Fact | None]:
    """That a train is reported on it, that none is, and the former as a condition; None where some
    block has no detector. A train that reaches over a derail is on the block beyond."""
    own = _blocks_under(device, plan)
    blocks = [b for b in own if b != device.block] if device.joints and own[1:] else list(own)
    held = " or ".join(f"{block} occupied" for block in blocks)
    free = " and ".join(f"{block} clear" for block in blocks)
    seen = [is_occupied(block, plan) for block in blocks]
    return held, free, seen[0] if len(seen) == 1 else None


def _detected_first(device: Device, plan: Plan) -> str:
    blind = [b for b in _blocks_under(device, plan) if not plan.blocks[b].detected]
    if not blind or len(blind) < len(_blocks_under(device, plan)):
        return ""
    block = blind[0]
    return f"No detector watches {block}, so no lock can see a train there: give it a detector."


def points_move_under_signal(plan: Plan) -> Iterator[Obligation]:
    """Points, derails and gates never move while a signal lets trains over them.

    Facing and trailing points both count, and so do derails that protect the track that a train is
    let onto, and every aspect less restrictive than stop, Restricting and stop-and-proceed
    included.
    """
    for signal, routes in signals_with_routes(plan) if plan.locking.over_time else ():
        for device in met(routes, plan):
            over = lies_over(device, routes, plan)
            at_stop, held = stops_all(signal, plan), not_at_stop(signal, plan)
            always = set(held.values) == set(signal.aspect.values)
            lets = conjunction(permits(signal, plan), disjunction(*(way for _, _, way in over)))
            yield Obligation(
                "points-move-under-signal",
                (signal.name, device.name),
                conjunction(lets, moves(device)),
                f"{device.moves} while {signal.name} lets a train {_by(device, over[0][1])}",
                (signal.span, *places_of(device, plan)),
                (signal.name,),
                (over[0][0],),
                drawn_at(device),
                device.name,
                hint=f"Whatever {signal.name} shows, a train may pass it after a stop: let it show "
                f"an aspect whose indication is `stop` while {device.name} may move."
                if always
                else lock_while(device, held.text, at_stop, plan),
                over="histories",
                lock=None if always else lock_of(device, held, held.text, plan),
            )


def _by(device: Device, place: Place) -> str:
    """How a train that a signal lets in meets a device: over it, or under its protection."""
    protects = device.kind == "derail" and place.position == "derailing"
    return "past it" if protects else f"over {device.it}"


# ------------------------------------------------------------------ approach locking


def approach_locking(plan: Plan) -> Iterator[Obligation]:
    """After a signal is put back in front of a train, no points, derail or gate of its route move
    and no conflicting signal clears until the train has had time to stop.

    Checked where the file says how long trains need (`trains need 20 s to stop`). A train on the
    approach may pass the signal for that long after it was put back. The approach is the plain
    track before the signal, or the trackwork where the signal stands right behind it. To a signal
    at an edge a train may come at any time.
    """
    return _released_early(
        "approach-locking",
        plan,
        may_still_pass,
        _before_it_can_stop,
        "Let time run when {0} is put back: `timer {0}-time … runs while {0} at stop and …`, no "
        "shorter than trains need to stop. Release the route, and signals that conflict with it, "
        "only when `{0}-time done`.",
    )


def _before_it_can_stop(signal: Signal, plan: Plan) -> str:
    edge = comes_in_at(plan, signal.name)
    if edge:
        return f"was put back, and before a train that enters at {edge} has had time to stop"
    return "was put back in front of a train, and before the train has had time to stop"


def time_locking(plan: Plan) -> Iterator[Obligation]:
    """After a signal is put back, with or without a train, no points, derail or gate of its route
    move and no conflicting signal clears until the time that trains need to stop has run.

    This is a note only: 49 CFR 236.305 requires approach or time locking. Time locking holds a
    route whenever its signal is put back and no train has passed it; approach locking may release
    the route at once when no train is near.
    """
    for found in _released_early(
        "time-locking",
        plan,
        was_put_back,
        lambda *_: "was put back, and before the time that trains need to stop has run",
        "If {0} has approach locking, nothing has to be done: with no train near, the route may be "
        "released at once.",
    ):
        yield replace(found, advice=True)


def _released_early(
    name: str,
    plan: Plan,
    when: Callable[[Signal, Plan], Expr],
    before: Callable[[Signal, Plan], str],
    hint: str,
) -> Iterator[Obligation]:
    """For each signal at stop: nothing of its routes is released while ``when`` holds."""
    for signal, routes, released, text in _releases(plan):
        yield Obligation(
            name,
            (signal.name,),
            conjunction(when(signal, plan), negation(clears(signal, plan)), released),
            f"{signal.name} {before(signal, plan)}, {text}",
            (signal.span,),
            (signal.name,),
            routes[:1],
            tuple(p for d in met(routes, plan) for p in drawn_at(d)) or (signal.enters.piece,),
            signal.name,
            hint=hint.format(signal.name),
            over="histories",
        )


def _releases(plan: Plan) -> Iterator[tuple[Signal, tuple[Route, ...], Expr, str]]:
    """For each signal: its routes, that points of them move or a conflicting signal clears, and
    the same in words. Empty unless the plan says how long trains need to stop."""
    if not plan.locking.over_time or plan.locking.running.to_stop is None:
        return
    conflicts = _conflicts_by_signal(plan)
    for signal, routes in signals_with_routes(plan):
        devices_met = met(routes, plan)
        released = [
            conjunction(way, moves(device))
            for device in devices_met
            for _, _, way in lies_over(device, routes, plan)
        ]
        clears = [_other_clears(signal, c, plan) for c in conflicts.get(signal.name, ())]
        if not released and not clears:
            continue
        against = dict.fromkeys(_other(signal, c).signal for c in conflicts.get(signal.name, ()))
        text = _release_text(devices_met, tuple(against))
        yield signal, routes, disjunction(*released, *clears), text


def _release_text(met: Iterable[Device], signals: tuple[str, ...]) -> str:
    points = [d.name for d in met if d.kind in ("turnout", "slip")]
    others = [d.title for d in met if d.kind in ("derail", "gate")]
    named = [*([f"the points of {listing(points)}"] if points else ()), *others]
    moved = f"{listing(named)} {'move' if points or others[1:] else 'moves'}" if named else ""
    cleared = f"{listing(signals)} may clear" if signals else ""
    return " or ".join(filter(None, (moved, cleared)))


def _conflicts_by_signal(plan: Plan) -> Mapping[str, list[Conflict]]:
    """Conflicts with routes of other signals. Routes that diverge from one place do not conflict
    with a train that has already been let in."""
    found: dict[str, list[Conflict]] = {}
    for conflict in plan.conflicts:
        one, two = conflict.first.signal, conflict.second.signal
        if one != two and conflict.kind != "diverging":
            found.setdefault(one, []).append(conflict)
            found.setdefault(two, []).append(conflict)
    return found


def _other(signal: Signal, conflict: Conflict) -> Route:
    return conflict.second if conflict.first.signal == signal.name else conflict.first


def _other_clears(signal: Signal, conflict: Conflict, plan: Plan) -> Expr:
    """The other signal lets a train onto the route that a train may still take. On ``switching
    only`` track Restricting does not count (49 CFR 236.308)."""
    other = plan.signals[_other(signal, conflict).signal]
    blocks = {plan.track.pieces[piece].block for piece in conflict.pieces}
    switching = all(b is not None and plan.blocks[b].switching for b in blocks)
    lets = proceeds if conflict.kind == "opposing" and switching else permits
    return conjunction(takes(conflict.first), takes(conflict.second), lets(other, plan))


# ------------------------------------------------------------------ route locking


def route_locking(plan: Plan) -> Iterator[Obligation]:
    """Points, derails and gates ahead of a train inside its route never move.

    They are locked from when the train passes its signal until it reaches them. Sections of the
    route are released only behind the train. So are derails that protect the track ahead.
    """
    for device in moving(plan):
        ways, over = _headed_for(device, plan)
        if ways is FALSE:
            continue
        name, (route, place) = device.name, over[0]
        blocks = _blocks_before(place, route, plan)
        relay = f"{route.signal}-route"
        yield Obligation(
            "route-locking",
            (name,),
            conjunction(ways, moves(device)),
            f"{device.moves} ahead of a train that is inside its route",
            (*places_of(device, plan), plan.signals[route.signal].span),
            tuple(dict.fromkeys(r.signal for r, _ in over)),
            (route,),
            drawn_at(device),
            name,
            hint=f"Let a relay hold the route for as long as a train is in it: "
            f"{remember_route(route.signal, blocks)}. "
            + lock_while(device, f"{relay} up", f"{relay} down", plan),
            over="histories",
        )


def _headed_for(device: Device, plan: Plan) -> tuple[Expr, list[tuple[Route, Place]]]:
    """A train inside a route has not yet reached it; and the routes over it, with the place."""
    ways, over = [], []
    for route in plan.routes:
        for place in places_in(device, route, plan)[:1]:
            way = heads_for(place, route, plan)
            if way is not FALSE:
                ways.append(way)
                over.append((route, place))
    return disjunction(*ways), over


def _blocks_before(place: Place, route: Route, plan: Plan) -> tuple[str, ...]:
    """The blocks of a route from its signal up to a place, that of the place included."""
    blocks = (plan.track.pieces[piece].block for piece in route.pieces[: place.moves + 1])
    return tuple(dict.fromkeys(b for b in blocks if b is not None))


def loss_of_shunt(plan: Plan) -> Iterator[Obligation]:
    """A loss of detection of 5 seconds or less does not let points, derails or gates move under a
    train, or ahead of a train inside its route, nor a signal let a train across its way.

    On dirty rail the detection of a train can fail for a moment. Checked for what a machine moves,
    for whatever else has a lock, and for every two signals whose routes cross at grade. In a file
    without slow relays this is a note only, since such a file does not try to prevent it.
    """
    yield from _moved_unseen(plan)
    yield from _crossed_unseen(plan)


def _tries_to_bridge(plan: Plan) -> bool:
    """Whether a file tries to ride over a loss of detection: it has slow relays."""
    return any(r.slow_pick or r.slow_release for r in plan.locking.relays.values())


def _crossed_unseen(plan: Plan) -> Iterator[Obligation]:
    """Of two signals whose routes cross, neither lets a train pass while one that the other let in
    is on the crossing or on its way there."""
    if not plan.locking.over_time:
        return
    pairs: dict[tuple[str, str], list[Conflict]] = {}
    order = list(plan.signals)
    for conflict in plan.conflicts:
        one, two = sorted((conflict.first.signal, conflict.second.signal), key=order.index)
        if conflict.kind == "crossing" and one != two:
            pairs.setdefault((one, two), []).append(conflict)
    for (one, two), conflicts in pairs.items():
        first = conflicts[0]
        block = plan.track.pieces[first.pieces[0]].block
        yield Obligation(
            "loss-of-shunt",
            (one, two),
            disjunction(*(_crosses_unseen(conflict, plan) for conflict in conflicts)),
            f"{one} or {two} lets a train across {first.place} while a train that the other let in "
            "is undetected for a moment",
            (plan.signals[one].span, plan.signals[two].span),
            (one, two),
            (first.first, first.second),
            first.pieces,
            first.place,
            advice=not _tries_to_bridge(plan),
            hint=f"Let a slow relay repeat {block}: `relay {block}-track picks when {block} clear "
            f"slow to pick 6 s`. Ask for it beside the block in {one}, {two} and what holds their "
            f"routes: `{block}-track up` wherever {block} must be clear, and `({block} occupied or "
            f"{block}-track down)` wherever it must be occupied.",
            over="lossy",
        )


def _crosses_unseen(conflict: Conflict, plan: Plan) -> Expr:
    ways = []
    both = (conflict.first, conflict.second)
    for route, other in (both, both[::-1]):
        over = max(k for k, piece in enumerate(route.pieces) if piece in conflict.pieces)
        inside = heads_for(Place(over + 1, ""), route, plan)
        lets = conjunction(permits(plan.signals[other.signal], plan), takes(other))
        ways.append(conjunction(inside, lets))
    return disjunction(*ways)


def _moved_unseen(plan: Plan) -> Iterator[Obligation]:
    """What is locked does not move under a train, or ahead of it."""
    for device in moving(plan):
        name, owner = device.name, thrown_with(device, plan).name
        throw = plan.locking.throws.get(owner)
        if throw is None or not (throw.by in POWERED or throw.locked is not None):
            continue
        ways, over = _headed_for(device, plan)
        block = device.block
        yield Obligation(
            "loss-of-shunt",
            (name,),
            conjunction(disjunction(train_at(device), ways), moves(device)),
            f"{device.moves} under or ahead of a train that is undetected for a moment",
            places_of(device, plan),
            tuple(dict.fromkeys(r.signal for r, _ in over)),
            tuple(route for route, _ in over[:1]),
            drawn_at(device),
            name,
            advice=not _tries_to_bridge(plan),
            hint=f"Let a slow relay repeat {block}: `relay {block}-track picks when {block} clear "
            f"slow to pick 6 s`. Ask for it beside the block in what holds {owner}: `({block} "
            f"occupied or {block}-track down)`, for the relay alone drops a moment after the train "
            f"has come; and `{block}-track up` wherever {block} must be clear.",
            over="lossy",
        )


def false_occupancy(plan: Plan) -> Iterator[Obligation]:
    """A detector that reports occupied with nothing there does not let points, derails or gates
    move under a train or ahead of it, nor a conflicting signal clear in front of a train that
    cannot stop any more.

    A dirty wheel does that for an instant, a bad contact or a booster that trips for longer. One
    false report must release nothing, be it short, or so long that other trains run meanwhile. It
    is about one block, or all blocks of a district whose detectors read occupied without track
    power. In a file in which no relay `releases after` a sequence this is a note only, since such
    a file does not try to prevent it; signals are then asked about only where they cross.
    """
    sequence = releases_in_sequence(plan)
    named = {device.name: device for device in moving(plan)}
    for found in _moved_unseen(plan):
        (name,) = found.subjects
        yield replace(
            found,
            property="false-occupancy",
            trouble=f"{named[name].moves} under or ahead of a train after a false report",
            advice=not sequence,
            hint=_SEQUENCE,
            over="blips",
        )
    for found in _crossed_unseen(plan):
        one, two = found.subjects
        yield replace(
            found,
            property="false-occupancy",
            trouble=f"{one} or {two} lets a train across {found.place} against a train that the "
            "other let in, after a false report",
            advice=not sequence,
            hint=_SEQUENCE,
            over="blips",
        )
    for found in approach_locking(plan) if sequence else ():
        yield replace(found, property="false-occupancy", hint=_SEQUENCE, over="blips")


_SEQUENCE = (
    "Let each step ask for what a train does and a false report does not: `releases after Switch "
    "occupied and Single clear then all of Switch, Single occupied then Switch clear and Single "
    "occupied`. Where another train can come to Single meanwhile, let the last step also ask that "
    "the track before the signal is clear."
)

# ------------------------------------------------------------------ indication, electric locks


def indication_locking(plan: Plan) -> Iterator[Obligation]:
    """A signal never proceeds on the command to points, a derail or a gate alone: contacts must
    show that they lie for the route."""
    for signal, routes in signals_with_routes(plan) if plan.locking.over_time else ():
        for device in met(routes, plan):
            over = lies_over(device, routes, plan)
            ways = (conjunction(way, _only_commanded(device, p.position)) for _, p, way in over)
            does = "its points do not lie" if device.has_points else "does not lie"
            yield Obligation(
                "indication-locking",
                (signal.name, device.name),
                conjunction(permits(signal, plan), disjunction(*ways)),
                f"{signal.name} lets a train proceed when {device.name} has been commanded for the "
                f"route but {does} for it yet",
                (signal.span, *places_of(device, plan)),
                (signal.name,),
                (over[0][0],),
                drawn_at(device),
                device.name,
                hint=_seen_to_lie(device, signal, plan),
                over="histories",
            )


def _only_commanded(device: Device, position: str) -> Expr:
    """It has been commanded to a position, and does not lie there."""
    return conjunction(atom(device.told, position), negation(atom(device.lies, position)))


def _seen_to_lie(device: Device, signal: Signal, plan: Plan) -> str:
    name, (normal, reverse) = device.name, device.positions
    machine = plan.wiring.machines.get(name)
    if machine is not None and machine.contacts == ():
        return (
            f"{name} has no contacts, so its report is only the last command: write "
            f"`contacts {normal}, {reverse}` under `{device.title}`."
        )
    if device.kind == "gate":
        return f"Check `{name} seated` in every line of {signal.name}."
    return f"Check `{name} {normal}` or `{name} {reverse}` in every line of {signal.name}."


def hand_points_unlocked(plan: Plan) -> Iterator[Obligation]:
    """The electric lock of a hand-thrown switch, derail or gate is never released while a signal
    lets trains over it, nor while a train that saw the signal clear may still arrive.

    The latter is checked where the file says how long trains need (`trains need 20 s to stop`).
    """
    throws = plan.locking.throws
    for device in (d for d in moving(plan) if d.name in throws and throws[d.name].electric):
        what = "the switch" if device.has_points else "it"
        over = [
            (plan.signals[route.signal], route, way)
            for route, _, way in lies_over(device, plan.routes, plan)
        ]
        lets = [conjunction(permits(s, plan), way) for s, _, way in over]
        late = [conjunction(may_still_pass(s, plan), way) for s, _, way in over]
        signals = tuple(dict.fromkeys(s.name for s, _, _ in over))
        if not signals:
            continue
        yield Obligation(
            "hand-points-unlocked",
            (device.name,),
            conjunction(
                atom(observables.event("lock released", device.name), "yes"),
                disjunction(*lets, *late),
            ),
            f"the lock of {device.name} is released while {listing(signals, 'or')} lets a train "
            f"over {what}, or before such a train has had time to stop",
            (*places_of(device, plan), *(plan.signals[s].span for s in signals)),
            signals,
            (over[0][1],),
            drawn_at(device),
            device.name,
            hint=f"Let a timer run while {', '.join(signals)} at stop, no shorter than trains need "
            f"to stop, and write `electric lock released when` it is done under "
            f"`{device.title}`.",
            over="histories",
        )
