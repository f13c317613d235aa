"""What to show in an SVG drawing beside track, signals and stock.

Input: nothing. Output: the words in which reports and pages ask for drawings.
"""

from dataclasses import dataclass
from typing import Literal

from verifier.plan.model import Move

Why = Literal["cause", "conflict", "changed"]
Slope = Literal["rising", "falling"]


@dataclass(frozen=True, slots=True)
class Mark:
    """A call-out at one thing: the numbered circle of a cause (``cause``, with its
    ``number``), the ring where routes conflict (``conflict``), or the triangle of a draftsman
    at what has changed since the drawing before (``changed``). ``kind`` and ``name`` are those
    of the thing's group in the drawing (``data-kind``, ``data-name``), or ``piece`` and the
    name of a piece of track."""

    kind: str
    name: str
    why: Why
    number: int | None = None


@dataclass(frozen=True, slots=True)
class Hatched:
    """A route drawn hatched: the moves of its way over the track, in order."""

    name: str
    moves: tuple[Move, ...]
    slope: Slope


@dataclass(frozen=True, slots=True)
class Overlay:
    """``gaps``: the names of gaps. ``feeders``, ``detectors``: the wiring beside the track.
    What has a mark of which the drawing does not show the thing, has no mark."""

    gaps: bool = False
    feeders: bool = False
    detectors: bool = False
    marks: tuple[Mark, ...] = ()
    hatched: tuple[Hatched, ...] = ()


NO_OVERLAY = Overlay()
