"""Excluding states that cannot be reached, by clauses that are inductive relative to an invariant.

In: a window, an invariant of the whole system, and a state. Out: clauses that exclude the state and
are inductive together with the invariant, or that none were found in a few steps back.

As in property-directed reachability, but with a single frame that has no end: what precedes a state
is excluded before it. That decides less, and costs one small question for each literal.

It only proposes; :func:`is_inductive` lets z3 judge.
"""

from collections.abc import Mapping, Sequence

from verifier.engines.temporal.gates import TRUE
from verifier.engines.temporal.sat import Clause, Limit, Sat
from verifier.engines.temporal.transition_cnf import TransitionCnf
from verifier.engines.temporal.unroller import Unrolling
from verifier.logic.expr import Expr, negation
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

# Predecessors of one state that are excluded in turn.
PREDECESSORS = 5


class Exclusion:
    """Excludes states of one window."""

    def __init__(self, system: System, invariant: Sequence[Expr], limit: Limit):
        self._cnf = TransitionCnf(system)
        lasting = [self._cnf.literal(expr) for expr in invariant]
        self._sat = Sat(self._cnf.clauses, self._cnf.variables, limit)
        for literal in (*lasting, *self._cnf.constraints):
            self._sat.add((literal,))
        self._found: list[Expr] = []
        self._left = 0

    def exclude(self, state: Mapping[Observable, str], back: int) -> tuple[Expr, ...] | None:
        """Clauses that exclude a state, found by going back so many steps from it; None where that
        did not suffice."""
        self._left = PREDECESSORS * (back + 1)
        bits = (self._cnf.bit(w, state[w]) for w in self._cnf.system.states)
        if not self._excluded(tuple(b for b in dict.fromkeys(bits) if abs(b) != TRUE), back):
            return None
        # Those of attempts that failed included, which the others may rest on.
        found, self._found = tuple(self._found), []
        return found

    def _excluded(self, cube: Clause, steps: int) -> bool:
        while self._left > 0:
            self._left -= 1
            if not self._avoids_start(cube):
                return False
            wider = self._widened(cube)
            if wider is not None:
                self._learn(self._shortened(wider))
                return True
            if self._inductive(cube) is not None:
                return True
            if steps == 0 or not self._excluded(self._before(cube), steps - 1):
                return False
        return False

    def _widened(self, cube: Clause) -> Clause | None:
        """The smallest cube around this one that no other state steps into, if there is one: what
        precedes a cube and is outside of it is taken in."""
        while self._avoids_start(cube):
            core = self._inductive(cube)
            if core is not None:
                return core
            model = self._sat.model()
            cube = tuple(literal for literal in cube if model[abs(literal) - 1] == literal)
        return None

    def _before(self, cube: Clause) -> Clause:
        """Of the state in the last model, literals from which the same inputs lead into the
        cube."""
        model, chosen = self._sat.model(), self._sat.variable()
        before = [model[bit - 1] for bit in self._cnf.state_bits]
        inputs = [model[bit - 1] for bit in self._cnf.input_bits]
        self._sat.add((-chosen, *(-self._cnf.next(literal) for literal in cube)))
        core = frozenset(before)
        if not self._sat.solve([chosen, *inputs, *before]):
            core = self._sat.core()
        self._sat.add((-chosen,))
        return tuple(literal for literal in before if literal in core)

    def _avoids_start(self, cube: Clause) -> bool:
        return any(self._cnf.initial.get(abs(literal)) == -literal for literal in cube)

    def _inductive(self, cube: Clause) -> Clause | None:
        """Of a cube that no other state steps into, literals that suffice for that; else None."""
        chosen = self._sat.variable()
        self._sat.add((-chosen, *(-literal for literal in cube)))
        after = {self._cnf.next(literal): literal for literal in cube}
        if -TRUE in after:
            return self._with_start((after[-TRUE],), cube)
        if self._sat.solve([chosen, *after]):
            return None
        core = self._sat.core()
        return self._with_start(tuple(at for n, at in after.items() if n in core), cube)

    def _with_start(self, core: Clause, cube: Clause) -> Clause:
        """The core, with a literal that no initial state has."""
        if self._avoids_start(core):
            return core
        return (*core, next(at for at in cube if self._avoids_start((at,))))

    def _shortened(self, cube: Clause) -> Clause:
        """Without literals that can be done without."""
        for literal in cube:
            fewer = tuple(at for at in cube if at != literal)
            if literal in cube and self._avoids_start(fewer):
                cube = self._inductive(fewer) or cube
        return cube

    def _learn(self, cube: Clause) -> None:
        self._sat.add([-literal for literal in cube])
        self._found.append(self._cnf.clause(-literal for literal in cube))


def is_inductive(
    system: System, invariant: Sequence[Expr], clauses: Sequence[Expr], deadline: float | None
) -> bool:
    """Whether z3 finds that the clauses hold at the start, and after each step from a state in
    which they and the invariant hold."""
    if not clauses:
        return True
    start, step = Unrolling(system, start=True), Unrolling(system, start=False)
    step.add(*(step.term(expr, 0) for expr in (*invariant, *clauses, *system.always)))
    for clause in clauses:
        violated = negation(clause)
        if start.check([start.literal(violated, 0)], deadline) is not False:
            return False
        if step.check([step.literal(violated, 1)], deadline) is not False:
            return False
    return True
