"""A transition system as the solver sees it: expressions at the first, second, third … moment.

In: a :class:`System`; expressions over its states and inputs. Out: z3 terms, and a solver that
has the meaning of every term handed out. Only what is asked for is encoded: a moment is reached
through what follows the moment before, and no further back than needed.

Every state of a later moment is a plain Boolean (one for each value where it has more than two),
so that what is asked of it is short, and models are read quickly.
"""

from collections.abc import Iterable, Mapping, Sequence
from time import monotonic
from typing import Any

import z3
from z3 import z3core

from verifier.engines.results import Interrupted
from verifier.logic.expr import And, Atom, Const, Expr, fold
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

# Up to so many values each two are told apart one by one.
FEW_VALUES = 5

# A time limit may be noticed so many seconds early: the solver counts in whole milliseconds.
WITHIN = 0.01

OUT_OF_TIME = "no answer in the time allowed"


def new_solver() -> Any:
    solver = z3.SimpleSolver()
    # Measured: half the time of long histories, and no loss elsewhere.
    solver.set("relevancy", 0)
    return solver


class Unrolling:
    """Moments of a system. With ``start`` the first moment is the start of a history, else any
    moment at all."""

    def __init__(self, system: System, *, start: bool):
        self.system = system
        self.solver = new_solver()
        self._start = start
        self._states = frozenset(system.states)
        self._bits: dict[tuple[Observable, str, int], z3.BoolRef] = {}
        self._terms: list[dict[Expr, z3.BoolRef]] = []
        self._names: dict[tuple[Expr, int], z3.BoolRef] = {}
        self._domains: set[tuple[Observable, int]] = set()
        self._declared: dict[int, z3.FuncDeclRef] = {}
        self._fresh = 0
        self._model: z3.ModelRef | None = None
        # There is a model, if anybody looks.
        self._is_open = False
        self.true, self.false = z3.BoolVal(True), z3.BoolVal(False)
        self._context = self.true.ctx
        # Why the last question had no answer.
        self.reason = ""

    # -------------------------------------------------------------- terms

    def term(self, expr: Expr, step: int) -> z3.BoolRef:
        """The expression at a moment, counted from 0."""
        while len(self._terms) <= step:
            self._terms.append({})
        known = self._terms[step]
        if expr not in known:
            fold(expr, lambda node, parts: self._encode(node, parts, step, known))
        return known[expr]

    def _encode(
        self,
        node: Expr,
        parts: Sequence[z3.BoolRef],
        step: int,
        known: dict[Expr, z3.BoolRef],
    ) -> z3.BoolRef:
        term = known.get(node)
        if term is None:
            match node:
                case Const(value=value):
                    term = self.true if value else self.false
                case Atom(what=what, values=values):
                    term = self.any_of([self.bit(what, value, step) for value in values])
                case And():
                    term = self.all_of(parts)
                case _:
                    term = self.any_of(parts)
            known[node] = term
        return term

    def all_of(self, parts: Sequence[z3.BoolRef]) -> z3.BoolRef:
        if any(part is self.false for part in parts):
            return self.false
        kept = [part for part in parts if part is not self.true]
        return self._grouped(z3core.Z3_mk_and, kept) if kept else self.true

    def any_of(self, parts: Sequence[z3.BoolRef]) -> z3.BoolRef:
        if any(part is self.true for part in parts):
            return self.true
        kept = [part for part in parts if part is not self.false]
        return self._grouped(z3core.Z3_mk_or, kept) if kept else self.false

    def _grouped(self, make: Any, parts: Sequence[z3.BoolRef]) -> z3.BoolRef:
        """Without the library's look at the sort of every part: all are Boolean, and there
        are very many."""
        if len(parts) == 1:
            return parts[0]
        array = (z3.Ast * len(parts))(*(part.as_ast() for part in parts))
        return z3.BoolRef(make(self._context.ref(), len(parts), array), self._context)

    def no(self, term: z3.BoolRef) -> z3.BoolRef:
        if term is self.true:
            return self.false
        if term is self.false:
            return self.true
        return z3.BoolRef(z3core.Z3_mk_not(self._context.ref(), term.as_ast()), self._context)

    def fresh(self, about: str = "case") -> z3.BoolRef:
        """A new name, free to be either way."""
        self._fresh += 1
        return z3.Bool(f"{about} #{self._fresh}")

    # -------------------------------------------------------------- states and inputs

    def bit(self, what: Observable, value: str, step: int) -> z3.BoolRef:
        """``what`` has this value at a moment."""
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
        """Whether this was spoken of."""
        return (what, value, step) in self._bits

    def _free_bit(self, what: Observable, value: str, step: int) -> z3.BoolRef:
        allowed = what.values
        if self._start and what in self._states:
            allowed = self.system.initial[what]
        if value not in allowed:
            return self.false
        if len(allowed) == 1:
            return self.true
        bit = z3.Bool(f"{what.kind} {what.name} = {value} @{step}")
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
        bit = z3.Bool(f"{what.kind} {what.name} = {value} @{step}")
        iff = z3core.Z3_mk_iff(self._context.ref(), bit.as_ast(), comes.as_ast())
        self.add(z3.BoolRef(iff, self._context))
        return bit

    # -------------------------------------------------------------- what is so

    def add(self, *terms: z3.BoolRef) -> None:
        """These are so from now on (inside of :meth:`push` and :meth:`pop`, until the pop)."""
        for term in terms:
            z3core.Z3_solver_assert(self._context.ref(), self.solver.solver, term.as_ast())

    def push(self) -> None:
        """Until the pop, nothing new may be spoken of: its meaning would be lost."""
        self.solver.push()

    def pop(self) -> None:
        self._look()
        self.solver.pop()

    def granted(self, *steps: int) -> list[z3.BoolRef]:
        """Names that make what the system takes for granted hold at these moments. (Moments
        that are not asked about may be past the end of a history.)"""
        return [self.name(expr, step) for step in steps for expr in self.system.always]

    def name(self, expr: Expr, step: int) -> z3.BoolRef:
        """A name that, given to :meth:`check`, makes the expression hold at a moment."""
        key = expr, step
        known = self._names.get(key)
        if known is None:
            known = self._names[key] = self.named(self.term(expr, step))
        return known

    def named(self, term: z3.BoolRef) -> z3.BoolRef:
        name = self.fresh()
        self.add(self.any_of([self.no(name), term]))
        return name

    # -------------------------------------------------------------- questions

    def check(self, given: Iterable[z3.BoolRef] = (), deadline: float | None = None) -> bool | None:
        """Whether all that is so can be together with what is given; None when the solver
        gave up.

        Raises :class:`Interrupted` on Ctrl-C."""
        self._model, self._is_open = None, False
        if deadline is not None:
            left = int((deadline - monotonic()) * 1000)
            if left <= 0:
                self.reason = OUT_OF_TIME
                return None
            self.solver.set("timeout", left)
        try:
            found = self._ask(list(given))
            if found == z3core.Z3_L_TRUE:
                self._is_open = True
                return True
            if found == z3core.Z3_L_FALSE:
                return False
            reason = str(self.solver.reason_unknown())
        except z3.Z3Exception as error:
            reason = str(error)
        late = deadline is not None and monotonic() >= deadline - WITHIN
        # This solver says "canceled" of Ctrl-C and of the time limit alike.
        if "interrupt" in reason or ("cancel" in reason and not late):
            raise Interrupted
        self.reason = OUT_OF_TIME if late else f"the solver gave up ({reason})"
        return None

    def _ask(self, given: Sequence[z3.BoolRef]) -> int:
        """The solver's own answer, without the library's look at what is given."""
        array = (z3.Ast * len(given))(*(term.as_ast() for term in given))
        ask = z3core.Z3_solver_check_assumptions
        return int(ask(self._context.ref(), self.solver.solver, len(given), array))

    def core(self) -> frozenset[int]:
        """Which of what was given last cannot be together: the ids of their terms."""
        context = self._context.ref()
        found = self.solver.unsat_core()
        return frozenset(
            z3core.Z3_get_ast_id(context, z3core.Z3_ast_vector_get(context, found.vector, i))
            for i in range(len(found))
        )

    def _look(self) -> None:
        """The last answer is kept, if there is one. Making it takes longer than finding that
        there is one, so that is done for those who want it, or before it is lost."""
        if self._is_open and self._model is None:
            self._model = self.solver.model()

    def is_so(self, bit: z3.BoolRef) -> bool:
        """Whether a bit or a name holds in the last answer. What was left open does not."""
        self._look()
        assert self._model is not None
        if bit is self.true or bit is self.false:
            return bit is self.true
        key = bit.get_id()
        declared = self._declared.get(key)
        if declared is None:
            declared = self._declared[key] = bit.decl()
        meant = z3core.Z3_model_get_const_interp(
            self._context.ref(), self._model.model, declared.ast
        )
        return bool(meant.value == self.true.as_ast().value)

    def value(self, what: Observable, step: int) -> str:
        """The value something has in the last answer; the usual one where it was never spoken
        of."""
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

    def moment(self, step: int, whats: Iterable[Observable]) -> Mapping[Observable, str]:
        return {what: self.value(what, step) for what in whats}
