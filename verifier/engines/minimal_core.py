"""A minimal core: as few of some things as are needed together.

In: things, and whether some of them suffice. Out: those that suffice and of which none can be
left out. Used for the assumptions that a proof needs, the assumptions that contradict each
other, and the facts of a situation that matter.
"""

from collections.abc import Callable, Sequence
from typing import TypeVar

T = TypeVar("T")


def minimal_core(things: Sequence[T], suffices: Callable[[list[T]], bool]) -> list[T]:
    """Those of ``things``, in their order, that suffice and none of which can be left out.

    All of them are known to suffice, and more always suffice where fewer do. Later ones are
    left out first, many at once where that works: the outcome is the same as one by one.
    Where ``suffices`` says no because the solver gave up, more are kept than needed."""
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
