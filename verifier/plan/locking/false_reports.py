"""Where detection may falsely report occupied: one block, by a dirty wheel or
contact; or a district whose booster trips, where detectors report occupied without track power.
And where detectors still report a train that has left.
"""

from collections.abc import Mapping
from fractions import Fraction

from verifier.plan.model import Plan

# A detector may hold its report a little longer than the file says.
HOLD_MARGIN = Fraction(1, 1000)


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


def holds(plan: Plan) -> Mapping[str, Fraction]:
    """By block: for less than how many seconds a detector may report it occupied after stock has
    left it (`hold 4 s`)."""
    found: dict[str, Fraction] = {}
    for detector in plan.wiring.detectors.values():
        if detector.hold:
            seconds = detector.hold + HOLD_MARGIN
            found[detector.block] = max(seconds, found.get(detector.block, seconds))
    return found


def releases_in_sequence(plan: Plan) -> bool:
    """Whether the file tries to withstand a false report."""
    return any(relay.after for relay in plan.locking.relays.values())
