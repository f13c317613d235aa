"""Witnesses found nearby: every one is a trace of the whole system, whatever its window was."""

import pytest

from tests.engines.random_systems import drawn_bads, drawn_system, replays, truth
from tests.engines.rows import side_by_side
from verifier.engines.results import Reachable
from verifier.engines.temporal import witnesses
from verifier.engines.temporal.witnesses import Witnesses
from verifier.logic.expr import Expr


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
