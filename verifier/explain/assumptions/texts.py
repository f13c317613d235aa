"""The assumptions where a file leaves something out; every report prints them.

In: a plan. Out: short sentences, each about one thing that the file leaves out.
"""

from verifier.explain.assumptions.running import of_histories
from verifier.explain.assumptions.wiring import of_gaps, of_wiring
from verifier.plan.model import Plan

ALWAYS = "Trains are taken to obey signals; beyond the edges of the plan nothing is checked."


def assumption_texts(plan: Plan) -> tuple[str, ...]:
    """The sentences for one plan, from the rail to the lens."""
    histories = of_histories(plan) if plan.locking.over_time else ()
    return (*of_wiring(plan), *of_gaps(plan), *histories, ALWAYS)
