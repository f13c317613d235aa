"""Equivalence checking: programs on fixed-width words against expressions over observables.

In: both as terms of one solver. Out: *valid* only where the solver found the negation
unsatisfiable; else a counterexample, or *not decided* when time ran out.

Trusts z3's "unsat".
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from time import monotonic
from typing import Any

import z3

from verifier.engines.session import Session
from verifier.logic.expr import And, Atom, Const, Expr, fold

Meaning = Callable[[Atom], z3.BoolRef]


class Terms:
    """Symbolic words: bit-vector terms (:class:`~verifier.engines.smt.bitvectors.Words`)."""

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

    def all_of(self, parts: Iterable[z3.BoolRef]) -> z3.BoolRef:
        return z3.And(list(parts))

    def any_of(self, parts: Iterable[z3.BoolRef]) -> z3.BoolRef:
        return z3.Or(list(parts))

    def expression(self, expr: Expr, meaning: Meaning, known: dict[Expr, z3.BoolRef]) -> z3.BoolRef:
        """An expression over observables, given the terms of its atoms. ``known``: terms made
        before with the same ``meaning``; added to."""

        def step(node: Expr, parts: tuple[z3.BoolRef, ...]) -> z3.BoolRef:
            match node:
                case Const(value=value):
                    return z3.BoolVal(value)
                case Atom():
                    return meaning(node)
                case And():
                    return self.all_of(parts)
                case _:
                    return self.any_of(parts)

        return fold(expr, step, known)


@dataclass(frozen=True, slots=True)
class Differs:
    """A counterexample: claim number ``which``, from 0, is false for these values."""

    which: int
    values: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class NotDecided:
    reason: str


class Always:
    """Checks the validity of claims. ``timeout`` in seconds for all queries together, None for no
    limit."""

    def __init__(self, timeout: float | None):
        self._deadline = None if timeout is None else monotonic() + timeout
        # Proved pairs of assumption and claims.
        self._shown: list[tuple[z3.BoolRef, z3.BoolRef]] = []

    def hold(
        self, assumed: z3.BoolRef, claims: Sequence[z3.BoolRef]
    ) -> Differs | NotDecided | None:
        """None where ``assumed`` implies all claims. They are checked in one query, which is many
        times as fast as one by one. A pair that simplifies to a proved one is not checked again.

        Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
        given, whole = z3.simplify(assumed), z3.simplify(z3.And(list(claims)))
        if z3.is_true(whole) or any(g.eq(given) and w.eq(whole) for g, w in self._shown):
            return None
        session = Session("QF_FD", whole.ctx)
        session.add(given, z3.Not(whole))
        match session.check(deadline=self._deadline):
            case True:
                model = session.model
                false = (i for i, c in enumerate(claims) if z3.is_false(model.eval(c, True)))
                return Differs(next(false), _numbers(model))
            case False:
                self._shown.append((given, whole))
                return None
            case None:
                return NotDecided(session.reason)


def _numbers(model: Any) -> dict[str, int]:
    return {
        declared.name(): model[declared].as_long()
        for declared in model.decls()
        if z3.is_bv_value(model[declared])
    }
