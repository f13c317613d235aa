"""Proofs: each is one, by going through everything; and where there is none, it happens."""

import pytest

from tests.engines import small_systems as small
from tests.engines.k_induction import is_k_inductive
from tests.engines.random_systems import (
    drawn_bads,
    drawn_system,
    is_clause,
    is_final,
    is_proof,
    parts,
    truth,
)
from verifier.engines.results import Reachable, Unreachable
from verifier.engines.temporal import pdr
from verifier.engines.temporal.houdini import inductive_clauses
from verifier.engines.temporal.induction import prove
from verifier.logic.expr import FALSE, TRUE, atom, conjunction, negation


@pytest.mark.parametrize("seed", range(100))
def test_proofs_are_proofs_and_what_has_none_happens(seed: int) -> None:
    system = drawn_system(seed)
    known = truth(system)
    clauses = inductive_clauses(system) if seed % 3 else ()
    for bad in drawn_bads(system, seed):
        proof = pdr.prove(system, bad, clauses)
        if known.depth(bad) is None:
            assert isinstance(proof, Unreachable)
            assert is_proof(system, bad, proof)
            assert all(map(is_clause, proof.clauses))
            assert is_proof(system, bad, proof)
            judged = prove(system, bad, proof.clauses)
            assert isinstance(judged, Unreachable)
            assert set(judged.clauses) <= set(proof.clauses)
        else:
            assert isinstance(proof, Reachable)
            assert is_final(prove(system, bad, clauses))


@pytest.mark.parametrize("seed", range(40))
def test_clauses_that_do_not_last_prove_nothing(seed: int) -> None:
    """Whatever is given: it is looked at before it is believed."""
    system = drawn_system(seed)
    known = truth(system)
    wrong = [negation(atom(what, what.usual)) for what in system.states]
    wrong += [atom(what, what.usual) for what in system.states]
    for bad in drawn_bads(system, seed):
        proof = prove(system, bad, wrong)
        assert is_final(proof) or (isinstance(proof, Unreachable) and is_proof(system, bad, proof))
        if known.depth(bad) is not None:
            assert is_final(proof)


def test_only_what_is_needed_is_named() -> None:
    system = small.single_track()
    clauses = inductive_clauses(system)
    assert len(clauses) == 3
    against = conjunction(small.ON_EAST, negation(small.RIGHT))
    proof = prove(system, against, clauses)
    assert isinstance(proof, Unreachable)
    assert parts(proof.clauses) == parts((small.EAST_NEEDS,))


def test_three_moments_in_a_row_are_no_proof_without_clauses() -> None:
    """The third repeater is 3-inductive and not 2-inductive."""
    system = small.repeaters()
    assert is_final(prove(system, small.THIRD_UP))
    assert [is_k_inductive(system, small.THIRD_UP, k) for k in range(4)] == [False] * 3 + [True]


def test_the_end_of_a_history_counts() -> None:
    """At a moment that allows no next one things still happen."""
    running = atom(small.CLOCK, "running")
    over = conjunction(running, atom(small.EXPIRE, "yes"), atom(small.RUN, "pressed"))
    system = small.timer(always=(negation(small.DONE),))
    for clauses in ((), inductive_clauses(system)):
        assert is_final(prove(system, over, clauses))
        assert isinstance(prove(system, small.DONE, clauses), Unreachable)


def test_what_needs_nothing_and_what_nothing_helps() -> None:
    system = small.timer()
    assert prove(system, FALSE) == Unreachable(())
    assert is_final(prove(system, TRUE))
