"""The sheets that go into a report: those that have something to say of a plan.

In: a plan. Out: sheets by name. The test card takes longer than all the others together, so it is
made only when asked for.
"""

from collections.abc import Mapping

from verifier.plan.model import Plan
from verifier.sheets.catalog import SHEETS
from verifier.sheets.options import SheetOptions
from verifier.sheets.sheet import Sheet
from verifier.verdicts.progress import Progress, silent

_ON_REQUEST = ("test-card",)
# Long, and for those who build with relays alone, or to be cut into pieces.
_BY_ITSELF = ("truth-table", "labels")


def sheets_of(
    plan: Plan, *, test_card: bool = False, progress: Progress = silent
) -> Mapping[str, Sheet]:
    asked = SheetOptions(progress=progress)
    left_out = _BY_ITSELF if test_card else (*_ON_REQUEST, *_BY_ITSELF)
    wanted = (kind for kind in SHEETS.values() if kind.name not in left_out)
    made = {kind.name: kind.make(plan, asked) for kind in wanted}
    return {name: sheet for name, sheet in made.items() if sheet.tables}
