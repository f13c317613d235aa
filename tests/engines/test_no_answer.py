"""A solver that gives up, stops, or breaks down, at each question in turn: nothing is proved by
that, and nothing is found; what was asked again afterward is answered as ever."""

import signal
import threading
from collections.abc import Callable
from functools import partial
from time import monotonic
from typing import Any

import pytest
import z3

from tests.engines import small_systems as small
from tests.engines.ctrl_c import add_pigeons, press
from tests.engines.random_systems import drawn_bads, drawn_system, forget, is_final, is_proof, truth
from verifier.engines.results import Interrupted, Reachable, Unknown, Unreachable
from verifier.engines.temporal.bmc import search
from verifier.engines.temporal.houdini import inductive_clauses
from verifier.engines.temporal.pdr import prove
from verifier.engines.temporal.unroller import Unrolling
from verifier.logic.expr import FALSE
from verifier.logic.transition_system import System

Ask = Callable[..., int]
REAL: Ask = Unrolling._ask


class Failing:
    """Answers like the solver but for the question of one number."""

    def __init__(self, at: int, how: str):
        self.at, self.how, self.asked = at, how, 0

    def __call__(self, unrolling: Unrolling, given: Any) -> int:
        self.asked += 1
        if self.asked == self.at:
            if self.how == "raises":
                raise z3.Z3Exception("out of memory")
            if self.how == "interrupted":
                press()
            return 0
        return REAL(unrolling, given)


def failing(monkeypatch: pytest.MonkeyPatch, at: int, how: str) -> Failing:
    failure = Failing(at, how)
    monkeypatch.setattr(Unrolling, "_ask", lambda u, given: failure(u, given))
    forget(monkeypatch)
    return failure


def questions(monkeypatch: pytest.MonkeyPatch, work: Callable[[], object]) -> int:
    counting = failing(monkeypatch, 0, "")
    work()
    return counting.asked


HOWS = pytest.mark.parametrize("how", ["unknown", "raises", "interrupted"])


@HOWS
@pytest.mark.parametrize("seed", range(8))
def test_proofs(monkeypatch: pytest.MonkeyPatch, seed: int, how: str) -> None:
    system = drawn_system(seed)
    known = truth(system)
    for bad in drawn_bads(system, seed, 2):
        number = questions(monkeypatch, partial(prove, system, bad))
        for at in range(1, number + 1):
            failing(monkeypatch, at, how)
            if how == "interrupted":
                with pytest.raises(Interrupted):
                    prove(system, bad)
            else:
                assert isinstance(prove(system, bad), Unknown)
            again = prove(system, bad)
            assert isinstance(again, Unreachable) == (known.depth(bad) is None)
            assert is_final(again) or (
                isinstance(again, Unreachable) and is_proof(system, bad, again)
            )


@HOWS
@pytest.mark.parametrize("seed", range(6))
def test_what_lasts(monkeypatch: pytest.MonkeyPatch, seed: int, how: str) -> None:
    system = drawn_system(seed)
    number = questions(monkeypatch, lambda: inductive_clauses(system))
    for at in range(1, number + 1):
        failing(monkeypatch, at, how)
        if how == "interrupted":
            with pytest.raises(Interrupted):
                inductive_clauses(system)
        else:
            assert is_proof(system, FALSE, Unreachable(inductive_clauses(system)))


@HOWS
@pytest.mark.parametrize("seed", range(8))
def test_histories(monkeypatch: pytest.MonkeyPatch, seed: int, how: str) -> None:
    system = drawn_system(seed)
    known = truth(system)
    few = (frozenset(system.inputs[:1]), frozenset(system.inputs))
    for bad in drawn_bads(system, seed, 2):
        depth = known.depth(bad)
        most = len(known.layers)
        number = questions(monkeypatch, partial(search, system, bad, most=most, few=few))
        for at in range(1, number + 1):
            failing(monkeypatch, at, how)
            if how == "interrupted":
                with pytest.raises(Interrupted):
                    search(system, bad, most=most, few=few)
            else:
                found = search(system, bad, most=most, few=few)
                # Before it was found, nothing is known; after, it was not made small.
                if depth is None or at <= depth + 1:
                    assert isinstance(found, Unknown) and found.depth == at - 1
                else:
                    assert isinstance(found, Reachable) and not found.smallest
            again = search(system, bad, most=most, few=few)
            assert isinstance(again, Reachable) == (depth is not None)


def test_time_that_is_over_proves_nothing() -> None:
    over = monotonic() - 1
    system = small.single_track()
    assert inductive_clauses(system, deadline=over) == ()
    assert isinstance(prove(system, small.MEET, inductive_clauses(system), deadline=over), Unknown)
    assert search(system, small.MEET, most=4, deadline=over) == Unknown(
        "no answer in the time allowed", 0
    )
    # The same questions, with time.
    assert isinstance(prove(system, small.MEET, inductive_clauses(system)), Unreachable)
    assert is_final(search(system, small.MEET, most=4))


def pigeons() -> Unrolling:
    """A question that takes the solver long."""
    unrolling = Unrolling(System((), (), {}, {}), start=False)
    add_pigeons(unrolling, 12)
    return unrolling


def test_ctrl_c_while_the_solver_is_at_work() -> None:
    for seconds in (None, 100):
        unrolling = pigeons()
        deadline = None if seconds is None else monotonic() + seconds
        # Should it come too early or too late, it must not end the tests.
        before = signal.signal(signal.SIGINT, lambda *_: None)
        timer = threading.Timer(1.0, signal.raise_signal, (signal.SIGINT,))
        timer.start()
        try:
            with pytest.raises(Interrupted):
                unrolling.check((), deadline)
        finally:
            timer.join()
            signal.signal(signal.SIGINT, before)


def test_the_time_limit_while_the_solver_is_at_work() -> None:
    unrolling = pigeons()
    assert unrolling.check((), monotonic() + 0.3) is None
    assert unrolling.reason == "no answer in the time allowed"
