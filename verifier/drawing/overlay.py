"""What an SVG drawing shows besides track, signals and stock: the options of a drawing, and
the marks that its caller puts on it.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from verifier.plan import observables
from verifier.plan.model import Move, Plan
from verifier.reference.evaluator import Seen

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
    A mark at a thing that the drawing does not show is left out."""

    gaps: bool = False
    feeders: bool = False
    detectors: bool = False
    marks: tuple[Mark, ...] = ()
    hatched: tuple[Hatched, ...] = ()


NO_OVERLAY = Overlay()


def changes(plan: Plan, before: Seen, seen: Seen) -> Iterator[Mark]:
    """Marks at everything that is drawn differently than before."""
    kinds = (
        ("block", map(observables.stock, plan.blocks)),
        ("points", (observables.points(p.name) for p in plan.track.pieces.values()
                    if p.kind in ("turnout", "slip"))),
        ("derail", map(observables.derail, plan.derails)),
        ("gate", map(observables.gate, plan.gates)),
    )  # fmt: skip
    for kind, things in kinds:
        for what in things:
            if before.states.get(what) != seen.states.get(what):
                yield Mark(kind, what.name, "changed")
    for signal in plan.signals.values():
        if before.colors(signal) != seen.colors(signal):
            yield Mark("signal", signal.name, "changed")
