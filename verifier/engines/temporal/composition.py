"""Coming to rest, part by part: composition of local recoveries.

In: a system, an inductive invariant of it, and its parts. Out: which parts can be brought to rest,
and whether goals are reachable from there.

Let the parts be ordered. *Lemma i*: from every state of the invariant in which the parts before i
are at rest, a state is reachable in which part i is at rest, and so is every later part that was.
*Then from every state of the invariant a state is reachable in which all parts are at rest.* For,
by induction on i, from every state with the parts before i at rest, one is reachable with the parts
up to i at rest, and later ones too if they were: by lemma i bring part i to rest, which may disturb
parts before it; then bring those to rest again, the first first, each by induction without
disturbing the later ones, among them part i.

Lemma i is proved in a window around part i, with the states beyond it free
(:mod:`verifier.engines.temporal.recovery`). Apart from what plans choose, inputs have their usual
value. So a part keeps at rest by itself where no plan may choose an input that it needs to be quiet
(:mod:`verifier.engines.temporal.rest`): if it is before i, it is at rest throughout, and if it is
later, it need not be looked at. Every other part is within the window: one before i is at rest at
the start, and that a later one is at rest at the end if it was at the start is a part of the lemma.

Assumptions must hold at each step of a plan. Those that the window speaks of are a part of the
lemma; the others hold while inputs are as usual, or else the states they speak of are in every
window.

The order is found on the way. A lemma stays true when more parts come before it, so the first order
that works is as good as any. Lemmas equal up to names are proved once.
"""

from collections.abc import Collection, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from verifier.engines.results import Unknown
from verifier.engines.temporal.recovery import Effort, Recovered, Window, recover
from verifier.engines.temporal.recovery_check import each_recovered
from verifier.engines.temporal.rest import Part
from verifier.engines.temporal.strengthening import Clauses
from verifier.engines.temporal.symmetry import Shapes
from verifier.logic.expr import FALSE, TRUE, Atom, Expr, holds, substitute, support
from verifier.logic.transition_system import System, cut
from verifier.plan.observables import Observable

# What is tried first, and what once that did not suffice for any part that is left.
EFFORTS = (
    Effort(1, 4, 8), Effort(1, 10, 16), Effort(2, 12, 16, True), Effort(2, 24, 64, True),
    Effort(3, 32, 256, True),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Answer:
    """Invariants found on the way; for a lemma that the window does not prove, the parts that stand
    in the way."""

    invariants: tuple[Expr, ...]
    because: tuple[Hashable, ...] | None = None


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
        self._supports = {w: system.support(w) for w in system.states}
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
            if substitute(expr, lambda part: self._as_usual(part)) is not TRUE
            for w in support(expr)
            if w in self._states
        }
        self.done: dict[int, None] = {}
        self._known: dict[Hashable, _Answer] = {}

    def _as_usual(self, part: Atom) -> Expr:
        if part.what in self._states:
            return part
        return TRUE if part.what.usual in part.values else FALSE

    def compose(self) -> list[int]:
        """Bring to rest as many parts as possible; the parts left."""
        order = self._from_edges()
        # By effort and part: what stands in its way, one of which must be at rest before it is
        # tried again.
        blocked: list[dict[int, Collection[int]]] = [{} for _ in EFFORTS]
        effort = 0
        while effort < len(EFFORTS) and len(self.done) < len(self.parts):
            effort = 0 if self._round(order, effort, blocked[effort]) else effort + 1
        return [i for i in range(len(self.parts)) if i not in self.done]

    def _round(
        self, order: Sequence[int], effort: int, blocked: dict[int, Collection[int]]
    ) -> bool:
        """Try the parts that are left; whether one can be brought to rest. Where that takes much
        effort, one is enough."""
        left = [i for i in order if i not in self.done]
        progress = False
        for i in left:
            because = blocked.get(i)
            if because is not None and self.done.keys().isdisjoint(because):
                continue
            answer = self._in_window(self.parts[i].rest, effort, i)
            if answer is None:
                self.done[i] = None
                progress = True
                if effort:
                    return True
            else:
                blocked[i] = answer
        return progress

    def _from_edges(self) -> list[int]:
        """The parts in the order in which they should be tried: trains leave over the edges."""
        steps: dict[Observable, int] = {}
        edge = [w for w in self.system.states if any(x.kind == "entry" for x in self._supports[w])]
        distance = 0
        while edge:
            steps.update(dict.fromkeys(edge, distance))
            distance += 1
            reached = {w for w, distance in steps.items() if w.kind == "train"}
            edge = [
                w
                for w in self.system.states
                if w not in steps and not reached.isdisjoint(self._supports[w])
            ]

        def far(i: int) -> int:
            return max(steps.get(w, distance) for w in support(self.parts[i].rest))

        return sorted(range(len(self.parts)), key=far)

    def reaches(self, goal: Expr) -> bool:
        """Whether the goal is reachable from every state of the invariant."""
        return any(self._in_window(goal, e, None) is None for e in range(len(EFFORTS)))

    # -------------------------------------------------------------- lemmas

    def _in_window(self, goal: Expr, effort: int, own: int | None) -> list[int] | None:
        """None where a lemma is proved, else the parts that stand in the way."""
        trying = EFFORTS[effort]
        kept = self._around(goal, trying.rings)
        system = cut(self.system, (w for w in self.system.states if w in kept), [goal])
        beyond = tuple(w for w in system.inputs if w in self._states)
        known = dict.fromkeys((*system.states, *beyond))
        chosen = tuple(
            w
            for w in system.inputs
            if w not in known
            and all(kept.issuperset(support(self.parts[j].rest)) for j in self._quiet.get(w, ()))
        )
        near = dict.fromkeys(j for w in known for j in self._about.get(w, ()))
        given: list[Expr] = []
        held: list[Expr] = []
        later: list[Expr] = []
        for j in near:
            part = self.parts[j]
            quiet = part.quiet.isdisjoint(chosen)
            if j in self.done and all(w in known for w in support(part.rest)):
                (held if quiet else given).append(part.rest)
            elif j not in self.done and j != own and not quiet:
                later.append(part.rest)
        invariant = tuple(self._clauses.within(known))
        if self.system.always:
            # They hold in states from which a step is allowed, as the first is and the last one of
            # a plan; that the states between are such is a part of what is to be proved.
            given += invariant
            invariant = ()
        reached = system
        if self._reached is not self.system:
            reached = cut(self._reached, system.states, [goal])
        window = Window(
            system, reached, chosen, beyond, tuple(given), tuple(held), invariant,
            goal,
            tuple(later) if own is not None else (),
        )  # fmt: skip
        undone = {j: self.parts[j].rest for j in near if j not in self.done and j != own}
        return self._answer(window, trying, undone)

    def _answer(
        self, window: Window, trying: Effort, undone: Mapping[int, Expr]
    ) -> list[int] | None:
        shape = self._shapes.of(window.system)
        reached = self._shapes.of(window.reached)

        def questions(exprs: Iterable[Expr]) -> frozenset[Hashable]:
            return frozenset(shape.question(self._shapes.form(e)) for e in exprs)

        key = (
            trying, shape.key, reached.key, tuple(shape.there.get(w) for w in reached.there),
            frozenset(shape.there[w] for w in window.chosen),
            frozenset(shape.there[w] for w in window.beyond),
            questions([window.goal]), questions(window.given), questions(window.held),
            questions(window.invariant),
            questions(window.kept),
        )  # fmt: skip
        inside = {*window.system.states, *window.system.inputs}
        asked = {
            shape.question(self._shapes.form(e)): j
            for j, e in undone.items()
            if inside.issuperset(support(e))
        }
        if key not in self._known:
            found = recover(
                window,
                trying if not self.system.always else replace(trying, excludes=False),
                self._deadline,
            )
            if isinstance(found, Unknown):
                return []
            because: tuple[Hashable, ...] | None = None
            if isinstance(found, Recovered):
                wider = replace(window, invariant=(*window.invariant, *found.invariants))
                if not each_recovered(wider, found.plans, self._deadline):
                    because = ()
            else:
                moments = [found.state, *({**found.state, **m} for m in found.against)]
                because = tuple(
                    question
                    for question, j in asked.items()
                    if any(not holds(undone[j], moment) for moment in moments)
                )
            invariants = tuple(map(shape.abstract, found.invariants))
            self._known[key] = _Answer(invariants, because)
        known = self._known[key]
        for clause in map(shape.concrete, known.invariants):
            self._clauses.add(clause)
        return None if known.because is None else [asked[q] for q in known.because if q in asked]

    def _around(self, goal: Expr, rings: int) -> frozenset[Observable]:
        """The states within so many dependency steps, and those of parts that the inputs there may
        disturb."""
        inside = {w for w in support(goal) if w in self._states} | self._restrained
        edge = set(inside)
        for _ in range(rings):
            edge = {w for s in edge for w in self._supports[s] if w in self._states} - inside
            inside |= edge
        inputs = {w for s in inside for w in self._supports[s] if w not in self._states}
        disturbed = {j for w in inputs for j in self._quiet.get(w, ())}
        for j in disturbed:
            about = support(self.parts[j].rest)
            if not inside.isdisjoint(about):
                inside.update(about)
        return frozenset(inside)
