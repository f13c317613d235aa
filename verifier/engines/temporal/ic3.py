"""Reasons why one thing never happens, looked for from that thing backward.

In: a system, clauses known to last in it, and what is asked about. Out: further clauses that
last and leave no room for it; or that it can come about as far as this engine can see.

For each number of moments there is a *frame*: clauses that hold in every history up to that
moment. A moment that leads to what is asked is excluded from a frame by a clause as short as
can be that holds a moment after any the frame before allows; once a frame says no less than
the next one, what it says lasts. Frames speak of the system alone, so that all questions about
it share them. No clause is tried that a sample contradicts. (Induction without unrolling, after
A. R. Bradley, "SAT-based model checking without unrolling", VMCAI 2011; from memory.)

What comes out is no proof yet: :mod:`verifier.engines.temporal.induction` checks it.
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

# Questions to the solver about one thing before it is given up.
MOST_QUESTIONS = 3000

# States of some values each: all that a moment has in common with others that lead on.
Cube = tuple[Atom, ...]


SEEMS_REACHABLE = Unknown("a start seems to lead there", final=True)
TOO_MANY = Unknown(f"no invariant was found in {MOST_QUESTIONS} questions", final=True)


class _LeadsFromStart(Exception):
    """What is asked about can come about, as far as can be seen."""


class _OutOfQuestions(Exception):
    """The solver did not answer, or was asked too often."""


class Frames:
    """What holds at most so many moments after the start."""

    def __init__(self, system: System, known: Sequence[Expr], samples: Samples):
        self.system = system
        self._samples = samples
        self._machine = Machine(system)
        self._solver = Unrolling(system, start=False)
        self._solver.add(*self._solver.granted(0))
        self._solver.add(*(self._solver.term(clause, 0) for clause in known))
        starts = [self._solver.term(atom(w, *system.initial[w]), 0) for w in system.states]
        # By frame: the clauses that hold up to it and are not known to hold beyond; the name
        # under which the solver knows them.
        self._clauses: list[dict[Cube, None]] = [{}, {}]
        self._names: list[z3.BoolRef] = [
            self._solver.named(self._solver.all_of(starts)),
            self._solver.fresh("frame"),
        ]
        # Clauses found to last.
        self._lasting: dict[Cube, None] = {}
        # The moment before a cube, in the last answer that named one.
        self._before: Mapping[Observable, str] = {}
        self._deadline: float | None = None
        self._left = 0

    def exclude(self, bad: Expr, deadline: float | None) -> tuple[Expr, ...] | Unknown:
        """Clauses, inductive together, that exclude ``bad``; final Unknown when it seems
        reachable, or after too many questions."""
        self._deadline, self._left = deadline, MOST_QUESTIONS
        asked = self._solver.name(bad, 0)
        frame = 0
        try:
            if self._ask([*self._frame(0), asked]):
                return SEEMS_REACHABLE
            while self._ask([asked]):
                frame += 1
                self._reach(frame)
                while self._ask([*self._frame(frame), asked]):
                    self._block(self._leading(self._now(), bad), frame)
                self._push(frame)
            return tuple(_clause(cube) for cube in self._lasting)
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
        """What makes a frame hold. The first is the start itself."""
        return self._names[:1] if index == 0 else self._names[index:]

    def _now(self) -> Mapping[Observable, str]:
        return self._solver.moment(0, (*self.system.states, *self.system.inputs))

    def _follows(self, cube: Cube, frame: int, *, told: bool = False) -> tuple[bool, Cube]:
        """Whether the cube can follow a moment outside of it that the frame allows; if not,
        the part of it that cannot. ``told``: that moment is wanted."""
        solver = self._solver
        outside = solver.named(solver.term(_clause(cube), 0))
        parts = {solver.name(part, 1).get_id(): part for part in cube}
        names = (solver.name(part, 1) for part in cube)
        follows = self._ask([*self._frame(frame), outside, *solver.granted(1), *names])
        core = cube
        if follows and told:
            self._before = self._now()
        elif not follows:
            needed = solver.core()
            core = tuple(part for name, part in parts.items() if name in needed)
        solver.add(solver.no(outside))
        return follows, core

    # -------------------------------------------------------------- blocking

    def _block(self, cube: Cube, frame: int) -> None:
        """No moment of the cube is in the frame any more."""
        order = count()
        waiting = [(frame, next(order), cube)]
        while waiting:
            at, _, cube = heappop(waiting)
            if at == 0 or self._at_start(cube) or self._is_sampled(cube):
                raise _LeadsFromStart
            if self._is_excluded(cube, at):
                continue
            follows, core = self._follows(cube, at - 1, told=True)
            if follows:
                before = self._leading(self._before, self._comes(cube))
                heappush(waiting, (at - 1, next(order), before))
                heappush(waiting, (at, next(order), cube))
                continue
            short = self._shortened(self._off_start(core, cube), at - 1)
            while at < frame and not self._follows(short, at)[0]:
                at += 1
            self._add(short, at)
            if at < frame:
                heappush(waiting, (at + 1, next(order), cube))

    def _is_excluded(self, cube: Cube, at: int) -> bool:
        parts = {part.what: frozenset(part.values) for part in cube}
        known = (self._lasting, *self._clauses[at:])
        return any(
            all(p.what in parts and parts[p.what].issubset(p.values) for p in other)
            for cubes in known
            for other in cubes
        )

    def _add(self, cube: Cube, at: int) -> None:
        """The cube is excluded up to this frame."""
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
        """Clauses that hold a moment longer go to the next frame, up to the one after the
        last."""
        for at in range(1, last + 1):
            for cube in list(self._clauses[at]):
                if cube in self._clauses[at] and not self._follows(cube, at)[0]:
                    del self._clauses[at][cube]
                    self._add(cube, at + 1)
            if not self._clauses[at]:
                self._settle(at + 1)
                return

    def _settle(self, frame: int) -> None:
        """What this frame says, the one before says too: it lasts."""
        for clauses in self._clauses[frame:]:
            for cube in clauses:
                self._lasting[cube] = None
                self._solver.add(self._solver.term(_clause(cube), 0))
            clauses.clear()

    # -------------------------------------------------------------- cubes

    def _at_start(self, cube: Cube) -> bool:
        initial = self.system.initial
        return all(not set(part.values).isdisjoint(initial[part.what]) for part in cube)

    def _is_sampled(self, cube: Cube) -> bool:
        cases = self._samples.reached
        for part in cube:
            cases &= self._samples.holding(part)
            if not cases:
                return False
        return True

    def _off_start(self, core: Cube, cube: Cube) -> Cube:
        """The core, with a part of the cube that no start of a history has."""
        if not self._at_start(core):
            return core
        return (*core, next(part for part in cube if not self._at_start((part,))))

    def _shortened(self, cube: Cube, frame: int) -> Cube:
        """A part of the cube, as small as can be, that cannot follow either."""
        for part in cube:
            if part in cube and len(cube) > 1:
                cube = self._tried(tuple(p for p in cube if p is not part), cube, frame)
        for part in cube:
            if part in cube and len(part.what.values) > 2:
                cube = self._widened(cube, part, frame)
        return cube

    def _widened(self, cube: Cube, part: Atom, frame: int) -> Cube:
        """The same with more values for one part of it: all that no sample has, or else as
        many as can be, half after half."""
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
                return self._off_start(core, trial)
            if not follows and isinstance(wide, Atom):
                part = wide
            elif len(more) > 1:
                half = len(more) // 2
                waiting += [more[half:], more[:half]]
        return (*rest, part)

    def _is_met(self, cube: Sequence[Expr]) -> bool:
        """Whether a sample or a start of a history is in a cube."""
        parts = tuple(p for p in cube if isinstance(p, Atom))
        return self._at_start(parts) or self._is_sampled(parts)

    def _tried(self, trial: Cube, cube: Cube, frame: int) -> Cube:
        """A part of the trial that cannot follow; the cube as it was if the trial can."""
        if self._is_met(trial):
            return cube
        follows, core = self._follows(trial, frame)
        return cube if follows else self._off_start(core, trial)

    # -------------------------------------------------------------- what leads on

    def _comes(self, cube: Cube) -> Expr:
        following = self.system.following
        return conjunction(*(disjunction(*(following[p.what][v] for v in p.values)) for p in cube))

    def _leading(self, moment: Mapping[Observable, str], target: Expr) -> Cube:
        """What of the states of a moment is enough for the target, and what is taken for
        granted, to hold, inputs being as they are. An expression without "not" that holds with
        nothing said of a state (none of its values so) holds with any. Many trials are one
        working out."""
        targets = (target, *self.system.always)
        slots = [self._machine.slot(expr) for expr in targets]
        part = self._machine.part(slots)
        about = {what for expr in targets for what in support(expr)}
        chosen = {what: moment[what] for what in self.system.inputs if what in about}
        kept = [what for what in self.system.states if what in about]
        needed: list[Observable] = []
        while kept:
            # The first case lets nothing go, each further one a state more than the last.
            every = (2 << len(kept)) - 1
            values = self._machine.blank(every)
            self._machine.set(values, chosen)
            self._machine.set(values, {what: moment[what] for what in needed})
            for i, what in enumerate(kept):
                self._machine.put(values, what, moment[what], (2 << i) - 1)
            self._machine.work_out(values, part)
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
