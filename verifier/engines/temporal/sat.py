"""A SAT solver over clauses of integers: the bit-level engines' own, since they ask very many very
small questions.

Literals are non-zero integers, as in the DIMACS format: ``-3`` is the negation of ``3``. It only
helps to propose invariants: z3 judges them (:mod:`verifier.engines.temporal.induction`).
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from time import monotonic

from pysat.solvers import Minisat22

from verifier.engines import stopping
from verifier.engines.results import Interrupted
from verifier.engines.session import listening

Clause = tuple[int, ...]

CONTRADICTION = "the SAT solver contradicted itself"
# The clock and Ctrl-C are looked at after so many conflicts.
CONFLICTS = 2000


class NoAnswer(Exception):
    """A question was not answered; the reason is its text."""


class Limit:
    """Until when an engine may work: to a deadline, that of all the work included, or until
    Ctrl-C."""

    def __init__(self) -> None:
        self._deadline: float | None = None
        self._pressed = False

    @contextmanager
    def until(self, deadline: float | None) -> Iterator[None]:
        """Work in here ends at ``deadline``, a time of :func:`time.monotonic`; None for no limit.
        The solvers of this limit are asked in here only."""
        self._deadline, self._pressed = stopping.deadline(deadline), False
        with listening(self):
            yield

    def interrupt(self) -> None:
        """Stop at the next check: Ctrl-C was pressed."""
        self._pressed = True

    def check(self) -> None:
        """Raises :class:`NoAnswer` when the time is over,
        :class:`~verifier.engines.results.Interrupted` after Ctrl-C."""
        if self._pressed:
            raise Interrupted
        if self._deadline is not None and monotonic() >= self._deadline:
            raise NoAnswer(stopping.late(self._deadline))
        stopping.check_memory()


class Sat:
    """A solver of ``clauses``, whose variables are 1 to ``variables``."""

    def __init__(self, clauses: Iterable[Sequence[int]], variables: int, limit: Limit):
        self._solver = Minisat22(bootstrap_with=clauses)
        self._limit = limit
        self.variables = variables
        self._assumed: Sequence[int] = ()
        # Add a clause. (Very many are: each call in between costs as much as the solver's own.)
        self.add: Callable[[Sequence[int]], object] = self._solver.add_clause

    def variable(self) -> int:
        """A new variable."""
        self.variables += 1
        return self.variables

    def solve(self, assumed: Sequence[int]) -> bool:
        """Whether the clauses and the assumed literals are satisfiable together.

        Raises as :meth:`Limit.check`."""
        while (found := self.solve_within(CONFLICTS, assumed)) is None:
            pass
        return found

    def solve_within(self, conflicts: int, assumed: Sequence[int]) -> bool | None:
        """The same; None when so many conflicts did not decide it.

        Raises as :meth:`Limit.check`."""
        self._limit.check()
        self._assumed = assumed
        try:
            self._solver.conf_budget(conflicts)
            found = self._solver.solve_limited(assumed, expect_interrupt=True)
        except (RuntimeError, ValueError, SystemError) as error:
            raise NoAnswer(f"the SAT solver failed ({error})") from error
        return None if found is None else bool(found)

    def core(self) -> frozenset[int]:
        """Assumed literals that are unsatisfiable together with the clauses, after "no"."""
        return frozenset(self._solver.get_core() or ())

    def model(self) -> list[int]:
        """After "yes": at position ``v - 1`` the literal of variable ``v`` that holds.

        Raises :class:`NoAnswer` where there is none, or one without an assumed literal: who
        believed it could ask the same again forever."""
        model = self._solver.get_model()
        if not model:
            raise NoAnswer(CONTRADICTION)
        # The solver leaves out the last variables if no clause speaks of them.
        whole = [*model, *range(-len(model) - 1, -self.variables - 1, -1)]
        if any(whole[abs(literal) - 1] != literal for literal in self._assumed):
            raise NoAnswer(CONTRADICTION)
        return whole

    def close(self) -> None:
        self._solver.delete()
