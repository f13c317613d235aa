"""Transition systems drawn at random, side by side as the places of a line are."""

from collections.abc import Callable, Mapping

from tests.engines.random_systems import drawn_bads, drawn_system
from verifier.logic.expr import Atom, Expr, atom, negation, substitute
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

SYSTEMS = 12


def side_by_side(seed: int, number: int = SYSTEMS) -> tuple[System, list[Expr]]:
    """Systems in a row, in which each has its first input from the system before; and bad states
    of each."""
    states: list[Observable] = []
    inputs: list[Observable] = []
    initial: dict[Observable, tuple[str, ...]] = {}
    following: dict[Observable, Mapping[str, Expr]] = {}
    always: list[Expr] = []
    bads: list[Expr] = []
    before: Observable | None = None
    for k in range(number):
        one = drawn_system(2 * (seed * number + k))  # nothing is taken for granted
        names = {
            w: Observable(w.kind, f"{w.name} {k}", w.values, w.usual)
            for w in (*one.states, *one.inputs)
        }
        first = one.inputs[0]

        def meaning(
            part: Atom,
            names: Mapping[Observable, Observable] = names,
            first: Observable = first,
            before: Observable | None = before,
        ) -> Expr:
            if before is None or part.what != first:
                return atom(names[part.what], *part.values)
            is_usual = atom(before, before.usual)
            return is_usual if first.usual in part.values else negation(is_usual)

        def renamed(expr: Expr, meaning: Callable[[Atom], Expr] = meaning) -> Expr:
            return substitute(expr, meaning)

        states += [names[w] for w in one.states]
        inputs += [names[w] for w in one.inputs if before is None or w != first]
        initial |= {names[w]: values for w, values in one.initial.items()}
        following |= {
            names[w]: {value: renamed(expr) for value, expr in values.items()}
            for w, values in one.following.items()
        }
        always += [renamed(expr) for expr in one.always]
        bads += [renamed(bad) for bad in drawn_bads(one, seed + k, 2)]
        before = names[one.states[0]]
    return System(tuple(states), tuple(inputs), initial, following, tuple(always)), bads
