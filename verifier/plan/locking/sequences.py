"""Sequential release: a relay that drops once some conditions came true one after the other.

In: a relay and the conditions. Out: the relay and one more for each step, which count how far the
sequence has come. A step is reached when its condition holds while the step before it still lasts;
it lasts while its condition or the next one holds. So the sequence starts again as soon as it is
left, and while the relay may pick anew. The relay picks only once the sequence is at rest: its next
train must not find it released already. The steps of ``R`` are the relays ``R.1``, ``R.2`` …
"""

from dataclasses import replace

from verifier.language.source import Span
from verifier.plan import observables
from verifier.plan.locking.locking_model import Relay
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not


def with_steps(relay: Relay, after: tuple[Condition, ...]) -> tuple[Relay, ...]:
    """The steps, the last one first, then the relay itself: the order in which they act."""
    if not after:
        return (relay,)
    span = after[0].span
    names = [f"{relay.name}.{k}" for k in range(1, len(after) + 1)]
    set_up = All((_is(relay.name, "up", span), Not(relay.picks, span)), span)
    steps = []
    for k, (name, here) in enumerate(zip(names, after, strict=True)):
        before = [_is(names[k - 1], "up", here.span)] if k else []
        picks = All((set_up, *before, here), here.span)
        lasts: tuple[Condition, ...] = (set_up,)
        if k + 1 < len(names):
            beyond = _is(names[k + 1], "up", here.span)
            lasts += (AnyOne((here, after[k + 1], beyond), here.span),)
        sticks = All(lasts, here.span)
        steps.append(
            Relay(
                name,
                picks,
                sticks,
                None,
                None,
                here.span,
                step_of=relay.name,
                supply=relay.supply,
            )
        )
    passed = _is(names[-1], "down", span)
    held = (passed,) if relay.sticks is None else (relay.sticks, passed)
    at_rest = (relay.picks, *(_is(name, "down", span) for name in names))
    whole = replace(
        relay,
        picks=All(at_rest, relay.picks.span),
        sticks=All(held, (relay.sticks or passed).span),
        after=after,
    )
    return (*reversed(steps), whole)


def _is(name: str, state: str, span: Span) -> Fact:
    return Fact(observables.relay(name), (state,), span, f"{name} {state}")
