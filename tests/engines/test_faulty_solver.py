"""A SAT solver that breaks down, or answers wrongly, at each question in turn; and proposed clauses
that are wrong: never is anything proved that is not so, and never does the search break down."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from random import Random
from time import monotonic
from typing import Any

import pytest
from pysat.solvers import Minisat22

import verifier
from tests.engines.ctrl_c import press
from tests.engines.random_systems import (
    drawn_bads,
    drawn_expr,
    drawn_system,
    forget,
    is_proof,
    replays,
    truth,
)
from tests.junction_files import spec
from tests.proofs import proved
from verifier.engines.results import Interrupted, Reachable, Unknown, Unreachable
from verifier.engines.temporal import sat
from verifier.engines.temporal.bmc import goes_on, search
from verifier.engines.temporal.houdini import inductive, inductive_clauses
from verifier.engines.temporal.pdr import Reachability, prove
from verifier.engines.temporal.simulation import Samples
from verifier.engines.temporal.transition_cnf import TransitionCnf
from verifier.logic.expr import FALSE, Expr, conjunction, disjunction
from verifier.logic.transition_system import System
from verifier.plan import observables
from verifier.verdicts.exit_codes import ExitCode

# What can go wrong with one question.
SILENT = ("gives up", "raises")
WRONG = ("says no", "says yes", "core of half", "core of nothing", "turned model", "half a model")
# A solver that is often wrong may keep a search running forever: after so many questions the time
# that the user gave is over.
MANY = 3000


class Faults:
    """Faults of all solvers together: at one question, or ``again`` at each so many."""

    def __init__(self, how: str, at: int, again: int = 0):
        self.how, self.at, self.again, self.asked = how, at, again, 0

    def is_now(self, how: str) -> bool:
        often = self.again and self.asked > self.at and (self.asked - self.at) % self.again == 0
        return self.how == how and (self.asked == self.at or bool(often))

    def answer(self, ask: Callable[[], bool | None]) -> bool | None:
        self.asked += 1
        if self.is_now("gives up"):
            return None
        if self.is_now("raises"):
            raise RuntimeError("the solver fell over")
        if self.is_now("interrupted"):
            press()
            return None
        found = ask()
        if self.is_now("says no"):
            return False
        return True if self.is_now("says yes") else found

    def core(self, found: Sequence[int]) -> Sequence[int]:
        if self.is_now("core of half"):
            return found[: len(found) // 2]
        return () if self.is_now("core of nothing") else found

    def model(self, found: Sequence[int]) -> Sequence[int]:
        if self.is_now("turned model"):
            return [-literal for literal in found]
        return found[: len(found) // 2] if self.is_now("half a model") else found


def use(monkeypatch: pytest.MonkeyPatch, faults: Faults) -> Faults:
    class Faulty:
        def __init__(self, **options: Any):
            self._real = Minisat22(**options)

        def __getattr__(self, name: str) -> Any:
            return getattr(self._real, name)

        def solve_limited(self, assumed: Sequence[int], expect_interrupt: bool) -> bool | None:
            return faults.answer(
                lambda: self._real.solve_limited(assumed, expect_interrupt=expect_interrupt)
            )

        def get_core(self) -> Sequence[int]:
            return faults.core(self._real.get_core() or ())

        def get_model(self) -> Sequence[int]:
            return faults.model(self._real.get_model() or ())

    monkeypatch.setattr(sat, "monotonic", lambda: monotonic() + 1000 * (faults.asked > MANY))
    monkeypatch.setattr(sat, "Minisat22", Faulty)
    forget(monkeypatch)
    return faults


def is_sound(system: System, bad: Expr, answer: object) -> bool:
    """Nothing is proved that is not so. (A trace that a search proposes is replayed later.)"""
    if not isinstance(answer, Unreachable):
        return True
    return truth(system).depth(bad) is None and is_proof(system, bad, answer)


@pytest.mark.parametrize("how", [*SILENT, *WRONG])
@pytest.mark.parametrize("seed", range(4))
def test_one_wrong_answer(monkeypatch: pytest.MonkeyPatch, seed: int, how: str) -> None:
    system = drawn_system(seed)
    for bad in drawn_bads(system, seed, 2):
        counting = use(monkeypatch, Faults("", 0))
        right = prove(system, bad)
        for at in range(1, counting.asked + 1):
            use(monkeypatch, Faults(how, at))
            answer = prove(system, bad)
            assert is_sound(system, bad, answer), at
            if how == "gives up":  # it is asked again
                assert type(answer) is type(right)
            if how == "raises" and type(answer) is not type(right):
                assert answer == Unknown("the SAT solver failed (the solver fell over)")


@pytest.mark.parametrize("how", WRONG)
@pytest.mark.parametrize("seed", range(12))
def test_many_wrong_answers(monkeypatch: pytest.MonkeyPatch, seed: int, how: str) -> None:
    system = drawn_system(seed)
    bads = drawn_bads(system, seed, 4)
    for again in (1, 2, 3, 7):
        use(monkeypatch, Faults(how, 1, again))
        answers = Reachability(system).decide(bads, monotonic() + 1000)
        for bad, answer in zip(bads, answers, strict=True):
            assert is_sound(system, bad, answer), again


@pytest.mark.parametrize("seed", range(8))
def test_ctrl_c_at_each_question(monkeypatch: pytest.MonkeyPatch, seed: int) -> None:
    system = drawn_system(seed)
    (bad,) = drawn_bads(system, seed, 1)
    counting = use(monkeypatch, Faults("", 0))
    right = prove(system, bad)
    for at in range(1, counting.asked + 1):
        use(monkeypatch, Faults("interrupted", at))
        with pytest.raises(Interrupted):
            prove(system, bad)
        assert type(prove(system, bad)) is type(right)


@pytest.mark.parametrize("how", [*SILENT, *WRONG])
@pytest.mark.parametrize("seed", range(8))
def test_traces(monkeypatch: pytest.MonkeyPatch, seed: int, how: str) -> None:
    system = drawn_system(seed)
    few = (frozenset(system.inputs[:1]), frozenset(system.inputs))
    for bad in drawn_bads(system, seed, 2):
        counting = use(monkeypatch, Faults("", 0))
        search(system, bad, most=8, few=few)
        for at in range(1, counting.asked + 1):
            for again in (0, 1, 3):
                use(monkeypatch, Faults(how, at, again))
                answer = search(system, bad, most=8, few=few, deadline=monotonic() + 500)
                if isinstance(answer, Reachable):
                    assert replays(system, bad, answer), (at, again)


@pytest.mark.parametrize("how", WRONG)
@pytest.mark.parametrize("seed", [0, 1, 4, 5, 50, 142])
def test_short_clauses_of_a_wrong_solver(
    monkeypatch: pytest.MonkeyPatch, seed: int, how: str
) -> None:
    system = drawn_system(seed)
    for at, again in ((1, 1), (1, 2), (2, 3), (3, 0), (5, 0)):
        use(monkeypatch, Faults(how, at, again))
        found = inductive_clauses(system, deadline=monotonic() + 1000)
        assert is_proof(system, FALSE, Unreachable(found))


def test_a_model_without_what_was_assumed_is_no_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    use(monkeypatch, Faults("turned model", 2))
    solver = sat.Sat([(1, 2)], 2, sat.Limit())
    assert solver.solve([1])
    assert solver.model()[0] == 1
    assert solver.solve([1])
    with pytest.raises(sat.NoAnswer, match="contradicted itself"):
        solver.model()


@pytest.mark.parametrize("seed", [0, 4])
def test_a_solver_that_repeats_its_model_is_not_asked_forever(
    monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    system, real = drawn_system(seed), sat.Sat.model
    # So few samples falsify little: models have to.
    few, limit = Samples(system, width=1, moments=1), sat.Limit()
    models: list[list[int]] = []

    def repeated(solver: sat.Sat) -> list[int]:
        models.append(models[0] if models else real(solver))
        return models[0]

    monkeypatch.setattr(sat.Sat, "model", repeated)
    with pytest.raises(sat.NoAnswer, match="contradicted itself"):
        inductive(TransitionCnf(system), few, limit)
    assert len(models) == 2


@pytest.mark.parametrize("seed", range(20))
def test_clauses_that_are_wrong_or_of_another_file(seed: int) -> None:
    system, chance = drawn_system(seed), Random(seed)
    of_another = observables.relay("of another file")
    whats = [*system.states, *system.inputs, of_another]
    drawn = [drawn_expr(chance, whats, chance.randint(1, 4)) for _ in range(20)]
    bads = drawn_bads(system, seed)
    hints = [*drawn, *bads, conjunction(*drawn[:3]), disjunction(*drawn[3:6]), FALSE]
    for bad, answer in zip(bads, Reachability(system, hints).decide(bads), strict=True):
        assert isinstance(answer, Unreachable) == (truth(system).depth(bad) is None)
        assert is_sound(system, bad, answer)


@pytest.mark.parametrize("seed", range(1, 24, 2))
def test_assumptions_are_not_said_to_allow_a_history_that_is_none(
    monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    """Else every proof under them would be empty."""
    system = replace(drawn_system(seed), always=(FALSE,))
    for how in ("says yes", "turned model"):
        for at in (1, 2):
            use(monkeypatch, Faults(how, at, 1))
            assert not goes_on(system, 3)


@pytest.mark.xdist_group("electric-lock-too-soon")  # where it is proved
@pytest.mark.parametrize("how", [*SILENT, *WRONG])
def test_a_whole_file(monkeypatch: pytest.MonkeyPatch, how: str) -> None:
    path = spec("electric-lock-too-soon")
    right = {v.obligation.key: v.status for v in proved(path).verdicts}
    plan = verifier.load(path)
    faults = use(monkeypatch, Faults(how, 40, 3))
    report = verifier.prove(plan, timeout=500)
    assert faults.asked > 40
    for verdict in report.verdicts:
        if verdict.status != "undecided" and verdict.obligation.mode == "never":
            assert verdict.status == right[verdict.obligation.key]
    if any(v.status == "undecided" for v in report.verdicts):
        assert report.exit_code != ExitCode.AS_EXPECTED
