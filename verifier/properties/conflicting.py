"""Conflicting signals: two signals at proceed onto tracks that meet.

``clearproof explain NAME`` prints the docstring of each property."""

from collections.abc import Iterator

from verifier.logic.expr import TRUE, Expr, conjunction, disjunction
from verifier.plan.model import Conflict, ConflictKind, Plan
from verifier.properties.obligation import Obligation, at_signal
from verifier.properties.phrases import (
    any_taken,
    leaves_where_trains_enter,
    permits,
    proceeds,
    signals_with_routes,
    takes,
)


def converging_proceeds(plan: Plan) -> Iterator[Obligation]:
    """Two signals never let trains onto tracks that converge.

    If main and siding both show green toward one switch, two trains meet at its points. Any
    aspect less restrictive than stop counts, Restricting and stop-and-proceed included.
    """
    return _conflicting(
        "converging-proceeds", "converging", plan,
        "{} both let trains onto tracks that converge at {}",
    )  # fmt: skip


def crossing_proceeds(plan: Plan) -> Iterator[Obligation]:
    """Two signals never let trains onto tracks that cross at grade.

    A crossing has no points that keep one train off the other track: only the signals do.
    """
    return _conflicting(
        "crossing-proceeds", "crossing", plan, "{} both let trains onto tracks that cross at {}"
    )


def opposing_proceeds(plan: Plan) -> Iterator[Obligation]:
    """Two signals never let trains onto the same track from opposite ends.

    The signals may stand at one control point or at neighboring ones. Where a dispatcher
    authorizes every movement, both may be allowed to clear: say so in the file (`waive
    opposing-proceeds for … because "…"`). On `switching only` track both may show Restricting
    or stop-and-proceed at once, since one train at a time works there. An edge where trains only
    enter counts as a signal that always lets a train in: no signal may let a train out there.
    """
    yield from _conflicting(
        "opposing-proceeds",
        "opposing",
        plan,
        "{} both let trains onto the same track, {}, from opposite ends",
    )
    yield from _out_over_the_way_in(plan)


def _out_over_the_way_in(plan: Plan) -> Iterator[Obligation]:
    for signal, routes in signals_with_routes(plan):
        against = [r for r in routes if leaves_where_trains_enter(r, plan)]
        for edge in dict.fromkeys(r.exit for r in against):
            ways = [r for r in against if r.exit == edge]
            yield at_signal(
                "opposing-proceeds",
                signal,
                edge,
                plan.track.pieces[edge].span,
                conjunction(permits(signal, plan), any_taken(ways)),
                f"{signal.name} lets a train out at {edge}, where trains only enter",
                ways,
                ways[0].pieces[-1:],
            )


def _conflicting(name: str, kind: ConflictKind, plan: Plan, trouble: str) -> Iterator[Obligation]:
    """One obligation for each pair of signals with routes that conflict in this way."""
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
    """Whether a conflict belongs to this kind. Routes that diverge from signals side by side
    count as converging: both signals let a train start from the same track."""
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
