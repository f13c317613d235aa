"""Usefulness: signals that stay red are safe, but nobody can run trains by them.

``clearproof explain NAME`` prints the docstring of each property."""

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import combinations

from verifier.logic.expr import TRUE, atom, conjunction
from verifier.plan import observables
from verifier.plan.model import Line, Plan, Route, Signal
from verifier.plan.observables import Observable
from verifier.properties.obligation import Obligation
from verifier.properties.phrases import clears, leaves_where_trains_enter, lined, way_clear

_ABOVE = (
    "The first line that holds decides. Look for a line above that always holds first (then move "
    "this one up), and for conditions that exclude each other."
)


def never_shown(plan: Plan) -> Iterator[Obligation]:
    """Every aspect listed for a signal (every color listed for a head) can be displayed."""
    for signal, owner, what, lines in _rules(plan):
        for shown in dict.fromkeys(line.shows for line in lines):
            yield Obligation(
                "never-shown",
                (owner, shown),
                atom(what, shown),
                f"{owner} can never show {shown}",
                tuple(line.span for line in lines if line.shows == shown),
                (signal.name,),
                pieces=(signal.enters.piece,),
                hint=_ABOVE,
                mode="possible",
            )


def _rules(plan: Plan) -> Iterator[tuple[Signal, str, Observable, Sequence[Line]]]:
    """The lines of each signal and of each head: the signal, who has the lines, what they set."""
    for signal in plan.signals.values():
        yield signal, signal.name, signal.reading, signal.lines
        for head in signal.heads:
            yield signal, head.name, head.lens, head.lines


def route_never_clears(plan: Plan) -> Iterator[Obligation]:
    """The signal of every route can clear when the route is lined and nothing is in the way.

    Not checked for routes that no signal may clear: those over track that no detector
    watches, and those that leave over an edge where trains only enter.
    """
    for route in plan.routes:
        if not is_meant_to_clear(route, plan):
            continue
        signal = plan.signals[route.signal]
        yield Obligation(
            "route-never-clears",
            (route.name,),
            conjunction(clears(signal, plan), lined(route), way_clear(route, plan)),
            f"the route {route.name} can never be used: {signal.name} stays at stop although the "
            "route is lined and nothing is in the way",
            (signal.span,),
            (signal.name,),
            (route,),
            route.pieces,
            hint=f"Give {signal.name} a line for this route; or, if no train should take it, "
            f'write `waive route-never-clears for "{route.name}" because "…"`.',
            mode="possible",
        )


def is_meant_to_clear(route: Route, plan: Plan) -> bool:
    """Whether a signal may clear for the route: all of it is detected, and trains may leave."""
    detected = all(plan.blocks[block].detected for block in route.blocks)
    return detected and not leaves_where_trains_enter(route, plan)


def rule_never_used(plan: Plan) -> Iterator[Obligation]:
    """Every line of a rule decides something: of several lines that show the same aspect or
    color, each one decides at some time. (`never-shown` covers aspects with a single line.)
    """
    for signal, owner, _, lines in _rules(plan):
        count = Counter(line.shows for line in lines)
        for line in lines:
            if count[line.shows] > 1:
                yield Obligation(
                    "rule-never-used",
                    (owner, line.span.seen_from(plan.source)),
                    atom(observables.line(owner, line.index), "acts"),
                    f"the line `{line.span.one_line}` of {owner} never decides anything",
                    (line.span,),
                    (signal.name,),
                    pieces=(signal.enters.piece,),
                    mode="possible",
                )


def condition_constant(plan: Plan) -> Iterator[Obligation]:
    """Every named condition can be true, and can be false."""
    for condition in plan.conditions.values():
        for state in ("true", "false"):
            yield Obligation(
                "condition-constant",
                (condition.name, state),
                atom(condition.what, state),
                f"the condition {condition.name} can never be {state}",
                (condition.span,),
                mode="possible",
            )


def assumptions_contradict(plan: Plan) -> Iterator[Obligation]:
    """The assumptions of the file allow some situation. Under assumptions that contradict each
    other, everything could be proved."""
    if plan.assumptions:
        yield Obligation(
            "assumptions-contradict",
            ("assumptions",),
            TRUE,
            "the assumptions rule out every situation",
            tuple(assumption.span for assumption in plan.assumptions),
            mode="possible",
        )


def compatible_routes_blocked(plan: Plan) -> Iterator[Obligation]:
    """Two routes through one interlocking that share no track can be cleared together.

    This is a note only: blocking such routes is safe, but costs a move for nothing. It is
    checked for routes over the points or crossings of the interlocking limits; the route of an
    approach signal ends at the next signal.
    """
    conflicting = {frozenset((c.first.name, c.second.name)) for c in plan.conflicts}
    seen: set[frozenset[str]] = set()
    for limits in plan.limits:
        inside = {piece for piece in limits.pieces if plan.track.pieces[piece].kind != "plain"}
        here = [r for r in plan.routes if inside & set(r.pieces) and is_meant_to_clear(r, plan)]
        for one, two in combinations(here, 2):
            pair = frozenset((one.name, two.name))
            apart = one.signal != two.signal and not set(one.blocks) & set(two.blocks)
            if apart and pair not in conflicting and pair not in seen:
                seen.add(pair)
                yield _together(one, two, plan)


def _together(one: Route, two: Route, plan: Plan) -> Obligation:
    a, b = plan.signals[one.signal], plan.signals[two.signal]
    return Obligation(
        "compatible-routes-blocked",
        (one.name, two.name),
        conjunction(
            clears(a, plan), clears(b, plan), lined(one), lined(two),
            way_clear(one, plan), way_clear(two, plan),
        ),
        f"the routes {one.name} and {two.name} share no track, but can never be cleared together",
        (a.span, b.span),
        (a.name, b.name),
        (one, two),
        (*one.pieces, *two.pieces),
        advice=True,
        mode="possible",
    )  # fmt: skip
