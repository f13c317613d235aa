"""Options of a sheet beside the junction file: the parts file, spares, colors.

Every option has a usual value, so that a sheet can be made from a plan alone.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING

from verifier.plan.model import Plan
from verifier.verdicts.progress import Progress, silent

if TYPE_CHECKING:
    from verifier.language.source import Span
    from verifier.sheets.buying.prices import PriceList

# Of what burns out, breaks or gets lost, one more for every ten, rounded up (common
# practice, no source).
SPARES = 10


@dataclass(frozen=True, slots=True)
class SheetOptions:
    """``colors``: the colors of wire at hand, if not the usual ones. ``first``: what is built
    first, each the name of a control point or of something that belongs to one, with the place
    it was written at. ``others``: plans to compare with. ``forward``: volts across a lit LED by
    color, where not typical. ``progress`` is called where a sheet takes long."""

    colors: "tuple[tuple[str, Span], ...] | None" = None
    prices: "PriceList | None" = None
    spares: int = SPARES
    first: "tuple[tuple[str, Span], ...]" = ()
    others: tuple[Plan, ...] = ()
    forward: Mapping[str, Fraction] = field(default_factory=dict)
    progress: Progress = silent


USUAL_OPTIONS = SheetOptions()
