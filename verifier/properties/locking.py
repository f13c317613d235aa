"""Locking: points and signals do not change under a train, nor ahead of a train let in.

Checked over time, in files with memory, locks or a statement on how trains run. ``clearproof
explain NAME`` prints the docstring of each property."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

from verifier.language.listing import listing
from verifier.logic.expr import FALSE, Expr, atom, conjunction, disjunction, negation
from verifier.plan import observables
from verifier.plan.locking.temporal_plan import comes_in_at
from verifier.plan.model import Conflict, Plan, Route, Signal
from verifier.properties.locking_phrases import (
    POWERED,
    heads_for,
    is_occupied,
    lies_over,
    lock_of,
    lock_while,
    may_still_pass,
    not_at_stop,
    places_of,
    points_move,
    remember_route,
    stops_all,
    switches,
    train_on,
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
    """Points never move while a train is on them.

    A train that reaches onto the points from the next track counts too. Commanding a switch
    machine under a train is allowed as long as the machine does not move.
    """
    for name in switches(plan) if plan.locking.over_time else ():
        block = plan.track.pieces[name].block or name
        seen = is_occupied(block, plan)
        yield Obligation(
            "points-move-under-train",
            (name,),
            conjunction(train_on(name), points_move(name)),
            f"the points of {name} move while a train is on them",
            places_of(name, plan),
            pieces=(name,),
            place=name,
            hint=_detected_first(block, plan)
            or lock_while(name, f"{block} occupied", f"{block} clear", plan),
            over="histories",
            lock=lock_of(name, seen, seen.text, plan) if seen else None,
        )


def _detected_first(block: str, plan: Plan) -> str:
    if block not in plan.blocks or plan.blocks[block].detected:
        return ""
    return f"No detector watches {block}, so no lock can see a train there: give it a detector."


def points_move_under_signal(plan: Plan) -> Iterator[Obligation]:
    """Points never move while a signal lets trains over them.

    Facing and trailing points both count, and so does every aspect less restrictive than stop,
    Restricting and stop-and-proceed included.
    """
    for signal, routes in signals_with_routes(plan) if plan.locking.over_time else ():
        for name in _points_of(routes):
            over = lies_over(name, routes)
            at_stop, held = stops_all(signal, plan), not_at_stop(signal, plan)
            always = set(held.values) == set(signal.aspect.values)
            lets = conjunction(permits(signal, plan), disjunction(*(way for _, way in over)))
            yield Obligation(
                "points-move-under-signal",
                (signal.name, name),
                conjunction(lets, points_move(name)),
                f"the points of {name} move while {signal.name} lets a train over them",
                (signal.span, *places_of(name, plan)),
                (signal.name,),
                (over[0][0],),
                (name,),
                name,
                hint=f"Whatever {signal.name} shows, a train may pass it after a stop: let it show "
                f"an aspect whose indication is `stop` while {name} may move."
                if always
                else lock_while(name, held.text, at_stop, plan),
                over="histories",
                lock=None if always else lock_of(name, held, held.text, plan),
            )


def _points_of(routes: tuple[Route, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(need.points for route in routes for need in route.needs))


# ------------------------------------------------------------------ approach locking


def approach_locking(plan: Plan) -> Iterator[Obligation]:
    """After a signal is put back in front of a train, no points of its route move and no
    conflicting signal clears until the train has had time to stop.

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
    """After a signal is put back, with or without a train, no points of its route move and no
    conflicting signal clears until the time that trains need to stop has run.

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
            _points_of(routes) or (signal.enters.piece,),
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
        moves = [
            conjunction(way, points_move(name))
            for name in _points_of(routes)
            for _, way in lies_over(name, routes)
        ]
        clears = [_other_clears(signal, c, plan) for c in conflicts.get(signal.name, ())]
        if not moves and not clears:
            continue
        against = dict.fromkeys(_other(signal, c).signal for c in conflicts.get(signal.name, ()))
        text = _release_text(_points_of(routes), tuple(against))
        yield signal, routes, disjunction(*moves, *clears), text


def _release_text(points: tuple[str, ...], signals: tuple[str, ...]) -> str:
    moved = f"the points of {listing(points)} move" if points else ""
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
    """Points ahead of a train inside its route never move.

    The points are locked from when the train passes its signal until it reaches them. Sections
    of the route are released only behind the train.
    """
    for name in switches(plan) if plan.locking.over_time else ():
        ways, over = _headed_for(name, plan)
        if ways is FALSE:
            continue
        route = over[0]
        blocks = _blocks_before(name, route, plan)
        relay = f"{route.signal}-route"
        yield Obligation(
            "route-locking",
            (name,),
            conjunction(ways, points_move(name)),
            f"the points of {name} move ahead of a train that is inside its route",
            (*places_of(name, plan), plan.signals[route.signal].span),
            tuple(dict.fromkeys(r.signal for r in over)),
            (route,),
            (name,),
            name,
            hint=f"Let a relay hold the route for as long as a train is in it: "
            f"{remember_route(route.signal, blocks)}. "
            + lock_while(name, f"{relay} up", f"{relay} down", plan),
            over="histories",
        )


def _headed_for(name: str, plan: Plan) -> tuple[Expr, tuple[Route, ...]]:
    """A train inside a route has not yet reached the points; and the routes over them."""
    found = []
    for route in plan.routes:
        if any(need.points == name for need in route.needs):
            way = heads_for(name, route, plan)
            if way is not FALSE:
                found.append((route, way))
    return disjunction(*(way for _, way in found)), tuple(route for route, _ in found)


def _blocks_before(name: str, route: Route, plan: Plan) -> tuple[str, ...]:
    """The blocks of a route from its signal up to some points, theirs included."""
    at = route.pieces.index(name)
    blocks = (plan.track.pieces[piece].block for piece in route.pieces[: at + 1])
    return tuple(dict.fromkeys(b for b in blocks if b is not None))


def loss_of_shunt(plan: Plan) -> Iterator[Obligation]:
    """A loss of detection of 5 seconds or less does not let points move under a train, or ahead
    of a train inside its route.

    On dirty rail the detection of a train can fail for a moment. Checked for points that a switch
    machine moves, and for hand-thrown points with an electric lock. In a file without slow relays
    this is a note only, since such a file does not try to prevent it.
    """
    slow = any(r.slow_pick or r.slow_release for r in plan.locking.relays.values())
    for name in switches(plan) if plan.locking.over_time else ():
        throw = plan.locking.throws.get(name)
        if throw is None or not (throw.by in POWERED or throw.electric):
            continue
        ways, over = _headed_for(name, plan)
        block = plan.track.pieces[name].block or name
        yield Obligation(
            "loss-of-shunt",
            (name,),
            conjunction(disjunction(train_on(name), ways), points_move(name)),
            f"the points of {name} move under or ahead of a train that is undetected for a moment",
            places_of(name, plan),
            tuple(dict.fromkeys(r.signal for r in over)),
            over[:1],
            (name,),
            name,
            advice=not slow,
            hint=f"Let a slow relay repeat {block}: `relay {block}-track picks when {block} clear "
            f"slow to pick 6 s`. Use that relay where the lock of {name} uses {block}.",
            over="lossy",
        )


# ------------------------------------------------------------------ indication, electric locks


def indication_locking(plan: Plan) -> Iterator[Obligation]:
    """A signal never proceeds on the command to points alone: their contacts must show that the
    points lie for the route."""
    for signal, routes in signals_with_routes(plan) if plan.locking.over_time else ():
        for name in _points_of(routes):
            over = lies_over(name, routes)
            yield Obligation(
                "indication-locking",
                (signal.name, name),
                conjunction(
                    permits(signal, plan),
                    disjunction(
                        *(conjunction(way, _only_commanded(name, route)) for route, way in over)
                    ),
                ),
                f"{signal.name} lets a train proceed when {name} has been commanded for the route "
                "but its points do not lie for it yet",
                (signal.span, *places_of(name, plan)),
                (signal.name,),
                (over[0][0],),
                (name,),
                name,
                hint=_seen_to_lie(name, signal, plan),
                over="histories",
            )


def _only_commanded(name: str, route: Route) -> Expr:
    """The points have been commanded to the position for the route, and do not lie there."""
    position = next(need.position for need in route.needs if need.points == name)
    return conjunction(
        atom(observables.thrown(name), position), negation(atom(observables.points(name), position))
    )


def _seen_to_lie(name: str, signal: Signal, plan: Plan) -> str:
    machine = plan.wiring.machines.get(name)
    if machine is not None and machine.contacts == ():
        return (
            f"{name} has no contacts, so its report is only the last command: write "
            f"`contacts normal, reverse` under `{plan.track.pieces[name].kind} {name}`."
        )
    return f"Check `{name} normal` or `{name} reverse` in every line of {signal.name}."


def hand_points_unlocked(plan: Plan) -> Iterator[Obligation]:
    """The electric lock of a hand-thrown switch is never released while a signal lets trains over
    the switch, nor while a train that saw the signal clear may still arrive.

    The latter is checked where the file says how long trains need (`trains need 20 s to stop`).
    """
    electric = [t for t in plan.locking.throws.values() if t.electric and plan.locking.over_time]
    for throw in electric:
        over = [
            (plan.signals[route.signal], route, way)
            for route, way in lies_over(throw.turnout, plan.routes)
        ]
        lets = [conjunction(permits(s, plan), way) for s, _, way in over]
        late = [conjunction(may_still_pass(s, plan), way) for s, _, way in over]
        signals = tuple(dict.fromkeys(s.name for s, _, _ in over))
        if not signals:
            continue
        yield Obligation(
            "hand-points-unlocked",
            (throw.turnout,),
            conjunction(
                atom(observables.event("lock released", throw.turnout), "yes"),
                disjunction(*lets, *late),
            ),
            f"the lock of {throw.turnout} is released while {listing(signals, 'or')} lets a train "
            "over the switch, or before such a train has had time to stop",
            (*places_of(throw.turnout, plan), *(plan.signals[s].span for s in signals)),
            signals,
            (over[0][1],),
            (throw.turnout,),
            throw.turnout,
            hint=f"Let a timer run while {', '.join(signals)} at stop, no shorter than trains need "
            f"to stop, and write `electric lock released when` it is done under "
            f"`{plan.track.pieces[throw.turnout].kind} {throw.turnout}`.",
            over="histories",
        )
