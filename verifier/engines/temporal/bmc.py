"""Bounded model checking: a shortest trace to a bad state, minimized.

In: a system, a bad state, and the inputs of which a trace should choose few. Out: the states and
inputs of each moment up to the bad one; or that no trace of so many steps reaches it.

The solver proposes the inputs; :class:`~verifier.engines.temporal.simulation.Machine` computes
what follows from them, and every input that is not needed is set back to its usual value.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from time import monotonic

import z3

from verifier.engines.results import Reachable, Unknown
from verifier.engines.temporal.simulation import Machine
from verifier.engines.temporal.unroller import Unrolling
from verifier.logic.expr import Expr
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

# A history may be so many moments longer than need be if it then takes fewer of what there
# should be few of.
LONGER = 3
# Seconds to spend on making a history small, and on one question about it.
POLISHING, ONE_QUESTION = 4.0, 1.0


def search(
    system: System,
    bad: Expr,
    *,
    most: int,
    deadline: float | None = None,
    few: Sequence[frozenset[Observable]] = (),
) -> Reachable | Unknown:
    """A shortest trace to ``bad`` of at most ``most`` steps; final Unknown when there is none.
    ``few``: inputs of which as few as possible should not be as usual, the most important first.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    return _checker_of(system).search(bad, most, deadline, few)


class BoundedModelChecker:
    """Bounded model checking of one system; what was unrolled is kept from one bad state to
    the next."""

    def __init__(self, system: System):
        self.system = system
        self._solver = Unrolling(system, start=True)
        self._machine = Machine(system)
        self._deadline: float | None = None

    def search(
        self, bad: Expr, most: int, deadline: float | None, few: Sequence[frozenset[Observable]]
    ) -> Reachable | Unknown:
        """See :func:`search`."""
        self._deadline = deadline
        solver = self._solver
        for depth in range(most + 1):
            found = solver.check(self._asked(bad, depth), deadline)
            if found is None:
                return Unknown(solver.reason, depth)
            if found:
                return self._smallest(bad, depth, most, few)
        return Unknown(f"no trace of up to {most} steps reaches it", most + 1, final=True)

    def _asked(self, bad: Expr, depth: int) -> list[z3.BoolRef]:
        """That a history goes on so long, and then it happens."""
        return [self._solver.literal(bad, depth), *self._solver.constraints(*range(depth + 1))]

    # -------------------------------------------------------------- making small

    def _smallest(
        self, bad: Expr, depth: int, most: int, few: Sequence[frozenset[Observable]]
    ) -> Reachable:
        """The history just found, made small as far as time allows."""
        order = {what: i for i, group in reversed([*enumerate(few)]) for what in group}
        until = monotonic() + POLISHING
        if self._deadline is not None:
            until = min(until, self._deadline)
        history = self._spared(bad, self._read(depth), order)
        bounds: list[tuple[frozenset[Observable], int]] = []
        smallest = True
        for group in few:
            longest = min(depth + LONGER, most) if not bounds else history.depth
            for longer in range(history.depth, longest + 1):
                while smallest and (count := history.count(group)):
                    found = self._check_few(bad, longer, [*bounds, (group, count - 1)], until)
                    if found is None:
                        smallest = False
                    if not found:
                        break
                    history = self._spared(bad, self._read(longer), order)
            bounds.append((group, history.count(group)))
        return Reachable(tuple(self._told(bad, history)), smallest)

    def _check_few(
        self,
        bad: Expr,
        depth: int,
        bounds: Sequence[tuple[frozenset[Observable], int]],
        until: float,
    ) -> bool | None:
        """Whether it happens at a depth with at most so many of each group not as usual."""
        solver = self._solver
        asked = self._asked(bad, depth)
        groups = [(list(self._unusual(group, depth)), most) for group, most in bounds]
        solver.push()
        try:
            for bits, most in groups:
                if len(bits) > most:
                    solver.add(z3.AtMost(*bits, most))
            return solver.check(asked, min(until, monotonic() + ONE_QUESTION))
        finally:
            solver.pop()

    def _unusual(self, group: frozenset[Observable], depth: int) -> Iterator[z3.BoolRef]:
        """That things the solver knows of are not as usual, at each moment; states at the
        first."""
        solver = self._solver
        whats = [(w, range(1)) for w in self.system.states]
        whats += [(w, range(depth + 1)) for w in self.system.inputs]
        for what, steps in whats:
            for step in steps if what in group else ():
                if any(solver.knows(what, value, step) for value in what.values):
                    bit = solver.no(solver.bit(what, what.usual, step))
                    if bit is not solver.false:
                        yield bit

    def _spared(
        self, bad: Expr, history: "_History", order: Mapping[Observable, int]
    ) -> "_History":
        """Without what is not needed; what there should be few of first."""
        left = sorted(history.unusual(self.system), key=lambda u: order.get(u[1], len(order)))
        while left:
            # The first case lets nothing go, each further one a thing more than the last.
            every = (2 << len(left)) - 1
            cases = self._cases(bad, history, left, every)
            if not cases & 1:
                raise AssertionError("what was found does not happen")
            gone = cases.bit_length() - 1
            history = history.without(left[:gone])
            left = left[gone + 1 :]
        return history

    def _cases(
        self,
        bad: Expr,
        history: "_History",
        left: Sequence[tuple[int, Observable]],
        every: int,
    ) -> int:
        """Those of the cases in which it happens at the end."""
        machine = self._machine
        end = machine.slot(bad)
        values = machine.blank(every)
        machine.set(values, history.start)
        happens = every
        for step, inputs in enumerate(history.inputs):
            machine.set(values, inputs)
            for i, (at, what) in enumerate(left):
                if at == step:
                    kept = (2 << i) - 1
                    value = (history.start if what in history.start else inputs)[what]
                    machine.put(values, what, value, kept)
                    machine.put(values, what, what.usual, every ^ kept)
            machine.evaluate(values)
            happens &= machine.allowed(values)
            if step == history.depth:
                return happens & values[end]
            machine.advance(values)
        raise AssertionError(history)

    # -------------------------------------------------------------- reading

    def _read(self, depth: int) -> "_History":
        solver = self._solver
        start = dict(solver.valuation(0, self.system.states))
        return _History(
            start, [dict(solver.valuation(s, self.system.inputs)) for s in range(depth + 1)]
        )

    def _told(self, bad: Expr, history: "_History") -> Iterator[Mapping[Observable, str]]:
        """All states and inputs, moment by moment."""
        assert self._cases(bad, history, (), 1)
        machine = self._machine
        values = machine.blank(1)
        machine.set(values, history.start)
        for inputs in history.inputs:
            machine.set(values, inputs)
            machine.evaluate(values)
            yield {**machine.state(values), **inputs}
            machine.advance(values)


@dataclass(frozen=True, slots=True)
class _History:
    """States at the first moment, inputs at each."""

    start: dict[Observable, str]
    inputs: list[dict[Observable, str]]

    @property
    def depth(self) -> int:
        return len(self.inputs) - 1

    def count(self, group: frozenset[Observable]) -> int:
        """How often something of a group is not as usual."""
        return sum(
            value != what.usual
            for moment in (self.start, *self.inputs)
            for what, value in moment.items()
            if what in group
        )

    def unusual(self, system: System) -> Iterator[tuple[int, Observable]]:
        """What could be as usual and is not, and at which moment."""
        for what, value in self.start.items():
            if value != what.usual and what.usual in system.initial[what]:
                yield 0, what
        for step, inputs in enumerate(self.inputs):
            for what, value in inputs.items():
                if value != what.usual:
                    yield step, what

    def without(self, gone: Sequence[tuple[int, Observable]]) -> "_History":
        start, inputs = dict(self.start), [dict(moment) for moment in self.inputs]
        for step, what in gone:
            (start if what in start else inputs[step])[what] = what.usual
        return _History(start, inputs)


_latest: list[BoundedModelChecker] = []


def _checker_of(system: System) -> BoundedModelChecker:
    """The last one is kept: questions about one system come one after the other."""
    if not _latest or _latest[0].system is not system:
        _latest[:] = [BoundedModelChecker(system)]
    return _latest[0]


def goes_on(system: System, moments: int, deadline: float | None = None) -> bool | None:
    """Whether some history that keeps to all that is taken for granted goes on so long; None
    when that is not known.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    solver = Unrolling(system, start=True)
    return solver.check(solver.constraints(*range(moments)), deadline)
