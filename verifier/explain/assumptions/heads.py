"""What is taken of heads that a train lights, and of arms, in words.

In: a plan. Out: the names of some things, and a sentence about these.
"""

from collections.abc import Iterator

from verifier.plan.model import Plan
from verifier.plan.wiring.hearing import watched_arms


def of_heads(plan: Plan) -> Iterator[tuple[tuple[str, ...], str]]:
    """Each assumption about heads, with what it is about; of some there may be none."""
    signals = plan.signals.values()
    yield (
        tuple(s.name for s in signals if s.lit),
        "Lit only for a train: {}. None is taken to be read from beyond the block before.",
    )
    yield (
        tuple(h.name for s in signals for h in s.heads if h.make == "semaphore"),
        "Arms that stick are not considered: those of {} fall to stop when nothing holds them.",
    )
    undriven = (i for i in plan.indicators if plan.wiring.driver_of(i) is None)
    yield (
        tuple(undriven) if plan.wiring.given else (),
        "No driver is given for {}: what none lights or rings is taken to follow what it repeats, "
        "and never to fail.",
    )
    yield (
        watched_arms(plan),
        "The contacts by which boards know how the arms of {} lie, and their wires, are taken to "
        "work: one that sticks, or breaks, is not looked at.",
    )
