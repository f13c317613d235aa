"""A lower bound for the number of steps of a card.

In: which candidate steps meet which goals, and whether one step can meet two goals. Out: goals of
which no two can be met by one step, so that each needs its own. Any number of them is a sound
bound; more make it better.
"""

from collections.abc import Callable, Sequence

# The number of goals considered: those that the fewest steps meet.
LOOKED_AT = 160


def incompatible_goals(
    columns: Sequence[int], never: Callable[[int, int], bool], enough: int
) -> tuple[int, ...]:
    """Positions of goals of which no two can be met by one step. ``columns``: for each goal, the
    candidates that meet it, as bits; ``never``: whether this is proved of two goals; ``enough``:
    the number at which the search stops."""
    first: dict[int, int] = {}
    for position, column in enumerate(columns):
        first.setdefault(column, position)
    few = sorted(first.values(), key=lambda i: (columns[i].bit_count(), i))[:LOOKED_AT]
    beside = [
        sum(1 << k for k, other in enumerate(few) if not columns[i] & columns[other]) for i in few
    ]
    ruled_out, best = 0, list[int]()
    while True:
        group = _large_clique(beside)
        kept: list[int] = []
        refuted: list[tuple[int, int]] = []
        for a in group:
            conflicting = next((b for b in kept if not never(few[a], few[b])), None)
            if conflicting is None:
                kept.append(a)
            else:
                refuted.append((a, conflicting))
        ruled_out += len(refuted)
        best = max(best, kept, key=len)
        if len(best) >= enough or not refuted or ruled_out > LOOKED_AT:
            return tuple(few[k] for k in best[:enough])
        for a, b in refuted:
            beside[a] &= ~(1 << b)
            beside[b] &= ~(1 << a)


def _large_clique(beside: Sequence[int]) -> list[int]:
    """A large clique of a graph, given by its neighbors as bits: grown greedily from each vertex,
    by the neighbor that leaves most to choose from."""
    best: list[int] = []
    for start in range(len(beside)):
        group, open_ones = [start], beside[start]
        while open_ones:
            among = [k for k in range(len(beside)) if open_ones >> k & 1]
            then = max(among, key=lambda k: ((beside[k] & open_ones).bit_count(), -k))
            group.append(then)
            open_ones &= beside[then]
        if len(group) > len(best):
            best = group
    return best
