"""Why something never happens: clauses that last and leave no room for it.

In: a system, clauses believed to last, and what should never happen. Out: a proof, with as few
of the clauses as the solver needs; or that the clauses do not do.

Nothing is believed: the clauses of a proof were each found here to hold at the start and after
any moment at which the clauses of the proof hold, whoever gave them.
"""

from collections.abc import Iterable, Sequence

import z3

from verifier.engines.results import Lasts, Unknown
from verifier.engines.temporal.ic3 import Frames
from verifier.engines.temporal.simulation import samples_of
from verifier.engines.temporal.unroller import Unrolling
from verifier.logic.expr import Expr, negation
from verifier.logic.transition_system import System


def prove(
    system: System,
    bad: Expr,
    clauses: Sequence[Expr] = (),
    *,
    most_steps: int = 1,
    deadline: float | None = None,
    further: bool = True,
) -> Lasts | Unknown | None:
    """A proof that ``bad`` never happens; None when none was found. ``most_steps``: moments at
    once over which it may be shown. With ``further``, clauses are looked for that are not
    among those given.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    return _induction(system, tuple(clauses)).prove(bad, most_steps, deadline, further)


class GaveUp(Exception):
    """The solver did not answer."""


class NotLasting(Exception):
    """A clause given does not last."""


class Induction:
    """Proofs about one system from the same clauses."""

    def __init__(self, system: System, clauses: tuple[Expr, ...]):
        self.system = system
        self.given = clauses
        self._deadline: float | None = None
        self._clauses: list[Expr] = []
        self._start = Unrolling(system, start=True)
        self._solver = Unrolling(system, start=False)
        # Of clauses looked at: those that make it hold a moment later.
        self._makes: dict[int, frozenset[int]] = {}
        # What makes each clause hold at the first moment, and back.
        self._hold: list[z3.BoolRef] = []
        self._names: dict[int, int] = {}
        self._frames: Frames | None = None
        self._take(clauses)

    def prove(
        self, bad: Expr, most_steps: int, deadline: float | None, further: bool
    ) -> Lasts | Unknown | None:
        self._deadline = deadline
        if samples_of(self.system).holding(bad):
            return None
        try:
            for steps in range(1, most_steps + 1):
                proof = self._over(bad, steps)
                if proof is not None:
                    return proof
            if not further:
                return None
            if self._frames is None:
                self._frames = Frames(self.system, self.given, samples_of(self.system))
            found = self._frames.exclude(bad, deadline)
            if found is None or isinstance(found, Unknown):
                return found
            self._take(found)
            return self._over(bad, 1)
        except NotLasting:
            return None
        except GaveUp as error:
            return Unknown(str(error))

    def _take(self, clauses: Iterable[Expr]) -> None:
        known = set(self._clauses)
        for clause in clauses:
            if clause not in known:
                known.add(clause)
                hold = self._solver.name(clause, 0)
                self._names[hold.get_id()] = len(self._clauses)
                self._hold.append(hold)
                self._clauses.append(clause)

    # -------------------------------------------------------------- one proof

    def _over(self, bad: Expr, steps: int) -> Lasts | None:
        """A proof over so many moments at once."""
        solver, last = self._solver, steps - 1
        for step in range(last):
            if self._can_be(self._start, self._moment(self._start, bad, step)):
                return None
        free = [solver.name(negation(bad), step) for step in range(last)]
        needed = self._needed([*self._moment(solver, bad, last), *free], ())
        if needed is None:
            return None
        return Lasts(tuple(self._clauses[i] for i in sorted(self._closed(needed))), steps)

    def _closed(self, needed: frozenset[int]) -> frozenset[int]:
        """With all that makes these clauses last."""
        waiting, closed = sorted(needed, reverse=True), set(needed)
        while waiting:
            clause = waiting.pop()
            makes = self._makes.get(clause)
            if makes is None or not makes <= closed:
                makes = self._makes[clause] = self._what_makes(clause, closed)
            waiting += sorted(makes - closed, reverse=True)
            closed |= makes
        return frozenset(closed)

    def _what_makes(self, clause: int, known: Iterable[int]) -> frozenset[int]:
        """Clauses after which this one holds, known ones if they are enough."""
        broken = negation(self._clauses[clause])
        if self._can_be(self._start, self._moment(self._start, broken, 0)):
            raise NotLasting
        makes = self._needed(self._moment(self._solver, broken, 1), known)
        if makes is None:
            raise NotLasting
        return makes

    # -------------------------------------------------------------- the solver

    @staticmethod
    def _moment(solver: Unrolling, expr: Expr, step: int) -> list[z3.BoolRef]:
        """That a history may go on to a moment, and the expression holds then."""
        return [solver.name(expr, step), *solver.granted(*range(step + 1))]

    def _needed(self, given: Sequence[z3.BoolRef], known: Iterable[int]) -> frozenset[int] | None:
        """Clauses with which, at the first moment, what is given cannot be: known ones, or
        else of all; None when it can be with all."""
        solver = self._solver
        for allowed in (sorted(known), range(len(self._clauses))):
            names = [self._hold[i] for i in allowed]
            if not self._can_be(solver, [*given, *names]):
                core = solver.core()
                return frozenset(i for name, i in self._names.items() if name in core)
        return None

    def _can_be(self, solver: Unrolling, given: Sequence[z3.BoolRef]) -> bool:
        found = solver.check(given, self._deadline)
        if found is None:
            raise GaveUp(solver.reason)
        return found


_latest: list[Induction] = []


def _induction(system: System, clauses: tuple[Expr, ...]) -> Induction:
    """The last one asked is kept: questions about one system come one after the other."""
    if _latest and _latest[0].system is system and _latest[0].given == clauses:
        return _latest[0]
    _latest[:] = [Induction(system, clauses)]
    return _latest[0]
