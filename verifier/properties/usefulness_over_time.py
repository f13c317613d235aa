"""Usefulness over time: locks that never let go are no better than signals that never clear.

Each function's docstring is what ``clearproof explain NAME`` prints.
"""

from collections.abc import Iterator

from verifier.logic.expr import Expr, conjunction, disjunction, negation
from verifier.plan.model import Piece, Plan, Port, Route
from verifier.properties.locking_phrases import came_in_by, places_of, train_on
from verifier.properties.obligation import Obligation
from verifier.properties.phrases import lined, permits, pieces_in
from verifier.properties.usefulness import is_meant_to_clear


def _is_set(route: Route, plan: Plan) -> Expr:
    return conjunction(permits(plan.signals[route.signal], plan), lined(route))


def _routes(plan: Plan) -> Iterator[Route]:
    return (r for r in plan.routes if plan.locking.over_time and is_meant_to_clear(r, plan))


def route_never_set(plan: Plan) -> Iterator[Obligation]:
    """From the start, with trains that run by their signals and with what people can press and
    throw, every route can be set and its signal cleared."""
    for route in _routes(plan):
        signal = plan.signals[route.signal]
        yield Obligation(
            "route-never-set",
            (route.name,),
            _is_set(route, plan),
            f"the route {route.name} can never be set, whatever people press and throw",
            (signal.span,),
            (signal.name,),
            (route,),
            route.pieces,
            hint=f"Look for a relay that {signal.name} needs and that can never be as it needs it, "
            "and for points that are locked from the start.",
            over="histories",
            mode="possible",
        )


def locked_for_good(plan: Plan) -> Iterator[Obligation]:
    """Whatever has happened, every route can be set again later.

    A stick relay that nothing drops anymore breaks it, and so do trains that block each other
    forever.
    """
    for route in _routes(plan):
        signal = plan.signals[route.signal]
        yield Obligation(
            "locked-for-good",
            (route.name,),
            _is_set(route, plan),
            f"it can come about that the route {route.name} can never be set again",
            (signal.span,),
            (signal.name,),
            (route,),
            route.pieces,
            hint="Look for a relay that sticks while something holds that its being up keeps from "
            "ending, and for trains that wait for each other.",
            over="for good",
            mode="possible",
        )


def train_cannot_leave(plan: Plan) -> Iterator[Obligation]:
    """Whatever has happened, every block in which a train can stand can be vacant again later:
    a train let in can leave."""
    for block in plan.blocks.values() if plan.locking.over_time else ():
        pieces = pieces_in(block.name, plan)
        if not pieces:
            continue
        yield Obligation(
            "train-cannot-leave",
            (block.name,),
            negation(disjunction(*(train_on(piece) for piece in pieces))),
            f"it can come about that a train on {block.name} can never leave",
            (block.span,),
            pieces=pieces,
            place=block.name,
            hint="Let no train in where it could not get out again: look at what the signals "
            f"toward {block.name} ask of the track beyond.",
            over="for good",
            mode="possible",
        )


def cannot_pass(plan: Plan) -> Iterator[Obligation]:
    """At every passing siding two trains that come from both ends can meet: one stands on one
    track between the two switches and the other on the other, each headed the way it goes.

    A passing siding is found from the track: two turnouts, both legs of the one joined to the
    legs of the other by plain track. That both can then go on is checked by `train-cannot-leave`.
    """
    for a, b, tracks in _passing_sidings(plan) if plan.locking.over_time else ():
        one, two = tracks
        names = tuple(dict.fromkeys(plan.track.pieces[p.piece].title for t in tracks for p in t))
        yield Obligation(
            "cannot-pass",
            (a, b),
            disjunction(*(_meet(x, y, plan) for x, y in ((one, two), (two, one)))),
            f"two trains can never meet between {a} and {b}, one on each track",
            (*places_of(a, plan), *places_of(b, plan)),
            pieces=tuple(p.piece for track in tracks for p in track),
            place=" and ".join(names),
            hint="Look at whether the signals at the one end let a train in while one is on the "
            "other track.",
            over="histories",
            mode="possible",
        )


def _meet(away: tuple[Port, ...], back: tuple[Port, ...], plan: Plan) -> Expr:
    """A train on the first track heads from the first turnout to the second, one on the other
    track the other way."""
    turned = (Port(p.piece, _other_end(p, plan)) for p in back)
    return conjunction(
        disjunction(*(came_in_by(port, plan) for port in away)),
        disjunction(*(came_in_by(port, plan) for port in turned)),
    )


def _other_end(port: Port, plan: Plan) -> str:
    return next(end for end in plan.track.pieces[port.piece].ends if end != port.end)


Tracks = tuple[tuple[Port, ...], tuple[Port, ...]]


def _passing_sidings(plan: Plan) -> Iterator[tuple[str, str, Tracks]]:
    """Pairs of turnouts whose legs are joined, with the two tracks between: the ends by which
    pieces are entered from the first to the second."""
    turnouts = [p for p in plan.track.pieces.values() if p.kind == "turnout"]
    for i, turnout in enumerate(turnouts):
        (first, other), (second, another) = (
            _from_leg(turnout, leg, plan) for leg in ("normal", "reverse")
        )
        if other == another and other in {t.name for t in turnouts[i + 1 :]} and first and second:
            yield turnout.name, other, (first, second)


def _from_leg(turnout: Piece, leg: str, plan: Plan) -> tuple[tuple[Port, ...], str]:
    """The plain track from a leg, and the turnout whose leg it comes to (else nothing)."""
    out = Port(turnout.name, leg)
    port = plan.track.joint_at[out].other(out)
    passed: list[Port] = []
    while plan.track.pieces[port.piece].kind == "plain" and port not in passed:
        passed.append(port)
        port = plan.track.onward[port][0].leads_to
    at_leg = plan.track.pieces[port.piece].kind == "turnout" and port.end in ("normal", "reverse")
    return tuple(passed), port.piece if at_leg else ""
