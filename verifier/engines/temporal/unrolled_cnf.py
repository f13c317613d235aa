"""Steps of a system from its start as clauses over bits, on demand.

In: the clauses of a transition, and literals of it with a step. Out: literals of a solver that has
the definition of each. A step is the transition with what is known of the step before put in, so
what follows from the start alone is never a variable.

Trusted by nobody: traces are replayed.
"""

from collections.abc import Iterable

from verifier.engines.temporal.gates import TRUE, Gates
from verifier.engines.temporal.sat import Limit, Sat
from verifier.engines.temporal.transition_cnf import TransitionCnf
from verifier.plan.observables import Observable


class UnrolledCnf:
    """The steps of one system, in one solver."""

    def __init__(self, cnf: TransitionCnf, limit: Limit):
        self.cnf = cnf
        self.solver = Sat([(TRUE,)], TRUE, limit)
        self._gates = Gates(self.solver.variable, self.solver.add)
        # By step: the literal of each literal of the transition, once it was asked for.
        self._steps: list[dict[int, int]] = []
        self._begun = False

    def literal(self, literal: int, step: int) -> int:
        """A literal of the transition, at a step counted from 0."""
        while len(self._steps) <= step:
            self._add_step()
        at = self._steps[step]
        if literal not in at:
            self._translate(abs(literal), at)
        return at[literal]

    def bit(self, what: Observable, value: str, step: int) -> int:
        """That an observable has a value at a step."""
        return self.literal(self.cnf.bit(what, value), step)

    # -------------------------------------------------------------- steps

    def _add_step(self) -> None:
        cnf = self.cnf
        at = {TRUE: TRUE, -TRUE: -TRUE}
        step = len(self._steps)
        if step:
            for bit in cnf.state_bits:
                literal = self.literal(cnf.next(bit), step - 1)
                at[bit], at[-bit] = literal, -literal
        else:
            for what in cnf.system.states:
                self._free(what, cnf.system.initial[what], at)
        for what in cnf.system.inputs:
            self._free(what, what.values, at)
        self._steps.append(at)

    def begin(self) -> None:
        """What starts alike does."""
        if not self._begun:
            self._begun = True
            for clause in self.cnf.start:
                self.solver.add([self.literal(literal, 0) for literal in clause])

    def _free(self, what: Observable, allowed: Iterable[str], at: dict[int, int]) -> None:
        """New variables for an observable that has any one of the values allowed."""
        literals = self._gates.one_of(what.values, tuple(allowed))
        for value, literal in literals.items():
            bit = self.cnf.bit(what, value)
            at[bit], at[-bit] = literal, -literal

    def _translate(self, asked: int, at: dict[int, int]) -> None:
        """A gate of the transition, and all that it depends on."""
        stack = [asked]
        while stack:
            gate = stack[-1]
            parts = self.cnf.gates.parts[gate]
            waiting = [abs(part) for part in parts if part not in at]
            if waiting:
                stack += waiting
                continue
            stack.pop()
            literal = self._gates.all_of(at[part] for part in parts)
            at[gate], at[-gate] = literal, -literal
