"""Lamps as they are sold: what the lamps of a head are, and what they make together.

In: what a board says of its heads. Out: by head its lamps, those that are lit for a color, and the
color that is left where some of them fail. Mixtures of light: common practice, no source.
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from itertools import combinations
from typing import Literal

from verifier.language.source import Span
from verifier.plan.signals.colors import flashes, flashing, steady

# A lamp for each color, as three lenses of a target, too; LEDs of several colors in one case;
# rows of lamps that have one in the middle in common; an arm, which is held
# up for every color but red, and falls.
HeadMake = Literal["lamps", "target", "two-color", "three-color", "position-light", "semaphore"]
# A target has a lens for each color (common practice, no source).
LENSES = 3
CommonSide = Literal["anode", "cathode"]
CENTER = "center"
# What each kind of head can show, apart from dark.
CAN_SHOW: dict[HeadMake, tuple[str, ...]] = {
    "two-color": ("red", "yellow", "green"),
    "three-color": ("red", "yellow", "green", "lunar", "white"),
    "position-light": ("red", "yellow", "green", "lunar"),
    "semaphore": ("red", "yellow", "green"),
}
# The rows of a position light, and how the arm of a semaphore points (common practice, no source).
ROWS = {"red": "horizontal", "yellow": "diagonal", "green": "vertical", "lunar": "other diagonal"}
# The LEDs in one case, each with a lead of its own.
LEADS: dict[HeadMake, tuple[str, ...]] = {
    "two-color": ("red", "green"),
    "three-color": ("red", "green", "blue"),
}
_YELLOW, _WHITE = ("red", "green"), ("red", "green", "blue")
_MIXED: dict[HeadMake, dict[str, tuple[str, ...]]] = {
    "two-color": {"yellow": _YELLOW},
    "three-color": {"yellow": _YELLOW, "lunar": _WHITE, "white": _WHITE},
}


@dataclass(frozen=True, slots=True)
class SoldHead:
    """A head as it is sold. ``common``: the side of its LEDs that is joined, empty where the file
    does not say. ``series``: how many LEDs of a color are in series with one resistor.
    ``approach``: it is dark while no train is reported on the block before it; ``tested``: its
    board finds a lamp that fails even then. ``made_at``, ``lit_at``: where the file says
    what make it is, and that a train lights it."""

    make: HeadMake = "lamps"
    common: CommonSide | None = None
    series: int = 1
    incandescent: bool = False
    approach: bool = False
    tested: bool = False
    made_at: Span | None = field(default=None, compare=False)
    lit_at: Span | None = field(default=None, compare=False)


def lamps_of(make: HeadMake, color: str) -> tuple[str, ...]:
    """The lamps that are lit for a color; of a semaphore, what holds up its arm."""
    if make == "semaphore":
        return () if steady(color) in ("red", "dark") else (steady(color),)
    if make == "position-light":
        return steady(color), CENTER
    return _MIXED.get(make, {}).get(steady(color), (steady(color),))


def left_of(make: HeadMake, color: str, lit: Collection[str]) -> str:
    """What a head looks like that is told to show a steady color, while only some of its lamps
    light. A mixture that is no color of signals is taken for the one it is nearest to."""
    if make == "position-light":  # the outer lamps of a row are a row without that in the middle
        return color if color in lit else "dark"
    if not lit or len(lamps_of(make, color)) == len(lit):
        return color if lit else "dark"
    if "red" in lit:
        return "yellow" if "green" in lit else "red"
    return "green" if "green" in lit else color


def lit_in(make: HeadMake, color: str) -> Iterator[tuple[tuple[str, ...], str]]:
    """Every way in which some lamps of a steady color light, and what that looks like."""
    lamps = lamps_of(make, color)
    for count in range(1, len(lamps) + 1):
        for lit in combinations(lamps, count):
            yield lit, left_of(make, color, lit)


def looks(make: HeadMake, color: str) -> dict[str, None]:
    """All that a head may look like that is told to show a color, apart from dark."""
    if make == "semaphore":
        return dict.fromkeys(("red", *lamps_of(make, color)))
    seen = (look for _, look in lit_in(make, steady(color)) if look != "dark")
    return dict.fromkeys(flashing(look) if flashes(color) else look for look in seen)
