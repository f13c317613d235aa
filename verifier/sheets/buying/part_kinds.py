"""Generic kinds of parts: what they are called, how they are counted and priced.

No part of any maker is known here. A kind may have a size, `driver-6` or `fuse-2A`; in a parts
file a kind without one, `driver`, stands for every size that has no price of its own.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Literal

from verifier.plan.quantities import LENGTH
from verifier.properties.amounts import decimal

# What wire is sold by, and what one is in meters.
SoldBy = Literal["foot", "meter"]
METRES: Mapping[SoldBy, Fraction] = MappingProxyType({
    "foot": LENGTH.units["ft"], "meter": LENGTH.units["m"],
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Family:
    """``sized``: what its size is a number of, None where it has none; ``unit`` stands behind
    the number, ``plural`` where it is not the word with an s, ``tail`` behind it all.
    ``larger_will_do``: a larger one does the same work. ``spare``: one more is bought for every so
    many, since it burns out, breaks or gets lost. ``by_length``: bought by the foot or the meter,
    not by the piece."""

    name: str
    text: str
    sized: str | None = None
    unit: str = ""
    larger_will_do: bool = False
    spare: bool = True
    by_length: bool = False
    plural: str = ""
    tail: str = ""


FAMILIES: Mapping[str, Family] = MappingProxyType({
    family.name: family
    for family in (
        Family("head", "signal head", "lamp"),
        Family("head-bulbs", "signal head", "lamp", tail=", bulbs"),
        Family("target", "target", "lens", plural="lenses"),
        Family("target-bulbs", "target", "lens", plural="lenses", tail=", bulbs"),
        Family("position-light", "position light", "row"),
        Family("position-light-bulbs", "position light", "row", tail=", bulbs"),
        Family("two-color", "searchlight head, two-color LED"),
        Family("three-color", "searchlight head, three-color LED"),
        Family("semaphore", "semaphore arm with its coil and weight"),
        Family("arm-contact", "contact at a semaphore arm"),
        Family("mast", "signal mast", "head", spare=False),
        Family("plate", "plate on a signal mast"),
        Family("driver", "driver board", "output", larger_will_do=True),
        Family("current-detector", "current-sensing detector"),
        Family("spot-detector", "spot detector, one for each spot"),
        Family("adapter", "isolating adapter at a detector's output"),
        Family("contact", "contact at a turnout"),
        Family("frog-contact", "SPDT contact for a live frog"),
        Family("machine-slow", "switch machine, slow", spare=False),
        Family("machine-snap", "switch machine, twin-coil", spare=False),
        Family("lever", "lever on the panel", spare=False),
        Family("button", "button on the panel", spare=False),
        Family("indicator", "lamp on the panel"),
        Family("bell", "bell on the panel", spare=False),
        Family("supply", "power supply, ready made", "ampere", "A", True, spare=False),
        Family("booster", "booster", "ampere", "A", True, spare=False),
        Family("reverser", "reverser for a section of track", spare=False),
        Family("fuse", "fuse and its holder", "ampere", "A"),
        Family("wire", "hook-up wire", "size", "AWG", by_length=True),
    )
})  # fmt: skip

_KIND = re.compile(r"([a-z][a-z-]*?)(?:-([0-9]{1,6}(?:\.[0-9]{1,6})?) ?([A-Za-z]*))?")


@dataclass(frozen=True, slots=True)
class PartKind:
    """A family, and a size where it has one and it is known."""

    family: str
    size: Fraction | None = None

    def __str__(self) -> str:
        if self.size is None:
            return self.family
        return f"{self.family}-{decimal(self.size)}{FAMILIES[self.family].unit}"

    @property
    def text(self) -> str:
        """What it is, in words."""
        family = FAMILIES[self.family]
        if family.sized is None or self.size is None:
            return family.text
        if family.unit:
            return f"{family.text}, {decimal(self.size)} {family.unit}"
        many = family.plural or f"{family.sized}s"
        counted = family.sized if self.size == 1 else many
        return f"{family.text}, {decimal(self.size)} {counted}{family.tail}"


def kind_of(text: str) -> PartKind | None:
    """The kind that a word of a parts file stands for; None where there is none."""
    found = _KIND.fullmatch(text.strip())
    if found is None:
        return None
    name, size, unit = found.groups()
    family = FAMILIES.get(name)
    if family is None or (size is not None and family.sized is None):
        return None
    if size is None:
        return PartKind(name)
    number = Fraction(size)
    whole = family.sized == "ampere" or number.denominator == 1
    if unit.lower() != family.unit.lower() or not number or not whole:
        return None
    return PartKind(name, number)


def known_kinds() -> tuple[str, ...]:
    """Every kind as it may be written, those with a size with one for example."""
    example = {"mast": 2, "driver": 6, "booster": 5, "fuse": 2, "wire": 22}
    return tuple(
        str(PartKind(name, Fraction(example.get(name, 3)) if family.sized else None))
        for name, family in FAMILIES.items()
    )


def best_of(kind: PartKind, known: Iterable[PartKind]) -> PartKind | None:
    """Which of the kinds in a parts file is bought for this one: just this one; else, where a
    larger one will do, the next larger; else the family without a size."""
    same = [k for k in known if k.family == kind.family]
    if kind in same:
        return kind
    if FAMILIES[kind.family].larger_will_do and kind.size is not None:
        larger = [k for k in same if k.size is not None and k.size >= kind.size]
        if larger:
            return min(larger, key=lambda k: k.size or 0)
    return next((k for k in same if k.size is None), None)


def in_cents(amount: Decimal) -> Decimal:
    """To two decimals; half a cent up, as shops do."""
    return amount.quantize(Decimal("0.01"), ROUND_HALF_UP)


def money(amount: Decimal, currency: str) -> str:
    return f"{in_cents(amount)} {currency}"
