"""How current divides between the feeders of a block: a table of the electrical sheet.

In: a plan. Out: for each detector that not all feeders of a block pass through, by the feeder that
stock stands nearest to, the share of current through the detector and whether it is seen.
"""

from collections.abc import Iterator
from math import ceil

from verifier.explain.assumptions.division import unknown_divisions
from verifier.plan.model import Plan
from verifier.plan.wiring.division import shares
from verifier.plan.wiring.equipment import Division
from verifier.plan.wiring.rail_network import ANYTHING
from verifier.sheets.sheet import Row, Table

_COLUMNS = ("stock on", "nearest to", "detector", "of its current", "seen")
_NOTES = (
    "With all wires sound, wherever the stock stands that is nearer to this feeder than to any "
    "other, however points lie. Rail joints count as what may be open unless the rail is "
    "`soldered`, and so do the jumpers of points unless these are `bonded`.",
)


def division_table(plan: Plan) -> Table:
    """The shares of current through detectors that not all feeders of a block pass through."""
    rows = [row for division in plan.equipment.divisions.values() for row in _rows(division, plan)]
    unknown = (f"In {block} it may be anything: {why}." for block, why in unknown_divisions(plan))
    return Table("How current divides between feeders", _COLUMNS, tuple(rows), (*_NOTES, *unknown))


def _rows(division: Division, plan: Plan) -> Iterator[Row]:
    known = shares(division)
    for feeder in plan.wiring.feeders_of(division.block):
        spot = feeder.name, ()
        share = known.get(spot, ANYTHING)
        # Rounded outward: no share is ever outside what is printed.
        least, most = int(share.least * 100), ceil(share.most * 100)
        seen = "surely" if spot in division.surely else "perhaps"
        seen = "never" if spot in division.never else seen
        yield division.block, feeder.name, division.detector, f"{least} % to {most} %", seen
