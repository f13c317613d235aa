"""Usefulness over time: routes can be set, trains can leave and pass each other.

``clearproof explain NAME`` prints the docstring of each property."""

from collections.abc import Iterator

from verifier.logic.expr import FALSE, Expr, conjunction, disjunction, negation
from verifier.plan.devices import devices
from verifier.plan.model import Piece, Plan, Port
from verifier.properties.locking_phrases import came_in_by, places_of, train_on
from verifier.properties.obligation import Obligation, Over
from verifier.properties.phrases import clears, lined, pieces_in
from verifier.properties.usefulness import is_meant_to_clear


def route_never_set(plan: Plan) -> Iterator[Obligation]:
    """Every route can be set and its signal cleared, starting from the initial state.

    Trains obey their signals, and people press and throw whatever helps. Where relays race, they
    may act in whatever order helps, too.
    """
    return _settable(
        "route-never-set",
        plan,
        "the route {} can never be set, whatever people press and throw",
        "Look for a relay that never takes the state that {} needs, and for points that are locked "
        "from the start.",
        "histories",
    )


def locked_for_good(plan: Plan) -> Iterator[Obligation]:
    """Every route can be set again later, whatever has happened before.

    Proved means that people and trains *can* bring it about; not that they will. What has happened
    may be a collision or a derailment too. Where relays race, a way back counts if it is one in
    some order in which they may act: on your layout the other may always win. Broken, for example,
    by a stick relay that nothing can drop, or by trains that block each other forever. On a circle
    that no train can leave or come to, it is asked while a train is there: without any, signals
    that trains alone clear have nothing to go by.
    """
    return _settable(
        "locked-for-good",
        plan,
        "a state can arise in which the route {} can never be set again",
        "Look for a relay that sticks on a condition that cannot end while the relay is up, and "
        "for trains that wait for each other.",
        "for good",
        _forever_empty(plan),
    )


def _forever_empty(plan: Plan) -> Expr:
    """That there is no train, where none ever comes or leaves."""
    pieces = plan.track.pieces.values()
    if any(piece.kind == "edge" for piece in pieces):
        return FALSE
    return negation(disjunction(*(train_on(piece.name) for piece in pieces if piece.block)))


def _settable(
    name: str, plan: Plan, trouble: str, hint: str, over: Over, unless: Expr = FALSE
) -> Iterator[Obligation]:
    """For each route: it can be lined and its signal cleared, ``unless`` there is no use."""
    for route in plan.routes if plan.locking.over_time else ():
        signal = plan.signals[route.signal]
        if is_meant_to_clear(route, plan):
            yield Obligation(
                name,
                (route.name,),
                disjunction(conjunction(clears(signal, plan), lined(route)), unless),
                trouble.format(route.name),
                (signal.span,),
                (signal.name,),
                (route,),
                route.pieces,
                hint=hint.format(signal.name),
                over=over,
                mode="possible",
            )


def train_cannot_leave(plan: Plan) -> Iterator[Obligation]:
    """Every block can become vacant again, whatever has happened before: a train that is let in
    can leave, if people let it. That they will is not said. Where relays race, it is enough that
    it can in some order in which they may act."""
    for block in plan.blocks.values() if plan.locking.over_time else ():
        pieces = pieces_in(block.name, plan)
        if not pieces:
            continue
        yield Obligation(
            "train-cannot-leave",
            (block.name,),
            negation(disjunction(*(train_on(piece) for piece in pieces))),
            f"a train on {block.name} can get stuck and never leave",
            (block.span,),
            pieces=pieces,
            place=block.name,
            hint="Do not let a train in where it cannot get out again: check what the signals "
            f"toward {block.name} require of the track beyond.",
            over="for good",
            mode="possible",
        )


def cannot_pass(plan: Plan) -> Iterator[Obligation]:
    """Two trains from opposite ends can meet at every passing siding, one on each track
    between the two turnouts.

    A passing siding is two turnouts whose legs are joined, leg to leg, by plain track.
    `train-cannot-leave` checks that both trains can then proceed.
    """
    for a, b, tracks in _passing_sidings(plan) if plan.locking.over_time else ():
        one, two = tracks
        known = devices(plan)
        names = tuple(dict.fromkeys(plan.track.pieces[p.piece].title for t in tracks for p in t))
        yield Obligation(
            "cannot-pass",
            (a, b),
            disjunction(*(_meet(x, y, plan) for x, y in ((one, two), (two, one)))),
            f"two trains can never meet between {a} and {b}, one on each track",
            (*places_of(known[a], plan), *places_of(known[b], plan)),
            pieces=tuple(p.piece for track in tracks for p in track),
            place=" and ".join(names),
            hint="Check whether the signals at each end let a train in while another train is on "
            "the other track.",
            over="histories",
            mode="possible",
        )


def _meet(away: tuple[Port, ...], back: tuple[Port, ...], plan: Plan) -> Expr:
    """A train on the first track runs from the first turnout to the second, and a train on the
    other track runs the other way."""
    turned = (Port(p.piece, _other_end(p, plan)) for p in back)
    return conjunction(
        disjunction(*(came_in_by(port, plan) for port in away)),
        disjunction(*(came_in_by(port, plan) for port in turned)),
    )


def _other_end(port: Port, plan: Plan) -> str:
    return next(end for end in plan.track.pieces[port.piece].ends if end != port.end)


Tracks = tuple[tuple[Port, ...], tuple[Port, ...]]


def _passing_sidings(plan: Plan) -> Iterator[tuple[str, str, Tracks]]:
    """Pairs of turnouts whose legs are joined, with the two tracks between them, each as the
    ports by which a train from the first turnout to the second enters its pieces."""
    turnouts = [p for p in plan.track.pieces.values() if p.kind == "turnout"]
    for i, turnout in enumerate(turnouts):
        (first, other), (second, another) = (
            _from_leg(turnout, leg, plan) for leg in ("normal", "reverse")
        )
        if other == another and other in {t.name for t in turnouts[i + 1 :]} and first and second:
            yield turnout.name, other, (first, second)


def _from_leg(turnout: Piece, leg: str, plan: Plan) -> tuple[tuple[Port, ...], str]:
    """The plain track from a leg, and the turnout whose leg it leads to; else ``""``."""
    out = Port(turnout.name, leg)
    port = plan.track.joint_at[out].other(out)
    passed: list[Port] = []
    while plan.track.pieces[port.piece].kind == "plain" and port not in passed:
        passed.append(port)
        port = plan.track.onward[port][0].leads_to
    at_leg = plan.track.pieces[port.piece].kind == "turnout" and port.end in ("normal", "reverse")
    return tuple(passed), port.piece if at_leg else ""
