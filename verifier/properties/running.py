"""Trains that obey their signals: they never collide or derail, and neither a signal ahead nor
the direction of traffic turns against them.

All properties here are checked over time. ``clearproof explain NAME`` prints their docstrings.
"""

from collections.abc import Collection, Iterator, Sequence

from verifier.language.listing import listing
from verifier.logic.expr import Expr, atom, conjunction, disjunction
from verifier.plan import observables
from verifier.plan.locking.locking_model import Traffic
from verifier.plan.model import Move, Piece, Plan, Port, Route, Signal
from verifier.plan.observables import AnyOne
from verifier.properties.locking_phrases import (
    comes_against,
    drawn_at,
    is_occupied,
    moving,
    not_at_stop,
    places_of,
    stops_all,
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

    Two trains collide when one runs onto track where the other stands, or when both run onto it
    at once. At restricted speed, and on `switching only` track, trains stop short of each other.
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
            hint="If the dispatcher keeps these trains apart, write `waive collision for "
            f'{title} because "…"`.',
            over="histories",
        )


def derailment(plan: Plan) -> Iterator[Obligation]:
    """Trains that obey their signals never run through points that lie against them, never run
    onto open points, over a derail that is derailing or onto an open gate, and none of these moves
    under them."""
    for device in moving(plan):
        name = device.name
        at, lies = f"at {device.title}", "it lies"
        if device.has_points:
            at, lies = f"at the points of {name}", "its points lie"
        yield Obligation(
            "derailment",
            (name,),
            _happens("train derails", name),
            f"a train derails {at}",
            places_of(device, plan),
            pieces=drawn_at(device),
            place=name,
            hint=f"Lock {name} while a train may run over it, and check how {lies} in every signal "
            "toward it.",
            over="histories",
        )


def _happens(kind: observables.Event, piece: str) -> Expr:
    return atom(observables.event(kind, piece), "yes")


# ------------------------------------------------------------------ opposing signals


def opposing_signals_drop(plan: Plan) -> Iterator[Obligation]:
    """A train on track that is used in both directions holds the opposing signals at restricting
    or stop.

    A signal never proceeds onto track on which a train runs toward it. Where more signals for the
    same direction stand beyond the first (absolute permissive block), the first one is at stop
    while a train runs toward it anywhere on the plain track up to the next switch.
    """
    against = {(m.piece, m.enter) for route in plan.routes for m in route.moves}
    firsts = frozenset(_first_signals(plan))
    for signal, routes in signals_with_routes(plan) if plan.locking.over_time else ():
        ahead = [(route, _beyond(route, plan, firsts)) for route in routes if route.moves]
        both_ways = [(r, far) for r, (far, end) in ahead
                     if _is_worked_both_ways(r, far, end, against)]  # fmt: skip
        if not both_ways:
            continue
        worked = [route for route, _ in both_ways]
        first = signal.enters in firsts
        ways = [_comes_toward(signal, r, plan, far if first else ()) for r, far in both_ways]
        pieces = (m.piece for route, far in both_ways for m in (*route.moves, *far))
        yield Obligation(
            "opposing-signals-drop",
            (signal.name,),
            disjunction(*ways),
            f"{signal.name} lets a train proceed while another runs toward it on the track ahead",
            (signal.span,),
            (signal.name,),
            tuple(worked[:1]),
            tuple(dict.fromkeys(pieces)),
            plan.track.pieces[worked[0].moves[-1].piece].title,
            hint="Let a relay hold from when a train is let onto this track at the other end "
            f"until it has left, and clear {signal.name} only while that relay is down; or give "
            "the track a direction of traffic (`traffic … on …`).",
            over="histories",
        )


def _comes_toward(signal: Signal, route: Route, plan: Plan, far: Sequence[Move]) -> Expr:
    """The signal lets a train onto the route while another runs toward it, there or on the track
    ``far`` beyond, where it must be at stop."""
    near = disjunction(*(comes_against(move, plan) for move in route.moves))
    if not far:
        return conjunction(takes(route), proceeds(signal, plan), near)
    beyond = disjunction(*(comes_against(move, plan) for move in far))
    return conjunction(takes(route), permits(signal, plan), disjunction(near, beyond))


def _beyond(route: Route, plan: Plan, firsts: Collection[Port]) -> tuple[tuple[Move, ...], Piece]:
    """The plain track beyond the end of a route, past intermediate signals, up to the first signal
    for trains from the other end; and the piece after it."""
    last = route.moves[-1]
    left_by = Port(last.piece, last.leave)
    port = plan.track.joint_at[left_by].other(left_by)
    moves: dict[str, Move] = {}
    while plan.track.pieces[port.piece].kind == "plain" and port.piece not in moves:
        if plan.track.joint_at[port].other(port) in firsts:
            break
        move, _, port = plan.track.onward[port][0]
        moves[move.piece] = move
    return tuple(moves.values()), plan.track.pieces[port.piece]


def _is_worked_both_ways(
    route: Route, far: Sequence[Move], end: Piece, against: set[tuple[str, str]]
) -> bool:
    """Whether signals or an edge let trains run toward a train on the route or ``far`` beyond."""
    lets_in = end.kind == "edge" and end.direction != "leaving"
    return lets_in or any((move.piece, move.leave) in against for move in (*route.moves, *far))


def _first_signals(plan: Plan) -> Iterator[Port]:
    """The ports at which signals stand with no other signal for the same direction before them on
    the same plain track."""
    governed = {signal.enters for signal in plan.signals.values()}
    return (port for port in governed if _stands_first(port, governed, plan))


def _stands_first(signal: Port, governed: Collection[Port], plan: Plan) -> bool:
    port = plan.track.joint_at[signal].other(signal)
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
    lets a train onto it.

    Signals on the track itself, for trains that are already there, do not count.
    """
    for traffic in plan.locking.traffic.values() if plan.locking.over_time else ():
        into = _signals_into(traffic, plan)
        lets = [conjunction(permits(s, plan), any_taken(routes)) for s, routes in into]
        there = [occupied(block) for block in traffic.blocks]
        held = f"any of {', '.join(traffic.blocks)} occupied"
        if len(traffic.blocks) == 1:
            held = f"{traffic.blocks[0]} occupied"
        held += "".join(f" or not {stops_all(s, plan)}" for s, _ in into)
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
            "a signal lets a train onto it",
            (traffic.span, *(s.span for s, _ in into)),
            tuple(s.name for s, _ in into),
            tuple(routes[0] for _, routes in into),
            tuple(p for block in traffic.blocks for p in pieces_in(block, plan)),
            traffic.name,
            hint=f"Write `locked while {held}` under `traffic {traffic.name}`."
            if traffic.locked is None
            else f"Make the line `locked while …` of {traffic.name} hold while {held}.",
            over="histories",
            lock=lock,
        )


def _signals_into(traffic: Traffic, plan: Plan) -> list[tuple[Signal, list[Route]]]:
    """The signals that govern entrance to the track, with their routes onto it."""
    found = []
    for signal, routes in signals_with_routes(plan):
        behind = plan.track.pieces[signal.joint.other(signal.enters).piece].block
        onto = [r for r in routes if set(traffic.blocks).intersection(r.blocks)]
        if onto and behind not in traffic.blocks:
            found.append((signal, onto))
    return found
