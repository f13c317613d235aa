"""Property-directed reachability (IC3): clauses that exclude bad states, found backward from them
without unrolling, for all bad states of a system together.

In: a system, bad states, and clauses worth trying. Out: an inductive invariant, and for each bad
state a proof from it, a trace that leads to it, or why it was not decided.

Frame k is a set of clauses that hold in every state reachable in at most k steps. A cube that leads
to a bad state is blocked in a frame by the negation of a generalized subcube, inductive relative to
the frame before; when a frame has no clauses that the next one lacks, the next one is inductive.
Frames speak of the system, not of a bad state, so all bad states share them, and are excluded frame
by frame together. Houdini's short invariants are in every frame from the beginning. No cube is
blocked that a sample is in.

The search is trusted by nobody: :mod:`verifier.engines.temporal.induction` checks the clauses from
scratch with z3, and traces are replayed. (A. R. Bradley, "SAT-based model checking without
unrolling", VMCAI 2011; N. Een, A. Mishchenko, R. Brayton, "Efficient implementation of property
directed reachability", FMCAD 2011; Z. Hassan, A. R. Bradley, F. Somenzi, "Better generalization in
IC3", FMCAD 2013; M. Suda, "Triggered clause pushing for IC3", 2013; from memory.)
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from heapq import heappop, heappush
from itertools import count, islice

from verifier.engines.results import Answer, Reachable, Unknown
from verifier.engines.temporal import houdini
from verifier.engines.temporal.induction import Induction
from verifier.engines.temporal.sat import CONTRADICTION, Clause, Limit, NoAnswer, Sat
from verifier.engines.temporal.simulation import Machine, Samples, samples_of
from verifier.engines.temporal.transition_cnf import TransitionCnf
from verifier.logic.expr import Expr
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

# A conjunction of literals over the bits of states.
Cube = frozenset[int]

# Counterexamples to generalization that are blocked for one cube, literals that are dropped to
# join one, and how deep blocking one may need blocking another (Hassan and others 2013).
MOST_BLOCKED, MOST_JOINED, DEEPEST = 3, 3, 1
# Solvers get slow with retired clauses: a new one is made after so many.
RETIRED = 1500


def prove(
    system: System, bad: Expr, hints: Sequence[Expr] = (), *, deadline: float | None = None
) -> Answer:
    """Whether a bad state is reachable. See :class:`Reachability`."""
    return Reachability(system, hints).decide([bad], deadline)[0]


class Reachability:
    """Which bad states of a system are reachable. ``hints``, clauses over states, are tried first;
    nothing is taken from them unchecked. Without ``pairs``, no other clauses of two literals are
    tried. What was learned is kept from one question to the next.
    """

    def __init__(self, system: System, hints: Sequence[Expr] = (), *, pairs: bool = True):
        self._hints = hints
        self._pairs = pairs
        self._limit = Limit()
        self._cnf = TransitionCnf(system)
        self._samples = samples_of(system)
        self._judge = Induction(system)
        # How many clauses of the search the judge has.
        self._told = 0

    @cached_property
    def _search(self) -> "_Search":
        kept = houdini.inductive(
            self._cnf, self._samples, self._limit, self._hints, pairs=self._pairs
        )
        return _Search(self._cnf, self._samples, kept, self._limit)

    def decide(self, bads: Sequence[Expr], deadline: float | None = None) -> list[Answer]:
        """The answer for each bad state. A trace is one of this system, and not the shortest.

        Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
        found = dict(self.answers(bads, deadline))
        return [found[bad] for bad in bads]

    def answers(
        self, bads: Sequence[Expr], deadline: float | None = None
    ) -> Iterator[tuple[Expr, Answer]]:
        """The answer for each bad state, as soon as it is known. Raises as :meth:`decide`."""
        left = {bad: self._cnf.literal(bad) for bad in bads}
        rounds = self._rounds(list(left.values()))
        unknown: Unknown | None = None
        while left and unknown is None:
            with self._limit.until(deadline):
                try:
                    next(rounds)
                except StopIteration:
                    unknown = Unknown("no inductive invariant was found", final=True)
                except NoAnswer as none:
                    unknown = Unknown(str(none))
            yield from self._decided(left, deadline)
        for bad in left:
            assert unknown is not None
            yield bad, unknown

    def _rounds(self, bads: Sequence[int]) -> Iterator[None]:
        """Search for the invariant frame by frame."""
        yield from self._search.exclude(bads)

    def _decided(
        self, left: dict[Expr, int], deadline: float | None
    ) -> Iterator[tuple[Expr, Answer]]:
        """Take from ``left`` what the search has decided, with the judge's answer."""
        if "_search" not in self.__dict__:
            return
        search = self._search
        if self._told < len(search):
            new = islice(search.invariant(), self._told, None)
            self._judge.add(map(self._cnf.clause, new))
            self._told = len(search)
        for bad, literal in list(left.items()):
            if literal in search.excluded:
                del left[bad]
                yield bad, self._judge.prove(bad, deadline)
            elif literal in search.traces:
                del left[bad]
                yield bad, search.traces[literal]

    def invariant(self, deadline: float | None = None) -> tuple[Expr, ...]:
        """All clauses found so far, which are an inductive invariant."""
        if "_search" in self.__dict__:
            self._judge.add(map(self._cnf.clause, self._search.invariant()))
        return self._judge.invariant(deadline)


class _MeetsStart(Exception):
    """A cube that leads to the bad state has an initial state in it."""

    def __init__(self, obligation: "_Obligation"):
        super().__init__()
        self.obligation = obligation


@dataclass(frozen=True, slots=True)
class _Obligation:
    """From every state of ``cube``, the inputs of ``model`` lead to the next one's cube or, from
    the last, to the bad state."""

    cube: Cube
    model: Sequence[int]
    then: "_Obligation | None"


@dataclass(frozen=True, slots=True)
class _Source:
    """A state of a frame that leads into a cube, and how many cubes were blocked by then."""

    state: Cube
    added: int


class _Search:
    """The frames of one system."""

    def __init__(self, cnf: TransitionCnf, samples: Samples, kept: Iterable[Clause], limit: Limit):
        self._cnf = cnf
        self._limit = limit
        self._samples = samples
        self._sampled: dict[int, int] = {}
        # By frame: the cubes blocked in that frame and no later one, and what keeps them there.
        self._frames: list[dict[Cube, _Source | None]] = [{}, {}]
        # Each cube blocked, in order, and in which frame.
        self._added: list[tuple[int, Cube]] = []
        # The cubes that no reachable state is in: those of the last frame.
        self._never: dict[Cube, None] = {
            frozenset(-literal for literal in clause): None for clause in kept
        }
        # How often a literal was in a blocked cube: such literals are dropped last.
        self._uses: Counter[int] = Counter()
        # The bad states that the clauses of the last frame exclude; traces to others.
        self.excluded: set[int] = set()
        self.traces: dict[int, Reachable] = {}
        # The last model in which a step leads into a cube.
        self._model: Sequence[int] = ()
        self._renew()
        self._renew_lifting()

    def __len__(self) -> int:
        """How many clauses were found to be inductive together."""
        return len(self._never)

    def invariant(self) -> Iterator[Clause]:
        """The clauses found to be inductive together, those found last at the end."""
        for cube in self._never:
            yield tuple(sorted(-literal for literal in cube))

    # -------------------------------------------------------------- solvers

    def _renew(self) -> None:
        """A solver of one transition, in which literal k of ``_active`` turns frame k on."""
        cnf = self._cnf
        self._defined = len(cnf.clauses)
        clauses = [*cnf.clauses, *((literal,) for literal in cnf.constraints)]
        self._solver = Sat(clauses, cnf.variables, self._limit)
        self._active = [self._solver.variable() for _ in self._frames]
        for clause in cnf.initial_clauses:
            self._solver.add((-self._active[0], *clause))
        for active, frame in zip(self._active, self._frames, strict=True):
            for cube in frame:
                self._solver.add((-active, *(-literal for literal in cube)))
        for cube in self._never:
            self._solver.add([-literal for literal in cube])
        self._retired = 0

    def _renew_lifting(self) -> None:
        self._lifting = Sat(self._cnf.clauses, self._cnf.variables, self._limit)
        self._lifted = 0

    def _add_frame(self) -> None:
        self._frames.append({})
        self._active.append(self._solver.variable())

    def _frame(self, k: int) -> list[int]:
        """The literals that turn on the clauses of frame ``k``: its own and all later ones'."""
        return self._active[:1] if k == 0 else self._active[k:]

    # -------------------------------------------------------------- all bad states

    def exclude(self, bads: Iterable[int]) -> Iterator[None]:
        """Decide the bad states, a frame with each step; raises :class:`NoAnswer`."""
        if self._defined < len(self._cnf.clauses):
            self._renew()
            self._renew_lifting()
        known = self.excluded.union(self.traces)
        k, waiting = 0, [bad for bad in dict.fromkeys(bads) if bad not in known]
        while waiting:
            while len(self._frames) <= k:
                self._add_frame()
            for bad in waiting:
                while bad not in self.traces and self._solver.solve([*self._frame(k), bad]):
                    self._block(self._leading_to(bad), k, bad)
            if k:
                self._push(k)
            waiting = [bad for bad in waiting if bad not in self.traces]
            self.excluded.update(bad for bad in waiting if not self._solver.solve([bad]))
            waiting = [bad for bad in waiting if bad not in self.excluded]
            k += 1
            yield

    def _leading_to(self, bad: int) -> _Obligation:
        """The last model, as a cube in which the bad state happens."""
        model = self._solver.model()
        return _Obligation(self._lift(model, [bad]), model, None)

    # -------------------------------------------------------------- blocking

    def _block(self, last: _Obligation, frame: int, bad: int) -> None:
        """Block a cube in a frame, or note the trace that leads through it."""
        try:
            self._blocked(last, frame)
        except _MeetsStart as met:
            self.traces[bad] = Reachable(tuple(self._trace(met.obligation)), smallest=False)

    def _blocked(self, last: _Obligation, frame: int) -> None:
        order = count()
        queue = [(frame, next(order), last)]
        while queue:
            k, _, obligation = heappop(queue)
            cube = obligation.cube
            if k == 0 or self._meets_start(cube):
                raise _MeetsStart(obligation)
            if not self._solver.solve([*self._frame(k), *cube]):
                continue
            core = self._inductive_core(cube, k - 1)
            if core is None:
                before = self._lift(self._model, [self._cnf.next(lit) for lit in cube])
                heappush(queue, (k - 1, next(order), _Obligation(before, self._model, obligation)))
                heappush(queue, (k, next(order), obligation))
                continue
            general = self._generalized(core, k - 1)
            general, k = self._raised(general, k, frame)
            self._add(general, k)
            if k < frame:
                heappush(queue, (k + 1, next(order), obligation))

    def _raised(self, cube: Cube, k: int, most: int) -> tuple[Cube, int]:
        """The latest frame, up to ``most``, in which a cube is blocked that is blocked in frame
        ``k``; and its part that suffices."""
        while k < most and (core := self._inductive_core(cube, k)) is not None:
            cube, k = core, k + 1
        return cube, k

    def _inductive_core(self, cube: Cube, k: int) -> Cube | None:
        """The part of ``cube`` that no step from frame ``k`` outside the cube leads into, without
        initial states; None when such a step leads into the cube: it is the solver's model."""
        if self._retired > RETIRED:
            self._renew()
        outside = self._solver.variable()
        self._solver.add((-outside, *(-literal for literal in cube)))
        after = self._after(cube)
        found = self._solver.solve([outside, *self._frame(k), *after])
        core = None if found else self._solver.core()
        if found:
            self._model = self._solver.model()
        self._solver.add((-outside,))
        self._retired += 1
        if core is None:
            return None
        part = frozenset(literal for literal in cube if self._cnf.next(literal) in core)
        return self._without_start(part, cube)

    def _after(self, cube: Cube) -> list[int]:
        """That a step leads into a cube, and to a moment that the constraints allow."""
        return [*(self._cnf.next(literal) for literal in cube), *self._cnf.next_constraints]

    def _add(self, cube: Cube, k: int) -> None:
        """Block a cube in frames up to ``k``."""
        while len(self._frames) <= k:
            self._add_frame()
        for frame in self._frames[1 : k + 1]:
            for other in [other for other in frame if cube <= other]:
                del frame[other]
        self._frames[k][cube] = None
        self._added.append((k, cube))
        self._solver.add((-self._active[k], *(-literal for literal in cube)))
        self._uses.update(cube)

    def _push(self, last: int) -> None:
        """Move clauses to later frames; when a frame has none of its own left, those of all later
        ones are inductive."""
        for k in range(1, last + 1):
            for cube in list(self._frames[k]):
                if cube not in self._frames[k] or self._is_kept_back(cube, k):
                    continue
                if self._solver.solve([*self._frame(k), *self._after(cube)]):
                    model = self._solver.model()
                    state = frozenset(model[bit - 1] for bit in self._cnf.state_bits)
                    self._frames[k][cube] = _Source(state, len(self._added))
                else:
                    core = self._solver.core()
                    part = frozenset(lit for lit in cube if self._cnf.next(lit) in core)
                    self._add(self._without_start(part, cube), k + 1)
                    self._frames[k].pop(cube, None)
            if not self._frames[k]:
                self._settle(k + 1)
                return

    def _is_kept_back(self, cube: Cube, k: int) -> bool:
        """Whether the state that led into the cube when it was last pushed is still in frame ``k``
        (Suda 2013)."""
        source = self._frames[k][cube]
        if source is None:
            return False
        new = islice(self._added, source.added, None)
        if any(j >= k and blocked <= source.state for j, blocked in new):
            return False
        self._frames[k][cube] = _Source(source.state, len(self._added))
        return True

    def _settle(self, k: int) -> None:
        """The clauses of frame ``k`` are inductive."""
        for frame in self._frames[k:]:
            for cube in frame:
                self._never[cube] = None
                self._solver.add([-literal for literal in cube])
            frame.clear()

    # -------------------------------------------------------------- generalizing

    def _generalized(self, cube: Cube, k: int, depth: int = 0) -> Cube:
        """A cube that no step from frame ``k`` leads into, with as few literals as can be."""
        for literal in sorted(cube, key=lambda lit: (self._uses[lit], lit)):
            if literal in cube and len(cube) > 1:
                cube = self._down(cube - {literal}, k, depth) or cube
        return cube

    def _down(self, cube: Cube, k: int, depth: int) -> Cube | None:
        """A part of ``cube`` that is inductive relative to frame ``k``; None when none was found.
        States that lead into it are blocked, or joined by dropping literals."""
        blocked = joined = 0
        while not self._meets_start(cube) and not self._is_sampled(cube):
            core = self._inductive_core(cube, k)
            if core is not None:
                return core
            if depth > DEEPEST:
                return None
            model = self._model
            if blocked < MOST_BLOCKED and k > 0:
                source = self._lift(model, [self._cnf.next(lit) for lit in cube])
                if self._blocks(source, k, depth):
                    blocked += 1
                    continue
            if joined == MOST_JOINED:
                return None
            blocked, joined = 0, joined + 1
            cube = cube.intersection(model)
        return None

    def _blocks(self, cube: Cube, k: int, depth: int) -> bool:
        """Block a counterexample to generalization in frame ``k`` or later, if that is so."""
        if self._meets_start(cube) or self._is_sampled(cube):
            return False
        core = self._inductive_core(cube, k - 1)
        if core is None:
            return False
        core, j = self._raised(core, k, len(self._frames) - 1)
        self._add(self._generalized(core, j - 1, depth + 1), j)
        return True

    def _lift(self, model: Sequence[int], targets: Sequence[int]) -> Cube:
        """A part of a model's state from which its inputs make all targets and constraints hold."""
        if self._lifted > RETIRED:
            self._renew_lifting()
        self._lifted += 1
        solver = self._lifting
        fails = solver.variable()
        solver.add((-fails, *(-target for target in (*targets, *self._cnf.constraints))))
        inputs = [model[bit - 1] for bit in self._cnf.input_bits]
        state = (model[bit - 1] for bit in self._cnf.state_bits)
        left = sorted(state, key=lambda lit: (lit > 0, self._uses[lit]))
        for _ in range(4):
            before = len(left)
            if solver.solve([fails, *inputs, *left]):
                raise NoAnswer(CONTRADICTION)
            core = solver.core()
            left = [literal for literal in reversed(left) if literal in core]
            if len(left) == before:
                break
        solver.add((-fails,))
        return frozenset(left)

    # -------------------------------------------------------------- initial and sampled states

    def _meets_start(self, cube: Cube) -> bool:
        """Whether an initial state is in the cube."""
        initial = self._cnf.initial
        if any(initial.get(abs(literal)) == -literal for literal in cube):
            return False
        if self._cnf.one_start and not self._cnf.constraints:
            return True
        return self._solver.solve([*self._frame(0), *cube])

    def _without_start(self, part: Cube, cube: Cube) -> Cube:
        """``part`` of ``cube``, with literals of it added until no initial state is in it."""
        if not self._meets_start(part):
            return part
        initial = self._cnf.initial
        apart = [lit for lit in cube - part if initial.get(abs(lit)) == -lit]
        return part | {max(apart, key=lambda lit: (self._uses[lit], lit))} if apart else cube

    def _is_sampled(self, cube: Cube) -> bool:
        """Whether a sampled state is in the cube."""
        samples = self._samples.reached
        for literal in cube:
            samples &= self._of_literal(literal)
            if not samples:
                return False
        return True

    def _of_literal(self, literal: int) -> int:
        found = self._sampled.get(literal)
        if found is None:
            found = self._samples.holding(self._cnf.atom(literal))
            self._sampled[literal] = found
        return found

    # -------------------------------------------------------------- traces

    def _trace(self, obligation: _Obligation | None) -> Iterator[dict[Observable, str]]:
        """The trace that starts in an obligation's cube."""
        assert obligation is not None
        system = self._cnf.system
        machine = Machine(system)
        values = machine.blank(1)
        machine.set(values, self._start_in(obligation.cube))
        while obligation is not None:
            inputs = self._cnf.valuation(obligation.model, system.inputs)
            machine.set(values, inputs)
            machine.evaluate(values)
            yield {**machine.state(values), **inputs}
            machine.advance(values)
            obligation = obligation.then

    def _start_in(self, cube: Cube) -> dict[Observable, str]:
        """An initial state in the cube."""
        if not self._solver.solve([*self._frame(0), *cube]):
            raise NoAnswer(CONTRADICTION)
        return self._cnf.valuation(self._solver.model(), self._cnf.system.states)
