"""Explicit-state search: every state that a small plan can reach, with no solver.

In: a plan, and predicates over what can be observed at a moment. Out: for each predicate the
shortest history that ends in it, or that no history does. Every engine over time must agree.
"""

from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass

from verifier.plan.minimality import values_in_order
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.wiring.faults import Fault
from verifier.reference.acting import Alike
from verifier.reference.condition_eval import Predicate
from verifier.reference.step import Stepper
from verifier.reference.transition import Transition, Valuation

# The values of all states, and the pieces on which trains stand that met or derailed.
State = tuple[tuple[str, ...], frozenset[str]]
# How a state was first reached: the state before it, and the moment that led to it.
Origin = tuple[State, Valuation] | None


@dataclass(frozen=True, slots=True)
class Reached:
    """A shortest history at whose last moment the predicate holds."""

    history: tuple[Valuation, ...]


@dataclass(frozen=True, slots=True)
class Never:
    """The predicate holds at no moment of any history: all ``states`` were visited."""

    states: int


@dataclass(frozen=True, slots=True)
class TooLarge:
    """No answer: the search ended after ``steps`` steps."""

    steps: int


Answer = Reached | Never | TooLarge


def search(
    plan: Plan,
    predicates: Sequence[Predicate],
    *,
    most_steps: int,
    lossy: bool = False,
    blips: bool = False,
    faults: Sequence[Fault] = (),
    held: bool = False,
    wrecks_stay: bool = True,
) -> list[Answer]:
    """The answer for each predicate, breadth first through all initial states and all choices.
    ``lossy``, ``blips``, ``faults`` and ``held`` as in
    :class:`~verifier.reference.step.Stepper`. Without ``wrecks_stay`` trains that met or derailed
    may move on.

    Raises :class:`~verifier.reference.evaluator.Unsettled`."""
    stepper = Stepper(plan, lossy=lossy, blips=blips, faults=faults, held=held)
    reached: dict[State, Origin] = {}
    for initial in stepper.initial_states():
        reached[tuple(initial.values()), frozenset()] = None
    waiting = deque(reached)
    answers: dict[int, Answer] = {}
    steps = 0
    while waiting and len(answers) < len(predicates):
        state = waiting.popleft()
        values, wrecked = state
        now = dict(zip(stepper.states, values, strict=True))
        for moment, step in every_step(stepper, now, wrecked):
            if steps == most_steps:
                return [answers.get(i, TooLarge(steps)) for i in range(len(predicates))]
            steps += 1
            if not stepper.goes(step):
                continue
            for i, predicate in enumerate(predicates):
                if i not in answers and predicate(step.observed):
                    answers[i] = Reached((*_history(reached, state), moment))
            then = tuple(step.successor[what] for what in stepper.states)
            following = then, step.wrecked if wrecks_stay else wrecked
            if following not in reached:
                reached[following] = state, moment
                waiting.append(following)
    return [answers.get(i, Never(len(reached))) for i in range(len(predicates))]


def _history(reached: Mapping[State, Origin], state: State) -> list[Valuation]:
    """The moments that lead to a state."""
    moments: list[Valuation] = []
    while (before := reached[state]) is not None:
        state, moment = before
        moments.append(moment)
    return moments[::-1]


def every_step(
    stepper: Stepper,
    state: Mapping[Observable, str],
    wrecked: Set[str] = frozenset(),
    choices: Iterable[Observable] | None = None,
) -> Iterator[tuple[dict[Observable, str], Transition]]:
    """Every step from a state, each with the moment that it starts from. On the pieces of
    ``wrecked`` stand trains that met or derailed. ``choices``: those left open, where ``state``
    gives the others; None for all.

    Choices that a step does not read cannot change it, and are left out of its moment. So the
    moments are the paths through a decision tree, which branches where the stepper reads a
    choice."""
    open_ = frozenset(stepper.choices if choices is None else choices)
    made: dict[Observable, str] = {}
    only_sights = all(what.kind in ("sees", "sees by signals") for what in open_)
    alike = Alike() if only_sights else None
    while True:
        moment = _OpenMoment(state, made, open_)
        step = stepper.step(moment, made, wrecked, alike)
        yield {**state, **made}, step
        while made:
            what, value = made.popitem()
            values = values_in_order(what)
            if value != values[-1]:
                made[what] = values[values.index(value) + 1]
                break
        else:
            return


def in_any_order(
    stepper: Stepper, moment: Mapping[Observable, str], most: int
) -> list[Transition] | None:
    """The transitions from a moment, by the order in which relays act, of those that come to the
    same the first; None where there are more than ``most`` orders."""
    sights = frozenset(sight.choice for sight in stepper.variables.sights)
    given = {what: state for what, state in moment.items() if what not in sights}
    found: list[Transition] = []
    for order, (_, step) in enumerate(every_step(stepper, given, choices=sights)):
        if order == most:
            return None
        same = (step.successor, step.waiting)
        if all(same != (other.successor, other.waiting) for other in found):
            found.append(step)
    return found


class _OpenMoment(Mapping[Observable, str]):
    """A moment whose choices are made when they are first read, and kept in ``made``."""

    def __init__(
        self,
        state: Mapping[Observable, str],
        made: dict[Observable, str],
        choices: Set[Observable],
    ):
        self._state = state
        self._made = made
        self._choices = choices

    def __getitem__(self, what: Observable) -> str:
        known = self._state.get(what) or self._made.get(what)
        if known is None:
            if what not in self._choices:
                raise KeyError(what)
            known = self._made[what] = what.usual
        return known

    def __iter__(self) -> Iterator[Observable]:
        return iter((*self._state, *self._choices))

    def __len__(self) -> int:
        return len(self._state) + len(self._choices)
