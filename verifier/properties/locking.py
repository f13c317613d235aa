"""Locking: points and signals do not change beneath a train, nor ahead of one that was let come.

Each function's docstring is what ``clearproof explain NAME`` prints. Sections are of 49 CFR
Part 236 unless another source is named. All of these are asked of histories, of files that say
something of memory, locks or how trains run.
"""

from collections.abc import Iterator, Mapping

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
    switches,
    train_on,
    was_put_back,
)
from verifier.properties.obligation import Obligation
from verifier.properties.phrases import (
    permits,
    proceeds,
    signals_with_routes,
    takes,
)

# ------------------------------------------------------------------ points


def points_move_under_train(plan: Plan) -> Iterator[Obligation]:
    """Points never move while a train stands on them.

    A train that only reaches onto them from the next track counts. A switch machine that is
    commanded while a train is there, and does not move, breaks nothing.
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
    return f"No lock can know of a train on {block}, which no detector watches: give it one."


def points_move_under_signal(plan: Plan) -> Iterator[Obligation]:
    """Points never move while a signal over them is at proceed.

    This holds for facing and trailing points. Any aspect less restrictive than stop counts,
    Restricting included.
    """
    for signal, routes in signals_with_routes(plan) if plan.locking.over_time else ():
        for name in _points_of(routes):
            over = lies_over(name, routes)
            at_stop = f"{signal.name} at stop"
            yield Obligation(
                "points-move-under-signal",
                (signal.name, name),
                conjunction(
                    permits(signal, plan), disjunction(*(w for _, w in over)), points_move(name)
                ),
                f"the points of {name} move while {signal.name} lets a train over them",
                (signal.span, *places_of(name, plan)),
                (signal.name,),
                (over[0][0],),
                (name,),
                name,
                hint=lock_while(name, f"not {at_stop}", at_stop, plan),
                over="histories",
                lock=lock_of(name, not_at_stop(signal, plan), f"not {at_stop}", plan),
            )


def _points_of(routes: tuple[Route, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(need.points for route in routes for need in route.needs))


# ------------------------------------------------------------------ approach locking


def approach_locking(plan: Plan) -> Iterator[Obligation]:
    """When a signal is put back in front of a train, nothing that the train may still run over
    moves, and no conflicting signal clears, until the train has had time to stop.

    Checked where the file says how long trains need (`trains need 20 s to stop`). A train that
    is on the approach when its signal is put back may still pass it for that long. The approach is
    the plain track before a signal, or the trackwork where the signal stands right behind it; a
    train may come at any time to a signal that stands at an edge.
    """
    for signal, routes, let_go, text in _let_go(plan):
        yield Obligation(
            "approach-locking",
            (signal.name,),
            conjunction(may_still_pass(signal, plan), negation(permits(signal, plan)), let_go),
            _in_the_face(signal, plan) + f" has had time to stop {text}",
            (signal.span,),
            (signal.name,),
            routes[:1],
            _points_of(routes) or (signal.enters.piece,),
            signal.name,
            hint=f"Let time run when {signal.name} is put back: `timer {signal.name}-time … runs "
            f"while {signal.name} at stop and …`, no shorter than trains need to stop; and let "
            "nothing of the route, and no signal against it, be free before "
            f"`{signal.name}-time done`.",
            over="histories",
        )


def _in_the_face(signal: Signal, plan: Plan) -> str:
    edge = comes_in_at(plan, signal.name)
    if edge:
        return f"{signal.name} was put back, and before a train that comes in at {edge}"
    return f"{signal.name} was put back in the face of a train, and before the train"


def time_locking(plan: Plan) -> Iterator[Obligation]:
    """After a signal is put back, with or without a train, no points of its route move, and no
    conflicting signal clears, until the time that trains need to stop has run.

    Advice: 49 CFR 236.305 asks for approach or time locking. Time locking holds a route
    whenever its signal is put back and no train has passed it; approach locking may release it at
    once when no train is near.
    """
    for signal, routes, let_go, text in _let_go(plan):
        yield Obligation(
            "time-locking",
            (signal.name,),
            conjunction(was_put_back(signal, plan), negation(permits(signal, plan)), let_go),
            f"{signal.name} was put back, and before the time that trains need to stop was over "
            f"{text}",
            (signal.span,),
            (signal.name,),
            routes[:1],
            _points_of(routes) or (signal.enters.piece,),
            signal.name,
            hint=f"Where {signal.name} is locked by approach, a train near or not makes the "
            "difference, and nothing need be done.",
            over="histories",
            advice=True,
        )


def _let_go(plan: Plan) -> Iterator[tuple[Signal, tuple[Route, ...], Expr, str]]:
    """By signal: that something of its route moves or something against it clears, and what
    that is in words. Only where the plan says how long trains need to stop."""
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
        text = _what_is_let_go(_points_of(routes), tuple(against))
        yield signal, routes, disjunction(*moves, *clears), text


def _what_is_let_go(points: tuple[str, ...], signals: tuple[str, ...]) -> str:
    moved = f"the points of {listing(points)} move" if points else ""
    cleared = f"{listing(signals)} may clear" if signals else ""
    return " or ".join(filter(None, (moved, cleared)))


def _conflicts_by_signal(plan: Plan) -> Mapping[str, list[Conflict]]:
    """Conflicts with routes of other signals; those that part from one place are no conflict
    with a train that was let go."""
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
    """The other signal lets a train come onto the route that a train may still take. On track
    for switching only, Restricting is no such thing (49 CFR 236.308)."""
    other = plan.signals[_other(signal, conflict).signal]
    blocks = {plan.track.pieces[piece].block for piece in conflict.pieces}
    switching = all(b is not None and plan.blocks[b].switching for b in blocks)
    lets = proceeds if conflict.kind == "opposing" and switching else permits
    return conjunction(takes(conflict.first), takes(conflict.second), lets(other, plan))


# ------------------------------------------------------------------ route locking


def route_locking(plan: Plan) -> Iterator[Obligation]:
    """Points ahead of a train inside its route never move.

    From the moment the train has passed its signal until it has come to the points; where the
    route is released section by section, only behind the train.
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
            hint=f"Let a relay remember the route for as long as a train is in it, say "
            f"{remember_route(route.signal, blocks)}. "
            + lock_while(name, f"{relay} up", f"{relay} down", plan),
            over="histories",
        )


def _headed_for(name: str, plan: Plan) -> tuple[Expr, tuple[Route, ...]]:
    """A train inside a route has yet to come to some points; and the routes in question."""
    found = []
    for route in plan.routes:
        if any(need.points == name for need in route.needs):
            way = heads_for(name, route, plan)
            if way is not FALSE:
                found.append((route, way))
    return disjunction(*(way for _, way in found)), tuple(route for route, _ in found)


def _blocks_before(name: str, route: Route, plan: Plan) -> tuple[str, ...]:
    at = route.pieces.index(name)
    blocks = (plan.track.pieces[piece].block for piece in route.pieces[: at + 1])
    return tuple(dict.fromkeys(b for b in blocks if b is not None))


def loss_of_shunt(plan: Plan) -> Iterator[Obligation]:
    """Losing detection for 5 seconds or less does not let points move under a train, or ahead of
    one inside its route.

    On dirty rail, detection of a train can fail for a moment. Checked for points that a switch
    machine moves, and for hand-thrown ones with an electric lock. It is advice where no relay of
    the file is slow: such a file does not set out to guard against it.
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
            f"the points of {name} move beneath or ahead of a train that is not seen for a moment",
            places_of(name, plan),
            tuple(dict.fromkeys(r.signal for r in over)),
            over[:1],
            (name,),
            name,
            advice=not slow,
            hint=f"Let a relay be slow to believe that {block} is clear, say `relay {block}-track "
            f"picks when {block} clear slow to pick 6 s`, and ask for that relay where the lock of "
            f"{name} asks for {block}.",
            over="lossy",
        )


# ------------------------------------------------------------------ what was told, and is not so


def indication_locking(plan: Plan) -> Iterator[Obligation]:
    """A signal never proceeds because points were commanded to lie for it: detection must show
    that they do."""
    for signal, routes in signals_with_routes(plan) if plan.locking.over_time else ():
        for name in _points_of(routes):
            over = lies_over(name, routes)
            yield Obligation(
                "indication-locking",
                (signal.name, name),
                conjunction(
                    permits(signal, plan),
                    disjunction(
                        *(conjunction(way, _told_only(name, route)) for route, way in over)
                    ),
                ),
                f"{signal.name} lets a train go because {name} was told to lie for it, before its "
                "points do",
                (signal.span, *places_of(name, plan)),
                (signal.name,),
                (over[0][0],),
                (name,),
                name,
                hint=_seen_to_lie(name, signal, plan),
                over="histories",
            )


def _told_only(name: str, route: Route) -> Expr:
    position = next(need.position for need in route.needs if need.points == name)
    return conjunction(
        atom(observables.thrown(name), position), negation(atom(observables.points(name), position))
    )


def _seen_to_lie(name: str, signal: Signal, plan: Plan) -> str:
    machine = plan.wiring.machines.get(name)
    if machine is not None and machine.contacts == ():
        return (
            f"{name} has no contacts, so that what is reported is what it was told: write "
            f"`contacts normal, reverse` under `{plan.track.pieces[name].kind} {name}`."
        )
    return f"Ask for `{name} normal` or `{name} reverse` in every line of {signal.name}."


def hand_points_unlocked(plan: Plan) -> Iterator[Obligation]:
    """The electric lock of a hand-thrown switch is never released while a signal over the switch
    is at proceed, nor while a train that saw it may still come.

    The second is checked where the file says how long trains need (`trains need 20 s to stop`).
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
