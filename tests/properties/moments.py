"""Moments of a history made by hand: everything is as usual but for what is said."""

from collections.abc import Mapping

import verifier
from verifier.logic.expr import holds
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.properties.catalog import BY_NAME
from verifier.properties.obligation import Obligation


class Moment(dict[Observable, str]):
    """What is not named is in its usual state."""

    def __missing__(self, what: Observable) -> str:
        return what.usual


def questions(name: str, plan: Plan) -> dict[str, Obligation]:
    """What one property asks of a plan, by its subjects."""
    found = list(BY_NAME[name].make(plan))
    by_subjects = {", ".join(o.subjects): o for o in found}
    assert len(by_subjects) == len(found)
    return by_subjects


def question(name: str, text: str, *subjects: str) -> tuple[Plan, Obligation]:
    plan = verifier.load_text(text)
    return plan, questions(name, plan)[", ".join(subjects)]


def is_so(obligation: Obligation, *moments: Mapping[Observable, str]) -> bool:
    """Whether the formula holds when all of this is so at once."""
    moment = Moment()
    for part in moments:
        moment.update(part)
    return holds(obligation.formula, moment)


def train(plan: Plan, piece: str, came_in_by: str) -> Mapping[Observable, str]:
    """A train on a piece of track (and so its block is occupied)."""
    there = plan.track.pieces[piece]
    assert came_in_by in there.ends
    said = {
        observables.train(piece): "occupied",
        observables.heading(piece, there.ends): came_in_by,
    }
    if there.block is not None:
        said[observables.stock(there.block)] = "occupied"
    return said


def shows(plan: Plan, **aspects: str) -> Mapping[Observable, str]:
    """Signals show these aspects; a leading ``s`` stands before names that begin with a digit."""
    said = {}
    for name, aspect in aspects.items():
        signal = plan.signals.get(name) or plan.signals[name.removeprefix("s")]
        assert aspect in signal.reading.values
        said[signal.reading] = aspect
    return said


def lies(**points: str) -> Mapping[Observable, str]:
    return {observables.points(name): position for name, position in points.items()}


def told(**points: str) -> Mapping[Observable, str]:
    return {observables.thrown(name): position for name, position in points.items()}


def happens(kind: observables.Event, name: str) -> Mapping[Observable, str]:
    return {observables.event(kind, name): "yes"}


def too_late(signal: str) -> Mapping[Observable, str]:
    """A train may be too late to stop at a signal."""
    return {observables.window("late", signal): "yes"}
