"""Census of what moves: turnouts and slips, derails, gates; and where trips come to them."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from verifier.census.says import all_of, any_of, chosen
from verifier.census.signals import protected_by, runs_over
from verifier.census.survey import Survey, Trip
from verifier.logic.expr import Expr, atom
from verifier.plan import observables
from verifier.plan.observables import Observable


@dataclass(frozen=True, slots=True)
class Mover:
    """One thing that moves: how it lies, how it was thrown, that a train is on it. ``thrown_as`` is
    what the file throws: of a derail that is pipe-connected, its points."""

    name: str
    lies: Observable
    told: Observable
    under: Expr
    thrown_as: str

    @property
    def moves(self) -> Expr:
        return atom(observables.event("points move", self.name), "yes")


@dataclass(frozen=True, slots=True)
class Meeting:
    """A train on a trip comes to it after ``steps`` steps, where it must lie so; ``comes``: the
    points before choose that way."""

    trip: Trip
    steps: int
    position: str
    comes: Expr


def movers(survey: Survey) -> Iterator[Mover]:
    """Everything that moves."""
    plan = survey.plan
    for name in survey.switches():
        told = observables.thrown(name)
        yield Mover(name, observables.points(name), told, train_on(name), name)
    for derail in plan.derails.values():
        other = survey.across(derail.port)
        joint = next(j for j in plan.track.joints if {j.a, j.b} == {derail.port, other})
        title = " to ".join(f"{port.piece} {port.end}" for port in (joint.a, joint.b))
        across = atom(observables.across(title), "spanned")
        told = observables.thrown(derail.name, ("derailing", "non-derailing"))
        owner = derail.pipe.points if derail.pipe else derail.name
        yield Mover(derail.name, observables.derail(derail.name), told, across, owner)
    for gate in plan.gates.values():
        span = [n for n, piece in plan.track.pieces.items() if piece.block == gate.block]
        told = observables.thrown(gate.name, ("seated", "open"))
        on = any_of(*map(train_on, span))
        yield Mover(gate.name, observables.gate(gate.name), told, on, gate.name)


def train_on(piece: str) -> Expr:
    return atom(observables.train(piece), "occupied")


def meetings_with(mover: Mover, trips: Iterable[Trip], survey: Survey) -> Iterator[Meeting]:
    """Where trips run over it; of a derail, also where they run over what it protects."""
    for trip in trips:
        for steps, position in _met(mover, trip, survey):
            yield Meeting(trip, steps, position, chosen(trip.steps[:steps]))


def _met(mover: Mover, trip: Trip, survey: Survey) -> Iterator[tuple[int, str]]:
    gate, derail = survey.plan.gates.get(mover.name), survey.plan.derails.get(mover.name)
    over = [step.piece for step in trip.steps]
    if gate is not None:
        span = [i for i, piece in enumerate(over) if survey.block_of(piece) == gate.block]
        if span:
            yield max(span), "seated"
    elif derail is not None and runs_over(trip, derail):
        yield [derail.port in ends for ends in trip.crossed].index(True), "non-derailing"
    elif derail is not None:
        protected = protected_by(derail, survey)
        if protected in over:
            yield over.index(protected), "derailing"
    else:
        for i, step in enumerate(trip.steps):
            if step.piece == mover.name and step.needs is not None:
                yield i, step.needs


def only_commanded(mover: Mover, position: str) -> Expr:
    """It was thrown to a position, and does not lie there."""
    elsewhere = (state for state in mover.lies.values if state != position)
    return all_of(atom(mover.told, position), atom(mover.lies, *elsewhere))
