"""Minimal unsatisfiable cores and other minimal sufficient subsets.

In: items, and a monotone test of whether some of them suffice. Out: a subset that suffices, and no
proper part of which does. Used for the assumptions that a proof needs, the assumptions that
contradict each other, and the facts of a situation that matter.
"""

from collections.abc import Callable, Sequence
from typing import TypeVar

T = TypeVar("T")


def minimal_core(things: Sequence[T], suffices: Callable[[list[T]], bool]) -> list[T]:
    """A minimal subset of ``things``, in their order, that suffices.

    All of them must suffice together, and ``suffices`` be monotone. Later ones are dropped first,
    by halving; the result is the same as one by one. Where ``suffices`` says no because the solver
    gave up, more are kept than needed."""
    kept = dict.fromkeys(range(len(things)))
    waiting = [list(reversed(kept))] if kept else []
    while waiting:
        several = waiting.pop()
        left_out = set(several)
        fewer = [i for i in kept if i not in left_out]
        if suffices([things[i] for i in fewer]):
            kept = dict.fromkeys(fewer)
        elif len(several) > 1:
            half = len(several) // 2
            waiting += [several[half:], several[:half]]
    return [things[i] for i in kept]
