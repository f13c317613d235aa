"""Histories left to chance: all they come to can be reached; the usual things are."""

from itertools import islice
from random import Random

import pytest

from tests.engines import small_systems as small
from tests.engines.random_systems import drawn_bads, drawn_system, truth
from verifier.engines.temporal.simulation import HOT, Machine, Samples, samples_of
from verifier.logic.expr import FALSE, TRUE, atom, negation


@pytest.mark.parametrize("seed", range(40))
def test_samples_can_be_reached_and_little_is_missed(seed: int) -> None:
    system = drawn_system(seed)
    known = truth(system)
    found = Samples(system, width=256)
    seen = set()
    for state in known.reached:
        cases = found.reached
        for what, value in zip(system.states, state, strict=True):
            cases &= found.having(what, value)
        if cases:
            seen.add(state)
            found.reached &= ~cases
    assert not found.reached, "a sample that no history reaches"
    assert 2 * len(seen) >= len(known.reached)


@pytest.mark.parametrize("seed", range(40))
def test_what_happens_in_a_sample_happens(seed: int) -> None:
    system = drawn_system(seed)
    known = truth(system)
    found = Samples(system, width=256)
    for bad in drawn_bads(system, seed):
        if found.holding(bad):
            assert known.depth(bad) is not None
        assert found.holding(bad) ^ found.holding(negation(bad)) == found.reached
    assert (found.holding(TRUE), found.holding(FALSE)) == (found.reached, 0)


def test_the_same_system_gives_the_same_samples() -> None:
    one, other = Samples(small.single_track()), Samples(small.single_track())
    assert one.holding(small.ON_EAST) == other.holding(small.ON_EAST) != 0
    system = small.timer()
    assert samples_of(system) is samples_of(system)
    assert samples_of(system) is not samples_of(small.timer())


def test_a_command_is_drawn_for_the_first_moment_too() -> None:
    """It stays as it was for a while, but not as it never was."""
    found = Samples(small.timer(), width=64, moments=1)
    pressed, released = (found.having(small.RUN, v) for v in ("pressed", "released"))
    assert pressed and released and pressed ^ released == found.reached == (1 << 64) - 1


def test_without_a_start_nothing_is_reached() -> None:
    system = small.timer(always=(atom(small.CLOCK, "done"),))
    assert Samples(system).reached == 0
    assert list(islice(truth(system).reached, 1)) == []


@pytest.mark.parametrize("seed", range(10))
def test_a_machine_says_the_same_however_often_it_was_asked(seed: int) -> None:
    """After a while its instructions are functions; further expressions come later still."""
    system, chance = drawn_system(seed), Random(seed)
    used = Machine(system)

    def drawn(machine: Machine) -> list[int]:
        return [0, 255, *(chance.getrandbits(8) for _ in range(machine.first_node - 2))]

    for bad in drawn_bads(system, seed):
        fresh = Machine(system)
        ends = used.slot(bad), fresh.slot(bad)
        for again in range(HOT + 2):
            values = drawn(used)
            values += used.blank(255)[len(values) :]
            used.evaluate(values)
            if again % 20 and again < HOT - 2:
                continue
            expected = values[: fresh.first_node] + fresh.blank(255)[fresh.first_node :]
            fresh.evaluate(expected)
            assert values[ends[0]] == expected[ends[1]]
            assert used.allowed(values) == fresh.allowed(expected)
            used.advance(values)
            fresh.advance(expected)
            assert values[: fresh.first_node] == expected[: fresh.first_node]
