"""Track and signals: what must hold in every allowed situation.

Each function's docstring is what ``clearproof explain NAME`` prints. Sections are of 49 CFR
Part 236 unless another source is named. "Proceed" is any aspect better than Restricting.
"""

from collections.abc import Iterable, Iterator
from itertools import combinations

from verifier.logic.expr import FALSE, TRUE, Expr, atom, both, constant, either, opposite
from verifier.plan import facts
from verifier.plan.aspects import Aspect
from verifier.plan.facts import UNLISTED
from verifier.plan.model import Conflict, ConflictKind, Plan, Route, Signal
from verifier.properties.obligation import Obligation
from verifier.properties.phrases import (
    at_least,
    derails_run_over,
    diverges_at_all,
    listing,
    occupied,
    permits,
    proceeds,
    shows_one_of,
    takes,
    takes_up_to,
)

# ------------------------------------------------------------------ conflicting signals


def converging_proceeds(plan: Plan) -> Iterator[Obligation]:
    """Two signals never let trains onto tracks that run together in the same direction.

    Main and siding both green into one switch: both trains would arrive at the same points.
    An aspect counts as letting a train go when it is better than stop, Restricting included.

    Source: 49 CFR 236.308 and 236.403 (no aspects that permit conflicting movements),
    236.796 (converging routes conflict).
    """
    return _conflicting(
        "converging-proceeds", "converging", plan, "{} both let trains go where their tracks run "
        "together, at {}",
    )  # fmt: skip


def crossing_proceeds(plan: Plan) -> Iterator[Obligation]:
    """Two signals never let trains onto tracks that cross on the level.

    A crossing has no points that could keep one train off the other's track: only the
    signals do.

    Source: 49 CFR 236.308 and 236.403 (no aspects that permit conflicting movements),
    236.796 (intersecting routes conflict), 236.311(b) for automatic interlockings.
    """
    return _conflicting(
        "crossing-proceeds", "crossing", plan, "{} both let trains go over tracks that cross at {}"
    )


def opposing_proceeds(plan: Plan) -> Iterator[Obligation]:
    """Two signals never let trains onto the same track from opposite ends.

    They may stand at one control point or at neighbouring ones. Where a dispatcher gives
    trains their authority before they move, both may clear in everyday practice: say so in
    the file (`waive opposing-proceeds for … because "…"`). On track declared `switching
    only` both may show Restricting at once, since one train at a time works there.

    Source: 49 CFR 236.308, 236.403 (with its exception for switching moves), 236.404
    (adjacent control points), 236.796 (opposing routes conflict).
    """
    return _conflicting(
        "opposing-proceeds", "opposing", plan, "{} both let trains go onto the same track, {}, "
        "from opposite ends",
    )  # fmt: skip


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
            "never",
            either(*(_both_let_go(c, plan) for c in conflicts)),
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
    ways = both(takes(conflict.first), takes(conflict.second))
    if conflict.kind == "diverging":
        ways = TRUE
    blocks = {plan.track.pieces[piece].block for piece in conflict.pieces}
    if conflict.kind == "opposing" and all(b and plan.blocks[b].switching for b in blocks):
        return both(
            ways,
            either(
                both(proceeds(one, plan), permits(two, plan)),
                both(permits(one, plan), proceeds(two, plan)),
            ),
        )
    return both(ways, permits(one, plan), permits(two, plan))


# ------------------------------------------------------------------ the track governed


def proceed_into_occupied(plan: Plan) -> Iterator[Obligation]:
    """A signal never proceeds while stock stands anywhere in the track it governs.

    That track reaches to the next signal the same way, along the route the points lie for.

    Source: 49 CFR 236.205(a) (most restrictive aspect while the block is occupied), 236.709
    (absolute block), 236.201 (control by track circuits through the entire block).
    """
    for signal, routes in _signals_with_routes(plan):
        for block in dict.fromkeys(b for route in routes for b in route.blocks):
            over = [route for route in routes if block in route.blocks]
            yield Obligation(
                "proceed-into-occupied",
                (signal.name, block),
                "never",
                both(
                    proceeds(signal, plan),
                    occupied(block),
                    _any_taken(over),
                ),
                f"{signal.name} proceeds while stock stands on {block}",
                (signal.span, plan.blocks[block].span),
                (signal.name,),
                (over[0],),
                tuple(n for n in over[0].pieces if plan.track.pieces[n].block == block),
                block,
            )


def proceed_over_open_points(plan: Plan) -> Iterator[Obligation]:
    """A signal never lets a train go while points in the route do not truly lie for it.

    Facing points must lie fully one way or the other; trailing points must lie for the track
    the train comes from. Points lie normal, reverse, or open (neither closed nor lined).
    Restricting counts too: a train comes off open points at any speed.

    Source: 49 CFR 236.205(b) and 236.202 (most restrictive aspect while points are open),
    236.303 (each switch in the route in proper position; by itself it would let Restricting
    pass), 236.6 (open points).
    """
    for signal, routes in _signals_with_routes(plan):
        bad: dict[str, list[Expr]] = {}
        first: dict[str, Route] = {}
        for route in routes:
            for i, need in enumerate(route.needs):
                points = facts.points(need.points)
                wrong = (
                    atom(points, "open") if need.facing else opposite(atom(points, need.position))
                )
                bad.setdefault(need.points, []).append(both(takes_up_to(route, i), wrong))
                first.setdefault(need.points, route)
        for name, ways in bad.items():
            yield Obligation(
                "proceed-over-open-points",
                (signal.name, name),
                "never",
                both(permits(signal, plan), either(*ways)),
                f"{signal.name} lets a train go while the points of {name} do not lie for the "
                "route",
                (signal.span, plan.track.pieces[name].span),
                (signal.name,),
                (first[name],),
                (name,),
                name,
            )


def aspect_against_route(plan: Plan) -> Iterator[Obligation]:
    """An aspect never names another route than the points lie for.

    A straight aspect (Clear, Approach) over facing points that lie reverse sends a train
    through the turnout at full speed; a diverging aspect over points that all lie normal
    names a route that is not lined. Aspects that give a speed (medium, slow, restricted)
    name no route.

    Source: 49 CFR 236.303 (aspects selected by the position of each switch), and rulebook
    practice for diverging aspects (common practice, no source).
    """
    for signal, routes in _signals_with_routes(plan):
        shown = [a for a in plan.chart.aspects if a.name in signal.aspect.values]
        straight = {a.name for a in shown if a.indication.way == "straight"}
        diverging = {a.name for a in shown if a.indication.way == "diverging"}
        bad = []
        for route in routes:
            if route.diverging:
                bad.append(both(shows_one_of(signal, straight), takes(route)))
            elif not diverges_at_all(route):
                bad.append(both(shows_one_of(signal, diverging), takes(route)))
        if not bad or not (straight or diverging):
            continue
        points = tuple(dict.fromkeys(n.points for r in routes for n in r.needs if n.facing))
        yield Obligation(
            "aspect-against-route",
            (signal.name,),
            "never",
            either(*bad),
            f"{signal.name} shows an aspect for another route than the points lie for",
            (signal.span,),
            (signal.name,),
            routes[:1],
            points,
            listing(points),
        )


def approach_untruthful(plan: Plan) -> Iterator[Obligation]:
    """An aspect that promises something about the next signal is never shown while the next
    signal shows worse.

    Clear and Diverging-Clear promise that the next signal is not at stop (nor Restricting);
    an aspect that says "prepared to pass next signal at medium speed" promises at least
    that speed there. Approach promises nothing.

    Source: 49 CFR 236.310 and 236.803 (approach signal), 236.24 (a restrictive aspect can be
    complied with).
    """
    for signal, routes in _signals_with_routes(plan):
        following = dict.fromkeys(r.exit for r in routes if r.exit_kind == "signal")
        for name in following:
            ahead = plan.signals[name]
            ways = [r for r in routes if r.exit_kind == "signal" and r.exit == name]
            bad = [
                both(shows_one_of(signal, {a.name}), _worse(ahead, a, plan))
                for a in plan.chart.aspects
                if a.indication.next_at_least and a.name in signal.aspect.values
            ]
            if not bad:
                continue
            yield Obligation(
                "approach-untruthful",
                (signal.name, name),
                "never",
                both(either(*bad), _any_taken(ways)),
                f"{signal.name} promises more than the next signal, {name}, then shows",
                (signal.span, ahead.span),
                (signal.name, name),
                tuple(ways[:1]),
                (ahead.enters.piece,),
                name,
            )


def _worse(ahead: Signal, promise: Aspect, plan: Plan) -> Expr:
    least = promise.indication.next_at_least
    assert least is not None
    good = {a.name for a in plan.chart.aspects if at_least(a, least)}
    return opposite(shows_one_of(ahead, good))


def undetected_track(plan: Plan) -> Iterator[Obligation]:
    """A signal never proceeds over track of which some stretch is seen by no detector.

    Source: 49 CFR 236.201 (track circuits through the entire block), 236.51(b) and 236.58
    (fouling sections included).
    """
    for signal, routes in _signals_with_routes(plan):
        dark = dict.fromkeys(
            b for route in routes for b in route.blocks if not plan.blocks[b].detected
        )
        for block in dark:
            over = [route for route in routes if block in route.blocks]
            yield Obligation(
                "undetected-track",
                (signal.name, block),
                "never",
                both(proceeds(signal, plan), _any_taken(over)),
                f"{signal.name} proceeds over {block}, which no detector watches",
                (signal.span, plan.blocks[block].span),
                (signal.name,),
                (over[0],),
                tuple(n for n in over[0].pieces if plan.track.pieces[n].block == block),
                block,
            )


# ------------------------------------------------------------------ aspects


def aspect_not_listed(plan: Plan) -> Iterator[Obligation]:
    """The heads of a signal never show together what no aspect lists.

    An engineer must take such a signal as the most restrictive it can give, and so must
    anyone who trusts it; but a combination nobody named is a fault in the rules.

    Source: 49 CFR 236.23(c) (each aspect is identified by a name).
    """
    for signal in plan.signals.values():
        yield Obligation(
            "aspect-not-listed",
            (signal.name,),
            "never",
            atom(signal.aspect, UNLISTED) if UNLISTED in signal.aspect.values else FALSE,
            f"{signal.name} shows colours that no aspect lists",
            (signal.span, *(head.span for head in signal.heads if head.lines)),
            (signal.name,),
            (),
            (signal.enters.piece,),
        )


def aspect_ambiguous(plan: Plan) -> Iterator[Obligation]:
    """One combination of colours has one name, one indication has one name, and colours keep
    their fundamental meaning.

    Lone red means stop; lone green means proceed; lone yellow or lunar means that speed is
    restricted and a stop may be required; single white is never used.

    Source: 49 CFR 236.23(a)(1), (c), (d).
    """
    aspects = sorted(plan.chart.aspects, key=lambda a: (a.span.source.name, a.span.start))
    for one, two in combinations(aspects, 2):
        shared = [" over ".join(c) for c in one.combinations if c in two.combinations]
        trouble = ""
        if shared:
            trouble = f"{shared[0]} is listed both as {one.name} and as {two.name}"
        elif one.indication == two.indication:
            trouble = (
                f"{one.name} and {two.name} are two names for one indication, "
                f"`{one.indication.text}`"
            )
        if trouble:
            yield _chart_obligation((one, two), trouble)
    for aspect in aspects:
        trouble = next(filter(None, (_against_fundamentals(c, aspect) for c in
                                     aspect.combinations)), "")  # fmt: skip
        yield _chart_obligation((aspect,), trouble)


def _chart_obligation(about: tuple[Aspect, ...], trouble: str) -> Obligation:
    return Obligation(
        "aspect-ambiguous",
        tuple(a.name for a in about),
        "never",
        constant(bool(trouble)),
        trouble or f"{about[0].name} is ambiguous",
        tuple(a.span for a in about if not a.built_in),
    )


def _against_fundamentals(colours: tuple[str, ...], aspect: Aspect) -> str:
    if len(colours) != 1:
        return ""
    colour = colours[0].removeprefix("flashing ")
    if colour == "white":
        return f"{aspect.name} is a single white light, which is never used"
    if colour == "red" and aspect.permits:
        return f"{aspect.name} is a lone red, yet it lets a train proceed"
    if colour == "green" and not aspect.proceeds:
        return f"{aspect.name} is a lone green, yet it does not let a train proceed"
    if colour in ("yellow", "lunar") and aspect.indication.text == "proceed":
        return f"{aspect.name} is a lone {colour}, yet it restricts nothing"
    return ""


# ------------------------------------------------------------------ limits and devices


def unsignaled_entrance(plan: Plan) -> Iterator[Obligation]:
    """Every way into interlocking limits passes a signal, or a derail on the way in.

    Source: 49 CFR 236.301 (signals govern movements into interlocking limits; a hand-operated
    switch with an electric lock and a derail at the clearance point needs none).
    """
    for limits in plan.limits:
        for entrance in limits.entrances:
            open_way = entrance.kind != "signal" and entrance.derail is None
            yield Obligation(
                "unsignaled-entrance",
                (limits.name, entrance.end),
                "never",
                constant(open_way),
                f"a train can come from {entrance.end} into {limits.name} and pass no signal",
                (limits.span,),
                (),
                (),
                limits.pieces[:1],
                limits.name,
            )


def crossover_ends_disagree(plan: Plan) -> Iterator[Obligation]:
    """A signal over either track of a crossover never proceeds while the two turnouts lie
    differently, or while stock stands between them.

    Source: 49 CFR 236.203 (hand operated crossover between main tracks).
    """
    for crossover in plan.crossovers.values():
        first, second = (facts.points(end) for end in crossover.ends)
        differ = opposite(
            either(
                *(both(atom(first, state), atom(second, state)) for state in ("normal", "reverse"))
            )
        )
        fouled = either(*(occupied(block) for block in crossover.between))
        for signal, routes in _signals_with_routes(plan):
            over = [r for r in routes if any(need.points in crossover.ends for need in r.needs)]
            if not over:
                continue
            yield Obligation(
                "crossover-ends-disagree",
                (signal.name, crossover.name),
                "never",
                both(
                    proceeds(signal, plan),
                    _any_taken(over),
                    either(differ, fouled),
                ),
                f"{signal.name} proceeds while the two ends of crossover {crossover.name} lie "
                "differently" + (" or stock stands between them" if crossover.between else ""),
                (signal.span, crossover.span),
                (signal.name,),
                (over[0],),
                crossover.ends,
                crossover.name,
            )


def derail_not_set(plan: Plan) -> Iterator[Obligation]:
    """A signal never proceeds with a derail set against its purpose.

    A derail in the path must not be derailing (Restricting counts too: it throws a train off
    at any speed); a derail that guards the trackwork ahead (a spur's, say) must be derailing
    while trains proceed on the other track.

    Source: 49 CFR 236.205(c) (fouling-point derail not in derailing position), 236.303
    (derails in the route in proper position).
    """
    for signal, routes in _signals_with_routes(plan):
        for derail in plan.derails.values():
            set_against = facts.derail(derail.name)
            over = [r for r in routes if derail.name in derails_run_over(r, plan)]
            past = [r for r in routes if r not in over and derail.guards in r.pieces]
            if not over and not past:
                continue
            off, on = (atom(set_against, state) for state in ("non-derailing", "derailing"))
            yield Obligation(
                "derail-not-set",
                (signal.name, derail.name),
                "never",
                either(
                    both(permits(signal, plan), _any_taken(over), opposite(off)),
                    both(proceeds(signal, plan), _any_taken(past), opposite(on)),
                ),
                f"{signal.name} lets a train go while derail {derail.name} is set against its "
                "purpose",
                (signal.span, derail.span),
                (signal.name,),
                tuple(over or past)[:1],
                (derail.port.piece,),
                derail.name,
            )


def span_not_locked(plan: Plan) -> Iterator[Obligation]:
    """A signal never lets a train toward a lift-out, drop or swing section that is not
    seated. Restricting counts too: there is nothing there to run on.

    Source: 49 CFR 236.312 (movable bridge: locked and aligned before an aspect to proceed).
    """
    for signal, routes in _signals_with_routes(plan):
        for gate in plan.gates.values():
            over = [r for r in routes if gate.block in r.blocks]
            if not over:
                continue
            yield Obligation(
                "span-not-locked",
                (signal.name, gate.name),
                "never",
                both(
                    permits(signal, plan),
                    _any_taken(over),
                    opposite(atom(facts.gate(gate.name), "seated")),
                ),
                f"{signal.name} lets a train go while gate {gate.name} is open",
                (signal.span, gate.span),
                (signal.name,),
                tuple(over[:1]),
                tuple(n for n in over[0].pieces if plan.track.pieces[n].block == gate.block),
                gate.name,
            )


def _signals_with_routes(plan: Plan) -> Iterator[tuple[Signal, tuple[Route, ...]]]:
    return ((signal, plan.routes_of(name)) for name, signal in plan.signals.items())


def _any_taken(routes: Iterable[Route]) -> Expr:
    """A train that passes the signal goes one of these ways."""
    return either(*(takes(route) for route in routes))
