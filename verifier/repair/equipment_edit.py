"""A plan with equipment that it lacks, in place of what people promise."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from verifier.plan.model import Plan
from verifier.plan.observables import Observable


@dataclass(frozen=True, slots=True)
class Equipment:
    """What to install, how a file writes it, and the plan that has it."""

    text: str
    plan: Plan


def with_inputs(plan: Plan, added: Iterable[Observable]) -> Plan:
    """The plan with further inputs, such as a lever or a timer."""
    several = tuple(added)
    unwired = (*plan.unwired_inputs, *several) if plan.unwired_inputs else ()
    return replace(plan, inputs=(*plan.inputs, *several), unwired_inputs=unwired)
