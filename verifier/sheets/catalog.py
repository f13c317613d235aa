"""Every sheet there is: its name, what it is for, and what makes it.

Makers are imported when asked: listing the sheets must not wait for what works them out.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from verifier.plan.model import Plan
    from verifier.sheets.options import Asked
    from verifier.sheets.sheet import Sheet


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of sheet, and what works it out."""

    name: str
    text: str
    maker: "Callable[[Plan, Asked], Sheet]"

    def make(self, plan: "Plan", asked: "Asked | None" = None) -> "Sheet":
        """The sheet of a checked plan, and of what else is ``asked`` of it."""
        from verifier.sheets.options import NOTHING

        return self.maker(plan, asked or NOTHING)


def _locking(plan: "Plan", _: "Asked") -> "Sheet":
    from verifier.sheets.locking import locking_sheet

    return locking_sheet(plan)


def _aspects(plan: "Plan", _: "Asked") -> "Sheet":
    from verifier.sheets.aspects import aspect_sheet

    return aspect_sheet(plan)


def _gaps(plan: "Plan", _: "Asked") -> "Sheet":
    from verifier.sheets.gaps import gap_sheet

    return gap_sheet(plan)


def _wiring(plan: "Plan", asked: "Asked") -> "Sheet":
    from verifier.sheets.wiring import wiring_sheet

    return wiring_sheet(plan, asked)


def _electrical(plan: "Plan", asked: "Asked") -> "Sheet":
    from verifier.sheets.electrical import electrical_sheet

    return electrical_sheet(plan, asked)


def _parts(plan: "Plan", asked: "Asked") -> "Sheet":
    from verifier.sheets.parts import parts_sheet

    return parts_sheet(plan, asked)


def _test_card(plan: "Plan", asked: "Asked") -> "Sheet":
    from verifier.sheets.test_card import test_card_sheet

    return test_card_sheet(plan, asked)


def _addresses(plan: "Plan", _: "Asked") -> "Sheet":
    from verifier.sheets.addresses import address_sheet

    return address_sheet(plan)


def _truth(plan: "Plan", _: "Asked") -> "Sheet":
    from verifier.sheets.truth import truth_sheet

    return truth_sheet(plan)


SHEETS: Mapping[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind("locking", "every route, what it needs, and which routes conflict", _locking),
        Kind("aspects", "for each signal, what it shows when", _aspects),
        Kind("gaps", "every gap to cut, where and why, and those that are missing", _gaps),
        Kind("parts", "what to buy, what it costs, in which order", _parts),
        Kind("wiring", "every wire to run, district by district, with its color", _wiring),
        Kind("electrical", "loads, voltage at the far ends, fuses and resistors", _electrical),
        Kind("addresses", "numbers and packets for signals on a packet bus", _addresses),
        Kind("truth-table", "what signals show and relays come to, whatever comes in", _truth),
        Kind("test-card", "what to do on the built layout, and what it must show", _test_card),
    )
}
