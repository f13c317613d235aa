"""What is drawn otherwise than a moment before.

Input: a plan, and what is seen of it at two moments. Output: the marks of a draftsman.
"""

from collections.abc import Iterator

from verifier.drawing.shown import Mark
from verifier.engines.evaluator import Seen
from verifier.plan import facts
from verifier.plan.model import Plan


def changes(plan: Plan, before: Seen, seen: Seen) -> Iterator[Mark]:
    kinds = (
        ("block", map(facts.stock, plan.blocks)),
        ("points", (facts.points(p.name) for p in plan.track.pieces.values()
                    if p.kind in ("turnout", "slip"))),
        ("derail", map(facts.derail, plan.derails)),
        ("gate", map(facts.gate, plan.gates)),
    )  # fmt: skip
    for kind, things in kinds:
        for what in things:
            if before.states.get(what) != seen.states.get(what):
                yield Mark(kind, what.name, "changed")
    for signal in plan.signals.values():
        if before.colours(signal) != seen.colours(signal):
            yield Mark("signal", signal.name, "changed")
