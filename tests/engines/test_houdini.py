"""What lasts: it does hold at every moment that can be reached, and together it lasts."""

import pytest

from tests.engines import small_systems as small
from tests.engines.random_systems import drawn_system, is_clause, is_proof, parts, truth
from verifier.engines.results import Unreachable
from verifier.engines.temporal.houdini import inductive_clauses
from verifier.logic.expr import FALSE, atom, conjunction, disjunction, holds, negation
from verifier.logic.transition_system import System


@pytest.mark.parametrize("seed", range(40))
def test_what_lasts_lasts(seed: int) -> None:
    system = drawn_system(seed)
    clauses = inductive_clauses(system)
    for state in truth(system).reached:
        now = dict(zip(system.states, state, strict=True))
        assert all(holds(clause, now) for clause in clauses)
    assert all(map(is_clause, clauses))
    assert is_proof(system, FALSE, Unreachable(clauses))


@pytest.mark.parametrize("seed", range(40))
def test_all_that_is_settled_is_found(seed: int) -> None:
    """A clause of one part that lasts by itself is said by what was found to last."""
    system = drawn_system(seed)
    clauses = inductive_clauses(system)
    for what in system.states:
        for value in what.values:
            alone = negation(atom(what, value))
            if is_proof(system, FALSE, Unreachable((alone,))):
                assert is_proof(system, negation(alone), Unreachable(clauses))


def test_opposing_trains_hold_the_direction() -> None:
    clauses = inductive_clauses(small.single_track())
    assert parts((small.EAST_NEEDS, small.WEST_NEEDS)) <= parts(clauses)
    assert not parts((small.EAST_NEEDS,)) & parts(
        inductive_clauses(small.single_track(locked=False))
    )


def test_hints_are_among_what_lasts_if_they_do() -> None:
    system = small.repeaters()
    first, second, third = (atom(w, "down") for w in (small.FIRST, small.SECOND, small.THIRD))
    hint = disjunction(first, second, third)
    assert not parts((hint,)) & parts(inductive_clauses(system))
    hinted = inductive_clauses(system, hints=[conjunction(hint, negation(first)), negation(third)])
    assert parts(hinted) == parts((*inductive_clauses(system), hint))
    track = small.single_track()
    assert inductive_clauses(
        track, hints=[disjunction(small.ON_EAST, small.ON_WEST)]
    ) == inductive_clauses(track)


def test_nothing_lasts_where_nothing_is() -> None:
    assert inductive_clauses(System((), (small.RUN,), {}, {})) == ()
