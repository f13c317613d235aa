"""A second solver beside z3: what z3 excludes, cvc5 has to exclude too.

In: the assertions that z3 is given, and each question to which it answers "unsatisfiable". Out:
that cvc5 says the same of the same terms, or why it gave no answer. What a proof rests on is z3's
"unsatisfiable" and nothing else, so that every proof is asked twice.

Needs the package cvc5 (``pip install 'clearproof[recheck]'``).
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from importlib.util import find_spec
from time import monotonic
from typing import Any

import z3

from verifier.engines import stopping
from verifier.engines.results import Interrupted, SolversDiffer

# Milliseconds of one go: cvc5 does not hear Ctrl-C while it works.
SLICE = 500


def is_installed() -> bool:
    """Whether the second solver can be asked at all."""
    return find_spec("cvc5") is not None


@dataclass(slots=True)
class Agreements:
    """How often the second ``solver`` (its name and version) has confirmed the first so far."""

    solver: str = ""
    agreed: int = 0


_asked: ContextVar[Agreements | None] = ContextVar("second solver", default=None)


@contextmanager
def rechecked(wanted: bool = True) -> Iterator[Agreements | None]:
    """Solver sessions that begin in here are asked twice; counts how often both agreed. None where
    that is not ``wanted``.

    Raises ImportError where cvc5 is not installed."""
    if not wanted:
        yield _asked.get()
        return
    import cvc5

    found = Agreements(f"cvc5 {cvc5.__version__}")
    before = _asked.set(found)
    try:
        yield found
    finally:
        _asked.reset(before)


def second_solver() -> "SecondSolver | None":
    """One for a session that begins now; None where questions are asked once."""
    agreements = _asked.get()
    return None if agreements is None else SecondSolver(agreements)


class SecondSolver:
    """Follows the assertions of one session, and is asked what the first solver excluded."""

    def __init__(self, agreements: Agreements):
        self._agreements = agreements
        self._terms = _Translation()
        self._solver: Any = None
        # What is asserted in each scope; how much of it the solver has, by scope.
        self._scopes: list[list[z3.BoolRef]] = [[]]
        self._known: list[int] = []
        self.reason = ""

    def add(self, terms: Sequence[z3.BoolRef]) -> None:
        """Follow the first solver: assert terms."""
        self._scopes[-1] += terms

    def push(self) -> None:
        """Follow the first solver: begin a scope."""
        self._scopes.append([])

    def pop(self) -> None:
        """Follow the first solver: end a scope."""
        if len(self._known) == len(self._scopes):
            self._solver.pop()
            self._known.pop()
        self._scopes.pop()

    def confirms(self, assumed: Sequence[z3.BoolRef], deadline: float | None) -> bool:
        """Whether the assertions and ``assumed`` exclude each other for this solver too; False,
        with a :attr:`reason`, where it gave no answer.

        Raises :class:`SolversDiffer` where it finds a model, and :class:`Interrupted` on Ctrl-C."""
        name = self._agreements.solver
        try:
            self._follow()
            literals = [self._terms.term(term) for term in assumed]
        except Untranslated as error:
            self.reason = f"{name} cannot be asked ({error})"
            return False
        answer = self._ask(literals, deadline)
        if answer.isSat():
            raise SolversDiffer(f"z3 excludes what {name} finds")
        if not answer.isUnsat():
            self.reason = f"{name} gave no second answer ({answer.getUnknownExplanation().name})"
            return False
        self._agreements.agreed += 1
        return True

    def _follow(self) -> None:
        """Give the solver what it does not have yet."""
        if self._solver is None:
            self._solver = self._terms.new_solver()
        for n, scope in enumerate(self._scopes):
            if n == len(self._known):
                self._solver.push()
                self._known.append(0)
            for term in scope[self._known[n] :]:
                self._solver.assertFormula(self._terms.term(term))
                self._known[n] += 1

    def _ask(self, literals: Sequence[Any], deadline: float | None) -> Any:
        """The answer; unknown once the deadline is over."""
        while True:
            left = SLICE if deadline is None else int((deadline - monotonic()) * 1000)
            self._solver.setOption("tlimit-per", str(max(min(left, SLICE), 1)))
            answer = self._solver.checkSatAssuming(*literals)
            if not answer.isUnknown() or answer.getUnknownExplanation().name != "TIMEOUT":
                return answer
            if stopping.is_stopped():
                raise Interrupted
            if left <= SLICE and deadline is not None:
                return answer


class Untranslated(Exception):
    """A term of z3 that is no Boolean, count of Booleans or sum of lengths."""


class _Translation:
    """Terms of z3 as terms of cvc5, each made once."""

    def __init__(self) -> None:
        import cvc5

        self._cvc5, self._kinds = cvc5, cvc5.Kind
        self._manager = cvc5.TermManager()
        # By z3's number of a term, which is its own while the term is kept here.
        self._made: dict[int, tuple[z3.AstRef, Any]] = {}
        kinds = self._kinds
        self._same: dict[int, Any] = {
            z3.Z3_OP_AND: kinds.AND,
            z3.Z3_OP_OR: kinds.OR,
            z3.Z3_OP_NOT: kinds.NOT,
            z3.Z3_OP_XOR: kinds.XOR,
            z3.Z3_OP_IMPLIES: kinds.IMPLIES,
            z3.Z3_OP_EQ: kinds.EQUAL,
            z3.Z3_OP_IFF: kinds.EQUAL,
            z3.Z3_OP_ITE: kinds.ITE,
        }
        self._of_lengths: dict[int, Any] = {
            z3.Z3_OP_ADD: kinds.ADD,
            z3.Z3_OP_LE: kinds.LEQ,
            z3.Z3_OP_LT: kinds.LT,
            z3.Z3_OP_GE: kinds.GEQ,
            z3.Z3_OP_GT: kinds.GT,
        }

    def new_solver(self) -> Any:
        solver = self._cvc5.Solver(self._manager)
        solver.setOption("incremental", "true")
        solver.setLogic("QF_LIRA")
        return solver

    def term(self, whole: z3.AstRef) -> Any:
        """Raises :class:`Untranslated`."""
        waiting = [whole]
        while waiting:
            term = waiting[-1]
            left = [part for part in term.children() if part.get_id() not in self._made]
            waiting += left
            if not left:
                waiting.pop()
                if term.get_id() not in self._made:
                    self._made[term.get_id()] = term, self._translated(term)
        return self._made[whole.get_id()][1]

    def _translated(self, term: z3.AstRef) -> Any:
        parts = [self._made[part.get_id()][1] for part in term.children()]
        kind = term.decl().kind()
        make = self._manager
        if kind in (z3.Z3_OP_TRUE, z3.Z3_OP_FALSE):
            return make.mkBoolean(kind == z3.Z3_OP_TRUE)
        if kind == z3.Z3_OP_UNINTERPRETED and z3.is_bool(term) and not parts:
            return make.mkConst(make.getBooleanSort(), term.decl().name())
        if kind == z3.Z3_OP_UNINTERPRETED and z3.is_real(term) and not parts:
            return make.mkConst(make.getRealSort(), term.decl().name())
        if z3.is_rational_value(term):
            return make.mkReal(str(term.as_fraction()))
        if kind in (z3.Z3_OP_AND, z3.Z3_OP_OR) and len(parts) < 2:
            return parts[0] if parts else make.mkBoolean(kind == z3.Z3_OP_AND)
        if kind in self._same and all(z3.is_bool(part) for part in term.children()):
            return make.mkTerm(self._same[kind], *parts)
        if kind in self._of_lengths and all(z3.is_real(part) for part in term.children()):
            return make.mkTerm(self._of_lengths[kind], *parts)
        if kind in (z3.Z3_OP_PB_AT_MOST, z3.Z3_OP_PB_AT_LEAST):
            return self._counted(kind == z3.Z3_OP_PB_AT_MOST, parts, term.decl().params()[0])
        raise Untranslated(f"it has no {term.decl().name()}")

    def _counted(self, at_most: bool, parts: Sequence[Any], limit: int) -> Any:
        """That at most, or at least, so many of the parts hold."""
        kinds, make = self._kinds, self._manager
        one, none = make.mkInteger(1), make.mkInteger(0)
        counts = [make.mkTerm(kinds.ITE, part, one, none) for part in parts]
        total = make.mkTerm(kinds.ADD, none, none, *counts)
        return make.mkTerm(kinds.LEQ if at_most else kinds.GEQ, total, make.mkInteger(limit))
