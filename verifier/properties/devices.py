"""Interlocking limits, crossovers, derails and gates.

``clearproof explain NAME`` prints the docstring of each property."""

from collections.abc import Iterator

from verifier.logic.expr import atom, conjunction, constant, disjunction, negation
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.properties.obligation import Obligation, at_signal
from verifier.properties.phrases import (
    any_taken,
    derails_run_over,
    occupied,
    permits,
    pieces_on,
    proceeds,
    signals_with_routes,
)


def unsignaled_entrance(plan: Plan) -> Iterator[Obligation]:
    """Every way into interlocking limits passes a signal, or a derail at the entrance."""
    for limits in plan.limits:
        for entrance in limits.entrances:
            yield Obligation(
                "unsignaled-entrance",
                (limits.name, entrance.end),
                constant(entrance.kind != "signal" and entrance.derail is None),
                f"a train can enter {limits.name} from {entrance.end} without passing a signal",
                (limits.span,),
                pieces=limits.pieces[:1],
                place=limits.name,
                hint=f"Put a signal at a gap on the way in from {entrance.end}, or a derail that "
                f"faces {limits.name}; or, if trains only leave there, write `edge "
                f"{entrance.end} leaving only`.",
            )


def crossover_ends_disagree(plan: Plan) -> Iterator[Obligation]:
    """A signal over either track of a crossover never proceeds while the two turnouts lie
    differently, or while stock stands between them."""
    for crossover in plan.crossovers.values():
        first, second = (observables.points(end) for end in crossover.ends)
        agree = (conjunction(atom(first, s), atom(second, s)) for s in ("normal", "reverse"))
        differ = negation(disjunction(*agree))
        fouled = disjunction(*(occupied(block) for block in crossover.between))
        for signal, routes in signals_with_routes(plan):
            over = [r for r in routes if any(need.points in crossover.ends for need in r.needs)]
            if not over:
                continue
            yield at_signal(
                "crossover-ends-disagree",
                signal,
                crossover.name,
                crossover.span,
                conjunction(proceeds(signal, plan), any_taken(over), disjunction(differ, fouled)),
                f"{signal.name} proceeds while the two ends of crossover {crossover.name} lie "
                "differently" + (" or stock stands between them" if crossover.between else ""),
                over,
                crossover.ends,
            )


def derail_not_set(plan: Plan) -> Iterator[Obligation]:
    """A signal never proceeds with a derail set against its purpose.

    A derail on the route must not be derailing; Restricting and stop-and-proceed count too, since
    it derails a train at any speed. A derail that protects the trackwork ahead (from a spur, for
    example) must be derailing while trains proceed on the other track.
    """
    for signal, routes in signals_with_routes(plan):
        for derail in plan.derails.values():
            set_against = observables.derail(derail.name)
            over = [r for r in routes if derail.name in derails_run_over(r, plan)]
            past = [r for r in routes if r not in over and derail.guards in r.pieces]
            if not over and not past:
                continue
            off, on = (atom(set_against, state) for state in ("non-derailing", "derailing"))
            yield at_signal(
                "derail-not-set",
                signal,
                derail.name,
                derail.span,
                disjunction(
                    conjunction(permits(signal, plan), any_taken(over), negation(off)),
                    conjunction(proceeds(signal, plan), any_taken(past), negation(on)),
                ),
                f"{signal.name} lets a train proceed while derail {derail.name} is set wrong for "
                "it",
                over or past,
                (derail.port.piece,),
            )


def span_not_locked(plan: Plan) -> Iterator[Obligation]:
    """A signal never proceeds toward a lift-out, drop or swing section that is not seated.
    Restricting and stop-and-proceed count too, since the track is missing there."""
    for signal, routes in signals_with_routes(plan):
        for gate in plan.gates.values():
            over = [r for r in routes if gate.block in r.blocks]
            if not over:
                continue
            yield at_signal(
                "span-not-locked",
                signal,
                gate.name,
                gate.span,
                conjunction(
                    permits(signal, plan),
                    any_taken(over),
                    negation(atom(observables.gate(gate.name), "seated")),
                ),
                f"{signal.name} lets a train proceed while gate {gate.name} is open",
                over,
                pieces_on(over[0], gate.block, plan),
            )
