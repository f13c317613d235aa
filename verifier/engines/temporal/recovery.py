"""Recovery: whether every state of a window can be led to a goal by a choice of inputs, whatever
the states beyond the window do.

In: a :class:`Window`. Out: that each of its states can be recovered (by one of finitely many
*plans*, each a sequence of inputs), or a state for which no plan was found.

A plan *recovers* a state if the goal holds at some step of it, in every execution from there, with
any values of the states beyond that obey what lasts. Plans are found by CEGIS: the SAT solver
proposes inputs that work against the behaviors beyond met so far, and then looks for one against
which they do not work. A state without a plan may be unreachable: then PDR excludes it.

Plans are proposals: that one of them recovers each state is judged by z3
(:mod:`verifier.engines.temporal.recovery_check`). What is true of a window is true of the whole
system as far as :mod:`verifier.engines.temporal.composition` argues.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from verifier.engines.results import Unknown, Unreachable
from verifier.engines.temporal import pdr
from verifier.engines.temporal.gates import TRUE, Gates
from verifier.engines.temporal.sat import Limit, NoAnswer, Sat
from verifier.engines.temporal.transition_cnf import TransitionCnf
from verifier.logic.expr import Expr, atom, conjunction, support
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

Moment = Mapping[Observable, str]
Plan = tuple[Moment, ...]


@dataclass(frozen=True, slots=True)
class Effort:
    """``rings``: dependency steps from a part to the edge of its window; ``longest``: steps of a
    plan; ``plans``: how many there may be; ``excludes``: whether states that seem stuck are
    excluded if they are unreachable."""

    rings: int
    longest: int
    plans: int
    excludes: bool = False


@dataclass(frozen=True, slots=True)
class Window:
    """``system``: some states of a system, with all others free; ``reached``: the same with steps
    that plans do not take, on which states are reached. ``chosen``: its inputs that a
    plan may choose, and ``beyond``: those that are states of the whole; further inputs have their
    usual value. ``given`` holds at the start, ``held`` and the ``invariant`` at every step. At the
    end of a plan ``goal`` must hold, and whatever of ``kept`` held at the start."""

    system: System
    reached: System
    chosen: tuple[Observable, ...]
    beyond: tuple[Observable, ...]
    given: tuple[Expr, ...]
    held: tuple[Expr, ...]
    invariant: tuple[Expr, ...]
    goal: Expr
    kept: tuple[Expr, ...] = ()

    @property
    def is_at_goal(self) -> bool:
        """Whether the goal speaks of states only, so that a state may be there without a plan."""
        return set(self.system.states).issuperset(support(self.goal))


@dataclass(frozen=True, slots=True)
class Recovered:
    """Each state is recovered by one of these plans, given further invariants found on the way."""

    plans: tuple[Plan, ...]
    invariants: tuple[Expr, ...]


@dataclass(frozen=True, slots=True)
class Stuck:
    """No plan of the length allowed recovers this state. ``against``: what the states beyond do
    against the plans proposed for it. ``plans`` recover other states."""

    state: Moment
    against: tuple[Moment, ...] = ()
    plans: tuple[Plan, ...] = ()
    invariants: tuple[Expr, ...] = ()


def recover(
    window: Window, effort: Effort, deadline: float | None, plans: Sequence[Plan] = ()
) -> Recovered | Stuck | Unknown:
    """Plans such that one of them recovers each state; ``plans`` known before may be longer than
    the effort allows.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    limit = Limit()
    try:
        with limit.until(deadline):
            return _Search(window, effort, limit, deadline, plans).answer()
    except NoAnswer as none:
        return Unknown(str(none))


class _Search:
    def __init__(
        self,
        window: Window,
        effort: Effort,
        limit: Limit,
        deadline: float | None,
        plans: Sequence[Plan],
    ):
        self._window = window
        self._effort = effort
        self._limit = limit
        self._deadline = deadline
        self._cnf = TransitionCnf(window.system)
        self._plans: list[Plan] = list(plans)
        self._invariants: list[Expr] = []
        self._pdr: pdr.Reachability | None = None

    def answer(self) -> Recovered | Stuck:
        """See :func:`recover`."""
        missed = self._missed()
        while (state := missed.state()) is not None:
            plan: Plan | Stuck = Stuck(state)
            if len(self._plans) < self._effort.plans:
                planner = _Planner(self._cnf, self._window, state, self._limit)
                plan = planner.plan(self._effort.longest)
            if not isinstance(plan, Stuck):
                self._plans.append(plan)
                missed.must_miss(missed.path(plan, None))
                continue
            found = self._excluded(state) if self._effort.excludes else None
            if found is None:
                return replace(plan, plans=tuple(self._plans), invariants=tuple(self._invariants))
            self._invariants += found
            self._window = replace(self._window, invariant=(*self._window.invariant, *found))
            missed = self._missed()
        return Recovered(tuple(self._plans), tuple(self._invariants))

    def _missed(self) -> "_Paths":
        """States that the plans so far miss."""
        window = self._window
        paths = _Paths(self._cnf, window, None, self._limit)
        begin = paths.path((), None)
        for expr in window.given:
            paths.add(paths.at(expr, begin, 0))
        paths.add(paths.obeys(begin, 0))
        if window.is_at_goal:
            paths.add(-paths.at(window.goal, begin, 0))
        for plan in self._plans:
            paths.must_miss(paths.path(plan, None))
        return paths

    def _excluded(self, state: Moment) -> tuple[Expr, ...] | None:
        """Invariants that exclude a state, if it is unreachable within the window."""
        system = self._window.reached
        if self._pdr is None:
            inside = {*system.states, *system.inputs}
            lasting = (e for e in self._window.invariant if inside.issuperset(support(e)))
            always = (*system.always, *lasting)
            self._pdr = pdr.Reachability(replace(system, always=always))
        cube = conjunction(*(atom(w, state[w]) for w in system.states))
        found = self._pdr.decide([cube], self._deadline)[0]
        return found.clauses if isinstance(found, Unreachable) else None


class _Planner:
    """A plan for one state."""

    def __init__(self, cnf: TransitionCnf, window: Window, state: Moment, limit: Limit):
        self._cnf = cnf
        self._window = window
        self._state = state
        self._limit = limit
        # Of what must be kept, what plans were found to disturb.
        self._kept: list[Expr] = []
        # What the states beyond were found to do, step by step.
        self._against: list[Plan] = []
        self._begin()

    def _begin(self) -> None:
        window = replace(self._window, kept=tuple(self._kept))
        self._paths = _Paths(self._cnf, window, self._state, self._limit)
        self._free = self._paths.path(None, None)
        self._copies = [self._paths.path(None, beyond) for beyond in self._against]

    def plan(self, longest: int) -> Plan | Stuck:
        """A shortest plan that works whatever the states beyond do."""
        for depth in range(longest + 1):
            while (plan := self._proposed(depth)) is not None:
                if self._withstands(plan, longest):
                    return plan
        return Stuck(self._state, tuple(moment for path in self._against for moment in path))

    def _proposed(self, depth: int) -> Plan | None:
        paths = self._paths
        asked = [paths.arrives(self._free, depth, cooperates=True)]
        asked += [paths.arrives(copy, depth, cooperates=False) for copy in self._copies]
        if not paths.solve(asked):
            return None
        return tuple(paths.read(self._window.chosen, self._free, s) for s in range(depth + 1))

    def _withstands(self, plan: Plan, longest: int) -> bool:
        """Whether a plan works whatever the states beyond do. If not, the next one will be one that
        works against what they do, or that keeps what this one disturbs."""
        paths = _Paths(self._cnf, self._window, self._state, self._limit)
        path = paths.path(plan, None)
        paths.must_miss(path)
        if not paths.solve(()):
            return True
        disturbed = paths.disturbed(path, len(plan))
        new = [expr for expr in disturbed if expr not in self._kept]
        if new:
            self._kept += new
            self._begin()
            return False
        against = tuple(paths.read(self._window.beyond, path, s) for s in range(len(plan)))
        against += (against[-1],) * (longest + 1 - len(against))
        self._against.append(against)
        self._copies.append(self._paths.path(None, against))
        return False


class _Paths:
    """Executions of a window that begin in the same state, as clauses over bits. Inputs that are
    asked for are the same on all paths."""

    def __init__(self, cnf: TransitionCnf, window: Window, state: Moment | None, limit: Limit):
        self._cnf = cnf
        self._window = window
        self._solver = Sat([(TRUE,)], TRUE, limit)
        self._gates = Gates(self._solver.variable, self._solver.add)
        self._start = dict[int, int]()
        for what in (*window.system.states, *window.beyond):
            self._free(what, self._start, None if state is None else state[what])
        # The inputs asked for, by step.
        self._asked: list[dict[int, int]] = []
        self._paths: list[tuple[Plan | None, Plan | None]] = []
        # By path and step: the literal of each literal of the transition, once it was asked for.
        self._at: dict[tuple[int, int], dict[int, int]] = {}
        self._arrivals: dict[tuple[int, int], int] = {}
        outside = set(window.beyond)
        self._lasting = [*window.held, *window.invariant]
        self._about_beyond = [e for e in self._lasting if not outside.isdisjoint(support(e))]

    def path(self, inputs: Plan | None, beyond: Plan | None) -> int:
        """Add a path with these inputs and this behavior of the states beyond, step by step; None
        for any. Its number."""
        self._paths.append((inputs, beyond))
        return len(self._paths) - 1

    # -------------------------------------------------------------- literals

    def at(self, expr: Expr, path: int, step: int) -> int:
        """The literal of an expression at a step of a path."""
        return self._literal(self._cnf.literal(expr), path, step)

    def _literal(self, literal: int, path: int, step: int) -> int:
        at = self._at.get((path, step))
        if at is None:
            at = self._at[path, step] = self._new_step(path, step)
        if literal not in at:
            self._translate(abs(literal), path, step, at)
        return at[literal]

    def _new_step(self, path: int, step: int) -> dict[int, int]:
        at = {TRUE: TRUE, -TRUE: -TRUE}
        if step == 0:
            at.update(self._start)
        inputs, beyond = self._paths[path]
        for what in self._window.beyond if step else ():
            self._free(what, at, None if beyond is None else beyond[step][what])
        if inputs is None:
            while len(self._asked) <= step:
                asked = dict[int, int]()
                for what in self._window.chosen:
                    self._free(what, asked, None)
                self._asked.append(asked)
            at.update(self._asked[step])
        elif inputs:
            for what in self._window.chosen:
                self._free(what, at, inputs[step][what])
        chosen = {*self._window.chosen, *self._window.beyond}
        for what in self._window.system.inputs:
            if what not in chosen:
                self._free(what, at, what.usual)
        return at

    def _free(self, what: Observable, at: dict[int, int], value: str | None) -> None:
        """Literals for an observable that has a value, or any."""
        allowed = what.values if value is None else (value,)
        literals = self._gates.one_of(what.values, allowed)
        for v, literal in literals.items():
            bit = self._cnf.bit(what, v)
            at[bit], at[-bit] = literal, -literal

    def _translate(self, asked: int, path: int, step: int, at: dict[int, int]) -> None:
        """A gate of the transition, and all that it depends on."""
        cnf, stack = self._cnf, [asked]
        while stack:
            gate = stack[-1]
            if gate in at:
                stack.pop()
                continue
            parts = cnf.gates.parts.get(gate)
            if parts is None:
                literal = self._literal(cnf.next(gate), path, step - 1)
            else:
                waiting = [abs(part) for part in parts if part not in at]
                if waiting:
                    stack += waiting
                    continue
                literal = self._gates.all_of([at[part] for part in parts])
            stack.pop()
            at[gate], at[-gate] = literal, -literal

    # -------------------------------------------------------------- what holds

    def obeys(self, path: int, step: int) -> int:
        """The states beyond obey what lasts. (Of the states within, that follows.)"""
        lasting = self._about_beyond if step else self._lasting
        return self._gates.all_of([self.at(e, path, step) for e in lasting])

    def _works(self, path: int, step: int) -> int:
        """A plan works at this step, every step up to it being allowed."""
        window = self._window
        kept = [
            self._gates.any_of([-self.at(e, path, 0), self.at(e, path, step)]) for e in window.kept
        ]
        always = window.system.always
        allowed = [self.at(e, path, t) for t in range(step + 1) for e in always]
        return self._gates.all_of([self.at(window.goal, path, step), *kept, *allowed])

    def arrives(self, path: int, depth: int, *, cooperates: bool) -> int:
        """A plan works on this path after at most ``depth`` steps. What the states beyond do must
        obey what lasts; else the path does not count."""
        known = self._arrivals.get((path, depth))
        if known is None:
            before = [] if depth == 0 else [self.arrives(path, depth - 1, cooperates=cooperates)]
            works = self._works(path, depth)
            if cooperates:
                obeys = [self.obeys(path, step) for step in range(depth + 1)]
                now = [self._gates.all_of([works, *obeys])]
            else:
                now = [works, -self.obeys(path, depth)]
            known = self._arrivals[path, depth] = self._gates.any_of([*before, *now])
        return known

    def must_miss(self, path: int) -> None:
        """Require that a plan fails on its path, while the states beyond obey what lasts."""
        plan = self._paths[path][0]
        assert plan is not None
        for step in range(len(plan)):
            self.add(self.obeys(path, step))
            self.add(-self._works(path, step))

    def add(self, literal: int) -> None:
        """Require a literal."""
        self._solver.add((literal,))

    # -------------------------------------------------------------- models

    def solve(self, assumed: Sequence[int]) -> bool:
        """Whether there are such paths."""
        return self._solver.solve(assumed)

    def state(self) -> Moment | None:
        """A state that all plans miss; None when there is none."""
        if not self.solve(()):
            return None
        return self.read((*self._window.system.states, *self._window.beyond), 0, 0)

    def read(self, whats: Sequence[Observable], path: int, step: int) -> Moment:
        """The values of observables at a step of a path in the last model."""
        model, at = self._solver.model(), self._at.get((path, step), {})
        if step == 0:
            at = {**self._start, **at}
        return {what: self._value(what, model, at) for what in whats}

    def _value(self, what: Observable, model: Sequence[int], at: Mapping[int, int]) -> str:
        for value in what.values:
            literal = at.get(self._cnf.bit(what, value))
            if literal is not None and _holds(literal, model):
                return value
        return what.usual

    def disturbed(self, path: int, steps: int) -> list[Expr]:
        """What must be kept and is not, where the goal holds, in the last model."""
        model = self._solver.model()
        found: list[Expr] = []
        for step in range(steps):
            if _holds(self.at(self._window.goal, path, step), model):
                found += self._lost(path, step, model)
        return list(dict.fromkeys(found))

    def _lost(self, path: int, step: int, model: Sequence[int]) -> Iterator[Expr]:
        for expr in self._window.kept:
            held = _holds(self.at(expr, path, 0), model)
            if held and not _holds(self.at(expr, path, step), model):
                yield expr


def _holds(literal: int, model: Sequence[int]) -> bool:
    return literal == TRUE or (literal != -TRUE and model[abs(literal) - 1] == literal)
