"""Witnesses: what can happen is shown near where it happens, the rest of the layout staying as it
is when it is left alone.

In: a system, and states that should be reachable. Out: a trace of the system to each of them, or
None where none was found nearby, which says nothing.

A window keeps the states within some dependency steps; all others keep their value at the start,
inputs beyond are as usual, and what acts in one step does so in the order of the file. What is
found there is played in the whole system: only what differs from the system left alone is
computed again, so that costs as much as the window, not as the layout. Windows equal up to names
are searched once.

Trusted by nobody: what does not play is not returned, and the reference replays what is.
"""

from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property

from verifier.engines.proof_store import NO_STORE, ProofStore
from verifier.engines.results import Conflict, Reachable
from verifier.engines.temporal import bmc
from verifier.engines.temporal.scheduling import Scheduler
from verifier.engines.temporal.simulation import Machine
from verifier.engines.temporal.symmetry import Shapes
from verifier.logic.expr import FALSE, And, Atom, Const, Expr, fold, support
from verifier.logic.transition_system import (
    System,
    Timing,
    chosen,
    cut,
    dependencies,
    with_choices,
)
from verifier.plan.observables import Observable

Moment = Mapping[Observable, str]
# Dependency steps from what should happen to the edge of a window, and the longest trace there.
WINDOWS = ((2, 8), (4, 12), (8, 16))
# A window with so much of the system is no smaller than it. Where the first one is such, there is
# nothing to be gained.
MOST = 0.5


class Witnesses:
    """Finds witnesses in one system. ``made``: choices that it can do with; ``few``: inputs of
    which a trace should choose few, the most important first; not ``small``: any short trace
    does."""

    def __init__(
        self,
        system: System,
        made: Mapping[Observable, str],
        few: Sequence[frozenset[Observable]],
        store: ProofStore = NO_STORE,
        *,
        small: bool = True,
    ):
        self._whole = system
        self._small = small
        self._store = store
        self._made = made
        self._few = few
        self._shapes = Shapes()
        # By shape and question: the trace under canonical names.
        self._known: dict[Hashable, Sequence[Moment] | None] = {}

    @cached_property
    def _system(self) -> System:
        return with_choices(self._whole, self._made)

    @cached_property
    def _alone(self) -> "_Alone":
        return _Alone(self._system)

    @cached_property
    def _scheduler(self) -> Scheduler | None:
        return Scheduler(self._whole) if self._whole.timing else None

    def find(
        self, bads: Mapping[int, Expr], deadline: float | None
    ) -> Iterator[tuple[int, Reachable]]:
        """Traces to those of the states of one place that happen nearby.

        Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
        left = {i: chosen(bad, self._made) for i, bad in bads.items()}
        for n, (rings, longest) in enumerate(WINDOWS):
            kept = dependencies(self._system, left.values(), rings)
            whole = len(kept) >= MOST * len(self._system.states)
            if not left or (whole and n == 0):
                return
            if whole:
                kept = frozenset(self._system.states)
            window = self._window(kept, tuple(left.values()))
            for i, bad in tuple(left.items()):
                trace = self._searched(window, bad, longest, deadline)
                played = None if trace is None else self._played(trace, bad)
                if played is not None:
                    del left[i]
                    yield i, Reachable(played)
            if whole:
                return

    def _window(self, kept: frozenset[Observable], bads: Sequence[Expr]) -> System:
        """The window, all states beyond being as they are at the start."""
        whole = self._system
        window = cut(whole, kept, bads)
        beyond = (w for w in window.inputs if w in whole.following)
        fixed = with_choices(window, {w: self._alone.start[w] for w in beyond})
        if whole.timing is None:
            return fixed
        inside = {*fixed.states, *fixed.inputs}
        timing = whole.timing
        delays = (
            delay
            for delay in timing.delays
            if delay.clock in inside and all(inside.issuperset(support(e)) for e, _ in delay.ends)
        )
        windows = (
            each
            for each in timing.windows
            if each.what in inside
            and inside.issuperset((*support(each.begins), *support(each.goes_on)))
        )
        hurries = timing.hurries if inside.issuperset(support(timing.hurries)) else FALSE
        return replace(fixed, timing=Timing(tuple(delays), tuple(windows), hurries=hurries))

    def _searched(
        self, window: System, bad: Expr, longest: int, deadline: float | None
    ) -> Sequence[Moment] | None:
        shape = self._shapes.of(window)
        key = shape.key, shape.question(self._shapes.form(bad)), longest
        if key not in self._known:
            inside = frozenset((*window.states, *window.inputs))
            few = tuple(group & inside for group in self._few)
            found = self._store.answer(
                ("nearby", window.content, bad, longest, few),
                lambda: bmc.search(
                    window, bad, most=longest, few=few, deadline=deadline, small=self._small
                ),
                lambda found: found.smallest if isinstance(found, Reachable) else found.final,
            )
            self._known[key] = (
                [{shape.there[w]: v for w, v in m.items()} for m in found.trace]
                if isinstance(found, Reachable)
                else None
            )
        known = self._known[key]
        return known and [{shape.back[w]: v for w, v in moment.items()} for moment in known]

    def _played(self, trace: Sequence[Moment], bad: Expr) -> tuple[Moment, ...] | None:
        """The trace in the whole system, if it is one of it."""
        played = self._alone.disturbed(trace)
        if played is None or not _Values(played[-1]).holds(bad):
            return None
        told = tuple({**moment, **self._made} for moment in played)
        if self._scheduler and isinstance(self._scheduler.schedule(told), Conflict):
            return None
        return told


class _Alone:
    """A system left alone: it starts as usual as can be, and all inputs are as usual."""

    def __init__(self, system: System):
        self._system = system
        self.start = {
            w: w.usual if w.usual in system.initial[w] else system.initial[w][0]
            for w in system.states
        }
        self._usual = {w: w.usual for w in system.inputs}
        self._states = frozenset(system.states)
        self._machine = Machine(system)
        self._values = self._machine.blank(1)
        self._machine.set(self._values, self.start)
        self._machine.set(self._values, self._usual)
        # The state after so many steps, and whether inputs as usual are allowed in it.
        self._moments: list[Moment] = []
        self._allowed: list[bool] = []
        self._readers: dict[Observable, list[Observable]] = {}
        for what in system.states:
            for read in system.support(what):
                self._readers.setdefault(read, []).append(what)

    def _at(self, step: int) -> Moment:
        machine, values = self._machine, self._values
        while len(self._moments) <= step:
            self._moments.append({**machine.state(values), **self._usual})
            machine.evaluate(values)
            self._allowed.append(bool(machine.allowed(values)))
            machine.advance(values)
        return self._moments[step]

    def disturbed(self, trace: Sequence[Moment]) -> list[Moment] | None:
        """What happens if it starts as a trace says of some states, and has the inputs of the
        trace; None where that is not allowed."""
        system = self._system
        differs = {w: v for w, v in trace[0].items() if w in self._states}
        for group in system.alike:
            given = [differs[w] for w in group if w in differs]
            differs.update(dict.fromkeys(group, given[0]) if given else {})
        if any(value not in system.initial[w] for w, value in differs.items()):
            return None
        moments: list[Moment] = []
        for step, told in enumerate(trace):
            alone = self._at(step)
            inputs = {w: v for w, v in told.items() if w in self._usual}
            moment = {**alone, **differs, **inputs}
            moments.append(moment)
            changed = {w for w in (*differs, *inputs) if moment[w] != alone[w]}
            if not self._is_allowed(step, moment, changed):
                return None
            differs = self._after(moment, changed)
        return moments

    def _is_allowed(self, step: int, moment: Moment, changed: set[Observable]) -> bool:
        always = self._system.always
        if self._allowed[step]:
            always = tuple(expr for expr in always if not changed.isdisjoint(support(expr)))
        values = _Values(moment)
        return all(map(values.holds, always))

    def _after(self, moment: Moment, changed: set[Observable]) -> dict[Observable, str]:
        """The states that read what has changed, after a step; all others are as they would have
        been."""
        values = _Values(moment)
        reached = dict.fromkeys(w for c in changed for w in self._readers.get(c, ()))
        return {
            what: next(v for v, e in self._system.following[what].items() if values.holds(e))
            for what in reached
        }


class _Values:
    """What expressions come to at one moment."""

    def __init__(self, moment: Moment):
        self._moment = moment
        self._known: dict[Expr, bool] = {}

    def holds(self, expr: Expr) -> bool:
        return fold(expr, self._value, self._known)

    def _value(self, node: Expr, parts: Sequence[bool]) -> bool:
        match node:
            case Const(value=value):
                return value
            case Atom(what=what, values=values):
                return self._moment[what] in values
            case And():
                return all(parts)
            case _:
                return any(parts)
