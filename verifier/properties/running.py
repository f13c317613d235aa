"""Trains that run by their signals: they never meet, never come to grief at points, and never
find a signal ahead, or the direction of traffic, turned against them.

Each function's docstring is what ``clearproof explain NAME`` prints. Sections are of 49 CFR
Part 236 unless another source is named. All of these are asked of histories.
"""

from collections.abc import Iterator

from verifier.language.listing import listing
from verifier.logic.expr import Expr, atom, conjunction, disjunction
from verifier.plan import observables
from verifier.plan.locking.locking_model import Traffic
from verifier.plan.model import Move, Piece, Plan, Port, Route, Signal
from verifier.plan.observables import AnyOne
from verifier.properties.locking_phrases import (
    comes_against,
    is_occupied,
    not_at_stop,
    places_of,
    switches,
)
from verifier.properties.obligation import Lock, Obligation
from verifier.properties.phrases import (
    any_taken,
    occupied,
    permits,
    pieces_in,
    proceeds,
    signals_with_routes,
    takes,
)


def collision(plan: Plan) -> Iterator[Obligation]:
    """Trains that obey their signals never collide.

    A train that comes onto track where another stands, or two that come onto it at once. Where
    signals are passed at restricted speed, and on track for `switching only`, trains stop short
    of each other.
    """
    grounds: dict[str, list[Piece]] = {}
    for piece in plan.track.pieces.values() if plan.locking.over_time else ():
        if piece.kind not in ("edge", "bumper"):
            grounds.setdefault(piece.title, []).append(piece)
    for title, pieces in grounds.items():
        yield Obligation(
            "collision",
            (title,),
            disjunction(*(_happens("trains meet", piece.name) for piece in pieces)),
            f"two trains meet on {title}",
            tuple(dict.fromkeys(piece.span for piece in pieces)),
            pieces=tuple(piece.name for piece in pieces),
            place=title,
            hint="If the dispatcher keeps these trains apart, say so: `waive collision for "
            f'{title} because "…"`.',
            over="histories",
        )


def derailment(plan: Plan) -> Iterator[Obligation]:
    """Trains that obey their signals never run through points that lie against them, never
    come onto open points, and points never move beneath them."""
    for name in switches(plan) if plan.locking.over_time else ():
        yield Obligation(
            "derailment",
            (name,),
            _happens("train derails", name),
            f"a train comes off at the points of {name}",
            places_of(name, plan),
            pieces=(name,),
            place=name,
            hint=f"Lock {name} while a train may come over it, and let every signal toward it ask "
            "how its points lie.",
            over="histories",
        )


def _happens(kind: observables.Event, piece: str) -> Expr:
    return atom(observables.event(kind, piece), "yes")


# ------------------------------------------------------------------ opposing signals


def opposing_signals_drop(plan: Plan) -> Iterator[Obligation]:
    """A train on track worked both ways holds the signals at restricting or stop that would
    let another come against it.

    A signal never proceeds onto track on which a train comes toward it. Where more signals the
    same way stand beyond the first (absolute permissive block), the first is at stop for as
    long as a train comes toward it anywhere on plain track as far as the next switch.
    """
    against = {(m.piece, m.enter) for route in plan.routes for m in route.moves}
    for signal, routes in signals_with_routes(plan) if plan.locking.over_time else ():
        worked = [r for r in routes if _is_worked_both_ways(r, against, plan)]
        if not worked:
            continue
        ways = [_comes_toward(signal, route, plan) for route in worked]
        pieces = (m.piece for route in worked for m in (*route.moves, *_beyond(route, plan)[0]))
        yield Obligation(
            "opposing-signals-drop",
            (signal.name,),
            disjunction(*ways),
            f"{signal.name} lets a train go while another comes toward it on the track ahead",
            (signal.span,),
            (signal.name,),
            tuple(worked[:1]),
            tuple(dict.fromkeys(pieces)),
            plan.track.pieces[worked[0].moves[-1].piece].title,
            hint="Let a relay remember that a train was let onto this track from the other end, "
            f"until it has left, and clear {signal.name} only while that relay is down; or give "
            "the track a direction of traffic (`traffic … on …`).",
            over="histories",
        )


def _comes_toward(signal: Signal, route: Route, plan: Plan) -> Expr:
    """The signal lets a train go this way while another comes toward it."""
    near = disjunction(*(comes_against(move, plan) for move in route.moves))
    far, _ = _beyond(route, plan)
    if not far or not _stands_first(signal, plan):
        return conjunction(takes(route), proceeds(signal, plan), near)
    beyond = disjunction(*(comes_against(move, plan) for move in far))
    return conjunction(takes(route), permits(signal, plan), disjunction(near, beyond))


def _beyond(route: Route, plan: Plan) -> tuple[tuple[Move, ...], Piece]:
    """The plain track beyond the end of a route, past signals that stand there, up to the first
    signal of those that come the other way; and the piece after it."""
    last = route.moves[-1]
    left_by = Port(last.piece, last.leave)
    port = plan.track.joint_at[left_by].other(left_by)
    firsts = {s.enters for s in plan.signals.values() if _stands_first(s, plan)}
    moves: dict[str, Move] = {}
    while plan.track.pieces[port.piece].kind == "plain" and port.piece not in moves:
        if plan.track.joint_at[port].other(port) in firsts:
            break
        move, _, port = plan.track.onward[port][0]
        moves[move.piece] = move
    return tuple(moves.values()), plan.track.pieces[port.piece]


def _is_worked_both_ways(route: Route, against: set[tuple[str, str]], plan: Plan) -> bool:
    """Signals, or an edge, let trains come toward one that takes the route."""
    if not route.moves:
        return False
    far, end = _beyond(route, plan)
    lets_in = end.kind == "edge" and end.direction != "leaving"
    return lets_in or any((move.piece, move.leave) in against for move in (*route.moves, *far))


def _stands_first(signal: Signal, plan: Plan) -> bool:
    """No other signal for the same way stands before it on the same plain track."""
    port = plan.track.joint_at[signal.enters].other(signal.enters)
    governed = {s.enters for s in plan.signals.values()}
    passed: set[Port] = set()
    while plan.track.pieces[port.piece].kind == "plain" and port not in passed:
        passed.add(port)
        entered = Port(port.piece, "left" if port.end == "right" else "right")
        if entered in governed:
            return False
        port = plan.track.joint_at[entered].other(entered)
    return True


# ------------------------------------------------------------------ direction of traffic


def traffic_locking(plan: Plan) -> Iterator[Obligation]:
    """The direction of traffic never changes while a train is on the track, nor while a signal
    lets one come onto it.

    Signals that stand on the track itself, for trains already there, do not count.
    """
    for traffic in plan.locking.traffic.values() if plan.locking.over_time else ():
        into = _signals_into(traffic, plan)
        lets = [conjunction(permits(s, plan), any_taken(routes)) for s, routes in into]
        there = [occupied(block) for block in traffic.blocks]
        held = f"any of {', '.join(traffic.blocks)} occupied"
        if len(traffic.blocks) == 1:
            held = f"{traffic.blocks[0]} occupied"
        held += "".join(f" or not {s.name} at stop" for s, _ in into)
        seen = [is_occupied(block, plan) for block in traffic.blocks]
        known = [*filter(None, seen), *(not_at_stop(s, plan) for s, _ in into)]
        lock = Lock(traffic.name, AnyOne(tuple(known), traffic.span)) if all(seen) else None
        on = listing(traffic.blocks, "or")
        yield Obligation(
            "traffic-locking",
            (traffic.name,),
            conjunction(
                atom(observables.event("traffic turns", traffic.name), "yes"),
                disjunction(*there, *lets),
            ),
            f"the direction of traffic {traffic.name} turns while a train is on {on} or "
            "a signal lets one come onto it",
            (traffic.span, *(s.span for s, _ in into)),
            tuple(s.name for s, _ in into),
            tuple(routes[0] for _, routes in into),
            tuple(p for block in traffic.blocks for p in pieces_in(block, plan)),
            traffic.name,
            hint=f"Write `locked while {held}` under `traffic {traffic.name}`."
            if traffic.locked is None
            else f"Let the line `locked while …` of {traffic.name} hold while {held}.",
            over="histories",
            lock=lock,
        )


def _signals_into(traffic: Traffic, plan: Plan) -> list[tuple[Signal, list[Route]]]:
    """Signals before the track, with their routes onto it."""
    found = []
    for signal, routes in signals_with_routes(plan):
        behind = plan.track.pieces[signal.joint.other(signal.enters).piece].block
        onto = [r for r in routes if set(traffic.blocks).intersection(r.blocks)]
        if onto and behind not in traffic.blocks:
            found.append((signal, onto))
    return found
