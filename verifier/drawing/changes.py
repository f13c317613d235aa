"""What is drawn otherwise than a moment before.

Input: a plan, and what is seen of it at two moments. Output: the marks of a draftsman.
"""

from collections.abc import Iterator

from verifier.drawing.overlay import Mark
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.reference.evaluator import Seen


def changes(plan: Plan, before: Seen, seen: Seen) -> Iterator[Mark]:
    kinds = (
        ("block", map(observables.stock, plan.blocks)),
        ("points", (observables.points(p.name) for p in plan.track.pieces.values()
                    if p.kind in ("turnout", "slip"))),
        ("derail", map(observables.derail, plan.derails)),
        ("gate", map(observables.gate, plan.gates)),
    )  # fmt: skip
    for kind, things in kinds:
        for what in things:
            if before.states.get(what) != seen.states.get(what):
                yield Mark(kind, what.name, "changed")
    for signal in plan.signals.values():
        if before.colors(signal) != seen.colors(signal):
            yield Mark("signal", signal.name, "changed")
