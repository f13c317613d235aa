"""The shortest history: as short as going through everything finds it, and as small."""

from itertools import product

import pytest

from tests.engines import small_systems as small
from tests.engines.random_systems import (
    Values,
    allowed,
    drawn_bads,
    drawn_system,
    is_final,
    next_of,
    replays,
    truth,
)
from verifier.engines.results import Reachable
from verifier.engines.temporal.bmc import LONGER, search
from verifier.logic.expr import FALSE, TRUE, Expr, atom, conjunction, holds
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable


@pytest.mark.parametrize("seed", range(40))
def test_histories_are_as_short_as_can_be(seed: int) -> None:
    system = drawn_system(seed)
    known = truth(system)
    for bad in drawn_bads(system, seed):
        depth = known.depth(bad)
        found = search(system, bad, most=len(known.layers))
        assert (depth is None) == is_final(found)
        if depth is not None:
            assert isinstance(found, Reachable)
            assert len(found.trace) == depth + 1
            assert replays(system, bad, found)
            assert depth == 0 or is_final(search(system, bad, most=depth - 1))


Cost = tuple[int, int]


def cheapest(
    system: System, bad: Expr, few: tuple[frozenset[Observable], ...], depths: range
) -> tuple[int, int, int]:
    """Of all histories of these lengths the one with the fewest of the first group, then the
    shortest, then the one with the fewest of the second: going through all, step by step."""

    def cost(moment: dict[Observable, str], whats: tuple[Observable, ...]) -> Cost:
        first, second = (sum(moment[w] != w.usual for w in whats if w in group) for group in few)
        return first, second

    states: dict[Values, Cost] = {}
    for state in product(*(system.initial[what] for what in system.states)):
        states[state] = cost(dict(zip(system.states, state, strict=True)), system.states)
    best: list[tuple[int, int, int]] = []
    for depth in range(depths.stop):
        then: dict[Values, Cost] = {}
        for state, (a, b) in states.items():
            for moment in allowed(system, state):
                c, d = cost(dict(moment), system.inputs)
                total = a + c, b + d
                if depth in depths and holds(bad, moment):
                    best.append((total[0], depth, total[1]))
                follows = next_of(system, moment)
                then[follows] = min(total, then.get(follows, total))
        states = then
    return min(best)


@pytest.mark.parametrize("seed", range(30))
def test_histories_are_as_small_as_can_be(seed: int) -> None:
    system = drawn_system(seed)
    known = truth(system)
    few = (frozenset(system.inputs[:1]), frozenset((*system.inputs, *system.states)))
    for bad in drawn_bads(system, seed):
        depth = known.depth(bad)
        if depth is None:
            continue
        found = search(system, bad, most=depth + LONGER, few=few)
        assert isinstance(found, Reachable) and found.smallest and replays(system, bad, found)
        counts = [
            sum(
                value != what.usual
                for i, moment in enumerate(found.trace)
                for what, value in moment.items()
                if what in group and (i == 0 or what in system.inputs)
            )
            for group in few
        ]
        best = cheapest(system, bad, few, range(depth, depth + LONGER + 1))
        assert (counts[0], len(found.trace) - 1, counts[1]) == best


def test_nothing_is_chosen_that_is_not_needed() -> None:
    found = search(small.single_track(locked=False), small.MEET, most=9)
    assert isinstance(found, Reachable)
    pressed = [m[small.TURN] for m in found.trace]
    assert pressed.count("pressed") == 1
    assert [m[small.OUT] for m in found.trace] == ["no"] * len(found.trace)
    assert found.trace[-1][small.LET_EAST] == found.trace[-1][small.LET_WEST] == "no"


def test_what_is_not_there_is_not_found() -> None:
    system = small.single_track()
    assert is_final(search(system, small.MEET, most=20))
    assert is_final(search(system, FALSE, most=3))
    now = search(system, TRUE, most=3)
    assert isinstance(now, Reachable) and len(now.trace) == 1


def test_one_search_answers_many_questions_as_fresh_ones_do() -> None:
    """A moment that has no next one counts, also after longer histories were looked for."""
    system = small.timer(always=(atom(small.CLOCK, "idle", "running"),))
    over = conjunction(atom(small.CLOCK, "running"), atom(small.EXPIRE, "yes"))
    assert is_final(search(system, small.DONE, most=9))
    ends = search(system, conjunction(over, atom(small.RUN, "pressed")), most=9)
    assert isinstance(ends, Reachable) and len(ends.trace) == 2
    again = search(system, conjunction(over, atom(small.RUN, "pressed")), most=9)
    assert again == ends


@pytest.mark.parametrize("worth", [False, True])
@pytest.mark.parametrize("seed", range(20))
def test_longer_histories_are_sought_only_where_that_is_worth_it(seed: int, worth: bool) -> None:
    """As if that had been known from the beginning; it is asked once, and only if it matters."""
    system, most, longest = drawn_system(seed), 4, 12
    few = (frozenset(system.inputs[:2]), frozenset(system.inputs))
    for bad in drawn_bads(system, seed):
        asked: list[bool] = []

        def further(asked: list[bool] = asked) -> bool:
            asked.append(worth)
            return worth

        found = search(system, bad, most=most, further=(longest, further), few=few)
        assert found == search(system, bad, most=longest if worth else most, few=few)
        assert len(asked) <= 1
        short = isinstance(found, Reachable) and len(found.trace) <= most + 1 - LONGER
        assert not (short and asked)
