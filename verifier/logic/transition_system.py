"""Transition systems: initial values, next-state functions and constraints.

Solver-neutral: expressions over states (kept from step to step) and inputs (free at each step).
Total and deterministic: for each valuation, exactly one value follows for each state.
"""

from collections.abc import Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass

from verifier.logic.expr import Expr, support
from verifier.plan.observables import Observable


@dataclass(frozen=True, slots=True)
class System:
    """``initial``: the initial values of each state. ``following``: for each state and value, the
    condition over current states and inputs under which it comes next; exactly one of a state's
    conditions holds in each valuation. ``always``: constraints, which every step of a trace
    satisfies, the last one included."""

    states: tuple[Observable, ...]
    inputs: tuple[Observable, ...]
    initial: Mapping[Observable, tuple[str, ...]]
    following: Mapping[Observable, Mapping[str, Expr]]
    always: tuple[Expr, ...] = ()

    @property
    def content(self) -> Hashable:
        """Equal for systems that are the same in everything, the order of their parts included."""
        return (
            self.states,
            self.inputs,
            tuple(tuple(self.initial[what]) for what in self.states),
            tuple(tuple(self.following[what].items()) for what in self.states),
            self.always,
        )

    def support(self, state: Observable) -> frozenset[Observable]:
        """The support of a state's next-state functions."""
        return frozenset(what for expr in self.following[state].values() for what in support(expr))


def cut(system: System, kept: Iterable[Observable], asked: Iterable[Expr] = ()) -> System:
    """The abstraction that keeps some states and frees all others at every step. It allows every
    trace of the whole, and more: what is unreachable in it is unreachable. ``asked``: properties
    whose support becomes an input where it is not kept.

    Constraints are kept that share support with the kept states, their next-state functions or
    the properties."""
    chosen = set(kept)
    states = tuple(what for what in system.states if what in chosen)
    following = {what: system.following[what] for what in states}
    exprs = [e for values in following.values() for e in values.values()]
    within = chosen.union(what for expr in (*exprs, *asked) for what in support(expr))
    always = tuple(a for a in system.always if within.intersection(support(a)))
    used = {what for expr in (*exprs, *always, *asked) for what in support(expr)}
    every = (*system.states, *system.inputs)
    inputs = tuple(what for what in every if what in used and what not in chosen)
    initial = {what: system.initial[what] for what in states}
    return System(states, inputs, initial, following, always)


def connected(system: System, some: Iterable[Observable]) -> Iterator[list[Observable]]:
    """Those states in groups such that no next-state function of one group reads another's, in
    the order of the system."""
    chosen = set(some)
    left = dict.fromkeys(what for what in system.states if what in chosen)
    beside: dict[Observable, set[Observable]] = {what: set() for what in left}
    for what in left:
        for read in system.support(what).intersection(left):
            beside[what].add(read)
            beside[read].add(what)
    while left:
        group: set[Observable] = set()
        waiting = [next(iter(left))]
        while waiting:
            what = waiting.pop()
            if what not in group:
                group.add(what)
                waiting += beside[what]
        yield [what for what in left if what in group]
        left = dict.fromkeys(what for what in left if what not in group)
