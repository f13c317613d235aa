"""Definitions of literals: conjunctions, disjunctions, and observables with one value each.

In: where new variables come from and where clauses go. Out: a literal for each conjunction, with
the clauses that define it; equal ones share it, and constants are folded.
"""

from collections.abc import Callable, Collection, Iterable, Sequence

from verifier.engines.temporal.sat import Clause

# The variable that always holds.
TRUE = 1


class Gates:
    """The conjunctions of one set of clauses. ``variable`` makes a new variable, ``add`` takes a
    clause."""

    def __init__(self, variable: Callable[[], int], add: Callable[[Sequence[int]], object]):
        self._variable = variable
        self._add = add
        self._known: dict[Clause, int] = {}
        # By variable of a conjunction: its parts.
        self.parts: dict[int, Clause] = {}

    def any_of(self, literals: Iterable[int]) -> int:
        """A literal of the disjunction."""
        return -self.all_of([-literal for literal in literals])

    def all_of(self, literals: Iterable[int]) -> int:
        """A literal of the conjunction."""
        parts = set(literals)
        parts.discard(TRUE)
        if len(parts) < 2:
            return parts.pop() if parts else TRUE
        if -TRUE in parts:
            return -TRUE
        key = tuple(sorted(parts))
        gate = self._known.get(key)
        if gate is None:
            gate = self._known[key] = self._defined(key)
        return gate

    def _defined(self, key: Clause) -> int:
        """A new literal of a conjunction of two literals or more."""
        opposite = [-literal for literal in key]
        if not set(key).isdisjoint(opposite):
            return -TRUE
        gate, add = self._variable(), self._add
        self.parts[gate] = key
        for literal in key:
            add((-gate, literal))
        add((gate, *opposite))
        return gate

    def one_of(self, values: Sequence[str], allowed: Collection[str]) -> dict[str, int]:
        """For each value of an observable the literal that it has it: exactly one of those
        allowed."""
        literals = dict.fromkeys(values, -TRUE)
        possible = [value for value in values if value in allowed]
        if len(possible) == 1:
            literals[possible[0]] = TRUE
        elif len(possible) == 2:
            bit = self._variable()
            literals.update(zip(possible, (-bit, bit), strict=True))
        else:
            bits = [self._variable() for _ in possible]
            literals.update(zip(possible, bits, strict=True))
            self._add(bits)
            for i, one in enumerate(bits):
                for other in bits[:i]:
                    self._add((-one, -other))
        return literals
