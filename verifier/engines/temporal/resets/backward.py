"""Backward reachability by cubes: from which states of a system a goal is reachable (EF goal).

In: a system, an invariant of it, and a goal. Out: a *cover*: cubes of states, each with inputs with
which every state of the cube fulfills the goal or steps into an earlier cube.

While a state that is asked about is in no cube, a shortest path from it to the goal or into a cube
is found by unrolling. Then each state of the path is generalized, the last one first: its inputs
become as usual where they can, and of its literals only those are kept with which these inputs
still lead on (the system is deterministic, so an unsatisfiable core tells). One path makes cubes
for all states that come the same way; those found later are short, since they end in a cube. No
piece of track need be vacant for that, so it serves where trains can never leave.

A cover is a proposal: z3 judges every cube, and that no state is left out (:func:`accepted`).
(Z. Hassan, A. R. Bradley, F. Somenzi, "Incremental, inductive CTL model checking", CAV 2012; A. R.
Bradley, "SAT-based model checking without unrolling", VMCAI 2011, for lifting; from memory.)
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from verifier.engines.temporal.gates import TRUE
from verifier.engines.temporal.sat import CONTRADICTION, Clause, Limit, NoAnswer, Sat
from verifier.engines.temporal.transition_cnf import TransitionCnf
from verifier.engines.temporal.unrolled_cnf import UnrolledCnf
from verifier.engines.temporal.unroller import Unrolling
from verifier.logic.expr import Expr, atom, conjunction, holds
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

Moment = Mapping[Observable, str]


@dataclass(frozen=True, slots=True)
class Step:
    """In every state of the invariant in which ``cube`` holds, the ``inputs`` are allowed, and the
    goal holds or they lead into the cube of an earlier step."""

    cube: Expr
    inputs: Moment


class Cover:
    """The states of a system from which a goal is known to be reachable. States are asked about in
    which ``given`` can hold.

    Methods raise :class:`~verifier.engines.temporal.sat.NoAnswer` when time runs out."""

    def __init__(
        self,
        system: System,
        goal: Expr,
        invariant: Sequence[Expr],
        given: Sequence[Expr],
        limit: Limit,
    ):
        self.system = system
        self.steps: list[Step] = []
        free = {what: what.values for what in system.states}
        self._cnf = cnf = TransitionCnf(replace(system, initial=free, alike=()))
        self._goal = cnf.literal(goal)
        lasting = [(cnf.literal(expr),) for expr in invariant]
        asked = [(cnf.literal(expr),) for expr in given]
        self._open = Sat([*cnf.clauses, *lasting, *asked], cnf.variables, limit)
        self._lifting = Sat([*cnf.clauses, *lasting], cnf.variables, limit)
        self._paths = UnrolledCnf(cnf, limit)
        self._cubes: list[Clause] = []
        # The literals that a step is not allowed, and that it neither fulfills the goal nor leads
        # into a cube, or is not allowed.
        self._forbidden, self._misses = self._lifting.variable(), self._lifting.variable()
        self._lifting.add((-self._forbidden, *(-literal for literal in cnf.constraints)))
        self._lifting.add((-self._misses, self._forbidden, -self._goal))
        # By step: the literal that a path ends there, and the number of cubes it may end in.
        self._ends: dict[int, tuple[int, int]] = {}

    def exclude(self, clauses: Sequence[Expr]) -> None:
        """Ask no longer about states that falsify one of these clauses."""
        for expr in clauses:
            clause = self._cnf.clause_of(expr)
            if clause is not None:
                self._open.add(clause)

    def learn(self, invariant: Sequence[Expr]) -> None:
        """Take further clauses of the invariant."""
        self.exclude(invariant)
        for expr in invariant:
            clause = self._cnf.clause_of(expr)
            if clause is not None:
                self._lifting.add(clause)

    def uncovered(self) -> Moment | None:
        """A state that is asked about and in no cube; None when there is none."""
        if not self._open.solve([]):
            return None
        return self._cnf.valuation(self._open.model(), self.system.states)

    # -------------------------------------------------------------- paths

    def reach(self, state: Moment, longest: int) -> bool:
        """Cover a state from which the goal or a cube is at most so many steps away. Whether it
        is."""
        cnf, paths = self._cnf, self._paths
        assumed = [paths.literal(bit, 0) for bit in self._literals(state)]
        for length in range(longest + 1):
            if paths.solver.solve([*assumed, self._end(length)]):
                model = paths.solver.model()
                self.follow([self._moment(model, step) for step in range(length + 1)])
                return True
            assumed += [paths.literal(constraint, length) for constraint in cnf.constraints]
        return False

    def follow(self, path: Sequence[Moment]) -> None:
        """Cover the states of a path that ends in the goal or in a cube."""
        way = list(path)
        for step, moment in enumerate(way):
            if self._is_covered(moment):
                del way[step:]
                break
        for moment in reversed(way):
            self._add(moment)

    def _end(self, step: int) -> int:
        """A literal that a path is at the goal or in a cube at this step."""
        paths = self._paths
        end, known = self._ends.get(step, (0, -1))
        if known < 0:
            at_goal = paths.solver.variable()
            for literal in (self._goal, *self._cnf.constraints):
                paths.solver.add((-at_goal, paths.literal(literal, step)))
            end, known = at_goal, 0
        ways = [end]
        for cube in self._cubes[known:]:
            inside = paths.solver.variable()
            for literal in cube:
                paths.solver.add((-inside, paths.literal(literal, step)))
            ways.append(inside)
        if len(ways) > 1:
            end = paths.solver.variable()
            paths.solver.add((-end, *ways))
        self._ends[step] = end, len(self._cubes)
        return end

    def _moment(self, model: Sequence[int], step: int) -> Moment:
        return {
            what: next(
                (v for v in what.values if self._is_so(self._cnf.bit(what, v), step, model)),
                what.usual,
            )
            for what in (*self.system.states, *self.system.inputs)
        }

    def _is_so(self, bit: int, step: int, model: Sequence[int]) -> bool:
        literal = self._paths.literal(bit, step)
        if abs(literal) == TRUE or abs(literal) > len(model):
            return literal == TRUE
        return model[abs(literal) - 1] == literal

    # -------------------------------------------------------------- cubes

    def _literals(self, moment: Moment) -> list[int]:
        """The bits of a state."""
        return [bit if holds(self._cnf.atom(bit), moment) else -bit for bit in self._cnf.state_bits]

    def _is_covered(self, moment: Moment) -> bool:
        """Whether a state is in a cube."""
        here = set(self._literals(moment))
        return any(here.issuperset(cube) for cube in self._cubes)

    def _add(self, moment: Moment) -> None:
        """The cube of all states from which the inputs of a moment, or more usual ones, lead on."""
        cnf = self._cnf
        state = self._literals(moment)
        inputs = {w: moment[w] for w in self.system.inputs}
        for what in self.system.inputs:
            if inputs[what] != what.usual:
                fewer = {**inputs, what: what.usual}
                asked = [cnf.bit(w, v) for w, v in fewer.items()]
                if not self._lifting.solve([self._misses, *asked, *state]):
                    inputs = fewer
        asked = [self._misses, *(cnf.bit(w, v) for w, v in inputs.items())]
        if self._lifting.solve([*asked, *state]):
            raise NoAnswer(CONTRADICTION)
        core = self._lifting.core()
        cube = [literal for literal in state if literal in core]
        for literal in tuple(cube):
            fewer_literals = [at for at in cube if at != literal]
            if literal in cube and not self._lifting.solve([*asked, *fewer_literals]):
                core = self._lifting.core()
                cube = [at for at in fewer_literals if at in core]
        self._cubes.append(tuple(cube))
        after = (-cnf.next(literal) for literal in cube)
        self._lifting.add((-self._misses, self._forbidden, *after))
        self._open.add([-literal for literal in cube])
        self.steps.append(Step(conjunction(*map(cnf.atom, cube)), inputs))


def accepted(
    system: System,
    goal: Expr,
    invariant: Sequence[Expr],
    given: Sequence[Expr],
    steps: Sequence[Step],
    deadline: float | None,
) -> bool:
    """Whether z3 finds that each cube leads on, and that every state of the invariant in which what
    is given holds is in one of them."""
    solver = Unrolling(system, start=False)
    solver.add(*(solver.term(expr, 0) for expr in invariant))
    forbidden = solver.any_of([solver.no(solver.term(expr, 0)) for expr in system.always])
    solver.add(solver.any_of([forbidden, solver.no(solver.term(goal, 0))]))
    for step in steps:
        chosen = (solver.literal(atom(w, v), 0) for w, v in step.inputs.items())
        if solver.check([solver.literal(step.cube, 0), *chosen], deadline) is not False:
            return False
        solver.add(solver.any_of([forbidden, solver.no(solver.term(step.cube, 1))]))
    last = Unrolling(system, start=False)
    last.add(*(last.term(expr, 0) for expr in (*invariant, *given)))
    last.add(*(last.no(last.term(step.cube, 0)) for step in steps))
    return last.check([], deadline) is False
