"""Whether two ways of working something out always agree: programs on words of bits, and
expressions over observables, as terms of one solver.

In: terms. Out: *same* only where the solver found that no value of what they hang on makes a
difference; where it ran out of time, *unknown*.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from time import monotonic
from typing import Any

import z3

from verifier.engines.answers import Interrupted
from verifier.engines.unroll import OUT_OF_TIME, WITHIN
from verifier.logic.expr import And, Atom, Const, Expr, fold

Meaning = Callable[[Atom], z3.BoolRef]


class Terms:
    """Words of bits as terms (:class:`~verifier.engines.words.Words`)."""

    def variable(self, name: str, bits: int) -> z3.BitVecRef:
        return z3.BitVec(name, bits)

    def number(self, value: int, bits: int) -> z3.BitVecRef:
        return z3.BitVecVal(value, bits)

    def resize(self, word: z3.BitVecRef, bits: int, to: int) -> z3.BitVecRef:
        if to > bits:
            return z3.ZeroExt(to - bits, word)
        return word if to == bits else z3.Extract(to - 1, 0, word)

    def add(self, one: z3.BitVecRef, other: z3.BitVecRef, bits: int) -> z3.BitVecRef:
        return one + other

    def subtract(self, one: z3.BitVecRef, other: z3.BitVecRef, bits: int) -> z3.BitVecRef:
        return one - other

    def multiply(self, one: z3.BitVecRef, other: z3.BitVecRef, bits: int) -> z3.BitVecRef:
        return one * other

    def bits_and(self, one: z3.BitVecRef, other: z3.BitVecRef, bits: int) -> z3.BitVecRef:
        return one & other

    def bits_or(self, one: z3.BitVecRef, other: z3.BitVecRef, bits: int) -> z3.BitVecRef:
        return one | other

    def bits_xor(self, one: z3.BitVecRef, other: z3.BitVecRef, bits: int) -> z3.BitVecRef:
        return one ^ other

    def right(self, word: z3.BitVecRef, by: int, bits: int) -> z3.BitVecRef:
        return z3.LShR(word, by)

    def equal(self, one: z3.BitVecRef, other: z3.BitVecRef) -> z3.BoolRef:
        return one == other

    def less(self, one: z3.BitVecRef, other: z3.BitVecRef) -> z3.BoolRef:
        return z3.ULT(one, other)

    def truth(self, value: bool) -> z3.BoolRef:
        return z3.BoolVal(value)

    def opposite(self, one: z3.BoolRef) -> z3.BoolRef:
        return z3.Not(one)

    def both(self, one: z3.BoolRef, other: z3.BoolRef) -> z3.BoolRef:
        return z3.And(one, other)

    def either(self, one: z3.BoolRef, other: z3.BoolRef) -> z3.BoolRef:
        return z3.Or(one, other)

    def choose(self, when: z3.BoolRef, one: z3.BitVecRef, other: z3.BitVecRef) -> z3.BitVecRef:
        return z3.If(when, one, other)

    def choose_truth(self, when: z3.BoolRef, one: z3.BoolRef, other: z3.BoolRef) -> z3.BoolRef:
        return z3.If(when, one, other)

    def same(self, one: z3.BoolRef, other: z3.BoolRef) -> z3.BoolRef:
        return one == other

    def expression(self, expr: Expr, meaning: Meaning) -> z3.BoolRef:
        """An expression over observables, given what its atoms are."""

        def step(node: Expr, parts: tuple[z3.BoolRef, ...]) -> z3.BoolRef:
            match node:
                case Const(value=value):
                    return z3.BoolVal(value)
                case Atom():
                    return meaning(node)
                case And():
                    return z3.And(*parts)
                case _:
                    return z3.Or(*parts)

        return fold(expr, step)


@dataclass(frozen=True, slots=True)
class Differs:
    """Not always: with these numbers it does not hold."""

    values: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class NotDecided:
    reason: str


class Always:
    """Answers whether something always holds, given what is ``assumed``. ``timeout`` in seconds
    for all questions together, None for no limit."""

    def __init__(self, assumed: z3.BoolRef, timeout: float | None):
        self._solver: Any = z3.SolverFor("QF_FD")
        self._solver.add(assumed)
        self._deadline = None if timeout is None else monotonic() + timeout

    def holds(self, claim: z3.BoolRef) -> Differs | NotDecided | None:
        """None where it always holds.

        Raises :class:`~verifier.engines.answers.Interrupted` on Ctrl-C."""
        if z3.is_true(z3.simplify(claim)):
            return None
        if self._deadline is not None:
            left = self._deadline - monotonic()
            if left <= 0:
                return NotDecided(OUT_OF_TIME)
            self._solver.set("timeout", max(1, int(left * 1000)))
        self._solver.push()
        try:
            self._solver.add(z3.Not(claim))
            found = self._solver.check()
            if found == z3.unsat:
                return None
            if found == z3.sat:
                return Differs(_numbers(self._solver.model()))
            return NotDecided(self._why())
        finally:
            self._solver.pop()

    def _why(self) -> str:
        """Why there is no answer. The solver says "canceled" of Ctrl-C and of the time limit
        alike."""
        reason = str(self._solver.reason_unknown())
        late = self._deadline is not None and monotonic() >= self._deadline - WITHIN
        if "interrupt" in reason or ("cancel" in reason and not late):
            raise Interrupted
        return OUT_OF_TIME if late else f"the solver gave up ({reason})"


def _numbers(model: Any) -> dict[str, int]:
    return {
        declared.name(): model[declared].as_long()
        for declared in model.decls()
        if z3.is_bv_value(model[declared])
    }
