"""Minimum set cover.

In: sets as bit masks. Out: positions of sets that cover the union of all, and whether that number
was proved minimal. Dominated sets and elements are removed first; the solver then looks for
smaller covers than the greedy one. Its effort is limited by its own count, not by the clock, so
that results are the same everywhere.
"""

from collections.abc import Sequence
from dataclasses import dataclass

# Resource limit of one query, in the solver's own unit.
EFFORT = 4_000_000


@dataclass(frozen=True, slots=True)
class Cover:
    """``chosen``: positions, in order. ``smallest``: no fewer of these sets would do."""

    chosen: tuple[int, ...]
    smallest: bool


def smallest_cover(sets: Sequence[int], effort: int = EFFORT) -> Cover:
    """A cover of as few sets as could be found; of two equal sets, the earlier."""
    chosen, alive, needed = _reduced(sets)
    if not needed:
        return Cover(tuple(sorted(chosen)), True)
    best = _greedy(sets, alive, needed)
    while len(best) > 1:
        fewer = _of_size(sets, alive, needed, len(best) - 1, effort)
        if fewer is None:
            return Cover(tuple(sorted((*chosen, *best))), False)
        if not fewer:
            break
        best = fewer
    return Cover(tuple(sorted((*chosen, *best))), True)


def greedy_cover(sets: Sequence[int]) -> tuple[int, ...]:
    """A cover by the greedy algorithm: each time the set that covers most of the rest."""
    everything = 0
    for each in sets:
        everything |= each
    return tuple(sorted(_greedy(sets, range(len(sets)), everything)))


def _greedy(sets: Sequence[int], alive: Sequence[int], needed: int) -> list[int]:
    chosen = []
    while needed:
        best = max(alive, key=lambda i: ((sets[i] & needed).bit_count(), -i))
        chosen.append(best)
        needed &= ~sets[best]
    return chosen


def _reduced(sets: Sequence[int]) -> tuple[list[int], list[int], int]:
    """The essential sets; those among which there is a choice; the elements these must cover,
    dominated ones removed."""
    needed = 0
    for each in sets:
        needed |= each
    chosen: list[int] = []
    alive = list(range(len(sets)))
    while True:
        alive = _not_inside_others(sets, alive, needed)
        columns = _columns(sets, alive, needed)
        must = {alive[c.bit_length() - 1] for c in columns.values() if c.bit_count() == 1}
        if must:
            chosen += must
            for i in must:
                needed &= ~sets[i]
            alive = [i for i in alive if i not in must]
            continue
        fewer = _hardest(columns)
        if fewer == needed:
            return chosen, alive, needed
        needed = fewer


def _not_inside_others(sets: Sequence[int], alive: Sequence[int], needed: int) -> list[int]:
    first: dict[int, int] = {}
    for i in alive:
        if sets[i] & needed:
            first.setdefault(sets[i] & needed, i)
    parts = sorted(first, key=lambda part: -part.bit_count())
    kept: list[int] = []
    for part in parts:
        if not any(part & larger == part for larger in kept):
            kept.append(part)
    return sorted(first[part] for part in kept)


def _columns(sets: Sequence[int], alive: Sequence[int], needed: int) -> dict[int, int]:
    """By element: the mask of the sets that contain it."""
    columns: dict[int, int] = {}
    for position, i in enumerate(alive):
        part = sets[i] & needed
        while part:
            low = part & -part
            columns[low] = columns.get(low, 0) | 1 << position
            part ^= low
    return columns


def _hardest(columns: dict[int, int]) -> int:
    """The elements that are not covered whenever another one is."""
    first: dict[int, int] = {}
    for thing, column in columns.items():
        first.setdefault(column, thing)
    kept: list[int] = []
    for column in sorted(first, key=int.bit_count):
        if not any(column & smaller == smaller for smaller in kept):
            kept.append(column)
    needed = 0
    for column in kept:
        needed |= first[column]
    return needed


def _of_size(
    sets: Sequence[int], alive: Sequence[int], needed: int, most: int, effort: int
) -> list[int] | None:
    """A cover of at most ``most`` sets, the earliest that there is; empty where there is none, None
    where undecided.

    The solver's own choice would depend on what it was asked before in this process."""
    import z3

    from verifier.engines.session import Session

    session = Session("QF_FD", rlimit=effort)
    take = {i: session.boolean(f"set {i}") for i in alive}
    for column in _columns(sets, alive, needed).values():
        session.add(session.any_of([take[i] for p, i in enumerate(alive) if column >> p & 1]))
    session.add(z3.AtMost(*take.values(), most))
    found = session.check()
    if not found:
        return [] if found is False else None
    chosen: list[int] = []
    for i in alive:
        if len(chosen) < most and session.check([*(take[j] for j in chosen), take[i]]):
            chosen.append(i)
    covered = 0
    for i in chosen:
        covered |= sets[i]
    return chosen if covered & needed == needed else None
