"""A transition system: what may be at the start, and what follows each moment.

Solver-neutral: expressions over states (remembered from step to step) and inputs (free at
each step). Every step has a successor: exactly one value follows for each state.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from verifier.logic.expr import Expr, support
from verifier.plan.observables import Observable


@dataclass(frozen=True, slots=True)
class System:
    """``initial``: the values each state may have at the start. ``following``: for each
    state, when each of its values comes next, in terms of states and inputs now; of every
    state and input exactly one of them holds. ``always`` is taken for granted at every step,
    the last one included."""

    states: tuple[Observable, ...]
    inputs: tuple[Observable, ...]
    initial: Mapping[Observable, tuple[str, ...]]
    following: Mapping[Observable, Mapping[str, Expr]]
    always: tuple[Expr, ...] = ()

    def support(self, state: Observable) -> frozenset[Observable]:
        """What the next value of a state hangs on."""
        return frozenset(what for expr in self.following[state].values() for what in support(expr))


def cut(system: System, kept: Iterable[Observable], asked: Iterable[Expr] = ()) -> System:
    """The same with every other state free at every step. It allows each history of the
    whole, and more: what never happens in it never happens. ``asked``: the expressions that
    will be asked about; what they speak of becomes an input where it is not kept.

    What is taken for granted is kept as far as it speaks of what is kept, or of what that
    hangs on."""
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
