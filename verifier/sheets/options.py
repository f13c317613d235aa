"""What a person asks of a sheet beside the junction file: the parts file, spares, colors.

Everything has a usual value, so that a sheet can be made of a plan alone.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING

from verifier.plan.model import Plan
from verifier.testcard.progress import Progress, silent

if TYPE_CHECKING:
    from verifier.language.source import Span
    from verifier.sheets.prices import PriceList

# Of what burns out, breaks or gets lost, one more for every ten, rounded up (common
# practice, no source).
SPARES = 10


@dataclass(frozen=True, slots=True)
class Asked:
    """``colors``: those of the wire at hand, where not the usual ones. ``first``: what is
    built first, each the name of a control point or of something that belongs to one, with
    the place it was written at. ``others``: other files to compare with. ``forward``: volts
    across a lit LED by color, where not the typical ones. ``progress`` is told how much
    of the work is done, and of how much, where a sheet takes long."""

    colors: "tuple[tuple[str, Span], ...] | None" = None
    prices: "PriceList | None" = None
    spares: int = SPARES
    first: "tuple[tuple[str, Span], ...]" = ()
    others: tuple[Plan, ...] = ()
    forward: Mapping[str, Fraction] = field(default_factory=dict)
    progress: Progress = silent


NOTHING = Asked()
