"""IC3: clauses that exclude a bad state, found backward from it without unrolling.

In: a system, an inductive invariant of it, and a bad state. Out: further clauses, inductive
together with the invariant, that exclude the bad state; or Unknown, also where a start seems to
lead there (bounded model checking finds traces).

Frame k is a set of clauses that hold in every state reachable in at most k steps. A cube that
leads to the bad state is blocked in a frame by the negation of a generalized subcube, inductive
relative to the frame before; when two neighboring frames are equal, their clauses are inductive.
Frames do not depend on the bad state, so all properties of a system share them. No clause is
tried that a sample falsifies. (A. R. Bradley, "SAT-based model checking without unrolling",
VMCAI 2011; from memory.)

Trusted by nobody: :mod:`verifier.engines.temporal.induction` checks the clauses from scratch.
"""

from collections.abc import Mapping, Sequence
from heapq import heappop, heappush
from itertools import count

import z3

from verifier.engines.results import Unknown
from verifier.engines.temporal.simulation import Machine, Samples
from verifier.engines.temporal.unroller import Unrolling
from verifier.logic.expr import Atom, Expr, atom, conjunction, disjunction, negation, support
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

# Solver queries for one bad state before it is given up.
MOST_QUESTIONS = 3000

# A conjunction of literals; here a literal allows a set of values of one state.
Cube = tuple[Atom, ...]


SEEMS_REACHABLE = Unknown("a start seems to lead there", final=True)
TOO_MANY = Unknown(f"no invariant was found in {MOST_QUESTIONS} questions", final=True)


class _LeadsFromStart(Exception):
    """An initial or sampled state is in the cube to be blocked."""


class _OutOfQuestions(Exception):
    """The solver did not answer, or the query limit was reached."""


class Frames:
    """The frames of one system."""

    def __init__(self, system: System, known: Sequence[Expr], samples: Samples):
        self.system = system
        self._samples = samples
        self._machine = Machine(system)
        self._solver = Unrolling(system, start=False)
        self._solver.add(*self._solver.constraints(0))
        self._solver.add(*(self._solver.term(clause, 0) for clause in known))
        starts = [self._solver.term(atom(w, *system.initial[w]), 0) for w in system.states]
        # By frame: the blocked cubes of that frame and no later one; the literal that activates
        # their clauses in the solver.
        self._clauses: list[dict[Cube, None]] = [{}, {}]
        self._names: list[z3.BoolRef] = [
            self._solver.named(self._solver.all_of(starts)),
            self._solver.fresh("frame"),
        ]
        # Blocked cubes whose clauses are inductive: the last frame.
        self._inductive: dict[Cube, None] = {}
        # The predecessor of a cube, in the last model.
        self._before: Mapping[Observable, str] = {}
        self._deadline: float | None = None
        self._left = 0

    def exclude(self, bad: Expr, deadline: float | None) -> tuple[Expr, ...] | Unknown:
        """Clauses, inductive together, that exclude ``bad``; final Unknown when it seems
        reachable, or after too many questions."""
        self._deadline, self._left = deadline, MOST_QUESTIONS
        asked = self._solver.literal(bad, 0)
        frame = 0
        try:
            if self._ask([*self._frame(0), asked]):
                return SEEMS_REACHABLE
            while self._ask([asked]):
                frame += 1
                self._reach(frame)
                while self._ask([*self._frame(frame), asked]):
                    self._block(self._lifted(self._now(), bad), frame)
                self._push(frame)
            return tuple(_clause(cube) for cube in self._inductive)
        except _LeadsFromStart:
            return SEEMS_REACHABLE
        except _OutOfQuestions:
            return TOO_MANY if self._left <= 0 else Unknown(self._solver.reason)

    # -------------------------------------------------------------- the solver

    def _ask(self, given: Sequence[z3.BoolRef]) -> bool:
        self._left -= 1
        found = self._solver.check(given, self._deadline) if self._left > 0 else None
        if found is None:
            raise _OutOfQuestions
        return found

    def _frame(self, index: int) -> list[z3.BoolRef]:
        """The literals that activate a frame. Frame 0 is the initial states."""
        return self._names[:1] if index == 0 else self._names[index:]

    def _now(self) -> Mapping[Observable, str]:
        return self._solver.valuation(0, (*self.system.states, *self.system.inputs))

    def _follows(self, cube: Cube, frame: int, *, keep: bool = False) -> tuple[bool, Cube]:
        """Whether the cube has a predecessor outside of itself in the frame; if not, the subcube
        in the unsatisfiable core. ``keep``: keep that predecessor."""
        solver = self._solver
        outside = solver.named(solver.term(_clause(cube), 0))
        parts = {solver.literal(part, 1).get_id(): part for part in cube}
        names = (solver.literal(part, 1) for part in cube)
        follows = self._ask([*self._frame(frame), outside, *solver.constraints(1), *names])
        core = cube
        if follows and keep:
            self._before = self._now()
        elif not follows:
            needed = solver.core()
            core = tuple(part for name, part in parts.items() if name in needed)
        solver.add(solver.no(outside))
        return follows, core

    # -------------------------------------------------------------- blocking

    def _block(self, cube: Cube, frame: int) -> None:
        """Block the cube in a frame, and its predecessors in the frames before."""
        order = count()
        waiting = [(frame, next(order), cube)]
        while waiting:
            at, _, cube = heappop(waiting)
            if at == 0 or self._meets_initial(cube) or self._is_sampled(cube):
                raise _LeadsFromStart
            if self._is_excluded(cube, at):
                continue
            follows, core = self._follows(cube, at - 1, keep=True)
            if follows:
                before = self._lifted(self._before, self._primed(cube))
                heappush(waiting, (at - 1, next(order), before))
                heappush(waiting, (at, next(order), cube))
                continue
            short = self._generalized(self._without_initial(core, cube), at - 1)
            while at < frame and not self._follows(short, at)[0]:
                at += 1
            self._add(short, at)
            if at < frame:
                heappush(waiting, (at + 1, next(order), cube))

    def _is_excluded(self, cube: Cube, at: int) -> bool:
        parts = {part.what: frozenset(part.values) for part in cube}
        known = (self._inductive, *self._clauses[at:])
        return any(
            all(p.what in parts and parts[p.what].issubset(p.values) for p in other)
            for cubes in known
            for other in cubes
        )

    def _add(self, cube: Cube, at: int) -> None:
        """Block the cube up to this frame."""
        self._reach(at)
        whole = frozenset(cube)
        for clauses in self._clauses[1 : at + 1]:
            for known in [k for k in clauses if whole.issubset(k)]:
                del clauses[known]
        self._clauses[at][cube] = None
        solver = self._solver
        solver.add(solver.any_of([solver.no(self._names[at]), solver.term(_clause(cube), 0)]))

    def _reach(self, frame: int) -> None:
        while len(self._clauses) <= frame:
            self._clauses.append({})
            self._names.append(self._solver.fresh("frame"))

    def _push(self, last: int) -> None:
        """Propagate clauses to the next frame where they are inductive relative to their own."""
        for at in range(1, last + 1):
            for cube in list(self._clauses[at]):
                if cube in self._clauses[at] and not self._follows(cube, at)[0]:
                    del self._clauses[at][cube]
                    self._add(cube, at + 1)
            if not self._clauses[at]:
                self._close(at + 1)
                return

    def _close(self, frame: int) -> None:
        """The frame equals the one before: its clauses are inductive."""
        for clauses in self._clauses[frame:]:
            for cube in clauses:
                self._inductive[cube] = None
                self._solver.add(self._solver.term(_clause(cube), 0))
            clauses.clear()

    # -------------------------------------------------------------- cubes

    def _meets_initial(self, cube: Cube) -> bool:
        initial = self.system.initial
        return all(not set(part.values).isdisjoint(initial[part.what]) for part in cube)

    def _is_sampled(self, cube: Cube) -> bool:
        cases = self._samples.reached
        for part in cube:
            cases &= self._samples.holding(part)
            if not cases:
                return False
        return True

    def _without_initial(self, core: Cube, cube: Cube) -> Cube:
        """The core, with a literal of the cube that excludes every initial state."""
        if not self._meets_initial(core):
            return core
        return (*core, next(part for part in cube if not self._meets_initial((part,))))

    def _generalized(self, cube: Cube, frame: int) -> Cube:
        """Generalize: a smaller subcube that has no predecessor in the frame either."""
        for part in cube:
            if part in cube and len(cube) > 1:
                cube = self._tried(tuple(p for p in cube if p is not part), cube, frame)
        for part in cube:
            if part in cube and len(part.what.values) > 2:
                cube = self._widened(cube, part, frame)
        return cube

    def _widened(self, cube: Cube, part: Atom, frame: int) -> Cube:
        """The cube with more values in one literal: all that no sample has, or else as many as
        possible, by halving."""
        rest = tuple(p for p in cube if p is not part)
        waiting = [[v for v in part.what.values if v not in part.values]]
        while waiting:
            more = [v for v in waiting.pop() if not self._is_met((*rest, atom(part.what, v)))]
            if not more:
                continue
            wide = atom(part.what, *part.values, *more)
            follows, core, trial = True, cube, cube
            if isinstance(wide, Atom):
                trial = (*rest, wide)
                follows, core = self._follows(trial, frame)
            if not follows and len(core) < len(trial):
                return self._without_initial(core, trial)
            if not follows and isinstance(wide, Atom):
                part = wide
            elif len(more) > 1:
                half = len(more) // 2
                waiting += [more[half:], more[:half]]
        return (*rest, part)

    def _is_met(self, cube: Sequence[Expr]) -> bool:
        """Whether a sample or an initial state is in the cube."""
        parts = tuple(p for p in cube if isinstance(p, Atom))
        return self._meets_initial(parts) or self._is_sampled(parts)

    def _tried(self, trial: Cube, cube: Cube, frame: int) -> Cube:
        """The core of the trial if it has no predecessor; else the cube as it was."""
        if self._is_met(trial):
            return cube
        follows, core = self._follows(trial, frame)
        return cube if follows else self._without_initial(core, trial)

    # -------------------------------------------------------------- predecessors

    def _primed(self, cube: Cube) -> Expr:
        following = self.system.following
        return conjunction(*(disjunction(*(following[p.what][v] for v in p.values)) for p in cube))

    def _lifted(self, moment: Mapping[Observable, str], target: Expr) -> Cube:
        """Lift a valuation: the states of it that suffice, with its inputs, for the target and the
        constraints to hold. Expressions are monotone in the values' bits (there is no "not"), so
        one that holds with no value of a state set holds with any. All trials are evaluated at
        once, one lane each."""
        targets = (target, *self.system.always)
        slots = [self._machine.slot(expr) for expr in targets]
        part = self._machine.cone(slots)
        about = {what for expr in targets for what in support(expr)}
        chosen = {what: moment[what] for what in self.system.inputs if what in about}
        kept = [what for what in self.system.states if what in about]
        needed: list[Observable] = []
        while kept:
            # Lane 0 frees no state, each further lane one state more than the last.
            every = (2 << len(kept)) - 1
            values = self._machine.blank(every)
            self._machine.set(values, chosen)
            self._machine.set(values, {what: moment[what] for what in needed})
            for i, what in enumerate(kept):
                self._machine.put(values, what, moment[what], (2 << i) - 1)
            self._machine.evaluate(values, part)
            enough = every
            for slot in slots:
                enough &= values[slot]
            gone = 0
            while enough >> (gone + 1) & 1:
                gone += 1
            needed += kept[gone : gone + 1]
            kept = kept[gone + 1 :]
        parts = (atom(what, moment[what]) for what in needed)
        return tuple(p for p in parts if isinstance(p, Atom))


def _clause(cube: Cube) -> Expr:
    return disjunction(*(negation(part) for part in cube))
