"""In which units a file writes its lengths, so that people read them as they wrote them.

In: the statements of a file. Out: :class:`Units`. The track on the bench and the wire under it
are measured with different tapes, and counted apart.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from verifier.language import syntax

# How a length is told: `2400 mm`, `240 cm`, `2.4 m`; `ft` stands for feet and inches.
Unit = Literal["mm", "cm", "m", "ft"]
_METRIC: tuple[Unit, ...] = ("mm", "cm", "m")


@dataclass(frozen=True, slots=True)
class Units:
    """``track``: how lengths of track and trains are told; ``wire``: those of wire."""

    track: Unit = "mm"
    wire: Unit = "mm"


MILLIMETRES = Units()


def units_of(statements: Sequence[syntax.Statement]) -> Units:
    """Those that most lengths of a kind are written in; where a file gives none of a kind,
    those of the other. Feet and inches only where they are more than half of them: in metric
    units every length is told exactly, whatever it was written in."""
    runs = [run for s in statements for run in _runs(s)]
    track = Counter(_unit(amounts) for s in statements for amounts in _along_track(s))
    wire = Counter(_unit(run.length) for run in runs)
    return Units(_most(track) or _most(wire) or "mm", _most(wire) or _most(track) or "mm")


def _most(count: Counter[str]) -> Unit | None:
    in_metric = sum(count[unit] for unit in _METRIC)
    if not (in_metric or count["ft"]):
        return None
    mostly: Unit = max(_METRIC, key=lambda unit: count[unit])
    return "ft" if count["ft"] > in_metric else mostly


def _unit(amounts: syntax.Length) -> str:
    unit = amounts[0].unit if amounts else ""
    return "ft" if unit == "in" else unit


def _runs(statement: syntax.Statement) -> Iterator[syntax.Run]:
    match statement:
        case syntax.Block(feeders=those) | syntax.Driver(clauses=those):
            yield from (one.run for one in those if one.run is not None)
        case syntax.District(run=run) if run is not None:
            yield run


def _along_track(statement: syntax.Statement) -> Iterator[syntax.Length]:
    match statement:
        case syntax.Block(length=length) | syntax.StoppingDistance(length=length):
            yield length
        case syntax.Signal(stands=stands):
            yield stands
        case syntax.Trains(shortest=shortest, longest=longest):
            yield from (shortest, longest)
        case (
            syntax.Turnout(clauses=clauses)
            | syntax.Slip(clauses=clauses)
            | syntax.Detector(clauses=clauses)
        ):
            for clause in clauses:
                if clause.kind in ("fouling point", "gap", "at"):
                    yield from clause.lengths
