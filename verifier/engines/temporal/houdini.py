"""What lasts: things that are so at the start of every history and stay so at each moment.

In: a :class:`System`. Out: clauses ("this, or that, or that") over its states that hold at every
moment of every history. Candidates are all clauses of one and of two parts that no sample
contradicts. While a moment at which all of them hold can be followed by one at which some do
not, those are let go. Each answer of the solver is taken as far as it goes: whatever can come of
the moment it names, by hundreds of draws, contradicts candidates too.

Longer clauses are as many as they are mostly useless; those that a question needs are found from
the question (:mod:`verifier.engines.temporal.ic3`).
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from random import Random

import z3

from verifier.engines.temporal.simulation import Machine, Samples, samples_of
from verifier.engines.temporal.unroller import Unrolling
from verifier.logic.expr import And, Atom, Expr, Or, atom, disjunction
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

# What follows a moment that the solver names: as many draws, for so many moments.
DRAWS, AHEAD = 512, 4

Literal = Atom
# Positions of literals, in order.
Clause = tuple[int, ...]


def lasting(
    system: System, *, deadline: float | None = None, hints: Sequence[Expr] = ()
) -> tuple[Expr, ...]:
    """Clauses that hold at every moment of every history. Those among ``hints`` (clauses, or
    several of them together, over states) that last are among them.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    if not system.states:
        return ()
    candidates = _Candidates(system, samples_of(system))
    sieve = _Sieve(system, candidates.literals, deadline)
    clauses = dict.fromkeys((*candidates.hinted(hints), *candidates.short()))
    return tuple(
        disjunction(*(candidates.literals[i] for i in clause))
        for clause in sieve.sift(list(clauses))
    )


class _Candidates:
    """Clauses that no sample contradicts."""

    def __init__(self, system: System, samples: Samples):
        self._system = system
        self.literals: list[Literal] = []
        for what in system.states:
            if len(what.values) > 1:
                self.literals += _literals(what)
        self._rank = {literal: i for i, literal in enumerate(self.literals)}
        # The samples that contradict each literal.
        self._against = [samples.reached & ~samples.holding(literal) for literal in self.literals]

    def hinted(self, hints: Iterable[Expr]) -> list[Clause]:
        clauses = []
        for hint in hints:
            for part in hint.parts if isinstance(hint, And) else (hint,):
                atoms = part.parts if isinstance(part, Or) else (part,)
                if all(isinstance(a, Atom) and a in self._rank for a in atoms):
                    clause = tuple(sorted(self._rank[a] for a in atoms if isinstance(a, Atom)))
                    against = -1
                    for i in clause:
                        against &= self._against[i]
                    if not against:
                        clauses.append(clause)
        return clauses

    def short(self) -> list[Clause]:
        """Clauses of one literal, and of two neither of which is one."""
        against = self._against
        alone = {i for i in range(len(self.literals)) if not against[i]}
        clauses: list[Clause] = [(i,) for i in sorted(alone)]
        for i, j in self._pairs(alone):
            if not against[i] & against[j]:
                clauses.append((i, j))
        return clauses

    def _pairs(self, without: set[int]) -> Iterator[tuple[int, int]]:
        """Pairs of literals of states that have to do with each other."""
        by_state: dict[Observable, list[int]] = {state: [] for state in self._system.states}
        for i, literal in enumerate(self.literals):
            if i not in without:
                by_state[literal.what].append(i)
        for one, other in _near(self._system):
            for i in by_state[one]:
                for j in by_state[other]:
                    yield i, j


def _near(system: System) -> Iterator[tuple[Observable, Observable]]:
    """States of which one hangs on the other, or on both of which some state hangs."""
    rank = {state: i for i, state in enumerate(system.states)}
    near: set[tuple[int, int]] = set()
    for state in system.states:
        about = sorted({rank[state], *(rank[w] for w in system.support(state) if w in rank)})
        near.update(combinations(about, 2))
    for i, j in sorted(near):
        yield system.states[i], system.states[j]


def _literals(what: Observable) -> list[Atom]:
    values: list[tuple[str, ...]] = [(v,) for v in what.values]
    if len(what.values) > 2:
        values += [tuple(w for w in what.values if w != v) for v in what.values]
    atoms = (atom(what, *some) for some in values)
    return [a for a in atoms if isinstance(a, Atom)]


# ------------------------------------------------------------------ letting go


@dataclass(frozen=True, slots=True)
class _Terms:
    """A clause as it is now, and that it does not hold next."""

    now: z3.BoolRef
    broken: z3.BoolRef


class _Sieve:
    """Lets go of clauses until those left last."""

    def __init__(self, system: System, literals: Sequence[Literal], deadline: float | None):
        self._system = system
        self._literals = literals
        self._deadline = deadline
        self._solver = Unrolling(system, start=False)
        self._solver.add(*self._solver.granted(0, 1))
        self._now = [self._solver.term(literal, 0) for literal in literals]
        self._next = [self._solver.term(literal, 1) for literal in literals]
        self._not_next = [self._solver.no(term) for term in self._next]
        self._terms: dict[Clause, _Terms] = {}
        self._machine = Machine(system)
        self._chance = Random(len(literals))

    def sift(self, clauses: Sequence[Clause]) -> list[Clause]:
        """Those of the clauses that last; none when time ran out."""
        alive = self._at_start(clauses)
        while alive:
            left = self._round(alive)
            if left is None:
                return []
            if len(left) == len(alive):
                break
            alive = left
        return alive

    def _at_start(self, clauses: Sequence[Clause]) -> list[Clause]:
        """Those that hold at the start of every history: by one literal that does or, where
        not every start is allowed, as far as the solver knows."""
        initial = self._system.initial
        sure = {
            i
            for i, literal in enumerate(self._literals)
            if set(initial[literal.what]).issubset(literal.values)
        }
        kept: list[Clause] = []
        open_: list[Clause] = []
        for clause in clauses:
            (open_ if sure.isdisjoint(clause) else kept).append(clause)
        if self._system.always:
            start = Unrolling(self._system, start=True)
            for clause in open_:
                broken = [start.no(start.term(self._literals[i], 0)) for i in clause]
                asked = [start.named(start.all_of(broken)), *start.granted(0)]
                if start.check(asked, self._deadline) is False:
                    kept.append(clause)
        return kept

    def _round(self, alive: list[Clause]) -> list[Clause] | None:
        """Those that no moment at which all hold is found to break."""
        solver = self._solver
        terms = [self._of(clause) for clause in alive]
        solver.push()
        try:
            solver.add(solver.all_of([t.now for t in terms]))
            while alive:
                solver.add(solver.any_of([self._of(clause).broken for clause in alive]))
                found = solver.check((), self._deadline)
                if found is None:
                    return None
                if not found:
                    break
                alive = self._without_broken(alive)
            return alive
        finally:
            solver.pop()

    def _of(self, clause: Clause) -> _Terms:
        if clause not in self._terms:
            self._terms[clause] = _Terms(
                self._solver.any_of([self._now[i] for i in clause]),
                self._solver.all_of([self._not_next[i] for i in clause]),
            )
        return self._terms[clause]

    def _without_broken(self, alive: list[Clause]) -> list[Clause]:
        """Without what the solver's moment breaks, and what may come of that moment."""
        states, inputs = self._system.states, self._system.inputs
        now = self._solver.moment(0, (*states, *inputs))
        then = self._solver.moment(1, states)
        alive = self._unbroken(alive, [then[a.what] not in a.values for a in self._literals])
        machine = self._machine
        values = machine.blank((1 << DRAWS) - 1)
        machine.set(values, now)
        going = values[1]
        for ahead in range(AHEAD + 1):
            machine.draw(values, self._chance, values[1], 0)
            machine.work_out(values)
            going &= machine.allowed(values)
            if ahead:
                against = [going & ~machine.having(values, a) for a in self._literals]
                alive = self._unbroken(alive, against)
            if not going:
                break
            machine.advance(values)
        return alive

    @staticmethod
    def _unbroken(alive: list[Clause], against: Sequence[int]) -> list[Clause]:
        left = []
        for clause in alive:
            cases = -1
            for i in clause:
                cases &= against[i]
            if not cases:
                left.append(clause)
        return left
