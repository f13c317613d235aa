"""Where detection may falsely report occupied for an instant: one block, by a dirty wheel or
contact; or a district whose booster trips, where detectors report occupied without track power.
"""

from collections.abc import Mapping

from verifier.plan.model import Plan


def blips(plan: Plan) -> Mapping[str, tuple[str, ...]]:
    """By block or district: the blocks that are then reported occupied."""
    found: dict[str, tuple[str, ...]] = {
        block.name: (block.name,) for block in plan.blocks.values() if block.detected
    }
    wiring = plan.wiring
    for name in wiring.districts:
        together = tuple(
            block
            for block, district in wiring.district_of.items()
            if district == name and any(d.without_power for d in wiring.detectors_of(block))
        )
        if len(together) > 1:
            found[f"district {name}"] = together
    return found


def releases_in_sequence(plan: Plan) -> bool:
    """Whether the file tries to withstand a false report."""
    return any(relay.after for relay in plan.locking.relays.values())
