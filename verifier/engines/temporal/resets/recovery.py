"""Recovery: whether every state of a window can be led to a goal by a choice of inputs, whatever
the states beyond the window do.

In: a :class:`Window`. Out: that each of its states can be recovered (by one of finitely many
*plans*, each a sequence of inputs), or a state for which no plan was found.

A plan *recovers* a state if the goal holds at some step of it, in every execution from there, with
any values of the states beyond that obey what lasts. Plans are found by CEGIS: the SAT solver
proposes inputs that work against the behaviors beyond met so far, and then looks for one against
which they do not work. A state without a plan may be unreachable: then PDR excludes it.

Plans are proposals: that one of them recovers each state is judged by z3
(:mod:`verifier.engines.temporal.resets.recovery_check`). What is true of a window is true of the
whole system as far as :mod:`verifier.engines.temporal.resets.composition` argues.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from verifier.engines.results import Unknown
from verifier.engines.temporal.exclusion import Exclusion
from verifier.engines.temporal.gates import TRUE, Gates
from verifier.engines.temporal.sat import Limit, NoAnswer, Sat
from verifier.engines.temporal.transition_cnf import TransitionCnf
from verifier.logic.expr import Expr, holds, support
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

Moment = Mapping[Observable, str]
Plan = tuple[Moment, ...]


@dataclass(frozen=True, slots=True)
class Effort:
    """``rings``: dependency steps from a part to the edge of its window; ``longest``: steps of a
    plan; ``plans``: how many there may be; ``back``: steps back from a state that seems stuck in
    which it may be found to be unreachable; None: that is not tried."""

    rings: int
    longest: int
    plans: int
    back: int | None = None


@dataclass(frozen=True, slots=True)
class Window:
    """``system``: some states of a system, with all others free; ``reached``: the same with steps
    that plans do not take, on which states are reached. ``chosen``: its inputs that a
    plan may choose, and ``beyond``: those that are states of the whole; further inputs have their
    usual value. ``given`` holds at the start, ``held`` and the ``invariant`` at every step.

    ``known``: invariants where assumptions restrict steps. They hold at the start; later only if
    the assumptions do, which is to be proved.

    ``goals`` are in order, the most important first. A plan must bring about a goal that did not
    hold at the start, and keep all more important ones that did, and all of ``kept`` that did. So
    the goals that fail, read as a binary number, become fewer; a state is recovered once and for
    all by some such plans, one after the other."""

    system: System
    reached: System
    chosen: tuple[Observable, ...]
    beyond: tuple[Observable, ...]
    given: tuple[Expr, ...]
    held: tuple[Expr, ...]
    invariant: tuple[Expr, ...]
    goals: tuple[Expr, ...]
    kept: tuple[Expr, ...] = ()
    known: tuple[Expr, ...] = ()

    def knowing(self, found: tuple[Expr, ...]) -> "Window":
        """The same with further invariants."""
        if self.reached.always:
            return replace(self, known=(*self.known, *found))
        return replace(self, invariant=(*self.invariant, *found))

    def of_state(self, goal: Expr) -> bool:
        """Whether a goal speaks of states only, so that it may hold without a plan."""
        return {*self.system.states, *self.beyond}.issuperset(support(goal))

    def without(self, given_up: Collection[Expr]) -> "Window":
        """The same with these goals only kept."""
        goals = tuple(goal for goal in self.goals if goal not in given_up)
        return replace(self, goals=goals, kept=(*self.kept, *given_up))


@dataclass(frozen=True, slots=True)
class Stuck:
    """No plan of the length allowed recovers this state. ``against``: what the states beyond do
    against the plans proposed for it."""

    state: Moment
    against: tuple[Moment, ...] = ()


@dataclass(frozen=True, slots=True)
class Recovered:
    """Each state in which one of ``goals`` fails is recovered by one of ``plans``, given further
    invariants found on the way. The other goals of the window are only kept: each of them fails in
    a state of ``stuck``."""

    goals: tuple[Expr, ...]
    plans: tuple[Plan, ...]
    invariants: tuple[Expr, ...]
    stuck: tuple[Stuck, ...] = ()


def recover(
    window: Window,
    wanted: Expr,
    effort: Effort,
    deadline: float | None,
) -> Recovered | Unknown:
    """Plans for as many goals of a window as can be, if these include the one wanted; else for
    none.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    limit = Limit()
    try:
        with limit.until(deadline):
            return _Search(window, wanted, effort, limit).answer()
    except NoAnswer as none:
        return Unknown(str(none))


class _Search:
    def __init__(
        self,
        window: Window,
        wanted: Expr,
        effort: Effort,
        limit: Limit,
    ):
        self._window = window
        self._wanted = wanted
        self._effort = effort
        self._limit = limit
        self._cnf = TransitionCnf(window.system)
        self._plans: list[Plan] = []
        self._invariants: list[Expr] = []
        self._stuck: list[Stuck] = []
        self._exclusion: Exclusion | None = None
        if effort.back is not None:
            inside = {*window.reached.states, *window.reached.inputs}
            known = (*window.known, *window.invariant)
            lasting = [e for e in known if inside.issuperset(support(e))]
            self._exclusion = Exclusion(window.reached, lasting, limit)
        self._missed = _Paths(self._cnf, window, None, limit, selects=True)

    def answer(self) -> Recovered:
        """See :func:`recover`."""
        missed = self._missed
        missed.begin()
        while self._window.goals and (state := missed.state(self._window.goals)) is not None:
            plan: Plan | Stuck = self._plan(state)
            if not isinstance(plan, Stuck):
                self._plans.append(plan)
                missed.must_miss(missed.path(plan, None))
            elif (found := self._excluded(state)) is not None:
                self._invariants += found
                self._window = self._window.knowing(found)
                for clause in found:
                    missed.require(clause)
            else:
                self._stuck.append(plan)
                lost = [goal for goal in self._window.goals if not _is_so(goal, state)]
                if self._wanted in lost:
                    lost = list(self._window.goals)
                self._window = self._window.without(lost)
        return Recovered(
            self._window.goals, tuple(self._plans), tuple(self._invariants), tuple(self._stuck)
        )

    def _plan(self, state: Moment) -> Plan | Stuck:
        if len(self._plans) >= self._effort.plans:
            return Stuck(state)
        return _Planner(self._cnf, self._window, state, self._limit).plan(self._effort.longest)

    def _excluded(self, state: Moment) -> tuple[Expr, ...] | None:
        """Invariants that exclude a state, if it is found to be unreachable within the window."""
        if self._exclusion is None or self._effort.back is None:
            return None
        return self._exclusion.exclude(state, self._effort.back)


def _is_so(goal: Expr, state: Moment) -> bool:
    """Whether a goal holds in a state; one that speaks of inputs does not, without a plan."""
    return all(what in state for what in support(goal)) and holds(goal, state)


class _Planner:
    """A plan for one state."""

    def __init__(self, cnf: TransitionCnf, window: Window, state: Moment, limit: Limit):
        self._window = window
        self._state = state
        self._paths = _Paths(cnf, window, state, limit)
        self._free = self._paths.path(None, None)
        # What the states beyond were found to do, step by step, and a path with each.
        self._against: list[Plan] = []
        self._copies: list[int] = []

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
        works against what they do."""
        paths = self._paths
        if not paths.solve([*paths.follows(plan), *paths.misses(self._free, len(plan))]):
            return True
        against = tuple(paths.read(self._window.beyond, self._free, s) for s in range(len(plan)))
        against += (against[-1],) * (longest + 1 - len(against))
        self._against.append(against)
        self._copies.append(paths.path(None, against))
        return False


class _Paths:
    """Executions of a window that begin in the same state, as clauses over bits. Inputs that are
    asked for are the same on all paths. ``selects``: goals may be given up later."""

    def __init__(
        self,
        cnf: TransitionCnf,
        window: Window,
        state: Moment | None,
        limit: Limit,
        *,
        selects: bool = False,
    ):
        self._cnf = cnf
        self._window = window
        self._solver = Sat([(TRUE,)], TRUE, limit)
        self._gates = Gates(self._solver.variable, self._solver.add)
        self._start = dict[int, int]()
        for what in (*window.system.states, *window.beyond):
            self._free(what, self._start, None if state is None else state[what])
        # By goal: the literal that it is one, and not only kept.
        self._is_goal = {
            goal: self._solver.variable() if selects else TRUE for goal in window.goals
        }
        # The literal of each expression in the transition.
        self._literals: dict[Expr, int] = {}
        # The inputs asked for, by step.
        self._asked: list[dict[int, int]] = []
        self._paths: list[tuple[Plan | None, Plan | None]] = []
        # By path and step: the literal of each literal of the transition, once it was asked for.
        self._at: dict[tuple[int, int], dict[int, int]] = {}
        # By path and step, what is asked of them.
        self._arrivals: dict[tuple[int, int], int] = {}
        self._working: dict[tuple[int, int], int] = {}
        self._obedience: dict[tuple[int, int], int] = {}
        self._of_state = {e: window.of_state(e) for e in (*window.goals, *window.kept)}
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
        literal = self._literals.get(expr)
        if literal is None:
            literal = self._literals[expr] = self._cnf.literal(expr)
        return self._literal(literal, path, step)

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
                known = [at.get(part, 0) for part in parts]
                if -TRUE in known:
                    literal = -TRUE
                elif 0 in known:
                    stack += [abs(part) for part in parts if part not in at]
                    continue
                else:
                    literal = self._gates.all_of(known)
            stack.pop()
            at[gate], at[-gate] = literal, -literal

    # -------------------------------------------------------------- what holds

    def obeys(self, path: int, step: int) -> int:
        """The states beyond obey what lasts. (Of the states within, that follows.)"""
        known = self._obedience.get((path, step))
        if known is None:
            lasting = self._about_beyond if step else self._lasting
            known = self._gates.all_of([self.at(e, path, step) for e in lasting])
            self._obedience[path, step] = known
        return known

    def _works(self, path: int, step: int) -> int:
        """A plan works at this step, every step up to it being allowed."""
        known = self._working.get((path, step))
        if known is None:
            always = self._window.system.always
            allowed = [self.at(e, path, t) for t in range(step + 1) for e in always]
            known = self._gates.all_of([self._brings(path, step), *allowed])
            self._working[path, step] = known
        return known

    def _brings(self, path: int, step: int) -> int:
        """A goal holds now that did not hold at first, with all that must be kept."""
        gates, comes = self._gates, list[int]()
        kept = gates.all_of([self._keeps(e, path, step) for e in self._window.kept])
        for goal in self._window.goals:
            is_goal, begins = self._is_goal[goal], -TRUE
            if self._of_state[goal]:
                begins = self.at(goal, path, 0)
            if begins != TRUE:
                comes.append(gates.all_of([is_goal, -begins, self.at(goal, path, step), kept]))
            kept = gates.all_of([kept, self._keeps(goal, path, step)])
        given_up = [
            gates.any_of([is_goal, self._keeps(goal, path, step)])
            for goal, is_goal in self._is_goal.items()
            if is_goal != TRUE
        ]
        return gates.all_of([gates.any_of(comes), *given_up])

    def _keeps(self, expr: Expr, path: int, step: int) -> int:
        """What held at first holds now. (Of inputs nothing can be kept.)"""
        if not self._of_state[expr]:
            return TRUE
        begins = self.at(expr, path, 0)
        return TRUE if begins == -TRUE else self._gates.any_of([-begins, self.at(expr, path, step)])

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

    def begin(self) -> None:
        """Require what is given and what lasts of the first state."""
        start = self.path((), None)
        for expr in (*self._window.given, *self._window.known, *self._lasting):
            self._solver.add((self.at(expr, start, 0),))

    def require(self, expr: Expr) -> None:
        """Require more of the first state."""
        self._solver.add((self.at(expr, 0, 0),))

    def must_miss(self, path: int) -> None:
        """Require that a plan fails on its path, while the states beyond obey what lasts."""
        plan = self._paths[path][0]
        assert plan is not None
        for step in range(len(plan)):
            for expr in self._about_beyond if step else self._lasting:
                self._solver.add((self.at(expr, path, step),))
            self._solver.add((-self._works(path, step),))

    def misses(self, path: int, steps: int) -> Iterator[int]:
        """The literals of the same, for so many steps."""
        for step in range(steps):
            yield self.obeys(path, step)
            yield -self._works(path, step)

    def follows(self, plan: Plan) -> Iterator[int]:
        """The literals that the inputs asked for are those of a plan."""
        for asked, moment in zip(self._asked, plan, strict=False):
            for what in self._window.chosen:
                yield asked[self._cnf.bit(what, moment[what])]

    # -------------------------------------------------------------- models

    def solve(self, assumed: Sequence[int]) -> bool:
        """Whether there are such paths."""
        return self._solver.solve(assumed)

    def state(self, goals: Collection[Expr]) -> Moment | None:
        """A state that all plans for these goals miss; None when there is none."""
        asked = [n if goal in goals else -n for goal, n in self._is_goal.items()]
        failing = [
            self._gates.all_of([self._is_goal[goal], -self.at(goal, 0, 0)])
            for goal in goals
            if self._window.of_state(goal)
        ]
        if len(failing) == len(goals):
            asked.append(self._gates.any_of(failing))
        if not self.solve(asked):
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


def _holds(literal: int, model: Sequence[int]) -> bool:
    return literal == TRUE or (literal != -TRUE and model[abs(literal) - 1] == literal)
