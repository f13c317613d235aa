"""k-induction, strengthened by an inductive invariant.

In: a system, clauses proposed as inductive, and a bad state. Out: a proof from as few of the
clauses as the solver's cores leave; or that these clauses do not prove it.

Soundness: whoever proposes a clause (Houdini, IC3, another engine), every clause of a
proof is checked here: it holds at the start, and after each moment at which the clauses of the
proof hold. Only what :func:`prove` returns is a proof.
"""

from collections.abc import Iterable, Sequence

import z3

from verifier.engines.results import Unknown, Unreachable
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
) -> Unreachable | Unknown:
    """A proof that ``bad`` is unreachable, by k-induction with k up to ``most_steps``; final
    Unknown when there is none. With ``further``, IC3 looks for clauses beyond those given.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    return _induction(system, tuple(clauses)).prove(bad, most_steps, deadline, further)


NOT_PROVED = Unknown("no inductive invariant was found", final=True)


class SolverGaveUp(Exception):
    """The solver did not answer."""


class NotInductive(Exception):
    """A clause given is not inductive relative to the others."""


class KInduction:
    """Proofs about one system from the same clauses, with one solver each for the start and
    for a step."""

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
    ) -> Unreachable | Unknown:
        """See :func:`prove`."""
        self._deadline = deadline
        if samples_of(self.system).holding(bad):
            return Unknown("a simulated history reaches it", final=True)
        try:
            for steps in range(1, most_steps + 1):
                proof = self._over(bad, steps)
                if proof is not None:
                    return proof
            if not further:
                return NOT_PROVED
            if self._frames is None:
                self._frames = Frames(self.system, self.given, samples_of(self.system))
            found = self._frames.exclude(bad, deadline)
            if isinstance(found, Unknown):
                return found
            self._take(found)
            return self._over(bad, 1) or NOT_PROVED
        except NotInductive:
            return NOT_PROVED
        except SolverGaveUp as error:
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

    def _over(self, bad: Expr, steps: int) -> Unreachable | None:
        """A proof over so many moments at once."""
        solver, last = self._solver, steps - 1
        for step in range(last):
            if self._can_be(self._start, self._moment(self._start, bad, step)):
                return None
        free = [solver.name(negation(bad), step) for step in range(last)]
        needed = self._needed([*self._moment(solver, bad, last), *free], ())
        if needed is None:
            return None
        return Unreachable(tuple(self._clauses[i] for i in sorted(self._closed(needed))), steps)

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
            raise NotInductive
        makes = self._needed(self._moment(self._solver, broken, 1), known)
        if makes is None:
            raise NotInductive
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
            raise SolverGaveUp(solver.reason)
        return found


_latest: list[KInduction] = []


def _induction(system: System, clauses: tuple[Expr, ...]) -> KInduction:
    """The last one asked is kept: questions about one system come one after the other."""
    if _latest and _latest[0].system is system and _latest[0].given == clauses:
        return _latest[0]
    _latest[:] = [KInduction(system, clauses)]
    return _latest[0]
