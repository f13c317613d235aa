"""Localization abstraction: each place is proved with everything beyond it free.

In: a system and bad states of one place. Out: for each, an answer and the system it was found in.

A window keeps the states within some dependency steps of the property; every other state is an
unconstrained input. A window overapproximates the whole system, so a proof in it is sound; where
none is found the window is widened. Traces count only in the whole system, so bounded model
checking searches there. Windows that are equal up to names are proved once.

Trusts :func:`~verifier.logic.transition_system.cut`, the induction check and, for windows proved
once, :mod:`verifier.engines.temporal.symmetry`.
"""

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from time import monotonic
from typing import Literal

from verifier.engines.proof_store import NO_STORE, ProofStore
from verifier.engines.results import Answer, Reachable, Unknown, Unreachable
from verifier.engines.stopping import checkpoint
from verifier.engines.temporal import bmc
from verifier.engines.temporal.simulation import Samples, samples_of
from verifier.engines.temporal.symmetry import Shape, Shapes
from verifier.engines.temporal.window_run import Asking, WindowRun
from verifier.engines.temporal.witnesses import NOWHERE, Values, Witnesses
from verifier.logic.expr import Const, Expr, support
from verifier.logic.transition_system import System, cut
from verifier.plan.observables import Observable

# Radius of the first window: the property's support, and the support of those states.
FIRST_RING = 1
# Longest trace searched once a window of so many rings has not sufficed, and at last.
DEPTHS = {FIRST_RING: 8, FIRST_RING + 1: 16}
LONG = 40
# Windows are merged when so much of the smaller one is in the larger one, and all of them are the
# whole system when one has so much of it.
OVERLAP, MOST = 0.85, 0.5
NOTHING: Mapping[Observable, str] = {}
# Steps of random simulation.
SAMPLED = 150
# Whether what is asked can be expected to be reachable; and the longest trace that is sought before
# any proof where that is so as often as not.
Doubt = Literal["as often as not", "mostly"] | None
PROBED = 5
# Where more histories are told apart, those sought are so much longer at most.
LONGER = 2


@dataclass(frozen=True, slots=True)
class LocalAnswer:
    """An answer and the system it was found in: a window, or the whole."""

    outcome: Answer
    system: System


class Windows:
    """Decides the reachability of bad states of one transition system.

    ``few``: inputs of which a trace should use few, the most important first; ``timeout`` in
    seconds for each bad state; ``step`` is called before each; ``store``: what earlier proofs
    found; ``hints``: clauses worth trying, of which nothing is taken unchecked; ``made``: choices
    that histories of what is likely can do with; ``standing``: states of trains where they may
    stand, and that all of the train is there; ``brief``: any history of what is likely does, if it
    is short, the smallest one or not; ``quick``: any history of anything does; ``kind``: what the
    store keeps clauses under; ``edited``: clauses of earlier proofs exclude none of what is asked;
    ``doubt``: whether what is asked is reachable as often as not, or mostly: then short traces, or
    all that are worth a search, are sought before any proof.
    Without hints, the answers are a function of the questions asked, in
    their order."""

    def __init__(
        self,
        system: System,
        *,
        few: Sequence[frozenset[Observable]] = (),
        timeout: float | None = None,
        step: Callable[[], None] = lambda: None,
        store: ProofStore = NO_STORE,
        hints: Sequence[Expr] = (),
        made: Mapping[Observable, str] = NOTHING,
        standing: Mapping[Observable, Expr] = NOWHERE,
        brief: bool = False,
        quick: bool = False,
        kind: Hashable = None,
        edited: bool = False,
        doubt: Doubt = None,
    ):
        self._doubt = doubt
        self.system = system
        self._quick = quick
        self._edited = edited and quick
        self._kind = kind
        self._witnesses = Witnesses(system, made, few, store, small=not brief, standing=standing)
        self._brief = brief
        self._standing = standing
        self._store = store
        self._hints = hints
        self._content = system.content
        self._few = few
        self._timeout = timeout
        self._step = step
        self._supports: dict[Observable, frozenset[Observable]] = {}
        self._shapes = Shapes()
        # By shape of window: its invariant, and what that was found to prove.
        self._known: dict[Hashable, _Shape] = {}
        self._invariants: dict[frozenset[Observable], tuple[Expr, ...]] = {}
        self._states = frozenset(system.states)

    def decide(self, bads: Sequence[Expr], *, likely: bool = False) -> list[LocalAnswer]:
        """The answers for several bad states of one place. See :meth:`answers`."""
        found = dict(self.answers(bads, likely=likely))
        return [found[i] for i in range(len(bads))]

    def answers(
        self,
        bads: Sequence[Expr],
        places: Sequence[Hashable] | None = None,
        *,
        likely: bool = False,
        traced: int = 0,
    ) -> Iterator[tuple[int, LocalAnswer]]:
        """The answers for several bad states, each with its position, as soon as it is known.
        ``places``: for each of them its place; those of one place are decided together.
        ``likely``: they should be reachable, so traces are searched first. ``traced``: in a
        similar system they are reached by traces of so many moments, so traces are searched first.
        """
        by_place: dict[Hashable, list[int]] = {}
        for i in range(len(bads)):
            by_place.setdefault(places[i] if places else None, []).append(i)
        answers: dict[int, LocalAnswer] = {}
        for i, answer in self._answers(bads, list(by_place.values()), answers, likely, traced):
            answers[i] = answer
            yield i, answer

    def _answers(
        self,
        bads: Sequence[Expr],
        groups: Sequence[Sequence[int]],
        answers: Mapping[int, LocalAnswer],
        likely: bool,
        traced: int,
    ) -> Iterator[tuple[int, LocalAnswer]]:
        """The same; ``answers`` has those known already."""
        for i, bad in enumerate(bads):
            if (constant := self._constant(bad)) is not None:
                yield i, constant
        if likely:
            yield from self._traced(bads, groups, answers)
        # What no hint, and no clause of earlier proofs, excluded may well be reachable.
        if likely or traced or self._hints or self._edited:
            open_ = {i: bad for i, bad in enumerate(bads) if i not in answers}
            small = not (self._quick or (likely and self._brief))
            moments = max(DEPTHS[FIRST_RING], traced + LONGER if self._quick else 0)
            yield from self._search(open_, moments, small=small)
        elif self._doubt:
            probe, small = PROBED if self._doubt == "as often as not" else None, not self._quick
            open_ = dict(enumerate(bads))
            yield from self._search(open_, DEPTHS[FIRST_RING], small=small, probe=probe)
        rings = FIRST_RING
        failed: dict[int, list[_Unproved]] = {i: [] for i in range(len(bads))}
        while groups:
            whole = set[int]()
            for kept, group in self._merged(bads, groups, rings, answers):
                if kept == self._states:
                    whole.update(group)
                first = rings == FIRST_RING
                for i, answer in self._in_window(kept, {i: bads[i] for i in group}, first=first):
                    if isinstance(answer, _Unproved):
                        failed[i].append(answer)
                        continue
                    yield i, answer
                    for once in failed[i]:
                        once.known.wider.add(once.asked)
            left = [i for group in groups for i in group if i not in answers]
            if rings in DEPTHS and not likely:
                # A wider window proved this of an isomorphic place, so it will here.
                sought = {i: bads[i] for i in left if not failed[i][-1].proved_wider}
                yield from self._search(sought, DEPTHS[rings], small=not self._quick)
            groups = [
                wider
                for group in groups
                if (wider := [i for i in group if i not in answers and i not in whole])
                and not self._is_closed([bads[i] for i in wider], rings)
            ]
            rings *= 2
        for i, bad in enumerate(bads):
            if i not in answers:
                yield i, self._whole_system(bad, failed[i][-1].answer, likely=likely)

    def _traced(
        self,
        bads: Sequence[Expr],
        groups: Sequence[Sequence[int]],
        answers: Mapping[int, LocalAnswer],
    ) -> Iterator[tuple[int, LocalAnswer]]:
        """Those with a witness; where any history does, each with what it comes to on the way."""
        for group in self._farthest_first(bads, groups):
            open_ = {i: bads[i] for i in group if i not in answers}
            for i, found in self._witnesses.find(open_, self._deadline(len(open_) or 1)):
                if i not in answers:
                    yield i, LocalAnswer(found, self.system)
                    yield from self._on_the_way(found, bads, answers)

    def _farthest_first(
        self, bads: Sequence[Expr], groups: Sequence[Sequence[int]]
    ) -> Sequence[Sequence[int]]:
        """Where any history does: what trains come to last, since they pass the others before."""
        if not self._brief:
            return groups
        place = {what: n for n, what in enumerate(self._standing)}

        def far(group: Sequence[int]) -> int:
            return max((place.get(w, -1) for i in group for w in support(bads[i])), default=-1)

        return sorted(groups, key=far, reverse=True)

    def _on_the_way(
        self, found: Reachable, bads: Sequence[Expr], answers: Mapping[int, LocalAnswer]
    ) -> Iterator[tuple[int, LocalAnswer]]:
        """Where any history does: what the one that was found comes to before its end."""
        if not self._brief or self.system.timing is not None:
            return
        for k, moment in enumerate(found.trace[:-1]):
            values = Values(moment)
            for i, bad in enumerate(bads):
                if i not in answers and values.holds(bad):
                    way = Reachable(found.trace[: k + 1], smallest=False)
                    yield i, LocalAnswer(way, self.system)

    def _merged(
        self,
        bads: Sequence[Expr],
        groups: Sequence[Sequence[int]],
        rings: int,
        answers: Mapping[int, LocalAnswer],
    ) -> list[tuple[frozenset[Observable], list[int]]]:
        """The window of each group and the bad states still to be decided in it. Windows that
        overlap widely are one: what is learned in it is learned once."""
        windows = []
        for group in groups:
            if left := [i for i in group if i not in answers]:
                windows.append((self.window([bads[i] for i in left], rings), left))
        if any(len(kept) >= MOST * len(self._states) for kept, _ in windows):
            return [(self._states, sorted(i for _, group in windows for i in group))]
        merged: list[tuple[frozenset[Observable], list[int]]] = []
        for kept, group in sorted(windows, key=lambda window: -len(window[0])):
            for at, (wide, others) in enumerate(merged):
                if len(kept & wide) >= OVERLAP * len(kept):
                    merged[at] = kept | wide, others + group
                    break
            else:
                merged.append((kept, group))
        return [(kept, sorted(group)) for kept, group in merged]

    def _is_closed(self, bads: Sequence[Expr], rings: int) -> bool:
        """Whether a window of so many rings has all states that the bad states depend on."""
        return self.window(bads, rings) == self.window(bads, rings + 1)

    def invariants(self) -> Iterator[Expr]:
        """The invariants found, of every window."""
        for clauses in self._invariants.values():
            yield from clauses

    def _constant(self, bad: Expr) -> LocalAnswer | None:
        if isinstance(bad, Const) and not bad.value:
            return LocalAnswer(Unreachable(()), cut(self.system, ()))
        return None

    # -------------------------------------------------------------- windows

    def window(self, bads: Iterable[Expr], rings: int) -> frozenset[Observable]:
        """The states within ``rings`` dependency steps of the support of ``bads``."""
        inside = {w for bad in bads for w in support(bad) if w in self._states}
        edge = set(inside)
        for _ in range(rings):
            beyond = {w for what in edge for w in self._support(what) if w in self._states}
            edge = beyond - inside
            inside |= edge
        return frozenset(inside)

    def _support(self, state: Observable) -> frozenset[Observable]:
        if state not in self._supports:
            self._supports[state] = self.system.support(state)
        return self._supports[state]

    def _in_window(
        self, kept: frozenset[Observable], bads: Mapping[int, Expr], *, first: bool
    ) -> "Iterator[tuple[int, LocalAnswer | _Unproved]]":
        """The answers of a window; :class:`_Unproved` where it does not suffice. What serves of
        pairs was learned in the ``first`` ones, or by earlier proofs."""
        system = cut(self.system, kept, bads.values())
        form = self._shapes.of(system)
        known = self._known.setdefault(form.key, _Shape())
        asked = {i: form.question(self._shapes.form(bad)) for i, bad in bads.items()}
        new = {asked[i]: bad for i, bad in bads.items() if asked[i] not in known.answers}
        those = {question: [i for i in bads if asked[i] == question] for question in asked.values()}

        def answers_to(question: Hashable) -> "Iterator[tuple[int, LocalAnswer | _Unproved]]":
            answer = known.answers[question]
            for i in those[question]:
                if isinstance(answer, Unreachable):
                    needed = tuple(map(form.concrete, answer.clauses))
                    yield i, LocalAnswer(Unreachable(needed), system)
                else:
                    yield i, _Unproved(known, question, answer)

        for question in those:
            if question not in new:
                yield from answers_to(question)
        if new:
            for _ in new:
                self._step()
            hints = (*map(form.concrete, known.invariant), *self._inside(kept), *self._hints)
            deadline = self._deadline(len(new))
            asking = Asking(system, tuple(new.values()), hints, first and not self._edited)
            run = WindowRun(asking, deadline, self._store, self._kind)
            questions = {bad: question for question, bad in new.items()}
            for bad, answer in run.answers():
                known.answers[questions[bad]] = _abstract(form, answer)
                yield from answers_to(questions[bad])
            known.invariant.update(dict.fromkeys(map(form.abstract, run.invariant)))
        self._invariants[kept] = tuple(map(form.concrete, known.invariant))

    def _inside(self, kept: frozenset[Observable]) -> Iterator[Expr]:
        """What was learned of these states in other windows: worth trying in this one."""
        for clauses in self._invariants.values():
            yield from (clause for clause in clauses if kept.issuperset(support(clause)))

    # -------------------------------------------------------------- histories

    @cached_property
    def _samples(self) -> Samples:
        return samples_of(self.system, SAMPLED)

    def _search(
        self,
        bads: Mapping[int, Expr],
        moments: int,
        *,
        small: bool = True,
        probe: int | None = None,
    ) -> Iterator[tuple[int, LocalAnswer]]:
        """Those with a short trace in the whole system, or a longer one where a sample has one."""
        for i, bad in bads.items():
            checkpoint()
            sampled = not self._quick
            answer = self._shortest(bad, moments, sampled=sampled, small=small, probe=probe)
            # What traces reach that have no times has no proof without times either.
            if isinstance(answer, Reachable) or answer.conflicts:
                yield i, LocalAnswer(answer, self.system)

    def _whole_system(self, bad: Expr, widest: Answer, *, likely: bool) -> LocalAnswer:
        """The answer for what no window proved and no short trace reaches, ``widest`` being that
        of the widest window, which holds all that the bad state depends on."""
        if not isinstance(widest, Reachable):
            return LocalAnswer(widest, self.system)
        most = len(widest.trace) - 1
        if self.system.timing is not None:
            most = max(most, LONG)
        small = not (self._quick or (likely and self._brief))
        return LocalAnswer(self._shortest(bad, most, small=small), self.system)

    def _is_sampled(self, bad: Expr) -> bool:
        return self._store.answer(
            ("sampled", self._content, bad),
            lambda: bool(self._samples.holding(bad)),
            lambda _: True,
        )

    def _shortest(
        self,
        bad: Expr,
        most: int,
        *,
        sampled: bool = False,
        small: bool = True,
        probe: int | None = None,
    ) -> Reachable | Unknown:
        """The shortest trace of at most so many steps, or (``sampled``) a longer one where a sample
        has one; ``probe``: those of more steps are left for later."""
        further = (LONG, lambda: self._is_sampled(bad)) if sampled else None
        return self._store.answer(
            ("shortest", self._content, bad, most, sampled, self._few, probe),
            lambda: bmc.search(
                self.system,
                bad,
                most=most,
                further=further,
                deadline=self._deadline(1),
                few=self._few,
                small=small,
                probe=probe,
            ),
            lambda found: found.smallest if isinstance(found, Reachable) else found.final,
        )

    def _deadline(self, bads: int) -> float | None:
        return None if self._timeout is None else monotonic() + self._timeout * bads


def _abstract(form: Shape, answer: Answer) -> Answer:
    """A proof under canonical names; other answers as they are."""
    if isinstance(answer, Unreachable):
        return Unreachable(tuple(map(form.abstract, answer.clauses)))
    return answer


@dataclass(frozen=True, slots=True)
class _Shape:
    """Of one shape of window, under canonical names: its invariant; the answer to each property;
    the properties that a wider window proved."""

    invariant: dict[Expr, None] = field(default_factory=dict)
    answers: dict[Hashable, Answer] = field(default_factory=dict)
    wider: set[Hashable] = field(default_factory=set)


@dataclass(frozen=True, slots=True)
class _Unproved:
    """A property that a window does not prove, with the window's answer."""

    known: _Shape
    asked: Hashable
    answer: Answer

    @property
    def proved_wider(self) -> bool:
        return self.asked in self.known.wider
