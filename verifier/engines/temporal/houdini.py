"""Houdini: the largest inductive subset of short candidate clauses.

In: a :class:`System`. Out: clauses over its states that together are an inductive invariant.
Candidates are all clauses of one or two literals that no sample falsifies. While a state that
satisfies all candidates has a successor that falsifies some, those are dropped. Each model of the
solver is used further: hundreds of random executions from it falsify candidates too.

Trusts z3's "unsat"; the induction check (:mod:`verifier.engines.temporal.induction`) trusts
nothing found here. Longer clauses are many and mostly useless: IC3 derives those that a property
needs (:mod:`verifier.engines.temporal.ic3`). (C. Flanagan, K. R. M. Leino, "Houdini, an annotation
assistant for ESC/Java", FME 2001; from memory.)
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

# Random executions from a model of the solver, and their length in steps.
DRAWS, AHEAD = 512, 4

Literal = Atom
# Positions of literals, in order.
Clause = tuple[int, ...]


def lasting(
    system: System, *, deadline: float | None = None, hints: Sequence[Expr] = ()
) -> tuple[Expr, ...]:
    """Clauses that hold in every reachable state, inductive together; none when time ran out.
    ``hints`` (clauses or conjunctions of clauses, over states) are candidates too.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    if not system.states:
        return ()
    candidates = _Candidates(system, samples_of(system))
    filtered = _Filter(system, candidates.literals, deadline)
    clauses = dict.fromkeys((*candidates.hinted(hints), *candidates.short()))
    return tuple(
        disjunction(*(candidates.literals[i] for i in clause))
        for clause in filtered.filter(list(clauses))
    )


class _Candidates:
    """Candidate clauses: those that no sample falsifies."""

    def __init__(self, system: System, samples: Samples):
        self._system = system
        self.literals: list[Literal] = []
        for what in system.states:
            if len(what.values) > 1:
                self.literals += _literals(what)
        self._rank = {literal: i for i, literal in enumerate(self.literals)}
        # The samples that falsify each literal.
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
        """Unit clauses, and pairs of literals neither of which is a unit clause."""
        against = self._against
        alone = {i for i in range(len(self.literals)) if not against[i]}
        clauses: list[Clause] = [(i,) for i in sorted(alone)]
        for i, j in self._pairs(alone):
            if not against[i] & against[j]:
                clauses.append((i, j))
        return clauses

    def _pairs(self, without: set[int]) -> Iterator[tuple[int, int]]:
        """Pairs of literals of related states."""
        by_state: dict[Observable, list[int]] = {state: [] for state in self._system.states}
        for i, literal in enumerate(self.literals):
            if i not in without:
                by_state[literal.what].append(i)
        for one, other in _near(self._system):
            for i in by_state[one]:
                for j in by_state[other]:
                    yield i, j


def _near(system: System) -> Iterator[tuple[Observable, Observable]]:
    """Related states: one is in the support of the other, or both in that of a third."""
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


# ------------------------------------------------------------------ filtering


@dataclass(frozen=True, slots=True)
class _Terms:
    """A clause in the current state, and its negation in the next."""

    now: z3.BoolRef
    falsified: z3.BoolRef


class _Filter:
    """Drops clauses until the rest is inductive."""

    def __init__(self, system: System, literals: Sequence[Literal], deadline: float | None):
        self._system = system
        self._literals = literals
        self._deadline = deadline
        self._solver = Unrolling(system, start=False)
        self._solver.add(*self._solver.constraints(0, 1))
        self._now = [self._solver.term(literal, 0) for literal in literals]
        self._next = [self._solver.term(literal, 1) for literal in literals]
        self._not_next = [self._solver.no(term) for term in self._next]
        self._terms: dict[Clause, _Terms] = {}
        self._machine = Machine(system)
        self._chance = Random(len(literals))

    def filter(self, clauses: Sequence[Clause]) -> list[Clause]:
        """The largest inductive subset; empty when time ran out."""
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
        """Those that hold in every initial state: by one literal that does or, where constraints
        exclude some initial states, by the solver's answer."""
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
                falsified = [start.no(start.term(self._literals[i], 0)) for i in clause]
                asked = [start.named(start.all_of(falsified)), *start.constraints(0)]
                if start.check(asked, self._deadline) is False:
                    kept.append(clause)
        return kept

    def _round(self, alive: list[Clause]) -> list[Clause] | None:
        """Those that no successor of a state satisfying all of them falsifies."""
        solver = self._solver
        terms = [self._of(clause) for clause in alive]
        solver.push()
        try:
            solver.add(solver.all_of([t.now for t in terms]))
            while alive:
                solver.add(solver.any_of([self._of(clause).falsified for clause in alive]))
                found = solver.check((), self._deadline)
                if found is None:
                    return None
                if not found:
                    break
                alive = self._drop_falsified(alive)
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

    def _drop_falsified(self, alive: list[Clause]) -> list[Clause]:
        """Without those that the model, or a random execution from it, falsifies."""
        states, inputs = self._system.states, self._system.inputs
        now = self._solver.valuation(0, (*states, *inputs))
        then = self._solver.valuation(1, states)
        alive = self._not_falsified(alive, [then[a.what] not in a.values for a in self._literals])
        machine = self._machine
        values = machine.blank((1 << DRAWS) - 1)
        machine.set(values, now)
        running = values[1]
        for ahead in range(AHEAD + 1):
            machine.draw(values, self._chance, values[1], 0)
            machine.evaluate(values)
            running &= machine.allowed(values)
            if ahead:
                against = [running & ~machine.having(values, a) for a in self._literals]
                alive = self._not_falsified(alive, against)
            if not running:
                break
            machine.advance(values)
        return alive

    @staticmethod
    def _not_falsified(alive: list[Clause], against: Sequence[int]) -> list[Clause]:
        left = []
        for clause in alive:
            cases = -1
            for i in clause:
                cases &= against[i]
            if not cases:
                left.append(clause)
        return left
