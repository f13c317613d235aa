"""Witnesses: what can happen is shown near where it happens, the rest of the layout staying as it
is when it is left alone.

In: a system, and states that should be reachable. Out: a trace of the system to each of them, or
None where none was found nearby, which says nothing.

A window keeps the states within some dependency steps; all others keep their value at the start,
inputs beyond are as usual, and what acts in one step does so in the order of the file. What is
found there is played in the whole system: only what differs from the system left alone is
computed again, so that costs as much as the window, not as the layout. Windows equal up to names
are searched once.

What begins far away is found stage by stage. Backward, in a window in which trains may stand
anywhere at the start: where one must stand for the next stage, and for that one, until none must.
Then forward: the window of each stage begins as the stages before it have left it. So a train comes
in at an edge and runs past one place after another, at the cost of one window for each.

Trusted by nobody: what does not play is not returned, and the reference replays what is.
"""

from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from itertools import islice, permutations

from verifier.engines.proof_store import NO_STORE, ProofStore
from verifier.engines.results import Conflict, Reachable
from verifier.engines.temporal import bmc
from verifier.engines.temporal.scheduling import Scheduler
from verifier.engines.temporal.simulation import Machine
from verifier.engines.temporal.symmetry import Shapes
from verifier.logic.expr import FALSE, And, Atom, Const, Expr, atom, conjunction, fold, support
from verifier.logic.transition_system import (
    System,
    Timing,
    chosen,
    cut,
    dependencies,
    with_choices,
)
from verifier.plan import observables
from verifier.plan.observables import Observable

Moment = Mapping[Observable, str]
NOWHERE: Mapping[Observable, Expr] = {}
# Dependency steps from what should happen to the edge of a window, and the longest trace there.
WINDOWS = ((2, 8), (4, 12), (8, 16))
# The same for one stage, and the moments after it in which all comes to rest.
STAGES = ((2, 8), (4, 12))
IDLE = 12
# So many orders are tried in which several trains come to where they must stand.
MOST_ORDERS = 24
# A window with so much of the system is no smaller than it. Where the first one is such, there is
# nothing to be gained.
MOST = 0.5


class Witnesses:
    """Finds witnesses in one system. ``made``: choices that it can do with; ``few``: inputs of
    which a trace should choose few, the most important first; not ``small``: any short trace
    does; ``standing``: states of trains where they may stand, those nearest to an edge first, and
    that all of the train is there."""

    def __init__(
        self,
        system: System,
        made: Mapping[Observable, str],
        few: Sequence[frozenset[Observable]],
        store: ProofStore = NO_STORE,
        *,
        small: bool = True,
        standing: Mapping[Observable, Expr] = NOWHERE,
    ):
        self._whole = system
        self._standing = standing
        self._small = small
        self._store = store
        self._made = made
        self._few = few
        self._shapes = Shapes()
        # By shape and question: the trace under canonical names.
        self._known: dict[Hashable, Sequence[Moment] | None] = {}
        # By train that stands somewhere: the stages that lead to it.
        self._ways: dict[Expr, Sequence[Expr]] = {}
        # Those to which no way was found since the last one that was.
        self._lost: set[Expr] = set()
        self._shunned: set[Observable] = set()

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
            window = self._window(kept, tuple(left.values()), self._alone.start)
            for i, bad in tuple(left.items()):
                trace = self._searched(window, bad, longest, deadline)
                played = None if trace is None else self._played(trace, bad)
                if played is not None:
                    del left[i]
                    yield i, Reachable(played)
            if whole:
                break
        for i, bad in left.items() if self._standing else ():
            staged = self._staged(bad, deadline)
            played = None if staged is None else self._played(staged, bad)
            if played is not None:
                yield i, Reachable(played, smallest=False)

    # -------------------------------------------------------------- stages

    def _staged(self, bad: Expr, deadline: float | None) -> Sequence[Moment] | None:
        """A trace in stages; None where none is found."""
        while True:
            tried = len(self._shunned)
            self._lost.clear()
            ways = self._ways_to(self._stood(bad, self._standing, deadline), deadline)
            for order in islice(permutations(ways or ()), MOST_ORDERS):
                trace = self._forward([stage for way in order for stage in way], bad, deadline)
                if trace is not None:
                    return trace
            if len(self._shunned) == tried:
                return None

    def _ways_to(
        self, stood: Moment | None, deadline: float | None, passed: Sequence[Observable] = ()
    ) -> Sequence[Sequence[Expr]] | None:
        """For each train that stands somewhere, the stages that lead to it; from where it is nearer
        to an edge if it can be, else from anywhere that was not ``passed``."""
        found: list[Sequence[Expr]] = []
        for one in self._one_by_one(stood or {}):
            if one in self._lost:
                return None
            if one not in self._ways:
                further = (*passed, *support(one))
                others = [w for w in self._standing if w not in further]
                place = list(self._standing)
                nearer = others[: min(place.index(w) for w in further if w in self._standing)]
                for within in (nearer, others):
                    there = self._stood(one, within, deadline)
                    before = self._ways_to(there, deadline, further)
                    if before is not None:
                        self._ways[one] = [*(stage for way in before for stage in way), one]
                        self._lost.clear()
                        break
                else:
                    self._lost.add(one)
                    return None
            found.append(self._ways[one])
        return None if stood is None else found

    def _stood(
        self, goal: Expr, within: Iterable[Observable], deadline: float | None
    ) -> Moment | None:
        """Of trains, where they may stand at the start of the last stage to a goal, rather without
        turning back; None where no such stage is found. Where the goal speaks of none stands yet.
        """
        free = [w for w in within if w not in self._shunned and w not in support(goal)]
        for rings, longest in STAGES:
            kept = dependencies(self._system, [goal], rings)
            anywhere = {w: w.values for w in free if w in kept}
            window = self._window(kept, [goal], self._alone.start)
            window = replace(window, initial={**window.initial, **anywhere})
            turns = {w: w.usual for w in window.inputs if w.kind == "reversal"}
            for way in (with_choices(window, turns), window):
                trace = self._searched(way, goal, longest, deadline)
                if trace is not None:
                    first = {w: trace[0][w] for w in anywhere}
                    there = {w.name for w in first if w.kind == "train" and first[w] != w.usual}
                    return {w: value for w, value in first.items() if w.name in there}
        return None

    def _one_by_one(self, stood: Moment) -> list[Expr]:
        """Each train that stands somewhere by itself, all of it there."""
        trains: dict[str, list[Expr]] = {}
        for what, value in stood.items():
            trains.setdefault(what.name, []).extend((atom(what, value), self._standing[what]))
        return [conjunction(*there) for there in trains.values()]

    def _forward(
        self, stages: Sequence[Expr], bad: Expr, deadline: float | None
    ) -> list[Moment] | None:
        """The inputs that lead through all stages, and then to a bad state."""
        walk = _Walk(self._alone)
        for stage in stages:
            inputs = self._stage(stage, walk.now, deadline)
            if inputs is None or not walk.goes(inputs[:-1]) or not walk.rests():
                # Trains should rather not stand there.
                self._shunned.update(w for w in support(stage) if w in self._standing)
                self._ways.clear()
                return None
        last = self._stage(bad, walk.now, deadline)
        return None if last is None else [*walk.told, *last]

    def _stage(self, goal: Expr, now: Moment, deadline: float | None) -> list[Moment] | None:
        """Inputs that lead to a goal in a window that begins as things are now."""
        for rings, longest in STAGES:
            kept = dependencies(self._system, [goal], rings)
            window = self._window(kept, [goal], now)
            begins = {w: (now[w],) for w in window.states}
            window = replace(window, initial=begins, alike=())
            trace = self._searched(window, goal, longest, deadline)
            if trace is not None:
                return [{w: m[w] for w in window.inputs} for m in trace]
        return None

    # -------------------------------------------------------------- windows

    def _window(self, kept: frozenset[Observable], bads: Sequence[Expr], beyond: Moment) -> System:
        """The window, with the states beyond it as given throughout."""
        whole = self._system
        window = cut(whole, kept, bads)
        fixed = with_choices(window, {w: beyond[w] for w in window.inputs if w in whole.following})
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
        # Windows of one shape may differ in inputs that nothing depends on: these are as usual.
        usual = {what: what.usual for what in window.inputs}
        return known and [
            usual | {shape.back[w]: v for w, v in moment.items() if w in shape.back}
            for moment in known
        ]

    def _played(self, trace: Sequence[Moment], bad: Expr) -> tuple[Moment, ...] | None:
        """The trace in the whole system, if it is one of it."""
        played = self._alone.disturbed(trace)
        if played is None or not Values(played[-1]).holds(bad):
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

    def at(self, step: int) -> Moment:
        """The moment after so many steps."""
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
            stepped = self.step(step, differs, told)
            if stepped is None:
                return None
            moment, differs = stepped
            moments.append(moment)
        return moments

    def step(
        self, step: int, differs: Moment, told: Moment
    ) -> tuple[Moment, dict[Observable, str]] | None:
        """The moment after so many steps in which some states differ, with these inputs; and the
        states that may differ after it. None where that is not allowed."""
        alone = self.at(step)
        inputs = {w: v for w, v in told.items() if w in self._usual}
        moment = {**alone, **differs, **inputs}
        changed = {w for w in (*differs, *inputs) if moment[w] != alone[w]}
        if not self._is_allowed(step, moment, changed):
            return None
        return moment, self._after(moment, changed)

    def _is_allowed(self, step: int, moment: Moment, changed: set[Observable]) -> bool:
        always = self._system.always
        if self._allowed[step]:
            always = tuple(expr for expr in always if not changed.isdisjoint(support(expr)))
        values = Values(moment)
        return all(map(values.holds, always))

    def _after(self, moment: Moment, changed: set[Observable]) -> dict[Observable, str]:
        """The states that read what has changed, after a step; all others are as they would have
        been."""
        values = Values(moment)
        reached = dict.fromkeys(w for c in changed for w in self._readers.get(c, ()))
        return {
            what: next(v for v, e in self._system.following[what].items() if values.holds(e))
            for what in reached
        }


class _Walk:
    """What happens as inputs are told, moment by moment. ``told``: those of each moment so far."""

    def __init__(self, alone: _Alone):
        self._alone = alone
        self.told: list[Moment] = []
        self._differs: Moment = {}

    @property
    def now(self) -> Moment:
        """The moment that follows on those told."""
        return {**self._alone.at(len(self.told)), **self._differs}

    def goes(self, moments: Sequence[Moment]) -> bool:
        """Whether it goes on so; then it has."""
        for inputs in moments:
            stepped = self._alone.step(len(self.told), self._differs, inputs)
            if stepped is None:
                return False
            self.told.append(inputs)
            self._differs = stepped[1]
        return True

    def rests(self) -> bool:
        """Whether it goes on with inputs as usual, with which delays end that run, until nothing
        changes any more, or for some moments; then it has."""
        for _ in range(IDLE):
            now = self.now
            running = (w.name for w in now if w.kind == "clock" and now[w] != w.usual)
            ends = (observables.choice("expiry", name) for name in running)
            if not self.goes([{w: "yes" for w in ends if w in now}]):
                return False
            if self.now == now:
                break
        return True


class Values:
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
