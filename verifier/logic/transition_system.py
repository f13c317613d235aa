"""Transition systems: initial values, next-state functions and constraints.

Solver-neutral: expressions over states (kept from step to step) and inputs (free at each step).
Total and deterministic: for each valuation, exactly one value follows for each state.

A system may be *timed*: then only those of its traces are real that have times, at which no delay
ends too soon and no window lasts too long. What is unreachable is so with or without times; a trace
counts only once times for it are found (:mod:`verifier.engines.temporal.scheduling`).
"""

from collections.abc import Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import combinations

from verifier.logic.expr import (
    FALSE,
    Atom,
    Expr,
    atom,
    conjunction,
    constant,
    disjunction,
    negation,
    substitute,
    support,
)
from verifier.plan.observables import Observable


@dataclass(frozen=True, slots=True)
class Delay:
    """What takes a least time. ``clock`` is at rest until the step at which the delay begins; it
    may end (one of the conditions of ``ends`` holds) only so many seconds after that."""

    clock: Observable
    ends: tuple[tuple[Expr, Fraction], ...]

    @property
    def at_rest(self) -> Expr:
        return atom(self.clock, "at rest")

    @property
    def longest(self) -> Fraction:
        return max(seconds for _, seconds in self.ends)


@dataclass(frozen=True, slots=True)
class Window:
    """What lasts less than some seconds; no more than these, if ``closed``. It begins, or begins
    anew, at the end of a step at which ``begins`` holds; from then on ``what`` has the value
    ``on``. ``goes_on``: a step at the end of which it still lasts and does not begin anew."""

    what: Observable
    on: str
    begins: Expr
    goes_on: Expr
    seconds: Fraction
    closed: bool = False

    @property
    def is_on(self) -> Expr:
        return atom(self.what, self.on)

    def excludes(self, seconds: Fraction) -> bool:
        """Whether it is over after so many seconds."""
        return seconds > self.seconds or (seconds == self.seconds and not self.closed)


def window_of(what: Observable, begins: Expr, seconds: Fraction) -> Window:
    """A window that is on where ``what`` is ``yes``."""
    return Window(what, "yes", begins, conjunction(atom(what, "yes"), negation(begins)), seconds)


@dataclass(frozen=True, slots=True)
class Timing:
    """The delays and windows of a timed system. Time passes at any step, by any amount. ``waits``:
    for each delay, that it ends no later than it may; that is a reason to prove something, but
    histories may be late where that does not matter. No time passes at a step at which ``hurries``
    holds."""

    delays: tuple[Delay, ...]
    windows: tuple[Window, ...]
    waits: tuple[Window, ...] = ()
    hurries: Expr = FALSE


@dataclass(frozen=True, slots=True)
class System:
    """``initial``: the initial values of each state. ``following``: for each state and value, the
    condition over current states and inputs under which it comes next; exactly one of a state's
    conditions holds in each valuation. ``always``: constraints, which every step of a trace
    satisfies, the last one included. ``timing``: what restricts traces further. ``alike``: groups
    of states that start with one value; their initial values are the same."""

    states: tuple[Observable, ...]
    inputs: tuple[Observable, ...]
    initial: Mapping[Observable, tuple[str, ...]]
    following: Mapping[Observable, Mapping[str, Expr]]
    always: tuple[Expr, ...] = ()
    timing: Timing | None = None
    alike: tuple[tuple[Observable, ...], ...] = ()

    @property
    def start(self) -> Iterator[Expr]:
        """Clauses of the states that start alike."""
        for group in self.alike:
            for one, other in combinations(group, 2):
                for value in self.initial[one]:
                    yield disjunction(negation(atom(one, value)), atom(other, value))

    def starts_with(self, state: Observable) -> tuple[Observable, ...]:
        """The states that start with the value of one, itself included."""
        return next((group for group in self.alike if state in group), (state,))

    @property
    def content(self) -> Hashable:
        """Equal for systems that are the same in everything, the order of their parts included."""
        return (
            self.states,
            self.inputs,
            tuple(tuple(self.initial[what]) for what in self.states),
            tuple(tuple(self.following[what].items()) for what in self.states),
            self.always,
            self.timing,
            self.alike,
        )

    def support(self, state: Observable) -> frozenset[Observable]:
        """The support of a state's next-state functions."""
        return frozenset(what for expr in self.following[state].values() for what in support(expr))


def with_choices(system: System, made: Mapping[Observable, str]) -> System:
    """The system in which some inputs have one value for good. It has some of the traces of the
    whole: what is reachable in it is reachable."""
    if not made:
        return system
    known: dict[Expr, Expr] = {}
    following = {
        what: {value: chosen(expr, made, known) for value, expr in values.items()}
        for what, values in system.following.items()
    }
    inputs = tuple(what for what in system.inputs if what not in made)
    always = tuple(chosen(expr, made, known) for expr in system.always)
    return replace(system, inputs=inputs, following=following, always=always)


def chosen(
    expr: Expr, made: Mapping[Observable, str], known: dict[Expr, Expr] | None = None
) -> Expr:
    """An expression where some inputs have one value for good. ``known``: see
    :func:`~verifier.logic.expr.substitute`."""

    def meaning(part: Atom) -> Expr:
        return constant(made[part.what] in part.values) if part.what in made else part

    return substitute(expr, meaning, known)


def dependencies(system: System, exprs: Iterable[Expr], rings: int) -> frozenset[Observable]:
    """The states that expressions speak of, and those within so many dependency steps."""
    inside = {what for expr in exprs for what in support(expr) if what in system.following}
    edge = set(inside)
    for _ in range(rings):
        read = {w for what in edge for w in system.support(what) if w in system.following}
        edge = read - inside
        inside |= edge
    return frozenset(inside)


def cut(system: System, kept: Iterable[Observable], asked: Iterable[Expr] = ()) -> System:
    """The abstraction that keeps some states, frees all others at every step and has no times. It
    allows every trace of the whole, and more: what is unreachable in it is unreachable. ``asked``:
    properties whose support becomes an input where it is not kept.

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
    left = (tuple(what for what in group if what in chosen) for group in system.alike)
    alike = tuple(group for group in left if len(group) > 1)
    return System(states, inputs, initial, following, always, alike=alike)


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
