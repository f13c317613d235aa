"""Every sheet there is: its name, what it is for, and what makes it.

Makers are imported when a sheet is made: listing the sheets must not wait for them to load.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from verifier.plan.model import Plan
    from verifier.sheets.options import SheetOptions
    from verifier.sheets.sheet import Sheet


@dataclass(frozen=True, slots=True)
class SheetKind:
    """A kind of sheet. ``maker`` is its function, `module.function` in this package."""

    name: str
    maker: str
    text: str

    def make(self, plan: "Plan", options: "SheetOptions | None" = None) -> "Sheet":
        """The sheet of a checked plan, which says that no grade was worked out for it. Raises
        :class:`InputError` for options that do not fit."""
        from verifier.sheets.options import USUAL_OPTIONS
        from verifier.verdicts.grade_words import grade_asked

        module, _, function = self.maker.rpartition(".")
        maker: Callable[[Plan, SheetOptions], Sheet] = getattr(
            import_module(f"verifier.sheets.{module}"), function
        )
        sheet = maker(plan, options or USUAL_OPTIONS)
        return replace(sheet, grade=grade_asked(plan))


_KINDS = (
    ("locking", "locking.locking_sheet", "every route, what it needs, and which routes conflict"),
    ("aspects", "aspects.aspect_sheet", "for each signal, what it shows when"),
    ("gaps", "gaps.gap_sheet", "every gap to cut, where and why, and those that are missing"),
    ("parts", "buying.parts.parts_sheet", "what to buy, what it costs, in which order"),
    ("wiring", "wiring.wiring_sheet", "every wire to run, district by district, with its color"),
    ("labels", "labels.label_sheet", "labels for wires, terminals and cables, to print and cut"),
    (
        "electrical",
        "electrical.electrical_sheet",
        "loads, voltage at the far ends, fuses and resistors",
    ),
    (
        "addresses",
        "addresses.address_sheet",
        "numbers and packets for signals on a packet bus",
    ),
    ("truth-table", "truth.truth_sheet", "what signals show and memory becomes, for every input"),
    ("test-card", "test_card.test_card_sheet", "what to do on the built layout, and what it shows"),
)
SHEETS: Mapping[str, SheetKind] = {row[0]: SheetKind(*row) for row in _KINDS}
