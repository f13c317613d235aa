"""Conflicting signals: two that let trains onto tracks which meet.

Each function's docstring is what ``clearproof explain NAME`` prints. Sections are of 49 CFR
Part 236 unless another source is named.
"""

from collections.abc import Iterator

from verifier.logic.expr import TRUE, Expr, conjunction, disjunction
from verifier.plan.model import Conflict, ConflictKind, Plan, Route
from verifier.properties.obligation import Obligation
from verifier.properties.phrases import (
    any_taken,
    permits,
    proceeds,
    signals_with_routes,
    takes,
)


def converging_proceeds(plan: Plan) -> Iterator[Obligation]:
    """Two signals never clear trains onto tracks that converge.

    Main and siding both green into one switch: both trains would arrive at the same points.
    Any aspect less restrictive than stop counts, Restricting included.
    """
    return _conflicting(
        "converging-proceeds", "converging", plan, "{} both let trains go where their tracks run "
        "together, at {}",
    )  # fmt: skip


def crossing_proceeds(plan: Plan) -> Iterator[Obligation]:
    """Two signals never clear trains onto tracks that cross at grade.

    A crossing has no points that could keep one train off the other's track: only the
    signals do.
    """
    return _conflicting(
        "crossing-proceeds", "crossing", plan, "{} both let trains go over tracks that cross at {}"
    )


def opposing_proceeds(plan: Plan) -> Iterator[Obligation]:
    """Two signals never clear trains onto the same track from opposite ends.

    They may stand at one control point or at neighboring ones. Where a dispatcher gives
    trains their authority before they move, both may clear in everyday practice: say so in
    the file (`waive opposing-proceeds for … because "…"`). On track declared `switching
    only` both may show Restricting at once, since one train at a time works there. An edge
    where trains only enter counts as a signal that always lets one in: no signal may send a
    train out over it.
    """
    yield from _conflicting(
        "opposing-proceeds",
        "opposing",
        plan,
        "{} both let trains go onto the same track, {}, from opposite ends",
    )
    yield from _out_over_the_way_in(plan)


def _out_over_the_way_in(plan: Plan) -> Iterator[Obligation]:
    for signal, routes in signals_with_routes(plan):
        against = [r for r in routes if _leaves_where_trains_enter(r, plan)]
        for edge in dict.fromkeys(r.exit for r in against):
            ways = [r for r in against if r.exit == edge]
            yield Obligation(
                "opposing-proceeds",
                (signal.name, edge),
                conjunction(permits(signal, plan), any_taken(ways)),
                f"{signal.name} lets a train out at {edge}, where trains only enter",
                (signal.span, plan.track.pieces[edge].span),
                (signal.name,),
                tuple(ways[:1]),
                ways[0].pieces[-1:],
                edge,
            )


def _leaves_where_trains_enter(route: Route, plan: Plan) -> bool:
    return route.exit_kind == "edge" and plan.track.pieces[route.exit].direction == "entering"


def _conflicting(name: str, kind: ConflictKind, plan: Plan, trouble: str) -> Iterator[Obligation]:
    """One obligation for every pair of signals with routes that conflict in one way."""
    pairs: dict[tuple[str, str], list[Conflict]] = {}
    order = {signal: i for i, signal in enumerate(plan.signals)}
    for conflict in plan.conflicts:
        a, b = conflict.first.signal, conflict.second.signal
        if a == b or not _counts(conflict, kind, plan):
            continue
        pairs.setdefault((a, b) if order[a] < order[b] else (b, a), []).append(conflict)
    for (a, b), conflicts in pairs.items():
        first = conflicts[0]
        yield Obligation(
            name,
            (a, b),
            disjunction(*(_both_let_go(c, plan) for c in conflicts)),
            trouble.format(f"{a} and {b}", first.place),
            (plan.signals[a].span, plan.signals[b].span),
            (a, b),
            (first.first, first.second),
            first.pieces,
            first.place,
        )


def _counts(conflict: Conflict, kind: ConflictKind, plan: Plan) -> bool:
    """Signals side by side for routes that part belong with the converging ones: both
    proceed to trains that start on the same track in the same direction."""
    if conflict.kind == "diverging":
        return kind == "converging"
    return conflict.kind == kind


def _both_let_go(conflict: Conflict, plan: Plan) -> Expr:
    one, two = plan.signals[conflict.first.signal], plan.signals[conflict.second.signal]
    ways = conjunction(takes(conflict.first), takes(conflict.second))
    if conflict.kind == "diverging":
        ways = TRUE
    blocks = {plan.track.pieces[piece].block for piece in conflict.pieces}
    if conflict.kind == "opposing" and all(b and plan.blocks[b].switching for b in blocks):
        return conjunction(
            ways,
            disjunction(
                conjunction(proceeds(one, plan), permits(two, plan)),
                conjunction(permits(one, plan), proceeds(two, plan)),
            ),
        )
    return conjunction(ways, permits(one, plan), permits(two, plan))
