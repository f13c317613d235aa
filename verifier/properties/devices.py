"""Limits, crossovers, derails, gates: what a signal must not overlook.

Each function's docstring is what ``clearproof explain NAME`` prints. Sections are of 49 CFR
Part 236 unless another source is named.
"""

from collections.abc import Iterator

from verifier.logic.expr import atom, conjunction, constant, disjunction, negation
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.properties.obligation import Obligation
from verifier.properties.phrases import (
    any_taken,
    derails_run_over,
    occupied,
    permits,
    proceeds,
    signals_with_routes,
)


def unsignaled_entrance(plan: Plan) -> Iterator[Obligation]:
    """Every way into interlocking limits passes a signal, or a derail on the way in."""
    for limits in plan.limits:
        for entrance in limits.entrances:
            open_way = entrance.kind != "signal" and entrance.derail is None
            yield Obligation(
                "unsignaled-entrance",
                (limits.name, entrance.end),
                constant(open_way),
                f"a train can come from {entrance.end} into {limits.name} and pass no signal",
                (limits.span,),
                (),
                (),
                limits.pieces[:1],
                limits.name,
                hint=f"Put a signal at a gap on the way in from {entrance.end}, or a derail that "
                f"faces {limits.name}; or, if trains only leave there, write `edge "
                f"{entrance.end} leaving only`.",
            )


def crossover_ends_disagree(plan: Plan) -> Iterator[Obligation]:
    """A signal over either track of a crossover never proceeds while the two turnouts lie
    differently, or while stock stands between them."""
    for crossover in plan.crossovers.values():
        first, second = (observables.points(end) for end in crossover.ends)
        differ = negation(
            disjunction(
                *(
                    conjunction(atom(first, state), atom(second, state))
                    for state in ("normal", "reverse")
                )
            )
        )
        fouled = disjunction(*(occupied(block) for block in crossover.between))
        for signal, routes in signals_with_routes(plan):
            over = [r for r in routes if any(need.points in crossover.ends for need in r.needs)]
            if not over:
                continue
            yield Obligation(
                "crossover-ends-disagree",
                (signal.name, crossover.name),
                conjunction(
                    proceeds(signal, plan),
                    any_taken(over),
                    disjunction(differ, fouled),
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
    """
    for signal, routes in signals_with_routes(plan):
        for derail in plan.derails.values():
            set_against = observables.derail(derail.name)
            over = [r for r in routes if derail.name in derails_run_over(r, plan)]
            past = [r for r in routes if r not in over and derail.guards in r.pieces]
            if not over and not past:
                continue
            off, on = (atom(set_against, state) for state in ("non-derailing", "derailing"))
            yield Obligation(
                "derail-not-set",
                (signal.name, derail.name),
                disjunction(
                    conjunction(permits(signal, plan), any_taken(over), negation(off)),
                    conjunction(proceeds(signal, plan), any_taken(past), negation(on)),
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
    """A signal never proceeds toward a lift-out, drop or swing section that is not seated.
    Restricting counts too: there is nothing there to run on."""
    for signal, routes in signals_with_routes(plan):
        for gate in plan.gates.values():
            over = [r for r in routes if gate.block in r.blocks]
            if not over:
                continue
            yield Obligation(
                "span-not-locked",
                (signal.name, gate.name),
                conjunction(
                    permits(signal, plan),
                    any_taken(over),
                    negation(atom(observables.gate(gate.name), "seated")),
                ),
                f"{signal.name} lets a train go while gate {gate.name} is open",
                (signal.span, gate.span),
                (signal.name,),
                tuple(over[:1]),
                tuple(n for n in over[0].pieces if plan.track.pieces[n].block == gate.block),
                gate.name,
            )
