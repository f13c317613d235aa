"""Witnesses found nearby: every one is a trace of the whole system, whatever its window was."""

from dataclasses import replace
from typing import Any

import pytest

from tests.engines.random_systems import drawn_bads, drawn_system, replays, truth
from tests.engines.rows import side_by_side
from verifier.engines.results import Reachable
from verifier.engines.temporal import witnesses
from verifier.engines.temporal.witnesses import Witnesses
from verifier.logic.expr import FALSE, TRUE, Expr, atom, conjunction, disjunction, negation
from verifier.logic.transition_system import System
from verifier.plan import observables
from verifier.plan.observables import Observable


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


def test_windows_of_one_shape_may_differ_in_inputs_that_nothing_depends_on() -> None:
    """An answer found in one window is given for the other, in terms of its own inputs."""
    system, bads = side_by_side(0)
    idle = observables.choice("expiry", "Idle")
    more = replace(system, inputs=(*system.inputs, idle))
    engine, found = Witnesses(system, {}, ()), 0
    for bad in bads:
        known = engine._searched(more, bad, 6, None)
        told = engine._searched(system, bad, 6, None)
        assert (known is None) == (told is None)
        found += bool(told)
        assert all(moment.keys() == {*system.states, *system.inputs} for moment in told or ())
    assert found and len(engine._known) <= len(bads)


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


def single_track(pieces: int, broken: int | None = None) -> System:
    """Trains run over so many pieces, in either direction, a piece at a time where a lever lets
    them; none leaves the broken one."""
    trains = [
        Observable("train", f"P{k}", ("vacant", "right", "left"), "vacant") for k in range(pieces)
    ]
    levers = [observables.lever(f"L{k}", ("off", "on")) for k in range(pieces + 1)]
    moves = [observables.choice("advance", f"to {k}") for k in range(pieces + 1)]
    following = {}

    def goes(k: int) -> Expr:
        return conjunction(atom(moves[k], "yes"), atom(levers[k], "on"))

    def leaves(k: int, to: str) -> Expr:
        """A train runs from a piece to the one beside it, if there is room."""
        n = k + 1 if to == "right" else k - 1
        free = atom(trains[n], "vacant") if 0 <= n < pieces else FALSE
        return conjunction(atom(trains[k], to), free, goes(max(n, k))) if k != broken else FALSE

    for k, train in enumerate(trains):
        come = {
            "right": leaves(k - 1, "right") if k else conjunction(atom(train, "vacant"), goes(0)),
            "left": leaves(k + 1, "left")
            if k < pieces - 1
            else conjunction(atom(train, "vacant"), goes(pieces), negation(goes(k))),
        }
        stays = negation(disjunction(leaves(k, "right"), leaves(k, "left")))
        right = disjunction(come["right"], conjunction(atom(train, "right"), stays))
        left = conjunction(
            negation(right), disjunction(come["left"], conjunction(atom(train, "left"), stays))
        )
        following[train] = {
            "vacant": negation(disjunction(right, left)), "right": right, "left": left,
        }  # fmt: skip
    return System(tuple(trains), (*levers, *moves), dict.fromkeys(trains, ("vacant",)), following)


@pytest.mark.parametrize("broken", [None, 7])
def test_trains_come_from_afar_by_stages(broken: int | None) -> None:
    """Two of them meet in the middle of a line that is longer than any trace of a window."""
    system = single_track(36, broken)
    middle = system.states[17], system.states[18]
    met = conjunction(atom(middle[0], "right"), atom(middle[1], "left"))
    few = (frozenset(system.inputs),)
    ends = [w for pair in zip(system.states, system.states[::-1], strict=True) for w in pair]
    standing = dict.fromkeys(ends, TRUE)
    assert not nearby(Witnesses(system, {}, few), [met])
    found = nearby(Witnesses(system, {}, few, standing=standing), [met])
    assert bool(found) is (broken is None)
    for answer in found.values():
        assert len(answer.trace) > 30 and not answer.smallest
        assert replays(system, met, answer)


def test_where_no_train_comes_from_is_asked_once_of_each_place(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """And not once for each way on which it might have come there."""
    asked = []
    stood = Witnesses._stood

    def noted(self: Witnesses, goal: Expr, *rest: Any) -> Any:
        asked.append(goal)
        return stood(self, goal, *rest)

    monkeypatch.setattr(Witnesses, "_stood", noted)
    pieces, broken = 36, 8
    system = single_track(pieces, broken)
    middle = atom(system.states[17], "right")
    ends = [w for pair in zip(system.states, system.states[::-1], strict=True) for w in pair]
    engine = Witnesses(system, {}, (), standing=dict.fromkeys(ends, TRUE))
    assert not nearby(engine, [conjunction(middle, atom(system.states[18], "left"))])
    assert len(set(asked)) > 5 and len(asked) <= 3 * len(set(asked))


def test_stages_that_do_not_play_in_the_whole_are_not_returned(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Where trains would have to stand is only a guess."""
    system = single_track(40)
    bad = atom(system.states[20], "left")
    monkeypatch.setattr(Witnesses, "_stage", lambda *_: [{}])
    standing = dict.fromkeys(system.states, TRUE)
    assert not nearby(Witnesses(system, {}, (), standing=standing), [bad])
