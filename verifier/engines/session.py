"""One z3 solver with its terms, queries, models and cores.

Every engine uses z3 through a :class:`Session`, so that a time limit, Ctrl-C, a lack of memory
and "unknown" are handled in one place, and none of them can look like "no".

z3's own handler for Ctrl-C is off: a key pressed just as a check ends would be lost in it.
Python's handlers run only between two instructions of Python, never during a check, so a
listening thread stops the check; then Python's handler runs as it would anywhere else.
"""

import os
import signal
import socket
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext, suppress
from functools import lru_cache
from time import monotonic, sleep
from typing import Any

import z3
from z3 import z3core

from verifier.engines import stopping
from verifier.engines.results import Interrupted
from verifier.engines.second_solver import second_solver
from verifier.engines.terms import Terms, packed
from verifier.logic.expr import And, Atom, Const, Expr, fold

# A time limit may be noticed so many seconds early: the solver counts in whole milliseconds.
TOLERANCE = 0.01

_contexts: list[z3.Context] = []


def fresh_context() -> None:
    """Sessions made from now on share nothing with earlier ones.

    Which model z3 finds depends on the terms that its context has seen. Called before a plan's
    histories are proved, so that results do not depend on what was proved before."""
    _contexts[:] = [z3.Context()]


def _current_context() -> z3.Context:
    return _contexts[0] if _contexts else z3.main_ctx()


class Session:
    """A solver. ``logic`` as SMT-LIB names it, or None for the incremental SMT core;
    ``options`` are the solver's own."""

    def __init__(
        self, logic: str | None = None, context: z3.Context | None = None, **options: object
    ):
        self.context = context or _current_context()
        self.solver: Any = (
            z3.SolverFor(logic, self.context) if logic else z3.SimpleSolver(self.context)
        )
        self.solver.set("ctrl_c", False)
        for option, value in options.items():
            self.solver.set(option, value)
        self._make = Terms(self.context)
        self.true, self.false = (z3.BoolVal(value, self.context) for value in (True, False))
        # Why the last query had no answer.
        self.reason = ""
        self._declared: dict[int, z3.FuncDeclRef] = {}
        self._fresh = 0
        self._model: z3.ModelRef | None = None
        self._has_model = False
        self._second = second_solver()

    # -------------------------------------------------------------- terms

    def boolean(self, name: str) -> z3.BoolRef:
        """The Boolean variable of this name."""
        return self._make.boolean(name)

    def fresh(self, about: str = "case") -> z3.BoolRef:
        """A new Boolean variable."""
        self._fresh += 1
        return self.boolean(f"{about} #{self._fresh}")

    def all_of(self, parts: Sequence[z3.BoolRef]) -> z3.BoolRef:
        """The conjunction."""
        kept = []
        for part in parts:
            if part is self.false:
                return part
            if part is not self.true:
                kept.append(part)
        return self._make.conjunction(kept) if kept else self.true

    def any_of(self, parts: Sequence[z3.BoolRef]) -> z3.BoolRef:
        """The disjunction."""
        kept = []
        for part in parts:
            if part is self.true:
                return part
            if part is not self.false:
                kept.append(part)
        return self._make.disjunction(kept) if kept else self.false

    def no(self, term: z3.BoolRef) -> z3.BoolRef:
        """The negation."""
        if term is self.true:
            return self.false
        if term is self.false:
            return self.true
        return self._make.negation(term)

    def iff(self, one: z3.BoolRef, other: z3.BoolRef) -> z3.BoolRef:
        """Both hold or neither."""
        return self._make.equivalence(one, other)

    def encode(
        self, expr: Expr, of_atom: Callable[[Atom], z3.BoolRef], known: dict[Expr, z3.BoolRef]
    ) -> z3.BoolRef:
        """The term of an expression, given those of its atoms. ``known``: terms encoded before
        with the same ``of_atom``; added to."""

        def step(node: Expr, parts: Sequence[z3.BoolRef]) -> z3.BoolRef:
            match node:
                case Const(value=value):
                    return self.true if value else self.false
                case Atom():
                    return of_atom(node)
                case And():
                    return self.all_of(parts)
                case _:
                    return self.any_of(parts)

        return fold(expr, step, known)

    # -------------------------------------------------------------- assertions

    def add(self, *terms: z3.BoolRef) -> None:
        """Assert terms (after :meth:`push`, until the matching :meth:`pop`). A model that
        was not read yet is lost."""
        self._make.require(self.solver, terms)
        if self._second is not None:
            self._second.add(terms)

    def push(self) -> None:
        """Begin a scope."""
        self.solver.push()
        if self._second is not None:
            self._second.push()

    def pop(self) -> None:
        """End a scope; the last model is kept."""
        self._fetch_model()
        self.solver.pop()
        if self._second is not None:
            self._second.pop()

    def named(self, term: z3.BoolRef) -> z3.BoolRef:
        """An assumption literal: given to :meth:`check`, it makes the term hold."""
        name = self.fresh()
        self.add(self.any_of([self.no(name), term]))
        return name

    # -------------------------------------------------------------- queries

    def check(
        self, assumed: Iterable[z3.BoolRef] = (), deadline: float | None = None
    ) -> bool | None:
        """Whether the assertions and ``assumed`` are satisfiable together; None, with a
        :attr:`reason`, when that is not known. Where each proof is asked twice, a "no" is that of
        both solvers.

        Raises :class:`Interrupted` on Ctrl-C."""
        self._model, self._has_model = None, False
        deadline = stopping.deadline(deadline)
        if deadline is not None:
            left = int((deadline - monotonic()) * 1000)
            if left <= 0:
                self.reason = stopping.late(deadline)
                return None
            self.solver.set("timeout", left)
        literals = list(assumed)
        with listening(self.solver) as listener:
            try:
                found = self._ask(literals)
                why = "" if found else str(self.solver.reason_unknown())
            except z3.Z3Exception as error:
                found, why = z3core.Z3_L_UNDEF, str(error)
        twice = self._second if found == z3core.Z3_L_FALSE else None
        if twice is not None and not twice.confirms(literals, deadline):
            self.reason = twice.reason
            return None
        if found != z3core.Z3_L_UNDEF:
            self._has_model = found == z3core.Z3_L_TRUE
            return self._has_model
        if listener.pressed:
            raise Interrupted
        late = deadline is not None and monotonic() >= deadline - TOLERANCE
        self.reason = stopping.late(deadline) if late else f"the solver gave up ({why})"
        return None

    def _ask(self, assumed: Sequence[z3.BoolRef]) -> int:
        """The solver's own answer, without the library's sort check of the assumptions."""
        array = (z3.Ast * len(assumed)).from_buffer_copy(packed(assumed))
        ask = z3core.Z3_solver_check_assumptions
        return int(ask(self.context.ref(), self.solver.solver, len(assumed), array))

    def core(self) -> frozenset[int]:
        """The ids of the assumed terms in the unsatisfiable core of the last check."""
        context = self.context.ref()
        found = self.solver.unsat_core()
        return frozenset(
            z3core.Z3_get_ast_id(context, z3core.Z3_ast_vector_get(context, found.vector, i))
            for i in range(len(found))
        )

    # -------------------------------------------------------------- models

    def _fetch_model(self) -> None:
        """A model takes longer to build than to find: it is built when read, or before a
        :meth:`pop` loses it."""
        if self._has_model and self._model is None:
            self._model = self.solver.model()

    @property
    def model(self) -> z3.ModelRef:
        """The model of the last check that found one."""
        self._fetch_model()
        assert self._model is not None
        return self._model

    def is_so(self, bit: z3.BoolRef) -> bool:
        """Whether a Boolean variable holds in the last model; False where the model leaves it
        open."""
        if bit is self.true or bit is self.false:
            return bit is self.true
        key = bit.get_id()
        declared = self._declared.get(key)
        if declared is None:
            declared = self._declared[key] = bit.decl()
        meant = z3core.Z3_model_get_const_interp(self.context.ref(), self.model.model, declared.ast)
        return bool(meant.value == self.true.as_ast().value)


# ------------------------------------------------------------------ Ctrl-C


class _Listener:
    """A thread that stops the running check when Ctrl-C is pressed."""

    def __init__(self) -> None:
        self._received, self._signals = socket.socketpair()
        self._signals.setblocking(False)
        self._lock = threading.Lock()
        # The solver at work, and how many checks there were.
        self._solver: Any = None
        self._checks = 0
        self.pressed = False
        threading.Thread(target=self._listen, daemon=True, name="Ctrl-C").start()

    def _listen(self) -> None:
        while numbers := self._received.recv(64):
            if any(number in numbers for number in stopping.ENDING):
                self.pressed = True
                # The check that is to stop may not have begun yet.
                this = self._checks
                while self._stop(this):
                    sleep(0.005)

    def _stop(self, this: int) -> bool:
        """Ask a check to stop; whether it is still at work."""
        with self._lock:
            at_work = self._checks == this and self._solver is not None
            if at_work:
                with suppress(z3.Z3Exception):  # an error of the thread that is being stopped
                    self._solver.interrupt()
            return at_work

    @contextmanager
    def during(self, solver: Any) -> Iterator["_Listener"]:
        """While the solver works in here, Ctrl-C stops it."""
        with self._lock:
            self.pressed, self._solver = False, solver
            self._checks += 1
        before = signal.set_wakeup_fd(self._signals.fileno(), warn_on_full_buffer=False)
        try:
            yield self
        finally:
            signal.set_wakeup_fd(before)
            with self._lock:
                self._solver = None


class _NoListener:
    """For threads other than the main one, where Python delivers no signals."""

    pressed = False


@lru_cache(maxsize=1)
def _listener(_process: int) -> _Listener:
    """One for each process: a thread does not survive a fork."""
    return _Listener()


def listening(solver: Any) -> AbstractContextManager[_Listener | _NoListener]:
    """While in here, Ctrl-C calls the ``interrupt`` method of ``solver``, again and again until it
    leaves; :attr:`pressed` says so afterward. Other threads than the main one are not stopped."""
    if threading.current_thread() is threading.main_thread():
        return _listener(os.getpid()).during(solver)
    return nullcontext(_NoListener())
