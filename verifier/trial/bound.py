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
    ruled_out: set[tuple[int, int]] = set()
    while True:
        group = _large_group(beside)
        wrong = next(
            (
                (a, b)
                for n, a in enumerate(group)
                for b in group[:n]
                if (a, b) not in ruled_out and not never(few[a], few[b])
            ),
            None,
        )
        if wrong is None or len(ruled_out) > LOOKED_AT:
            found = [few[k] for k in group] if wrong is None else []
            return tuple(found[:enough])
        ruled_out.add(wrong)
        for one, other in (wrong, wrong[::-1]):
            beside[one] &= ~(1 << other)


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
