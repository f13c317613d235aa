"""Every sheet there is: its name, what it is for, and what makes it.

Makers are imported when asked: listing the sheets must not wait for what works them out.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from verifier.plan.model import Plan
    from verifier.sheets.sheet import Sheet


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of sheet. ``make`` works it out of the checked plan alone."""

    name: str
    text: str
    make: "Callable[[Plan], Sheet]"


def _locking(plan: "Plan") -> "Sheet":
    from verifier.sheets.locking import locking_sheet

    return locking_sheet(plan)


SHEETS: Mapping[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind("locking", "every route, what it needs, and which routes conflict", _locking),
    )
}
