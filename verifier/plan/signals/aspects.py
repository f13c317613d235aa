"""Aspects and indications: the names of color combinations, and what they promise.

The built-in chart is common North American three-color practice (no single source; the
color pairs are from memory, as marked in the project's notes on sources). A file may
replace or add to it; what an indication means is fixed here, since properties rest on it.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Literal

from verifier.language.source import Source, Span
from verifier.plan.observables import UNLISTED

Way = Literal["straight", "diverging", "any"]
# Speeds an indication allows, slowest first; the index is the order.
SPEEDS = ("stop", "restricted", "slow", "medium", "limited", "diverging", "normal")


@dataclass(frozen=True, slots=True)
class Indication:
    """What an aspect tells the engineer.

    ``rank`` orders indications: higher is less restrictive. ``way`` is the route it
    promises at facing points. ``next_at_least`` is the slowest speed the next signal may
    then show, None where nothing is promised.
    """

    text: str
    rank: int
    speed: str
    way: Way
    next_at_least: str | None


def _indications() -> dict[str, Indication]:
    rows: list[tuple[str, str, Way, str | None]] = [
        # most restrictive first
        ("stop", "stop", "any", None),
        ("stop and proceed", "stop", "any", None),
        ("proceed at restricted speed", "restricted", "any", None),
        ("proceed at slow speed prepared to stop", "slow", "any", None),
        ("proceed at medium speed prepared to stop", "medium", "any", None),
        ("proceed at limited speed prepared to stop", "limited", "any", None),
        ("proceed diverging prepared to stop", "diverging", "diverging", None),
        ("proceed at slow speed", "slow", "any", "slow"),
        ("proceed at medium speed", "medium", "any", "slow"),
        ("proceed at limited speed", "limited", "any", "slow"),
        ("proceed diverging", "diverging", "diverging", "slow"),
        ("proceed prepared to stop at next signal", "normal", "straight", None),
        ("proceed prepared to pass next signal at slow speed", "normal", "straight", "slow"),
        ("proceed prepared to pass next signal at medium speed", "normal", "straight", "medium"),
        ("proceed prepared to pass next signal at limited speed", "normal", "straight", "limited"),
        ("proceed prepared to take diverging route at next signal", "normal", "straight", "slow"),
        ("proceed prepared to stop at second signal", "normal", "straight", "slow"),
        ("proceed", "normal", "straight", "slow"),
    ]
    return {
        text: Indication(text, rank, speed, way, promise)
        for rank, (text, speed, way, promise) in enumerate(rows)
    }


INDICATIONS = _indications()
RESTRICTED_RANK = INDICATIONS["proceed at restricted speed"].rank
# The highest rank that counts as "at stop".
STOP_RANK = INDICATIONS["stop and proceed"].rank

Combination = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Aspect:
    """A name, the color combinations that show it, and its indication. ``plated`` are those that
    show it only beside a plate of a kind (49 CFR 236.23(a): a qualifying appurtenance)."""

    name: str
    combinations: tuple[Combination, ...]
    indication: Indication
    span: Span
    built_in: bool = False
    plated: tuple[tuple[str, Combination], ...] = ()

    @property
    def proceeds(self) -> bool:
        """Better than Restricting: "proceed" in the catalog's sense."""
        return self.indication.rank > RESTRICTED_RANK

    @property
    def clears(self) -> bool:
        """Lets a train pass without stopping, Restricting included."""
        return self.indication.rank > STOP_RANK

    @property
    def permits(self) -> bool:
        """Lets a train pass, be it at restricted speed, or after a stop."""
        return self.indication.rank > INDICATIONS["stop"].rank

    def for_heads(self, count: int) -> Combination | None:
        """The colors a signal with ``count`` heads shows for it, None when none fit."""
        return next((c for c in self.combinations if len(c) == count), None)


@dataclass(frozen=True, slots=True)
class Chart:
    """All aspects of a layout, least restrictive first; and the chart of signals that carry a
    plate of a kind, for each kind that some aspect is shown with."""

    aspects: tuple[Aspect, ...]
    with_plate: tuple[tuple[str, "Chart"], ...] = field(default=(), repr=False)

    def beside(self, plate: str) -> "Chart":
        """What colors mean at a signal with a plate of this kind, empty where it has none. What
        an aspect lists with the plate goes before the same colors without it."""
        return next((chart for kind, chart in self.with_plate if kind == plate), self)

    def get(self, name: str) -> Aspect | None:
        return next((a for a in self.aspects if a.name == name), None)

    def colors(self, name: str, heads: int) -> Combination | None:
        """The colors that a signal with so many heads shows for the aspect of this name."""
        aspect = self.get(name)
        return aspect.for_heads(heads) if aspect else None

    def instead_of(self, name: str) -> Aspect | None:
        """The aspect of the file that has taken the place of a built-in one."""
        gone = chart(()).get(name)
        return next((a for a in self.aspects if gone and a.indication == gone.indication), None)

    def readings(self, colors: Combination) -> tuple[Aspect, ...]:
        """Every aspect these colors may be read as, least restrictive first."""
        return tuple(a for a in self.aspects if colors in a.combinations)

    def reading(self, colors: Combination) -> str:
        """The name of the aspect these colors are read as: where two names list them the less
        restrictive, where none does :data:`~verifier.plan.observables.UNLISTED`, an imperfect
        signal that is read as the most restrictive aspect."""
        found = self.readings(colors)
        return found[0].name if found else UNLISTED

    def best_reading(self, colors: Combination) -> str:
        """The least restrictive aspect an engineer may read: where no aspect lists the colors
        because a head is dark, and the rest looks like an aspect, that one."""
        read = self.reading(colors)
        lit = tuple(color for color in colors if color != "dark")
        return self.reading(lit) if read == UNLISTED and 0 < len(lit) < len(colors) else read


# A name, its colors from the top head down for each number of heads, its indication.
_BUILT_IN = (
    ("Clear", "G, GR, GRR", "proceed"),
    ("Approach", "Y, YR, YRR", "proceed prepared to stop at next signal"),
    ("Diverging-Clear", "RG, RGR", "proceed diverging"),
    ("Diverging-Approach", "RY, RYR", "proceed diverging prepared to stop"),
    ("Restricting", "L, RL, RRL", "proceed at restricted speed"),
    ("Stop", "R, RR, RRR", "stop"),
)
_LETTERS = {"G": "green", "Y": "yellow", "R": "red", "L": "lunar"}

_BUILT_IN_SOURCE = Source("(built-in aspect chart)", "\n".join(row[0] for row in _BUILT_IN) + "\n")


def chart(own: Iterable[Aspect]) -> Chart:
    """The built-in chart with a file's own aspects put over it.

    A file's aspect replaces the built-in one of the same name, and the built-in one with
    the same indication; a color combination that the file lists is no longer built in. (One that
    it lists with a plate still is, without the plate.)
    """
    own = tuple(own)
    names = {a.name for a in own}
    meanings = {a.indication.text for a in own}
    taken = {c for a in own for c in a.combinations}
    aspects = list(own)
    offset = 0
    for name, colors, indication in _BUILT_IN:
        span = Span(_BUILT_IN_SOURCE, offset, offset + len(name))
        offset += len(name) + 1
        if name in names or indication in meanings:
            continue
        combinations = (tuple(_LETTERS[c] for c in heads) for heads in colors.split(", "))
        left = tuple(c for c in combinations if c not in taken)
        if left:
            aspects.append(Aspect(name, left, INDICATIONS[indication], span, built_in=True))
    aspects.sort(key=lambda a: -a.indication.rank)
    plates = dict.fromkeys(plate for a in own for plate, _ in a.plated)
    return Chart(tuple(aspects), tuple((p, _beside(aspects, p)) for p in plates))


def _beside(aspects: Iterable[Aspect], plate: str) -> Chart:
    """The chart of signals with this plate."""
    taken = {colors for a in aspects for kind, colors in a.plated if kind == plate}
    return Chart(
        tuple(
            replace(
                a,
                combinations=(
                    *(colors for kind, colors in a.plated if kind == plate),
                    *(colors for colors in a.combinations if colors not in taken),
                ),
            )
            for a in aspects
        )
    )
