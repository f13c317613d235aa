"""Coming to rest, part by part: composition of local recoveries.

In: a system, an inductive invariant of it, and its parts. Out: which parts can be brought to rest,
and whether goals are reachable from there.

Parts are brought to rest in groups. Let D be the parts that already were. A group G is added by a
*lemma*, proved in a window with the states beyond it free
(:mod:`verifier.engines.temporal.resets.recovery`): from every state of the invariant in which all
of D are at rest and some part of G is not, a plan leads to a state in which

- a part of G has come to rest, and all parts of G more important than it that were at rest are,
- every other part of the same stage that is not in D, and was at rest, still is,
- and so is every part of D of an earlier stage.

Less important parts of G and parts of D of the same stage may be disturbed; so may parts of later
stages. *Then from every state of the invariant a state is reachable in which all parts of D and G
are at rest, and all of their stage that were at rest before.* For, by induction on the groups, D
can be brought to rest without disturbing what is not in D; then a plan of the lemma makes the
number smaller whose binary digits are the parts of G that are not at rest, the most important one
first; then D can be brought to rest again, which disturbs none of these. That ends, for the number
cannot become smaller forever. A stage begins once the stages before it are at rest, and nothing
in it disturbs them.

Apart from what plans choose, inputs have their usual value. So a part keeps at rest by itself where
no plan may choose an input that it needs to be quiet
(:mod:`verifier.engines.temporal.resets.rest`): if it is in D, it is at rest throughout, and if not,
it need not be looked at. Every other part whose rest matters is within the window.

Assumptions must hold at each step of a plan. Those that the window speaks of are a part of the
lemma; the others hold while inputs are as usual, or else the states they speak of are in every
window.

Of a timed system, windows of time are brought to their end first of all, while delays run on. From
then on a plan in one place need not ask whether a window is on somewhere else: delays end only
while none is on, and so would tie all places together.

Which groups there are is found on the way: a window is asked for all parts in it, and those that
fail in a state from which no plan leads are left out. A lemma stays true when D becomes larger, so
the first order that works is as good as any. Lemmas equal up to names are proved once. What is
proved so is branching-time reachability (AG EF): that people and trains *can* bring it about; not
that they will.
"""

from collections.abc import Collection, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from verifier.engines.results import Unknown
from verifier.engines.temporal.exclusion import is_inductive
from verifier.engines.temporal.resets.recovery import (
    Effort,
    Moment,
    Recovered,
    Stuck,
    Window,
    recover,
)
from verifier.engines.temporal.resets.recovery_check import each_recovered
from verifier.engines.temporal.resets.rest import Part
from verifier.engines.temporal.strengthening import Clauses
from verifier.engines.temporal.symmetry import Shapes
from verifier.engines.temporal.unroller import Unrolling
from verifier.logic.expr import (
    FALSE,
    TRUE,
    Atom,
    Expr,
    conjunction,
    holds,
    negation,
    substitute,
    support,
)
from verifier.logic.transition_system import System, cut
from verifier.plan.observables import Observable

# What is tried first, and what once that did not suffice for any part that is left.
EFFORTS = (
    Effort(1, 6, 64, 0), Effort(1, 10, 64, 2), Effort(2, 12, 128, 2), Effort(2, 24, 256, 4),
    Effort(3, 32, 512, 6),
)  # fmt: skip


# A window with so much of the system is tried with the first effort only: with more of it the whole
# is decided sooner (:mod:`verifier.engines.temporal.resets.backward`).
MOST = 0.5


@dataclass(frozen=True, slots=True)
class _Answer:
    """Of a window: the goals proved, invariants found on the way, and the parts that stand in the
    way of the other goals."""

    goals: tuple[Hashable, ...]
    invariants: tuple[Expr, ...]
    because: tuple[Hashable, ...]


class Composition:
    """Brings the parts of a system to rest."""

    def __init__(
        self,
        system: System,
        reached: System,
        parts: Sequence[Part],
        clauses: Clauses,
        shapes: Shapes,
        deadline: float | None = None,
    ):
        self.system = system
        # On whose steps states are reached, those that plans do not take included.
        self._reached = reached
        self.parts = parts
        self._shapes = shapes
        self._deadline = deadline
        self._states = frozenset(system.states)
        # Parts by state that they are about, and by input that must be as usual for them.
        self._about: dict[Observable, list[int]] = {}
        self._quiet: dict[Observable, list[int]] = {}
        for i, part in enumerate(parts):
            for what in support(part.rest):
                self._about.setdefault(what, []).append(i)
            for what in part.quiet:
                self._quiet.setdefault(what, []).append(i)
        self._clauses = clauses
        # States that an assumption speaks of which inputs as usual do not fulfill.
        self._restrained = {
            w
            for expr in system.always
            if not self._holds_as_usual(expr)
            for w in support(expr)
            if w in self._states
        }
        self.done: dict[int, None] = {}
        self._known: dict[Hashable, _Answer] = {}
        # Whether a window had most of the system.
        self._is_wide = False
        self._calm = _Calm(system, reached)

    def _holds_as_usual(self, expr: Expr) -> bool:
        """Whether inputs as usual fulfill an assumption in every state of the invariant."""
        left = substitute(expr, lambda part: self._as_usual(part))
        if left is TRUE:
            return True
        solver = Unrolling(cut(self.system, (), [left]), start=False)
        known = self._clauses.within(support(left))
        solver.add(*(solver.term(clause, 0) for clause in known))
        return solver.check([solver.literal(negation(left), 0)], self._deadline) is False

    def _as_usual(self, part: Atom) -> Expr:
        if part.what in self._states:
            return part
        return TRUE if part.what.usual in part.values else FALSE

    def compose(self) -> list[int]:
        """Bring to rest as many parts as possible; the parts left."""
        for number in sorted({part.stage for part in self.parts}):
            stage = [i for i, part in enumerate(self.parts) if part.stage == number]
            self._compose(stage)
            self._calm.over(self.parts[i].rest for i in self.done)
            if self._is_wide and not self.done.keys() >= set(stage):
                break
        return [i for i in range(len(self.parts)) if i not in self.done]

    def _compose(self, stage: Sequence[int]) -> None:
        """The same for the parts of one stage, which are tried in their order."""
        # By effort and part: what stands in its way, one of which must be at rest before it is
        # tried again.
        blocked: list[dict[int, Collection[int]]] = [{} for _ in EFFORTS]
        effort = 0
        while effort < len(EFFORTS) and not self.done.keys() >= set(stage):
            effort = 0 if self._round(stage, effort, blocked[effort]) else effort + 1

    def _round(
        self, stage: Sequence[int], effort: int, blocked: dict[int, Collection[int]]
    ) -> bool:
        """Try the parts that are left; whether some can be brought to rest. Where that takes much
        effort, one window is enough."""
        progress = False
        for i in stage:
            because = blocked.get(i)
            if i in self.done or (because is not None and self.done.keys().isdisjoint(because)):
                continue
            found, because = self._in_window(self.parts[i].rest, effort, i)
            self.done.update(dict.fromkeys(found))
            if i not in self.done:
                blocked[i] = because
            progress = progress or bool(found)
            if progress and effort:
                return True
        return progress

    def _beside(self, i: int) -> Iterator[Observable]:
        """What a part is about, and those of its stage which share states with it."""
        for what in support(self.parts[i].rest):
            for j in self._about.get(what, ()):
                if self.parts[j].stage == self.parts[i].stage:
                    yield from support(self.parts[j].rest)

    def reaches(self, goal: Expr) -> bool:
        """Whether the goal is reachable from every state of the invariant."""
        return any(self._in_window(goal, e, None)[0] for e in range(len(EFFORTS)))

    # -------------------------------------------------------------- lemmas

    def _in_window(
        self, goal: Expr, effort: int, own: int | None
    ) -> tuple[Sequence[int], Sequence[int]]:
        """The parts that a window brings to rest, that of the goal if possible, and the parts that
        stand in the way of others. Without ``own`` the goal is no part; -1 stands for it."""
        trying = EFFORTS[effort]
        stage = len(self.parts) if own is None else self.parts[own].stage
        about = support(goal) if own is None else self._beside(own)
        kept = self._around(about, trying.rings)
        if len(kept) >= MOST * len(self._states):
            self._is_wide = True
            if effort:
                return (), ()
        system = self._calm.cut(kept, goal)
        beyond = tuple(w for w in system.inputs if w in self._states)
        known = dict.fromkeys((*system.states, *beyond))
        chosen = tuple(
            w
            for w in system.inputs
            if w not in known
            and all(
                kept.issuperset(support(self.parts[j].rest))
                for j in self._quiet.get(w, ())
                if self.parts[j].stage <= stage
            )
        )
        near = dict.fromkeys(j for w in known for j in self._about.get(w, ()))
        given: list[Expr] = []
        held: list[Expr] = []
        lasting: list[Expr] = []
        goals: dict[int, Expr] = {} if own is not None else {-1: goal}
        for j in near:
            part = self.parts[j]
            quiet = part.quiet.isdisjoint(chosen)
            if j in self.done and all(w in known for w in support(part.rest)):
                (held if quiet else given).append(part.rest)
                if own is not None and part.stage < stage and not quiet:
                    lasting.append(part.rest)
            elif j not in self.done and part.stage == stage and kept.issuperset(support(part.rest)):
                goals[j] = part.rest
        if own is not None:
            goals = {j: goals[j] for j in sorted(goals, key=lambda j: -self.parts[j].rank)}
        invariant = tuple(self._clauses.within(known))
        reached = system
        if self._reached is not self.system:
            reached = cut(self._reached, system.states, [goal])
        window = Window(
            system, reached, chosen, beyond, tuple(given), tuple(held), (), tuple(goals.values()),
            tuple(lasting),
        ).knowing(invariant)  # fmt: skip
        undone = {
            j: self.parts[j].rest
            for j in near
            if j not in self.done and self.parts[j].stage <= stage
        }
        return self._answer(window, trying, goal, goals, undone)

    def _answer(
        self,
        window: Window,
        trying: Effort,
        wanted: Expr,
        goals: Mapping[int, Expr],
        undone: Mapping[int, Expr],
    ) -> tuple[Sequence[int], Sequence[int]]:
        shape = self._shapes.of(window.system)
        reached = self._shapes.of(window.reached)

        def question(expr: Expr) -> Hashable:
            return shape.question(self._shapes.form(expr))

        aims = {question(goal): j for j, goal in goals.items()}
        key = (
            trying, shape.key, reached.key, tuple(shape.there.get(w) for w in reached.there),
            frozenset(shape.there[w] for w in window.chosen),
            frozenset(shape.there[w] for w in window.beyond),
            tuple(map(question, (wanted, *window.goals))),
            *(frozenset(map(question, e)) for e in (window.given, window.held, window.kept)),
            *(frozenset(map(question, e)) for e in (window.known, window.invariant)),
        )  # fmt: skip
        inside = {*window.system.states, *window.system.inputs}
        asked = {question(e): j for j, e in undone.items() if inside.issuperset(support(e))}
        if key not in self._known and -1 in goals and each_recovered(window, (), self._deadline):
            # It is so wherever the parts that are done are at rest.
            self._known[key] = _Answer(tuple(map(question, window.goals)), (), ())
        if key not in self._known:
            found = recover(window, wanted, trying, self._deadline)
            if isinstance(found, Unknown):
                return (), ()
            moments = [m for at in found.stuck for m in _moments(at)]
            found = replace(found, invariants=self._invariants(window, found))
            proved = found.goals if self._are_proved(window, found) else ()
            self._known[key] = _Answer(
                tuple(map(question, proved)),
                tuple(map(shape.abstract, found.invariants)),
                tuple(q for q, j in asked.items() if any(not holds(undone[j], m) for m in moments)),
            )
        known = self._known[key]
        for clause in map(shape.concrete, known.invariants):
            self._clauses.add(clause)
        return [aims[q] for q in known.goals], [asked[q] for q in known.because if q in asked]

    def _are_proved(self, window: Window, found: Recovered) -> bool:
        """Whether z3 accepts the plans for the goals that were not given up."""
        given_up = [goal for goal in window.goals if goal not in found.goals]
        wider = window.without(given_up).knowing(found.invariants)
        return bool(found.goals) and each_recovered(wider, found.plans, self._deadline)

    def _invariants(self, window: Window, found: Recovered) -> tuple[Expr, ...]:
        """The invariants found on the way, if z3 accepts them."""
        reached = window.reached
        inside = {*reached.states, *reached.inputs}
        known = (*window.known, *window.invariant)
        lasting = [e for e in known if inside.issuperset(support(e))]
        accepted = is_inductive(reached, lasting, found.invariants, self._deadline)
        return found.invariants if accepted else ()

    def _around(self, about: Iterable[Observable], rings: int) -> frozenset[Observable]:
        """The states within so many dependency steps, and those of parts that the inputs there may
        disturb."""
        inside = {w for w in about if w in self._states} | self._restrained
        edge = set(inside)
        for _ in range(rings):
            edge = {w for s in edge for w in self._calm.support(s) if w in self._states} - inside
            inside |= edge
        inputs = {w for s in inside for w in self._calm.support(s) if w not in self._states}
        disturbed = {j for w in inputs for j in self._quiet.get(w, ())}
        for j in disturbed:
            about = support(self.parts[j].rest)
            if self._calm.is_over(about) or not inside.isdisjoint(about):
                inside.update(about)
        return frozenset(inside)


class _Calm:
    """A system in which far windows of time are known to be over.

    Delays end only while no window is on that lasts no longer, wherever it is
    (:func:`~verifier.logic.time_order.patient`). Once a window is known to be over, and no plan
    disturbs it, that is no question any more. Until then plans do without the end of a delay."""

    def __init__(self, system: System, timed: System):
        self._system = system
        self._states = frozenset(system.states)
        windows = timed.timing.windows if timed.timing else ()
        self._on = {w.what: w.is_on for w in windows if len(w.what.values) == 2}
        # Of windows that are over at rest, what is not so then.
        self._over: dict[Observable, Expr] = {}
        self._supports = {w: system.support(w) for w in system.states}
        self._calmed: dict[Observable, frozenset[Observable]] = {}
        self._following: dict[Hashable, Mapping[str, Expr]] = {}
        self._ends = {w for w in system.inputs if w.kind == "expiry"} if self._on else set()

    def over(self, rests: Iterable[Expr]) -> None:
        """Take the windows that are over while these parts are at rest."""
        for rest in rests:
            for what in support(rest):
                if what in self._on and conjunction(rest, self._on[what]) is FALSE:
                    self._over[what] = self._on[what]
        self._calmed, self._ends = {}, set()

    def is_over(self, whats: Iterable[Observable]) -> bool:
        """Whether one of these is a window that is over at rest."""
        return any(w in self._over for w in whats)

    def support(self, state: Observable) -> frozenset[Observable]:
        """What the next value of a state depends on while those windows are over."""
        known = self._calmed.get(state)
        if known is None:
            following = self._after(state, frozenset())
            known = frozenset(w for expr in following.values() for w in support(expr))
            self._calmed[state] = known
        return known

    def cut(self, kept: Collection[Observable], goal: Expr) -> System:
        """These states, with all others free, but for windows that are over beyond."""
        near = frozenset(kept)
        following = {w: self._after(w, near) for w in self._system.states if w in near}
        return cut(replace(self._system, following=following), following, [goal])

    def _after(self, state: Observable, near: frozenset[Observable]) -> Mapping[str, Expr]:
        fixed = frozenset(
            w
            for w in self._supports[state]
            if w in self._ends or (w in self._over and w not in near)
        )
        if not fixed:
            return self._system.following[state]
        known = self._following.get((state, fixed))
        if known is None:

            def meaning(part: Atom) -> Expr:
                if part.what not in fixed:
                    return part
                if part.what in self._states:
                    return FALSE if part is self._over[part.what] else TRUE
                return TRUE if part.what.usual in part.values else FALSE

            known = {v: substitute(e, meaning) for v, e in self._system.following[state].items()}
            self._following[state, fixed] = known
        return known


def _moments(stuck: Stuck) -> Iterator[Moment]:
    """A state that is stuck, and what the states beyond do then."""
    yield stuck.state
    for moment in stuck.against:
        yield {**stuck.state, **moment}
