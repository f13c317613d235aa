"""Spacer, an engine of z3 that only tests use: its proofs are proofs, its traces replay, and when
it is stopped it has decided nothing."""

from collections.abc import Callable
from time import monotonic

import pytest
import z3

from tests.engines import small_systems as small
from tests.engines.random_systems import drawn_bads, drawn_system, is_proof, replays, truth
from tests.engines.spacer import decide
from verifier.engines.results import Interrupted, Reachable, Unknown, Unreachable
from verifier.logic.expr import FALSE, TRUE


@pytest.mark.parametrize("seed", range(40))
def test_it_answers_as_going_through_everything_does(seed: int) -> None:
    system = drawn_system(seed)
    known = truth(system)
    for bad in drawn_bads(system, seed, 3):
        answer = decide(system, bad)
        depth = known.depth(bad)
        if depth is None:
            assert isinstance(answer, Unreachable) and is_proof(system, bad, answer)
        else:
            assert isinstance(answer, Reachable) and replays(system, bad, answer)
            assert len(answer.trace) == depth + 1


def test_small_ones() -> None:
    assert isinstance(decide(small.repeaters(), small.THIRD_UP), Unreachable)
    assert isinstance(decide(small.single_track(), small.MEET), Unreachable)
    assert isinstance(decide(small.single_track(locked=False), small.MEET), Reachable)
    assert isinstance(decide(small.timer(), FALSE), Unreachable)
    assert isinstance(decide(small.timer(), TRUE), Reachable)


def gives_up(*_: object) -> z3.CheckSatResult:
    return z3.unknown


def breaks_down(*_: object) -> z3.CheckSatResult:
    raise z3.Z3Exception("out of memory")


@pytest.mark.parametrize("query", [gives_up, breaks_down])
def test_no_answer_is_no_answer(
    monkeypatch: pytest.MonkeyPatch, query: Callable[..., z3.CheckSatResult]
) -> None:
    monkeypatch.setattr(z3.Fixedpoint, "query", query)
    assert isinstance(decide(small.repeaters(), small.THIRD_UP), Unknown)


def test_ctrl_c_is_told_from_a_time_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    def canceled(*_: object) -> z3.CheckSatResult:
        raise z3.Z3Exception("canceled")

    monkeypatch.setattr(z3.Fixedpoint, "query", canceled)
    with pytest.raises(Interrupted):
        decide(small.repeaters(), small.THIRD_UP)
    with pytest.raises(Interrupted):
        decide(small.repeaters(), small.THIRD_UP, deadline=monotonic() + 100)
    over = decide(small.repeaters(), small.THIRD_UP, deadline=monotonic() - 1)
    assert over == Unknown("no answer in the time allowed")


@pytest.mark.parametrize("wrong", [z3.sat, z3.unsat])
def test_a_wrong_answer_is_not_believed(
    monkeypatch: pytest.MonkeyPatch, wrong: z3.CheckSatResult
) -> None:
    """A proof of what happens, a history of what does not: neither is passed on."""
    asked = [(small.single_track(), small.MEET), (small.single_track(locked=False), small.MEET)]
    system, bad = asked[wrong == z3.unsat]
    monkeypatch.setattr(z3.Fixedpoint, "query", lambda *_: wrong)
    monkeypatch.setattr(z3.Fixedpoint, "get_cover_delta", lambda *_: z3.BoolVal(True))
    monkeypatch.setattr("tests.engines.spacer.LONGEST", 5)
    assert isinstance(decide(system, bad), Unknown)
