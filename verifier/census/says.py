"""What obligations say, in few words: the state of one thing, and what follows for a train."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from verifier.census.survey import Step, Survey, Trip
from verifier.logic.expr import Expr, atom, conjunction, disjunction, negation
from verifier.plan import observables
from verifier.plan.model import Plan, Signal
from verifier.plan.signals.aspects import Aspect

all_of, any_of, no = conjunction, disjunction, negation


Over = Literal["situations", "histories", "lossy", "blips", "held", "for good"]


@dataclass(frozen=True, slots=True)
class Must:
    """There must be an obligation about these subjects, with this formula: what must never be, or
    what must be possible. ``at`` are the signals it is about; ``note``: it fails no file;
    ``over``: the kind of history it covers, where obligations of one property differ in that."""

    subjects: tuple[str, ...]
    formula: Expr
    at: tuple[str, ...] = ()
    note: bool = False
    over: Over | None = None


Musts = Iterator[Must]

# The speeds that an indication may give, slowest first (the language reference lists them).
SLOWEST_FIRST = ("stop", "restricted", "slow", "medium", "limited", "diverging", "normal")


# ------------------------------------------------------------------ aspects


def lets_pass(aspect: Aspect) -> bool:
    """A train may pass, at restricted speed or after a stop at least."""
    return aspect.indication.text != "stop"


def lets_pass_without_stopping(aspect: Aspect) -> bool:
    return aspect.indication.speed != "stop"


def better_than_restricting(aspect: Aspect) -> bool:
    return aspect.indication.speed not in ("stop", "restricted")


def is_read(signal: Signal, aspects: Iterable[Aspect]) -> Expr:
    """An engineer reads one of these aspects at the signal."""
    return atom(signal.reading, *(aspect.name for aspect in aspects))


def permits(signal: Signal, plan: Plan) -> Expr:
    """The signal lets trains pass, if only after a stop."""
    return is_read(signal, filter(lets_pass, plan.chart.aspects))


def clears(signal: Signal, plan: Plan) -> Expr:
    """The signal lets trains pass without stopping."""
    return is_read(signal, filter(lets_pass_without_stopping, plan.chart.aspects))


def proceeds(signal: Signal, plan: Plan) -> Expr:
    """The signal shows something better than Restricting."""
    return is_read(signal, filter(better_than_restricting, plan.chart.aspects))


# ------------------------------------------------------------------ track


def lie(points: str, position: str) -> Expr:
    return atom(observables.points(points), position)


def occupied(block: str) -> Expr:
    return atom(observables.stock(block), "occupied")


def chosen(steps: Iterable[Step]) -> Expr:
    """The points that choose a train's way lie for these steps."""
    return all_of(*(lie(s.piece, s.needs) for s in steps if s.chooses and s.needs is not None))


def takes(trip: Trip) -> Expr:
    """A train that passes the signal makes this trip, and not another one from there."""
    return chosen(trip.steps)


def takes_one(trips: Iterable[Trip]) -> Expr:
    return any_of(*map(takes, trips))


def is_lined(trip: Trip) -> Expr:
    """All points of the trip lie for it, those that it trails as well."""
    return all_of(*(lie(s.piece, s.needs) for s in trip.points if s.needs is not None))


def reaches(trip: Trip, piece: str) -> Iterator[tuple[Step, Expr]]:
    """Each step of a trip over a piece, and the condition under which a train comes to it."""
    for i, step in enumerate(trip.steps):
        if step.piece == piece:
            yield step, chosen(trip.steps[:i])


def points_of(trips: Iterable[Trip]) -> tuple[str, ...]:
    """All points that trips run over, in the order met."""
    return tuple(dict.fromkeys(step.piece for trip in trips for step in trip.points))


def blocks_of(trip: Trip, survey: Survey) -> tuple[str, ...]:
    """The blocks that a trip runs over, each once."""
    blocks = (survey.block_of(step.piece) for step in trip.steps)
    return tuple(dict.fromkeys(block for block in blocks if block is not None))


def goes_out_over_a_way_in(trip: Trip, survey: Survey) -> bool:
    """The trip leaves the plan at an edge where trains only come in."""
    return trip.ends_at == "edge" and survey.piece(trip.end).direction == "entering"


def is_meant(trip: Trip, survey: Survey) -> bool:
    """A signal may clear for the trip: all of it is detected, and trains may leave there."""
    seen = all(survey.plan.blocks[block].detected for block in blocks_of(trip, survey))
    return seen and not goes_out_over_a_way_in(trip, survey)
