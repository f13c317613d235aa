"""Property-directed reachability: what is proved is a proof, what is reached is reached, and
everything is decided, whatever was asked before or hinted at."""

import pytest

from tests.engines import small_systems as small
from tests.engines.random_systems import (
    drawn_bads,
    drawn_system,
    is_clause,
    is_proof,
    replays,
    truth,
)
from verifier.engines.results import Reachable, Unknown, Unreachable
from verifier.engines.temporal import pdr, simulation
from verifier.engines.temporal.induction import Induction
from verifier.engines.temporal.pdr import Reachability, prove
from verifier.engines.temporal.simulation import Samples
from verifier.logic.expr import Expr, atom, conjunction, negation
from verifier.logic.transition_system import System


def decided(system: System, bad: Expr, answer: object, reachable: bool) -> bool:
    if isinstance(answer, Unreachable):
        return not reachable and is_proof(system, bad, answer)
    return isinstance(answer, Reachable) and reachable and replays(system, bad, answer)


@pytest.fixture(params=["samples", "no samples"])
def sampling(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where samples say nothing, every clause is the solver's."""
    monkeypatch.setattr(simulation, "_latest", [])
    if request.param == "no samples":
        monkeypatch.setattr(pdr, "samples_of", lambda s: Samples(s, width=8, moments=0))


@pytest.mark.usefixtures("sampling")
@pytest.mark.parametrize("seed", range(60))
def test_all_bad_states_are_decided_together(seed: int) -> None:
    system = drawn_system(seed)
    known = truth(system)
    engine = Reachability(system)
    bads = drawn_bads(system, seed, 8)
    for some in (bads[:5], bads[3:]):
        for bad, answer in zip(some, engine.decide(some), strict=True):
            assert decided(system, bad, answer, known.depth(bad) is not None)
    invariant = engine.invariant()
    assert all(map(is_clause, invariant))
    assert is_proof(system, conjunction(negation(conjunction(*invariant))), Unreachable(invariant))


@pytest.mark.parametrize("seed", range(60))
def test_hints_are_checked(seed: int) -> None:
    """Hints may be wrong: no answer depends on them."""
    system = drawn_system(seed)
    known = truth(system)
    wrong = [negation(atom(what, what.usual)) for what in system.states]
    wrong += [atom(what, what.usual) for what in system.states]
    for bad in drawn_bads(system, seed):
        answer = prove(system, bad, wrong)
        assert decided(system, bad, answer, known.depth(bad) is not None)


def test_an_invariant_given_as_a_hint_is_used() -> None:
    system = small.single_track()
    proof = prove(system, small.MEET, (small.EAST_NEEDS, small.WEST_NEEDS))
    assert isinstance(proof, Unreachable) and is_proof(system, small.MEET, proof)


def test_clauses_are_found_where_three_moments_in_a_row_are_needed() -> None:
    """The third repeater is 3-inductive and not 2-inductive."""
    system = small.repeaters()
    proof = prove(system, small.THIRD_UP)
    assert isinstance(proof, Unreachable) and len(proof.clauses) == 3
    assert is_proof(system, small.THIRD_UP, proof)


def test_what_the_search_gets_wrong_is_not_proved(monkeypatch: pytest.MonkeyPatch) -> None:
    """Clauses that are not inductive, or do not exclude the bad state: the check refuses them."""
    system = small.repeaters()
    real = Induction.add

    def corrupted(judge: Induction, clauses: object) -> None:
        real(judge, [negation(clause) for clause in clauses])  # type: ignore[attr-defined]

    monkeypatch.setattr(Induction, "add", corrupted)
    engine = Reachability(system)
    (answer,) = engine.decide([small.THIRD_UP])
    assert isinstance(answer, Unknown)
    assert engine.invariant() == ()


def test_time_over_is_no_answer() -> None:
    answer = prove(small.repeaters(), small.THIRD_UP, deadline=0.0)
    assert isinstance(answer, Unknown) and not answer.final
