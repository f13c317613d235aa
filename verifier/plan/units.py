"""The units in which a file writes its lengths, so that reports use the same.

In: the statements of a file. Out: :class:`Units`. Track and wire are counted apart.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from verifier.language.syntax import tree

# `2400 mm`, `240 cm`, `2.4 m`; `ft` stands for feet and inches.
Unit = Literal["mm", "cm", "m", "ft"]
_METRIC: tuple[Unit, ...] = ("mm", "cm", "m")


@dataclass(frozen=True, slots=True)
class Units:
    """The unit of lengths of track and trains, and that of lengths of wire."""

    track: Unit = "mm"
    wire: Unit = "mm"


MILLIMETRES = Units()


def units_of(statements: Sequence[tree.Statement]) -> Units:
    """The units that most lengths of a kind are written in; where a file gives none of a kind,
    those of the other. Feet and inches only where more than half are: metric units give every
    length exactly, whatever it was written in."""
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


def _unit(amounts: tree.Length) -> str:
    unit = amounts[0].unit if amounts else ""
    return "ft" if unit == "in" else unit


def _runs(statement: tree.Statement) -> Iterator[tree.Run]:
    match statement:
        case tree.Block(feeders=those) | tree.Driver(clauses=those):
            yield from (one.run for one in those if one.run is not None)
        case tree.District(run=run) | tree.SubBus(run=run) if run is not None:
            yield run
        case tree.Turnout(clauses=clauses):
            yield from (c.run for c in clauses if c.kind == "bonded" and c.run is not None)


def _along_track(statement: tree.Statement) -> Iterator[tree.Length]:
    match statement:
        case tree.StoppingDistance(length=length):
            yield length
        case tree.Block(length=length, feeders=groups):
            yield length
            yield from (feeder.at for group in groups for feeder in group.feeders)
        case tree.Signal(stands=stands):
            yield stands
        case tree.Trains(shortest=shortest, longest=longest):
            yield from (shortest, longest)
        case (
            tree.Turnout(clauses=clauses)
            | tree.Slip(clauses=clauses)
            | tree.Detector(clauses=clauses)
        ):
            for clause in clauses:
                if clause.kind in ("fouling point", "gap", "at", "points at"):
                    yield from clause.lengths
