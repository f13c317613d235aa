"""Houdini: the largest inductive subset of short candidate clauses.

In: a :class:`System`. Out: clauses over its states that together are an inductive invariant.
Candidates are all clauses of one or two literals that no sample falsifies. While a state that
satisfies all candidates has a successor that falsifies some, those are dropped.

The induction check (:mod:`verifier.engines.temporal.induction`) trusts nothing found here. Longer
clauses are many and mostly useless: IC3 derives those that a property needs
(:mod:`verifier.engines.temporal.pdr`). (C. Flanagan, K. R. M. Leino, "Houdini, an annotation
assistant for ESC/Java", FME 2001; from memory.)
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import combinations

from verifier.engines.temporal.induction import Induction
from verifier.engines.temporal.sat import CONTRADICTION, Clause, Limit, NoAnswer, Sat
from verifier.engines.temporal.simulation import Samples, samples_of
from verifier.engines.temporal.transition_cnf import TransitionCnf
from verifier.logic.expr import And, Atom, Expr, Or
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable


def inductive_clauses(
    system: System, *, deadline: float | None = None, hints: Sequence[Expr] = ()
) -> tuple[Expr, ...]:
    """Clauses that hold in every reachable state, inductive together; none when time ran out.
    ``hints`` (clauses or conjunctions of clauses, over states) are candidates too. Checked by
    :mod:`verifier.engines.temporal.induction`, since nothing else checks them.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    cnf = TransitionCnf(system)
    limit = Limit()
    with limit.until(deadline):
        try:
            found = inductive(cnf, samples_of(system), limit, hints)
        except NoAnswer:
            return ()
    return Induction(system, map(cnf.clause, found)).invariant(deadline)


def inductive(
    cnf: TransitionCnf,
    samples: Samples,
    limit: Limit,
    hints: Iterable[Expr] = (),
    *,
    pairs: bool = True,
) -> list[Clause]:
    """The same as clauses of literals; without ``pairs``, of those of two the hints alone.

    Raises :class:`~verifier.engines.temporal.sat.NoAnswer` when time runs out."""
    if not cnf.state_bits:
        return []
    candidates = _Candidates(cnf, samples)
    clauses = dict.fromkeys((*candidates.hinted(hints), *candidates.short(pairs=pairs)))
    return _Filter(cnf, limit).filter(list(clauses))


class _Candidates:
    """Candidate clauses: those that no sample falsifies."""

    def __init__(self, cnf: TransitionCnf, samples: Samples):
        self._cnf = cnf
        self._literals = [literal for bit in cnf.state_bits for literal in (bit, -bit)]
        # The samples that falsify each literal.
        self._against = {
            literal: samples.reached & ~samples.holding(cnf.atom(literal))
            for literal in self._literals
        }

    def hinted(self, hints: Iterable[Expr]) -> Iterator[Clause]:
        states = set(self._cnf.system.states)
        for hint in hints:
            for part in hint.parts if isinstance(hint, And) else (hint,):
                atoms = part.parts if isinstance(part, Or) else (part,)
                if all(isinstance(a, Atom) and a.what in states for a in atoms):
                    yield from self._not_sampled(self._cnf.clause_of(part))

    def _not_sampled(self, clause: Clause | None) -> Iterator[Clause]:
        if clause is not None:
            against = -1
            for literal in clause:
                against &= self._against[literal]
            if not against:
                yield clause

    def short(self, *, pairs: bool) -> Iterator[Clause]:
        """Unit clauses, and pairs of literals neither of which is a unit clause."""
        against = self._against
        alone = {literal for literal in self._literals if not against[literal]}
        for literal in self._literals:
            if literal in alone:
                yield (literal,)
        for one, other in self._pairs(alone) if pairs else ():
            if not against[one] & against[other]:
                yield one, other

    def _pairs(self, without: set[int]) -> Iterator[tuple[int, int]]:
        """Pairs of literals of related states."""
        by_state: dict[Observable, list[int]] = {what: [] for what in self._cnf.system.states}
        for literal in self._literals:
            if literal not in without:
                by_state[self._cnf.what(literal)].append(literal)
        for one, other in _near(self._cnf.system):
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


# ------------------------------------------------------------------ filtering


class _Filter:
    """Drops clauses until the rest is inductive."""

    def __init__(self, cnf: TransitionCnf, limit: Limit):
        self._cnf = cnf
        self._limit = limit
        constrained = [
            *cnf.clauses,
            *((literal,) for literal in (*cnf.constraints, *cnf.next_constraints)),
        ]
        self._solver = Sat(constrained, cnf.variables, limit)

    def filter(self, clauses: Sequence[Clause]) -> list[Clause]:
        """The largest inductive subset; raises :class:`NoAnswer`."""
        solver, cnf = self._solver, self._cnf
        alive = self._at_start(clauses)
        # A clause's first literal makes it hold now, its second says that it fails next.
        holds = {clause: solver.variable() for clause in alive}
        fails = {clause: solver.variable() for clause in alive}
        for clause in alive:
            solver.add((-holds[clause], *clause))
            for literal in clause:
                solver.add((-fails[clause], -cnf.next(literal)))
        after = {literal: cnf.next(literal) for clause in alive for literal in clause}
        while alive:
            some = solver.variable()
            solver.add((-some, *(fails[clause] for clause in alive)))
            if not solver.solve([some, *(holds[clause] for clause in alive)]):
                break
            solver.add((-some,))
            alive = self._not_falsified(alive, after)
        return alive

    def _at_start(self, clauses: Iterable[Clause]) -> list[Clause]:
        """Those that hold in every initial state."""
        cnf = self._cnf
        sure = set(cnf.initial.values())
        start = Sat(
            [*cnf.clauses, *((lit,) for lit in cnf.constraints), *cnf.initial_clauses],
            cnf.variables,
            self._limit,
        )
        return [
            clause
            for clause in clauses
            if not sure.isdisjoint(clause) or not start.solve([-literal for literal in clause])
        ]

    def _not_falsified(self, alive: Sequence[Clause], after: Mapping[int, int]) -> list[Clause]:
        """Without those that fail after the step of the model; ``after``: by literal, that it
        holds then. There is one at least: a solver whose models have none would be asked forever.
        """
        model = self._solver.model()
        true = {literal for literal, then in after.items() if model[abs(then) - 1] == then}
        left = [clause for clause in alive if not true.isdisjoint(clause)]
        if len(left) == len(alive):
            raise NoAnswer(CONTRADICTION)
        return left
