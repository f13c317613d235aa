"""Reasons found from the question: they hold up, whatever was asked before."""

import pytest

from tests.engines import small_systems as small
from tests.engines.random_systems import (
    drawn_bads,
    drawn_system,
    is_clause,
    is_final,
    is_proof,
    truth,
)
from verifier.engines.results import Unreachable
from verifier.engines.temporal import ic3
from verifier.engines.temporal.ic3 import Frames
from verifier.engines.temporal.simulation import Samples


@pytest.mark.parametrize("seed", range(40))
def test_frames_are_shared_by_all_questions(seed: int) -> None:
    """Also where samples say nothing: then every clause is the solver's."""
    system = drawn_system(seed)
    known = truth(system)
    samples = Samples(system, width=64, moments=1 if seed % 2 else 40)
    frames = Frames(system, (), samples)
    for bad in drawn_bads(system, seed, 6):
        found = frames.exclude(bad, None)
        if known.depth(bad) is None:
            assert isinstance(found, tuple)
            assert is_proof(system, bad, Unreachable(found))
            assert all(map(is_clause, found))
        else:
            assert is_final(found)


def test_what_is_known_is_not_looked_for_again() -> None:
    system = small.single_track()
    samples = Samples(system)
    known = (small.EAST_NEEDS, small.WEST_NEEDS)
    assert Frames(system, known, samples).exclude(small.MEET, None) == ()
    found = Frames(system, (), samples).exclude(small.MEET, None)
    assert isinstance(found, tuple) and is_proof(system, small.MEET, Unreachable(found))


def test_too_many_questions_are_no_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    """Given up at any number of questions: never half a reason; asked again, the whole one."""
    system = small.repeaters()
    whole = Frames(system, (), Samples(system)).exclude(small.THIRD_UP, None)
    assert isinstance(whole, tuple) and len(whole) == 3
    frames = Frames(system, (), Samples(system))
    for most in range(1, 200):
        monkeypatch.setattr(ic3, "MOST_QUESTIONS", most)
        found = frames.exclude(small.THIRD_UP, None)
        if not is_final(found):
            break
    assert isinstance(found, tuple) and is_proof(system, small.THIRD_UP, Unreachable(found))
    assert most > 2
