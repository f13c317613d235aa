"""What is asked of a plan beside what the census counts."""

from verifier.census.compare import differences, differences_with_faults
from verifier.plan.model import Plan
from verifier.properties.catalog import FAILURES, obligations
from verifier.properties.failures import harms, points_lie_alike
from verifier.properties.obligation import Obligation
from verifier.world.world import World


def made(plan: Plan) -> list[Obligation]:
    """Every obligation of a plan."""
    return list(obligations(plan, World(plan).lower))


def differ(plan: Plan) -> tuple[str, ...]:
    """All differences, with what must not come of faults."""
    asked = made(plan)
    safety = [o for o in asked if o.of_situations and o.property not in FAILURES]
    moving = {
        fault.name: points_lie_alike(fault, plan)
        for fault in plan.equipment.faults if fault.moves_points
    }  # fmt: skip
    with_faults = differences_with_faults(plan, harms(plan, safety), moving)
    return (*differences(plan, asked), *with_faults)
