"""Unrolling of a transition system into a z3 session, on demand.

In: a :class:`System`; expressions over its states and inputs, with a step. Out: z3 terms, and a
solver that has the definition of every term handed out. Only the cone of influence of the terms
asked for is encoded.

Every state after step 0 is a defined Boolean (one for each value where it has more than two), so
terms stay short and models are read quickly.

A bug here could make a wrong "proved": the tests compare it with explicit search, and every
certificate is encoded anew.
"""

from collections.abc import Iterable, Mapping, Sequence

import z3

from verifier.engines.session import Session
from verifier.logic.expr import Atom, Expr
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

# Up to so many values, "at most one" is encoded pairwise.
FEW_VALUES = 5


class Unrolling(Session):
    """Steps of a system. With ``start``, step 0 is an initial state, else any state."""

    def __init__(self, system: System, *, start: bool, context: z3.Context | None = None):
        # Measured: without relevancy, long traces take half the time, others no more.
        super().__init__(context=context, relevancy=0)
        self.system = system
        self._start = start
        self._states = frozenset(system.states)
        self._bits: dict[tuple[Observable, str, int], z3.BoolRef] = {}
        self._terms: list[dict[Expr, z3.BoolRef]] = []
        self._names: dict[tuple[Expr, int], z3.BoolRef] = {}
        self._domains: set[tuple[Observable, int]] = set()

    # -------------------------------------------------------------- terms

    def term(self, expr: Expr, step: int) -> z3.BoolRef:
        """The expression at a step, counted from 0."""
        while len(self._terms) <= step:
            self._terms.append({})
        return self.encode(expr, lambda part: self._of_atom(part, step), self._terms[step])

    def _of_atom(self, part: Atom, step: int) -> z3.BoolRef:
        return self.any_of([self.bit(part.what, value, step) for value in part.values])

    # -------------------------------------------------------------- states and inputs

    def bit(self, what: Observable, value: str, step: int) -> z3.BoolRef:
        """``what`` has this value at a step."""
        key = what, value, step
        known = self._bits.get(key)
        if known is None:
            if len(what.values) == 2 and value == what.values[0]:
                known = self.no(self.bit(what, what.values[1], step))
            elif what not in self._states or step == 0:
                known = self._free_bit(what, value, step)
            else:
                known = self._defined_bit(what, value, step)
            self._bits[key] = known
        return known

    def knows(self, what: Observable, value: str, step: int) -> bool:
        """Whether this was encoded."""
        return (what, value, step) in self._bits

    def _free_bit(self, what: Observable, value: str, step: int) -> z3.BoolRef:
        allowed = what.values
        if self._start and what in self._states:
            allowed = self.system.initial[what]
        if value not in allowed:
            return self.false
        if len(allowed) == 1:
            return self.true
        bit = self.boolean(f"{what.kind} {what.name} = {value} @{step}")
        if len(what.values) > 2 and (what, step) not in self._domains:
            self._domains.add((what, step))
            self._bits[what, value, step] = bit
            self._exactly_one([self.bit(what, v, step) for v in allowed])
        return bit

    def _exactly_one(self, bits: Sequence[z3.BoolRef]) -> None:
        self.add(self.any_of(bits))
        if len(bits) > FEW_VALUES:
            self.add(z3.AtMost(*bits, 1))
            return
        for i, one in enumerate(bits):
            for other in bits[:i]:
                self.add(self.any_of([self.no(one), self.no(other)]))

    def _defined_bit(self, what: Observable, value: str, step: int) -> z3.BoolRef:
        comes = self.term(self.system.following[what][value], step - 1)
        if comes is self.true or comes is self.false:
            return comes
        bit = self.boolean(f"{what.kind} {what.name} = {value} @{step}")
        self.add(self.iff(bit, comes))
        return bit

    # -------------------------------------------------------------- assumptions and models

    def constraints(self, *steps: int) -> list[z3.BoolRef]:
        """Assumption literals of the system's constraints at these steps, those of its start
        included. (Later steps may be past the end of an execution, and are not constrained.)"""
        always = [self.literal(expr, step) for step in steps for expr in self.system.always]
        start = self.system.start if self._start and 0 in steps else ()
        return [*always, *(self.literal(clause, 0) for clause in start)]

    def literal(self, expr: Expr, step: int) -> z3.BoolRef:
        """An assumption literal: given to :meth:`check`, it makes the expression hold at a step."""
        key = expr, step
        known = self._names.get(key)
        if known is None:
            known = self._names[key] = self.named(self.term(expr, step))
        return known

    def value(self, what: Observable, step: int) -> str:
        """The value of ``what`` in the last model; the usual one where it was never encoded."""
        allowed: Sequence[str] = what.values
        if self._start and step == 0:
            allowed = self.system.initial.get(what, allowed)
        first = what.usual if what.usual in allowed else allowed[0]
        if len(what.values) == 2:
            bit = self._bits.get((what, what.values[1], step))
            return first if bit is None else what.values[self.is_so(bit)]
        for value in what.values:
            bit = self._bits.get((what, value, step))
            if bit is not None and self.is_so(bit):
                return value
        return first

    def valuation(self, step: int, whats: Iterable[Observable]) -> Mapping[Observable, str]:
        """The values of several observables in the last model."""
        return {what: self.value(what, step) for what in whats}
