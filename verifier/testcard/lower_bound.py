"""How many steps every card must have.

In: which of the steps tried meet which goals, and whether two goals can be met together at all.
Out: goals of which no two can: each needs a step of its own. The more of them are found, the
better the bound; any number is a true one.
"""

from collections.abc import Callable, Sequence

# Only so many goals are looked at, those that the fewest steps meet.
LOOKED_AT = 160


def apart(
    columns: Sequence[int], never: Callable[[int, int], bool], enough: int
) -> tuple[int, ...]:
    """Positions of goals of which no two can be met by one step. ``columns``: by goal, the steps
    tried that meet it, as bits; ``never`` tells whether it is proved of two goals; ``enough``:
    more are not looked for."""
    first: dict[int, int] = {}
    for position, column in enumerate(columns):
        first.setdefault(column, position)
    few = sorted(first.values(), key=lambda i: (columns[i].bit_count(), i))[:LOOKED_AT]
    beside = [
        sum(1 << k for k, other in enumerate(few) if not columns[i] & columns[other]) for i in few
    ]
    ruled_out, best = 0, list[int]()
    while True:
        group = _large_group(beside)
        kept: list[int] = []
        wrong: list[tuple[int, int]] = []
        for a in group:
            touching = next((b for b in kept if not never(few[a], few[b])), None)
            if touching is None:
                kept.append(a)
            else:
                wrong.append((a, touching))
        ruled_out += len(wrong)
        best = max(best, kept, key=len)
        if len(best) >= enough or not wrong or ruled_out > LOOKED_AT:
            return tuple(few[k] for k in best[:enough])
        for a, b in wrong:
            beside[a] &= ~(1 << b)
            beside[b] &= ~(1 << a)


def _large_group(beside: Sequence[int]) -> list[int]:
    """Things of which any two are beside each other, as many as a quick look finds: from each
    in turn, always the one next that leaves most to choose from."""
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
