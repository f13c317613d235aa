"""Which assumptions a proof over time needs: compared with the proof checked without each."""

from dataclasses import replace
from itertools import combinations
from random import Random

import pytest

from tests.engines.random_systems import drawn_bads, drawn_system
from tests.engines.small_systems import CLOCK, DONE, RUN, timer
from verifier.engines.results import Unreachable
from verifier.engines.temporal.certificates import certificate, recheck
from verifier.engines.temporal.houdini import inductive_clauses
from verifier.engines.temporal.induction import prove
from verifier.engines.temporal.proof_core import relied_on
from verifier.logic.expr import TRUE, Expr, atom, disjunction
from verifier.logic.transition_system import System, cut


def test_the_one_that_matters() -> None:
    released = atom(RUN, "released")
    anything = disjunction(released, atom(CLOCK, "idle"))
    system = timer(always=(anything, released, TRUE))
    proof = Unreachable((atom(CLOCK, "idle"),))
    assert relied_on(system, DONE, proof) == (1,)
    assert relied_on(timer(always=()), DONE, proof) == ()


def test_without_an_answer_all_of_them_are_named() -> None:
    system = timer(always=(atom(RUN, "released"), TRUE))
    assert relied_on(system, DONE, Unreachable((atom(CLOCK, "idle"),)), deadline=0.0) == (0, 1)


def stands(system: System, bad: Expr, proof: Unreachable, taken: tuple[int, ...]) -> bool:
    fewer = replace(system, always=tuple(system.always[k] for k in taken))
    return recheck(certificate(fewer, bad, proof.clauses, title=""))


@pytest.mark.parametrize("seed", range(30))
def test_systems_drawn_at_random(seed: int) -> None:
    """The proof stands with what is named, and without any one of it no more."""
    chance, system = Random(seed), drawn_system(seed)
    whats = [*system.states, *system.inputs]
    always = tuple(
        disjunction(*(atom(w, chance.choice(w.values)) for w in chance.sample(whats, 2)))
        for _ in range(3)
    )
    system = replace(system, always=always)
    for bad in drawn_bads(system, seed):
        proof = prove(system, bad, inductive_clauses(system))
        if not isinstance(proof, Unreachable):
            continue
        used = relied_on(system, bad, proof)
        assert stands(system, bad, proof, used)
        for fewer in combinations(used, len(used) - 1) if used else ():
            assert not stands(system, bad, proof, fewer)


def test_what_is_granted_of_choices_alone_is_granted_in_a_window() -> None:
    """A window that leaves it out proves nothing that rests on it."""
    system = timer(always=(atom(RUN, "released"),))
    window = cut(system, [CLOCK], [DONE])
    assert window.always == system.always
    assert isinstance(prove(window, DONE, inductive_clauses(window)), Unreachable)
