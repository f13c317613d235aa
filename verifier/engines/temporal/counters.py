"""How many of a group of observables are not as usual, up to a step, as literals.

In: the steps of a system and a group. Out: a literal that says at most so many are not: states are
counted at the first step, inputs at each. The counts are unary, and only grow from step to step, so
one count serves traces of every length (a totalizer; O. Bailleux, Y. Boufkhad, "Efficient CNF
encoding of Boolean cardinality constraints", CP 2003; from memory).
"""

from collections.abc import Iterator, Sequence

from verifier.engines.temporal.gates import TRUE
from verifier.engines.temporal.unrolled_cnf import UnrolledCnf
from verifier.plan.observables import Observable

# Counts are exact up to this many at first, and to twice as many whenever that is too few.
COUNTED = 8


class Counter:
    """Counts one group."""

    def __init__(self, steps: UnrolledCnf, group: frozenset[Observable]):
        self._steps = steps
        self._group = group
        self._exact = COUNTED
        # By step: literals that follow from at least 1, 2, 3 … not being as usual up to it.
        self._sums: list[list[int]] = []

    def at_most(self, number: int, step: int) -> int:
        """A literal that says no more than so many are not as usual up to a step."""
        if number >= self._exact:
            while number >= self._exact:
                self._exact *= 2
            self._sums.clear()
        while len(self._sums) <= step:
            here = self._sum([[bit] for bit in self._unusual(len(self._sums))])
            self._sums.append(self._added(self._sums[-1], here) if self._sums else here)
        sums = self._sums[step]
        return -sums[number] if number < len(sums) else TRUE

    def _unusual(self, step: int) -> Iterator[int]:
        """That things of the group are not as usual at a step."""
        system = self._steps.cnf.system
        for what in (*(system.states if step == 0 else ()), *system.inputs):
            if what in self._group:
                bit = -self._steps.bit(what, what.usual, step)
                if bit != -TRUE:
                    yield bit

    def _sum(self, numbers: Sequence[list[int]]) -> list[int]:
        if len(numbers) <= 1:
            return numbers[0] if numbers else []
        half = len(numbers) // 2
        return self._added(self._sum(numbers[:half]), self._sum(numbers[half:]))

    def _added(self, one: list[int], other: list[int]) -> list[int]:
        if not one or not other:
            return one or other
        solver = self._steps.solver
        both = [solver.variable() for _ in range(min(len(one) + len(other), self._exact))]
        for i in range(len(one) + 1):
            for j in range(len(other) + 1):
                if 0 < i + j <= len(both):
                    some = [-number[k - 1] for number, k in ((one, i), (other, j)) if k]
                    solver.add([*some, both[i + j - 1]])
        return both
