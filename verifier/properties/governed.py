"""What must hold on the track that a signal governs while the signal proceeds.

``clearproof explain NAME`` prints the docstring of each property. "Proceed" is any aspect less
restrictive than Restricting."""

from collections.abc import Iterable, Iterator

from verifier.language.listing import listing
from verifier.logic.expr import Expr, atom, conjunction, disjunction, negation
from verifier.plan import observables
from verifier.plan.model import Plan, Route, Signal
from verifier.plan.signals.aspects import Aspect
from verifier.properties.obligation import Obligation, at_signal
from verifier.properties.phrases import (
    any_taken,
    at_least,
    diverges_at_all,
    occupied,
    permits,
    pieces_on,
    proceeds,
    shows_one_of,
    signals_with_routes,
    takes,
    takes_up_to,
)


def proceed_into_occupied(plan: Plan) -> Iterator[Obligation]:
    """A signal never proceeds while stock stands anywhere on the track it governs.

    That track reaches to the next signal for the same direction, along the lined route.
    """
    for signal, block, over in _blocks_ahead(plan):
        yield at_signal(
            "proceed-into-occupied",
            signal,
            block,
            plan.blocks[block].span,
            conjunction(proceeds(signal, plan), occupied(block), any_taken(over)),
            f"{signal.name} proceeds while stock stands on {block}",
            over,
            pieces_on(over[0], block, plan),
            _every_car(plan),
        )


def _blocks_ahead(plan: Plan) -> Iterator[tuple[Signal, str, list[Route]]]:
    """Each block on the routes of each signal, with the routes over it."""
    for signal, routes in signals_with_routes(plan):
        for block in dict.fromkeys(b for route in routes for b in route.blocks):
            yield signal, block, [route for route in routes if block in route.blocks]


def _every_car(plan: Plan) -> str:
    """What to do about stock that draws no current, if the file allows such stock."""
    trains = plan.wiring.trains
    if trains is None or trains.detectable == "throughout":
        return ""
    return (
        "Give every car a wheelset that draws current, and write `detectable throughout`: a "
        "current-sensing detector cannot see a car that draws none."
    )


def proceed_over_open_points(plan: Plan) -> Iterator[Obligation]:
    """A signal never proceeds while points in the route do not actually lie for it.

    Facing points must lie fully normal or fully reverse; trailing points must lie for the
    track the train comes from. Points that lie neither way are open. Restricting and
    stop-and-proceed count too: a train derails at open points at any speed.
    """
    for signal, routes in signals_with_routes(plan):
        bad: dict[str, list[Expr]] = {}
        first: dict[str, Route] = {}
        for route in routes:
            for i, need in enumerate(route.needs):
                points = observables.points(need.points)
                wrong = (
                    atom(points, "open") if need.facing else negation(atom(points, need.position))
                )
                bad.setdefault(need.points, []).append(conjunction(takes_up_to(route, i), wrong))
                first.setdefault(need.points, route)
        for name, ways in bad.items():
            yield at_signal(
                "proceed-over-open-points",
                signal,
                name,
                plan.track.pieces[name].span,
                conjunction(permits(signal, plan), disjunction(*ways)),
                f"{signal.name} lets a train proceed while the points of {name} do not lie for "
                "the route",
                (first[name],),
                (name,),
            )


def aspect_against_route(plan: Plan) -> Iterator[Obligation]:
    """An aspect never indicates a route other than the one the points are lined for.

    A straight aspect (Clear, Approach) over facing points that lie reverse sends a train
    through the turnout at full speed. A diverging aspect over points that all lie normal
    indicates a route that is not lined. Over trailing points that lie reverse, on the way out of
    a siding, either will do: they choose no route. Aspects that give a speed (medium, slow,
    restricted) indicate no route.
    """
    for signal, routes in signals_with_routes(plan):
        shown = [a for a in plan.chart.aspects if a.name in signal.aspect.values]
        straight = {a.name for a in shown if a.indication.way == "straight"}
        diverging = {a.name for a in shown if a.indication.way == "diverging"}
        bad = []
        for route in routes:
            if route.diverging:
                bad.append(conjunction(shows_one_of(signal, straight), takes(route)))
            elif not diverges_at_all(route):
                bad.append(conjunction(shows_one_of(signal, diverging), takes(route)))
        if not bad or not (straight or diverging):
            continue
        points = tuple(dict.fromkeys(n.points for r in routes for n in r.needs if n.facing))
        yield Obligation(
            "aspect-against-route",
            (signal.name,),
            disjunction(*bad),
            f"{signal.name} shows an aspect for a route that is not lined",
            (signal.span,),
            (signal.name,),
            routes[:1],
            points,
            listing(points),
            hint=_SECOND_HEAD if any(r.diverging for r in routes) else _STRAIGHT_ONLY,
        )


_SECOND_HEAD = (
    "Give the signal a second head (`heads upper, lower`) and a diverging aspect for the route "
    "over the reverse leg, and check the points in every line."
)
_STRAIGHT_ONLY = (
    "No route from this signal diverges: show a straight aspect (Clear, Approach), or list these "
    "colors for one in an `aspect` statement."
)


def approach_untruthful(plan: Plan) -> Iterator[Obligation]:
    """A signal never promises more about the next signal than that signal shows.

    Clear and Diverging-Clear promise that the next signal is neither at stop nor at
    Restricting. "Prepared to pass next signal at medium speed" promises at least that speed
    there. Approach promises nothing. A bumper at the end of the route counts as a signal that
    is always at stop.
    """
    for signal, routes in signals_with_routes(plan):
        promises = [
            a
            for a in plan.chart.aspects
            if a.indication.next_at_least and a.name in signal.aspect.values
        ]
        following = dict.fromkeys(r.exit for r in routes if r.exit_kind != "edge")
        for name in following if promises else ():
            ways = [r for r in routes if r.exit_kind != "edge" and r.exit == name]
            if ways[0].exit_kind == "signal":
                yield _promise(signal, plan.signals[name], promises, ways, plan)
            else:
                yield _promise_at_the_end(signal, name, promises, ways, plan)


def _promise(
    signal: Signal, ahead: Signal, promises: Iterable[Aspect], ways: list[Route], plan: Plan
) -> Obligation:
    bad = (conjunction(shows_one_of(signal, {a.name}), _worse(ahead, a, plan)) for a in promises)
    return Obligation(
        "approach-untruthful",
        (signal.name, ahead.name),
        conjunction(disjunction(*bad), any_taken(ways)),
        f"{signal.name} promises more than the next signal, {ahead.name}, shows",
        (signal.span, ahead.span),
        (signal.name, ahead.name),
        tuple(ways[:1]),
        (ahead.enters.piece,),
        ahead.name,
    )


def _promise_at_the_end(
    signal: Signal, bumper: str, promises: Iterable[Aspect], ways: list[Route], plan: Plan
) -> Obligation:
    return at_signal(
        "approach-untruthful",
        signal,
        bumper,
        plan.track.pieces[bumper].span,
        conjunction(shows_one_of(signal, {a.name for a in promises}), any_taken(ways)),
        f"{signal.name} promises that the next signal is not at stop, but the track ends at "
        f"{bumper}",
        ways,
        ways[0].pieces[-1:],
        "Show an aspect that promises nothing about the next signal: Approach instead of "
        "Clear, Diverging-Approach instead of Diverging-Clear.",
    )


def _worse(ahead: Signal, promise: Aspect, plan: Plan) -> Expr:
    least = promise.indication.next_at_least
    assert least is not None
    good = {a.name for a in plan.chart.aspects if at_least(a, least)}
    return negation(atom(ahead.worst_reading, *good))


def undetected_track(plan: Plan) -> Iterator[Obligation]:
    """A signal never proceeds over track that no detector watches."""
    for signal, block, over in _blocks_ahead(plan):
        if not plan.blocks[block].detected:
            yield at_signal(
                "undetected-track",
                signal,
                block,
                plan.blocks[block].span,
                conjunction(proceeds(signal, plan), any_taken(over)),
                f"{signal.name} proceeds over {block}, which no detector watches",
                over,
                pieces_on(over[0], block, plan),
                f"Give {block} a detector, or show nothing better than Restricting over it.",
            )
