"""Usefulness: a system that is always red is not a proof.

Each function's docstring is what ``clearproof explain NAME`` prints.
"""

from collections import Counter
from collections.abc import Iterator, Sequence

from verifier.logic.expr import TRUE, atom, conjunction
from verifier.plan import observables
from verifier.plan.model import Line, Plan, Route, Signal
from verifier.properties.obligation import Obligation
from verifier.properties.phrases import lined, permits, way_clear

_ABOVE = (
    "The first line that holds is the one that acts: look for a line above that always holds "
    "first (then move this one up), and for conditions that exclude each other."
)


def never_shown(plan: Plan) -> Iterator[Obligation]:
    """Every aspect listed for a signal (every color listed for a head) can be displayed."""
    for signal in plan.signals.values():
        for aspect in dict.fromkeys(line.shows for line in signal.lines):
            yield Obligation(
                "never-shown",
                (signal.name, aspect),
                atom(signal.reading, aspect),
                f"{signal.name} can never show {aspect}",
                tuple(line.span for line in signal.lines if line.shows == aspect),
                (signal.name,),
                (),
                (signal.enters.piece,),
                hint=_ABOVE,
                mode="possible",
            )
        for head in signal.heads:
            for color in dict.fromkeys(line.shows for line in head.lines):
                yield Obligation(
                    "never-shown",
                    (head.name, color),
                    atom(head.lens, color),
                    f"{head.name} can never show {color}",
                    tuple(line.span for line in head.lines if line.shows == color),
                    (signal.name,),
                    (),
                    (signal.enters.piece,),
                    hint=_ABOVE,
                    mode="possible",
                )


def route_never_clears(plan: Plan) -> Iterator[Obligation]:
    """Every route can be lined, and its signal then clears, when nothing stands in the way.

    Routes that no signal may clear anyway are left out: those over track that no detector
    watches, and those that leave by an edge where trains only enter.
    """
    for route in plan.routes:
        if not is_meant_to_clear(route, plan):
            continue
        signal = plan.signals[route.signal]
        yield Obligation(
            "route-never-clears",
            (route.name,),
            conjunction(permits(signal, plan), lined(route), way_clear(route, plan)),
            f"the route {route.name} can never be used: with its points lined and nothing in the "
            f"way, {signal.name} stays at stop",
            (signal.span,),
            (signal.name,),
            (route,),
            route.pieces,
            hint=f"Give {signal.name} a line for this route, or, if no train is to go that way, "
            f'write `waive route-never-clears for "{route.name}" because "…"`.',
            mode="possible",
        )


def is_meant_to_clear(route: Route, plan: Plan) -> bool:
    if not all(plan.blocks[block].detected for block in route.blocks):
        return False
    return not (route.exit_kind == "edge" and plan.track.pieces[route.exit].direction == "entering")


def rule_never_used(plan: Plan) -> Iterator[Obligation]:
    """Every line of a rule decides something: of several lines that show the same, each is
    at some time the one that acts. (A single line that never acts is found as `never-shown`.)"""
    for signal in plan.signals.values():
        yield from _lines_used(signal.name, signal, signal.lines, plan)
        for head in signal.heads:
            yield from _lines_used(head.name, signal, head.lines, plan)


def _lines_used(
    owner: str, signal: Signal, lines: Sequence[Line], plan: Plan
) -> Iterator[Obligation]:
    shown = Counter(line.shows for line in lines)
    for line in lines:
        if shown[line.shows] > 1:
            yield Obligation(
                "rule-never-used",
                (owner, line.span.seen_from(plan.source)),
                atom(observables.line(owner, line.index), "acts"),
                f"the line `{line.span.one_line}` of {owner} never decides anything",
                (line.span,),
                (signal.name,),
                (),
                (signal.enters.piece,),
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
    """The assumptions of the file allow some situation. A proof under assumptions that
    contradict each other would be empty."""
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
    """Advice: two routes through one interlocking that share nothing can be cleared together.

    Safe, but a move is lost for nothing. Only routes over the points or crossings of the
    limits are looked at: those of approach signals lead no farther than the next signal.
    """
    conflicting = {frozenset((c.first.name, c.second.name)) for c in plan.conflicts}
    seen: set[frozenset[str]] = set()
    for limits in plan.limits:
        inside = {piece for piece in limits.pieces if plan.track.pieces[piece].kind != "plain"}
        here = [r for r in plan.routes if inside & set(r.pieces) and is_meant_to_clear(r, plan)]
        for i, one in enumerate(here):
            for two in here[i + 1 :]:
                pair = frozenset((one.name, two.name))
                if one.signal == two.signal or pair in conflicting or pair in seen:
                    continue
                if set(one.blocks) & set(two.blocks):
                    continue
                seen.add(pair)
                yield _together(one, two, plan)


def _together(one: Route, two: Route, plan: Plan) -> Obligation:
    a, b = plan.signals[one.signal], plan.signals[two.signal]
    return Obligation(
        "compatible-routes-blocked",
        (one.name, two.name),
        conjunction(
            permits(a, plan), permits(b, plan), lined(one), lined(two),
            way_clear(one, plan), way_clear(two, plan),
        ),
        f"the routes {one.name} and {two.name} share nothing, yet can never be clear together",
        (a.span, b.span),
        (a.name, b.name),
        (one, two),
        (*one.pieces, *two.pieces),
        advice=True,
        mode="possible",
    )  # fmt: skip
