"""Witnesses found nearby: every one is a trace of the whole system, whatever its window was."""

from collections.abc import Callable, Mapping

import pytest

from tests.engines.random_systems import drawn_bads, drawn_system, replays, truth
from verifier.engines.results import Reachable
from verifier.engines.temporal import witnesses
from verifier.engines.temporal.witnesses import Witnesses
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


def nearby(engine: Witnesses, bads: list[Expr]) -> dict[int, Reachable]:
    """One by one, as the places of a layout are."""
    return {i: found for i, bad in enumerate(bads) for _, found in engine.find({0: bad}, None)}


def test_witnesses_are_traces_of_the_whole() -> None:
    asked = found = 0
    for seed in range(8):
        system, bads = side_by_side(seed)
        asked += len(bads)
        for i, answer in nearby(Witnesses(system, {}, ()), bads).items():
            assert replays(system, bads[i], answer), (seed, i)
            found += 1
    assert asked // 3 < found < asked


def test_choices_made_are_told() -> None:
    found = 0
    for seed in range(6):
        system, bads = side_by_side(seed)
        made = {what: what.usual for what in system.inputs[::2]}
        for i, answer in nearby(Witnesses(system, made, ()), bads).items():
            assert replays(system, bads[i], answer)
            assert all(moment[w] == value for moment in answer.trace for w, value in made.items())
            found += 1
    assert found > 20


def test_what_does_not_play_in_the_whole_is_not_returned(monkeypatch: pytest.MonkeyPatch) -> None:
    """A trace of another window, as a mistake in symmetry would give."""
    lies = 0
    for seed in range(4):
        system, bads = side_by_side(seed)
        engine = Witnesses(system, {}, ())
        for i, answer in nearby(engine, bads).items():
            monkeypatch.setattr(engine, "_searched", lambda *_, told=answer.trace: told)
            for j, played in nearby(engine, bads).items():
                assert replays(system, bads[j], played)
                lies += i != j
            monkeypatch.undo()
            lies += 1
    assert lies > 50


def test_what_never_happens_has_no_witness() -> None:
    for seed in range(30):
        system = drawn_system(seed)
        bads = drawn_bads(system, seed)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(witnesses, "MOST", 2)
            found = dict(Witnesses(system, {}, ()).find(dict(enumerate(bads)), None))
        for i, answer in found.items():
            assert truth(system).depth(bads[i]) is not None
            assert replays(system, bads[i], answer)
