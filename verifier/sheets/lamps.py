"""Lamps on the electrical sheet: resistors for LEDs, bulbs while they are cold, what an output
carries.

In: a plan, and volts across lit LEDs where they were given. Out: tables.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from verifier.language.listing import listing
from verifier.plan.model import Head, Plan
from verifier.plan.wiring.electrical_constants import (
    COLD_BULB,
    FORWARD,
    next_preferred,
    series_resistor,
)
from verifier.plan.wiring.lamps import CENTER
from verifier.plan.wiring.wiring_model import Driver, Number, Supply
from verifier.properties.amounts import amps, ohms, volts
from verifier.properties.wiring import heads_of
from verifier.sheets.gaps import NOT_GIVEN
from verifier.sheets.sheet import Table

_NOTES = (
    "Only where the driver has no resistors of its own: see its maker's sheet. One resistor "
    "for each LED, or for all that are in series, between the board and the LED: never one in the "
    "wire that LEDs have in common. Volts across an LED are typical unless you gave them "
    "(`--led red=1.8`): measure yours. Rated at least twice what it turns to heat.",
)
_BULB_NOTES = (
    f"A cold bulb draws about {COLD_BULB} times its current for a moment. Where that is too much, "
    "keep the filament warm with a resistor across the output, so that a little current always "
    "flows, or take a board with larger outputs.",
)


# A row of a position light has so many lamps beside the one in the middle.
_OUTER = 2


@dataclass(frozen=True, slots=True)
class _Lit:
    """A head with the board that lights it."""

    head: Head
    driver: Driver
    supply: Supply | None
    volts: Number | None

    @property
    def bulbs(self) -> bool:
        return self.driver.sold_as(self.head.name).incandescent

    @property
    def arm(self) -> bool:
        return self.head.make == "semaphore"


def lamp_tables(plan: Plan, forward: Mapping[str, Fraction]) -> Iterator[Table]:
    lit = tuple(_lit(plan))
    yield _resistors(lit, {**FORWARD, **forward})
    yield _bulbs(lit)


def _lit(plan: Plan) -> Iterator[_Lit]:
    for _, head in heads_of(plan):
        driver = plan.wiring.driver_of(head.name)
        if driver is not None:
            supply = plan.wiring.supplies.get(driver.supply or "")
            gives = plan.wiring.volts_of(supply.name) if supply else None
            yield _Lit(head, driver, supply, gives)


# ------------------------------------------------------------------ resistors


def _resistors(lit: tuple[_Lit, ...], across: Mapping[str, Fraction]) -> Table:
    alike: dict[tuple[str, ...], dict[str, None]] = {}
    for one in lit:
        if one.driver.lamp is None or one.volts is None or one.bulbs or one.arm:
            continue
        for lamp in one.head.lamps:
            row = _resistor(one, lamp, across, _current(one.head, one.driver.lamp), one.volts)
            if row is not None:
                alike.setdefault(row, {})[one.driver.name] = None
    rows = tuple((", ".join(drivers), *row) for row, drivers in alike.items())
    columns = ("driver", "LED", "across it", "supply", "current", "exact", "E24", "E12", "rated")
    return Table("Resistors for LEDs", columns, rows, _NOTES, frozenset(columns[2:]))


def _current(head: Head, lamp: Number) -> Number:
    """The current of one LED: what the head draws, shared by those that are lit together."""
    colors = (color for color in head.color.values if color != "dark")
    return lamp / max((len(head.lamps_of(color)) for color in colors), default=1)


def _resistor(
    one: _Lit, lamp: str, across: Mapping[str, Fraction], current: Number, supply: Number
) -> tuple[str, ...] | None:
    """What is alike for all LEDs of this color at this current. Those of a position light are
    yellow; the two outer ones of a row share its output, in series or side by side (common
    practice, no source)."""
    rows = one.head.make == "position-light"
    color = "yellow" if rows else lamp
    if color not in across:
        return None
    count = 1 if lamp == CENTER else one.driver.sold_as(one.head.name).series
    where = ""
    if rows:
        where = ", in the middle" if lamp == CENTER else ", outer"
        if lamp != CENTER and count == 1:
            current /= _OUTER
    forward = across[color]
    found = series_resistor(supply, forward, current, count)
    called = f"{f'{count} x ' if count > 1 else ''}{color}{where}"
    if found is None:
        return (called, volts(count * forward), volts(supply), amps(current),
                "too few volts", "-", "-", "-")  # fmt: skip
    return (
        called, volts(count * forward), volts(supply), amps(current), ohms(found.exact),
        ohms(next_preferred(found.exact, "E24")), ohms(found.preferred), f"{found.rating} W",
    )  # fmt: skip


# ------------------------------------------------------------------ bulbs


def _outputs(bulbs: Sequence[_Lit]) -> Iterator[tuple[str, ...]]:
    """By board what an output bears, head by head where that is not the same for all."""
    boards: dict[str, dict[Number, list[_Lit]]] = {}
    for one in bulbs:
        if one.driver.lamp is not None:
            current = _current(one.head, one.driver.lamp)
            boards.setdefault(one.driver.name, {}).setdefault(current, []).append(one)
    for board, currents in boards.items():
        for current, its in currents.items():
            heads = f" for {listing([one.head.name for one in its])}" if len(currents) > 1 else ""
            each, cold = its[0].driver.each, COLD_BULB * current
            mark = NOT_GIVEN if each is None else "yes" if cold <= each else "TOO MUCH"
            yield (f"an output of {board}{heads}", amps(current), amps(cold),
                   NOT_GIVEN if each is None else amps(each), mark)  # fmt: skip


def _bulbs(lit: tuple[_Lit, ...]) -> Table:
    """What an output, and the supply when all light at once, must bear while bulbs are cold."""
    rows = list(_outputs([one for one in lit if one.bulbs]))
    supplies = {one.supply.name: one.supply for one in lit if one.bulbs and one.supply}
    for name, supply in supplies.items():
        its = [one for one in lit if one.supply == supply and one.bulbs and one.driver.lamp]
        together = sum((one.driver.lamp or Number(0) for one in its), Number(0))
        if not together:
            continue
        mark = NOT_GIVEN if supply.amps is None else (
            "yes" if COLD_BULB * together <= supply.amps else "TOO MUCH: it may not start"
        )  # fmt: skip
        words = f"{name}, {listing([one.head.name for one in its])} lit at once"
        rows.append((words, amps(together), amps(COLD_BULB * together),
                     NOT_GIVEN if supply.amps is None else amps(supply.amps), mark))  # fmt: skip
    columns = ("what bears it", "warm", "cold", "carries", "enough")
    return Table("Bulbs", columns, tuple(rows), _BULB_NOTES, frozenset(columns[1:4]))
