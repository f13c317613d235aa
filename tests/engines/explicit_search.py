"""Going through everything that can be reached, one by one, with no solver.

In: where it starts and what follows what, or a transition system. Out: all that is reached,
the shortest way to each, and whether something ever happens. For small layouts; the reference
that every other engine over time must agree with.
"""

from collections import deque
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import reduce
from itertools import product
from operator import and_, or_
from typing import Generic, TypeVar

from verifier.engines.results import Reachable, Unknown
from verifier.logic.expr import And, Atom, Const, Expr, Group
from verifier.logic.transition_system import System
from verifier.plan.minimality import values_in_order
from verifier.plan.observables import Observable

S = TypeVar("S", bound=Hashable)

# A transition system with more ways to choose at one moment is not for this engine.
MAX_CHOICES = 1 << 20


# ------------------------------------------------------------------ any states at all


@dataclass(frozen=True, slots=True)
class Explored(Generic[S]):
    """``parents``: every state reached and the one before it on a shortest way, None at a
    start. ``complete`` is False where it stopped before everything was reached; ``found`` is
    the state it stopped at, if that was what it looked for."""

    parents: Mapping[S, S | None]
    complete: bool
    found: S | None = None

    def path(self, state: S) -> list[S]:
        """A shortest way to a state, from a start."""
        way, at = [state], self.parents[state]
        while at is not None:
            way.append(at)
            at = self.parents[at]
        return way[::-1]


def explore(
    starts: Iterable[S],
    successors: Callable[[S], Iterable[S]],
    *,
    most: int,
    wanted: Callable[[S], bool] = lambda _: False,
) -> Explored[S]:
    """Breadth first, up to ``most`` states or to the first one ``wanted``."""
    parents: dict[S, S | None] = {}
    waiting: deque[S] = deque()
    following: Iterator[S] = iter(starts)
    before: S | None = None
    while True:
        for state in following:
            if state in parents:
                continue
            if len(parents) >= most:
                return Explored(parents, complete=False)
            parents[state] = before
            if wanted(state):
                return Explored(parents, complete=False, found=state)
            waiting.append(state)
        if not waiting:
            return Explored(parents, complete=True)
        before = waiting.popleft()
        following = iter(successors(before))


# ------------------------------------------------------------------ transition systems

Values = tuple[str, ...]


class Choices:
    """A transition system looked at with all ways to choose at once: a set of ways is a whole
    number, one bit for each. Expressions become such sets."""

    def __init__(self, system: System):
        self.system = system
        number = 1
        for what in system.inputs:
            number *= len(what.values)
        if number > MAX_CHOICES:
            raise ValueError(f"{number:,} ways to choose are too many to go through one by one")
        self.every = (1 << number) - 1
        self._where: dict[tuple[Observable, str], int] = {}
        run = 1
        for what in system.inputs:
            for i, value in enumerate(values_in_order(what)):
                self._where[what, value] = _repeated(i * run, run, len(what.values) * run, number)
            run *= len(what.values)
        self._index = {what: i for i, what in enumerate(system.states)}
        # What expressions come to in the state last looked at.
        self._state: Values | None = None
        self._known: dict[Expr, int] = {}

    def starts(self) -> Iterator[Values]:
        every = product(*(self.system.initial[what] for what in self.system.states))
        return (state for state in every if starts_alike(self.system, state))

    def ways(self, expr: Expr, state: Values) -> int:
        """The ways to choose with which an expression holds in a state."""
        if state != self._state:
            self._state = state
            self._known = {}
        known, stack = self._known, [expr]
        while stack:
            node = stack[-1]
            waiting = [p for p in node.parts if p not in known] if isinstance(node, Group) else ()
            if waiting:
                stack.extend(waiting)
                continue
            if node not in known:
                known[node] = self._work_out(node, state)
            stack.pop()
        return known[expr]

    def _work_out(self, node: Expr, state: Values) -> int:
        match node:
            case Const():
                return self.every if node.value else 0
            case Atom() if node.what in self._index:
                return self.every if state[self._index[node.what]] in node.values else 0
            case Atom():
                return reduce(or_, (self._where[node.what, value] for value in node.values))
            case And():
                return reduce(and_, (self._known[part] for part in node.parts))
            case Group():
                return reduce(or_, (self._known[part] for part in node.parts))
            case _:
                raise AssertionError(node)

    def allowed(self, state: Values) -> int:
        """The ways to choose with which what is taken for granted holds."""
        ways = self.every
        for expr in self.system.always:
            ways &= self.ways(expr, state)
        return ways

    def parted(self, state: Values) -> Iterator[tuple[Values, int]]:
        """Every state that may follow, and the ways to choose that lead to it."""
        parts: list[tuple[Values, int]] = [((), self.allowed(state))]
        for what in self.system.states:
            by_value = [
                (value, self.ways(expr, state))
                for value, expr in self.system.following[what].items()
            ]
            parts = [
                ((*values, value), both)
                for values, ways in parts
                for value, comes in by_value
                if (both := ways & comes)
            ]
        yield from parts

    def successors(self, state: Values) -> Iterator[Values]:
        return (values for values, _ in self.parted(state))

    def chosen(self, ways: int) -> dict[Observable, str]:
        """The first of some ways to choose: as much as usual as can be."""
        number = (ways & -ways).bit_length() - 1
        found = {}
        for what in self.system.inputs:
            number, i = divmod(number, len(what.values))
            found[what] = values_in_order(what)[i]
        return found


def _repeated(start: int, length: int, period: int, number: int) -> int:
    """Ones from ``start`` on, ``length`` of them, again every ``period``, below ``number``."""
    bits, have = ((1 << length) - 1) << start, period
    while have < number:
        bits |= bits << have
        have *= 2
    return bits & ((1 << number) - 1)


def ever(system: System, bad: Expr, *, most: int) -> Reachable | Unknown | None:
    """Whether something ever happens: by a shortest history, never (None), or not settled
    within ``most`` states."""
    choices = Choices(system)
    reached = explore(
        choices.starts(),
        choices.successors,
        most=most,
        wanted=lambda state: bool(choices.ways(bad, state) & choices.allowed(state)),
    )
    if reached.found is None:
        return None if reached.complete else Unknown(f"more than {most:,} states can be reached")
    path = reached.path(reached.found)
    trace = []
    for state, then in zip(path, [*path[1:], None], strict=True):
        if then is None:
            ways = choices.ways(bad, state) & choices.allowed(state)
        else:
            ways = next(ways for values, ways in choices.parted(state) if values == then)
        now = dict(zip(system.states, state, strict=True))
        trace.append({**now, **choices.chosen(ways)})
    return Reachable(tuple(trace))


def successors_of(system: System) -> Callable[[Values], Iterator[Values]]:
    """What follows each state of a transition system, as its values in order."""
    return Choices(system).successors


def starts_alike(system: System, state: Values) -> bool:
    """Whether the states that start with one value do."""
    now = dict(zip(system.states, state, strict=True))
    return all(len({now[what] for what in group}) == 1 for group in system.alike)
