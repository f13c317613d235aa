"""Transition systems drawn at random, and what is true of them, found by going through every
state and every choice with nothing but :func:`~verifier.logic.expr.holds`."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from random import Random

import pytest

from verifier.engines.results import Reachable, Unknown, Unreachable
from verifier.engines.temporal import bmc, simulation
from verifier.logic.expr import Atom, Expr, Or, atom, conjunction, disjunction, holds, negation
from verifier.logic.transition_system import System
from verifier.plan import observables
from verifier.plan.observables import Observable

Moment = Mapping[Observable, str]
Values = tuple[str, ...]


def drawn_expr(chance: Random, whats: Sequence[Observable], size: int) -> Expr:
    if size <= 1:
        what = chance.choice(whats)
        return atom(what, *chance.sample(what.values, chance.randint(1, len(what.values) - 1)))
    left = chance.randint(1, size - 1)
    parts = drawn_expr(chance, whats, left), drawn_expr(chance, whats, size - left)
    return chance.choice((conjunction, disjunction))(*parts)


def drawn_system(seed: int) -> System:
    """One to five states and one to three inputs; something is taken for granted in half of
    them."""
    chance = Random(seed)
    states: list[Observable] = [observables.relay(f"R{i}") for i in range(chance.randint(1, 3))]
    states += [observables.timer("T")] * chance.randint(0, 1)
    states += [observables.credit(observables.window("late", "C"), 3)] * chance.randint(0, 1)
    inputs = [
        observables.choice("entry", "E"),
        observables.choice("loss", "C"),
        observables.points("T"),
    ]
    inputs = inputs[: chance.randint(1, 3)]
    everything = [*states, *inputs]
    following = {}
    for what in states:
        left: Expr = disjunction()
        values = {}
        for value in what.values[1:]:
            # What is rare takes longer to happen.
            come = conjunction(
                *(drawn_expr(chance, everything, 3) for _ in range(chance.randint(1, 3)))
            )
            values[value] = conjunction(come, negation(left))
            left = disjunction(left, come)
        values[what.values[0]] = negation(left)
        following[what] = values
    initial = {
        what: tuple(v for v in what.values if v == what.usual or chance.random() < 0.1)
        for what in states
    }
    always = [drawn_expr(chance, everything, 3) for _ in range(chance.randint(0, 2))]
    return System(
        tuple(states), tuple(inputs), initial, following, tuple(always) if seed % 2 else ()
    )


def drawn_bads(system: System, seed: int, number: int = 4) -> list[Expr]:
    chance = Random(seed)
    everything = [*system.states, *system.inputs]
    return [
        conjunction(*(drawn_expr(chance, everything, 2) for _ in range(chance.randint(1, 4))))
        for _ in range(number)
    ]


# ------------------------------------------------------------------ what is true


@dataclass(frozen=True, slots=True)
class Truth:
    """All there is to know of a system: ``layers``: the states first reached after so many
    moments, some moment being allowed in each."""

    system: System
    layers: tuple[frozenset[Values], ...]

    @property
    def reached(self) -> frozenset[Values]:
        return frozenset().union(*self.layers)

    def depth(self, bad: Expr) -> int | None:
        """After how many moments something first happens; None for never."""
        for depth, layer in enumerate(self.layers):
            if any(holds(bad, m) for state in layer for m in allowed(self.system, state)):
                return depth
        return None


def truth(system: System) -> Truth:
    starts = product(*(system.initial[what] for what in system.states))
    layer = frozenset(s for s in starts if allowed(system, s))
    layers, seen = [], set(layer)
    while layer:
        layers.append(layer)
        then = {next_of(system, m) for state in layer for m in allowed(system, state)}
        layer = frozenset(s for s in then - seen if allowed(system, s))
        seen |= layer
    return Truth(system, tuple(layers))


_tables: list[tuple[System, dict[Values, list[Moment]]]] = []


def allowed(system: System, state: Values) -> list[Moment]:
    """Every moment in a state, with choices that what is taken for granted allows. Those of
    one system are kept."""
    if not _tables or _tables[0][0] is not system:
        _tables[:] = [(system, {})]
    known = _tables[0][1]
    if state not in known:
        known[state] = list(_allowed(system, state))
    return known[state]


def _allowed(system: System, state: Values) -> Iterator[Moment]:
    now = dict(zip(system.states, state, strict=True))
    for chosen in product(*(what.values for what in system.inputs)):
        moment = {**now, **dict(zip(system.inputs, chosen, strict=True))}
        if all(holds(expr, moment) for expr in system.always):
            yield moment


def next_of(system: System, moment: Moment) -> Values:
    values = []
    for what in system.states:
        (value,) = (v for v, comes in system.following[what].items() if holds(comes, moment))
        values.append(value)
    return tuple(values)


def replays(system: System, bad: Expr, answer: Reachable) -> bool:
    """Whether a history is one, and ends with what was asked for."""
    first = answer.trace[0]
    if any(first[what] not in system.initial[what] for what in system.states):
        return False
    for moment, then in zip(answer.trace, [*answer.trace[1:], None], strict=True):
        if not all(holds(expr, moment) for expr in system.always):
            return False
        if then and next_of(system, moment) != tuple(then[what] for what in system.states):
            return False
    return holds(bad, answer.trace[-1])


def is_proof(system: System, bad: Expr, answer: Unreachable) -> bool:
    """Whether the clauses hold at the start and last, and exclude what was asked about."""
    kept = conjunction(*answer.clauses)
    starts = set(product(*(system.initial[what] for what in system.states)))
    every = set(product(*(what.values for what in system.states)))
    can_be = {state for state in every if allowed(system, state)}
    inside = {s for s in every if holds(kept, dict(zip(system.states, s, strict=True)))}
    if not starts & can_be <= inside:
        return False
    if any(holds(bad, m) for s in inside & can_be for m in allowed(system, s)):
        return False
    after = {next_of(system, m) for s in inside for m in allowed(system, s)}
    return after & can_be <= inside


def is_clause(expr: Expr) -> bool:
    return isinstance(expr, Atom) or (
        isinstance(expr, Or) and all(isinstance(part, Atom) for part in expr.parts)
    )


def parts(clauses: Iterable[Expr]) -> set[frozenset[Expr]]:
    """Clauses, in whatever order their parts are."""
    return {frozenset(c.parts if isinstance(c, Or) else (c,)) for c in clauses}


def forget(monkeypatch: pytest.MonkeyPatch) -> None:
    """What engines keep from one question to the next is gone."""
    for module in (bmc, simulation):
        monkeypatch.setattr(module, "_latest", [])


def is_final(answer: object) -> bool:
    """The engine came to its end without a decision: nothing was proved, nothing found, and it
    was not cut off."""
    return isinstance(answer, Unknown) and answer.final
