"""The fewest steps, and the shortest way through them, against trying everything."""

from collections.abc import Callable
from itertools import combinations, permutations
from random import Random

import pytest

from verifier.engines.set_cover import greedy_cover, smallest_cover
from verifier.testcard.lower_bound import incompatible_goals
from verifier.testcard.step_ordering import ALL_ORDERS, length, short_path


def chance_sets(seed: int) -> list[int]:
    r = Random(seed)
    things = r.randint(1, 14)
    dense = r.choice([0.1, 0.25, 0.5])
    return [
        sum(1 << t for t in range(things) if r.random() < dense) for _ in range(r.randint(1, 11))
    ]


def union(sets: list[int]) -> int:
    found = 0
    for each in sets:
        found |= each
    return found


def fewest(sets: list[int]) -> int:
    """By trying every choice, the smaller first."""
    return next(
        size
        for size in range(len(sets) + 1)
        for chosen in combinations(sets, size)
        if union(list(chosen)) == union(sets)
    )


@pytest.mark.parametrize("seed", range(150))
def test_no_fewer_sets_would_do(seed: int) -> None:
    sets = chance_sets(seed)
    found = smallest_cover(sets)
    assert union([sets[i] for i in found.chosen]) == union(sets)
    assert found.smallest and len(found.chosen) == fewest(sets)
    assert union([sets[i] for i in greedy_cover(sets)]) == union(sets)


def test_what_was_not_decided_is_not_called_smallest() -> None:
    r = Random(5)
    sets = [sum(1 << t for t in range(60) if r.random() < 0.12) for _ in range(60)]
    found = smallest_cover(sets, effort=1)
    assert not found.smallest
    assert union([sets[i] for i in found.chosen]) == union(sets)


@pytest.mark.parametrize("seed", range(150))
def test_the_bound_is_never_too_high(seed: int) -> None:
    """Things of which no set covers two need a set each."""
    sets = chance_sets(seed)
    columns = [
        sum(1 << i for i, each in enumerate(sets) if each >> thing & 1)
        for thing in range(union(sets).bit_length())
    ]
    columns = [column for column in columns if column]
    group = incompatible_goals(columns, lambda a, b: not columns[a] & columns[b], len(columns) + 1)
    assert all(not columns[a] & columns[b] for a, b in combinations(group, 2))
    assert len(group) <= fewest(sets)


def test_nothing_is_apart_that_is_not_proved_to_be() -> None:
    assert len(incompatible_goals([1, 2, 4, 8], lambda a, b: False, 5)) <= 1


# ------------------------------------------------------------------ the way


def chance_costs(seed: int, count: int) -> Callable[[int, int], int]:
    r = Random(seed)
    costs = {(a, b): r.randint(1, 9) for a in range(-1, count) for b in range(count)}
    return lambda a, b: costs[a, b]


@pytest.mark.parametrize("seed", range(40))
def test_no_order_costs_less(seed: int) -> None:
    count = seed % 7
    cost = chance_costs(seed, count)
    way, shortest = short_path(count, cost)
    assert shortest and sorted(way) == list(range(count))
    assert length(way, cost) == min(length(other, cost) for other in permutations(range(count)))


@pytest.mark.parametrize("seed", range(10))
def test_a_long_way_goes_everywhere_once_and_is_not_called_the_shortest(seed: int) -> None:
    count = ALL_ORDERS + 4
    cost = chance_costs(seed, count)
    way, shortest = short_path(count, cost)
    assert not shortest and sorted(way) == list(range(count))
    nearest: list[int] = []
    while len(nearest) < count:
        here = nearest[-1] if nearest else -1
        left = [i for i in range(count) if i not in nearest]
        nearest.append(min(left, key=lambda i: (cost(here, i), i)))
    assert length(way, cost) <= length(nearest, cost)
