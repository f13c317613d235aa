"""Obligations about one transition system: from the engines' answers to replayed verdicts.

Soundness lives here as in :mod:`verifier.decide.situations`: *proved* only when an engine gave an
inductive invariant that excludes the bad states; *broken* only after the reference, which uses no
solver and no expressions, replayed the history; everything else is undecided, with the reason.
"""

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from time import monotonic

from verifier.decide.earlier_proofs import EarlierProofs, Ways, keep_order, keep_states
from verifier.decide.finer_systems import FinerSystems
from verifier.decide.punctuality import against
from verifier.decide.replayed import (
    AFTER_MISHAP,
    AS_FOUND,
    TOO_SOON,
    Finer,
    Hasty,
    MovesOn,
    Tried,
    beyond_words,
    last_moment,
    late_words,
)
from verifier.engines import stopping
from verifier.engines.proof_store import ProofStore
from verifier.engines.results import Conflict, Reachable, Unknown, Unreachable
from verifier.engines.temporal.earlier_histories import EarlierHistories
from verifier.engines.temporal.houdini import inductive_clauses
from verifier.engines.temporal.localization import LocalAnswer, Windows
from verifier.engines.temporal.proof_core import relied_on
from verifier.engines.temporal.resets.resettability import (
    Resettability,
    Returns,
    Trapped,
    always_again,
)
from verifier.engines.temporal.scheduling import Scheduled, scheduled
from verifier.explain.trace_narrative import Narrative, narrative
from verifier.language.listing import several
from verifier.logic.expr import FALSE, Expr, conjunction, negation, support
from verifier.logic.time_order import Ordered
from verifier.logic.transition_system import System, connected, cut
from verifier.plan import observables
from verifier.plan.claims import granted
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.wiring.faults import Fault
from verifier.properties.obligation import Obligation
from verifier.reference.evaluator import Unsettled
from verifier.verdicts.report import (
    Finding,
    InductiveProof,
    InternalError,
    LaterProof,
    Verdict,
)
from verifier.world.history import Histories
from verifier.world.memory_abstraction import REMEMBERED

# Of what is broken, as long as only that is known.
TO_BE_TOLD = "the reference replayed a history; the smallest one follows"
Moment = Mapping[Observable, str]
Trace = Sequence[Moment]


@dataclass(frozen=True, slots=True)
class _Found:
    """An answer for a bad state; ``late``: why a history that was found does not count."""

    bad: Expr
    answer: LocalAnswer
    late: tuple[Conflict, ...] = ()

    @property
    def is_final(self) -> bool:
        match self.answer.outcome:
            case Reachable(smallest=smallest):
                return smallest
            case Unknown(final=final):
                return final
            case _:
                return True


@dataclass(frozen=True, slots=True)
class _Answered:
    """The answers for obligations asked together, by their numbers; ``is_told``: found without
    clauses of earlier proofs."""

    answers: tuple[tuple[int, _Found], ...]
    is_told: bool


class SystemProver:
    """Decides obligations about one transition system of a plan: with detection truthful, or
    lost now and then (``lossy``), or buttons that stay pressed kept in mind (``held``). With
    ``earlier``, clauses of earlier proofs are tried; ``told`` finds the verdict, by key, that does
    without them. One of ``faults`` may be present.
    ``brief``: histories of what is possible are replayed, and not told; ``quick``: any history is,
    as it was found."""

    def __init__(
        self,
        plan: Plan,
        lossy: bool,
        timeout: float | None,
        step: Callable[[], None],
        store: ProofStore,
        earlier: bool,
        told: Callable[[str], Verdict | None] | None,
        faults: Sequence[Fault] = (),
        *,
        blips: bool = False,
        held: bool = False,
        brief: bool = False,
        quick: bool = False,
    ):
        self.plan = plan
        self._brief = brief
        self._quick = quick
        self._faults = faults
        self.lossy = lossy
        self._told = told
        self._step = step
        self._store = store
        self.histories = Histories(plan, lossy=lossy, blips=blips, faults=faults, held=held)
        system = self.histories.system
        entries = frozenset(w for w in system.inputs if w.kind == "entry")
        self._few = (entries, frozenset(system.inputs))
        self._timeout = timeout
        self._order = self.histories.order
        self._ordered = Ordered(system, self._order)
        self._finer = FinerSystems(plan, lossy=lossy, blips=blips, faults=faults, held=held)
        # Invariants of windows with fewer comparisons.
        self._earlier: list[Expr] = []
        # Where all was asked of this very system before, the store has the answers.
        self._question = "decided", system.content
        # What was asked, and of that what the store answered.
        self._asked: tuple[Hashable, ...] = ()
        self._to_ask: list[Sequence[Obligation]] = []
        asked_before = store.known(self._question)
        self._kind = Ways(lossy=lossy, blips=blips, held=held, faults=bool(faults))
        # As they are now: this proof adds clauses of its own to the store.
        tried = earlier and not (system.always or asked_before)
        self._clauses = store.clauses_of(self._kind) if tried else ()
        self._found_before = EarlierHistories(store, self._kind)

    @cached_property
    def _kept(self) -> EarlierProofs | None:
        """What earlier proofs of other systems left; None where that does not serve."""
        if not self._clauses:
            return None
        return EarlierProofs(
            self.histories, self._clauses, self._store, self.time_limit(), self._kind
        )

    @cached_property
    def _windows(self) -> Windows:
        return Windows(
            self._ordered.system,
            few=self._few,
            timeout=self._timeout,
            step=self._step,
            store=self._store,
            hints=self._kept.clauses if self._kept else (),
            made=self.histories.in_turn,
            standing=self.histories.standing,
            brief=self._brief,
            quick=self._quick,
            kind=self._kind,
            edited=bool(self._clauses or self._found_before),
            doubt=self._kind.doubt,
        )

    def whole(self, *, wrecks: bool = False) -> tuple[System, Callable[[Expr], Expr]]:
        """See :meth:`HistoryProver.whole`."""
        self._catch_up()
        if not wrecks:
            return self._ordered.system, self._expand
        histories, ordered = self._finer.of(Finer(wrecks=True, prompt=True), self._order)
        return ordered.system, lambda formula: ordered.within(histories.expand(formula))

    def _expand(self, formula: Expr) -> Expr:
        """A formula over the states and choices of the system with comparisons."""
        return self._ordered.within(self.histories.expand(formula))

    def time_limit(self) -> float | None:
        """The time of :func:`time.monotonic` until which a question may take."""
        return None if self._timeout is None else monotonic() + self._timeout

    def decide(self, here: Sequence[Obligation]) -> Iterator[Verdict]:
        """The verdicts on obligations of one mode. Where just these were asked of this very system
        before, after the same ones, the store has the answers."""
        asked = tuple((self.histories.expand(o.formula), place_of(o, self.plan)) for o in here)
        self._asked = (*self._asked, (here[0].mode, *asked))
        question = "answers", self.histories.system.content, self._few, self._asked
        known: _Answered | None = self._store.known(question)
        # Who tells what is found without clauses of earlier proofs has to find it.
        if known is not None and (known.is_told or self._told is not None):
            self._to_ask.append(here)
            for i, found in known.answers:
                yield self._verdict(here[i], found.bad, found.answer, late=found.late,
                                    is_told=known.is_told)  # fmt: skip
            return
        self._catch_up()
        place = {id(obligation): i for i, obligation in enumerate(here)}
        answers = []
        for obligation, found in self._answers(here):
            answers.append((place[id(obligation)], found))
            yield self._verdict(obligation, found.bad, found.answer, late=found.late,
                                is_told=not self._clauses)  # fmt: skip
        if all(found.is_final for _, found in answers) and not stopping.is_over():
            self._store.keep(question, _Answered(tuple(answers), not self._clauses))

    def _catch_up(self) -> None:
        """Ask what the store answered instead, so that what is learned of it is known too."""
        for here in self._to_ask:
            for _ in self._answers(here):
                pass
        self._to_ask = []

    def _answers(self, here: Sequence[Obligation]) -> "Iterator[tuple[Obligation, _Found]]":
        """The answers for obligations of one mode, each as soon as it is known."""
        likely, waiting = here[0].mode == "possible", list(here)
        if self._kept is not None and not likely:
            for obligation in here:
                self._step()
                if (excluded := self._kept.exclude(obligation.formula)) is not None:
                    yield obligation, _Found(*excluded)
                    waiting.remove(obligation)
        for obligation, found in [] if likely else [*self._found_again(waiting)]:
            yield obligation, found
            waiting.remove(obligation)
        while waiting:
            bads = [self._expand(o.formula) for o in waiting]
            places = [place_of(o, self.plan) for o in waiting]
            left: list[tuple[Obligation, _Found]] = []
            for i, answer in self._windows.answers(bads, places, likely=likely):
                late = against(waiting[i], answer, self.histories)
                found = _Found(bads[i], answer, late)
                if found.late:
                    left.append((waiting[i], found))
                else:
                    yield waiting[i], found
            if not self._compares_more(conflict for _, found in left for conflict in found.late):
                yield from left
                return
            waiting = [obligation for obligation, _ in left]

    def _found_again(
        self, waiting: Sequence[Obligation], finer: Finer = AS_FOUND
    ) -> "Iterator[tuple[Obligation, _Found]]":
        """Those that histories of earlier texts reach again, where any history does."""
        if not (self._quick and self._found_before):
            return
        histories, ordered = self.histories, self._ordered
        if finer != AS_FOUND:
            histories, ordered = self._finer.of(finer, self._order)
        bads = {
            i: ordered.within(histories.expand(obligation.formula))
            for i, obligation in enumerate(waiting)
        }
        for i, reached in self._found_before.again(ordered.system, bads):
            answer = LocalAnswer(reached, ordered.system)
            if not against(waiting[i], answer, histories):
                yield waiting[i], _Found(bads[i], answer)

    def _compares_more(self, against: Iterable[Conflict]) -> bool:
        """Compare the windows and delays for which histories do not count. Whether any of that is
        new."""
        order = self._order
        for conflict in against:
            order = order.also(conflict.windows, conflict.chain)
        if order == self._order:
            return False
        self._earlier += self._windows.invariants()
        self._order, self._ordered = order, Ordered(self.histories.system, order)
        del self._windows
        return True

    def always_again(
        self, here: Sequence[Obligation], *, before_mishaps: bool = False
    ) -> list[Verdict]:
        """Whether things can always be done again, whatever has happened before: after a collision
        or a derailment too, once people have cleared it away. ``before_mishaps``: as long as there
        was none, and without any on the way."""
        if self._told is not None and self._kept:
            # What earlier proofs left helps to prove. All else is told as it is without them.
            verdicts = self._asked_again(here, before_mishaps=before_mishaps, composed=True)
            if all(verdict.status == "proved" for verdict in verdicts):
                return verdicts
            told = [self._told(obligation.key) for obligation in here]
            if None not in told:
                return [verdict for verdict in told if verdict]
        return self._asked_again(here, before_mishaps=before_mishaps)

    def _asked_again(
        self, here: Sequence[Obligation], *, before_mishaps: bool, composed: bool = False
    ) -> list[Verdict]:
        """The same; ``composed``: see
        :func:`~verifier.engines.temporal.resets.resettability.always_again`."""
        self._catch_up()
        system = replace(self._ordered.system, always=self.histories.always_at_entries)
        goals = tuple(self._expand(o.formula) for o in here)
        first, hints = self.histories.to_rest(), self.histories.consistent_trains()
        made = self.histories.in_turn
        if before_mishaps:
            none = tuple(map(self._ordered.within, self.histories.no_mishap()))
            system = replace(system, always=(*system.always, *none))
            hints += self.histories.at_rest_beneath()
        answers = self._store.answer(
            (
                "always again",
                system.content,
                goals,
                self._invariants,
                first,
                hints,
                self._few,
                composed,
            ),
            lambda: always_again(
                system,
                goals,
                self._invariants,
                first=first,
                hints=hints,
                few=self._few,
                made=made,
                quick=before_mishaps,
                composed=composed,
                deadline=self.time_limit(),
            ),
            lambda found: not any(isinstance(answer, Unknown) for answer in found),
        )
        decided = zip(here, answers, strict=True)
        return [self._again(o, answer, before_mishaps) for o, answer in decided]

    def finished(self) -> None:
        """All that is asked of this system was: the next time, the store has the answers."""
        if not self._clauses:
            self._store.keep(self._question, answer=True)
        if self._faults or self.histories.blips or self.histories.held:
            return
        keep_states(self._store, self._ordered.system.states, lossy=self.lossy)
        if not self._to_ask:
            keep_order(self._store, self._order, lossy=self.lossy)

    def _again(
        self, obligation: Obligation, answer: Resettability, before_mishaps: bool
    ) -> Verdict:
        match answer:
            case Returns():
                return Verdict(obligation, "proved", before_mishaps=before_mishaps)
            case Trapped(history=history, system=system, lasts=lasts):
                bad = self._expand(obligation.formula)
                known = (clause for clause in lasts.clauses if self._is_of_a_history(clause))
                here = conjunction(*known, negation(obligation.formula))
                trap = replace(obligation, formula=here, mode="never")
                try:
                    narrated = self._replayed(
                        trap, history.trace, cleared=True, before_mishaps=before_mishaps
                    )
                except Unsettled as circle:
                    return Verdict(obligation, "undecided", beyond_words(circle))
                finding = Finding(
                    last_moment(self.plan, narrated.story), (), 0, narrated.causes,
                    smallest=history.smallest, story=narrated.story,
                )  # fmt: skip
                lasting = InductiveProof(system, bad, lasts.clauses)
                return Verdict(obligation, "broken", finding=finding, lasting=lasting,
                               before_mishaps=before_mishaps)  # fmt: skip
            case Unknown(reason=reason):
                return Verdict(obligation, "undecided", reason)

    @property
    def _invariants(self) -> tuple[Expr, ...]:
        """Of all that was asked before."""
        states = set(self._ordered.system.states)
        kept = self._kept.clauses if self._kept else ()
        found = dict.fromkeys((*kept, *self._earlier, *self._windows.invariants()))
        return tuple(clause for clause in found if states.issuperset(support(clause)))

    def _is_of_a_history(self, clause: Expr) -> bool:
        """Whether a clause is about states that the reference knows."""
        return set(self.histories.system.states).issuperset(support(clause))

    @cached_property
    def memory_facts(self) -> tuple[Expr, ...]:
        """All clauses of two literals about memory and points that are inductive together, whatever
        all else does. (So they depend on nothing that other proofs learned.)"""
        system = self.histories.system
        known = {what for what in self.plan.inputs if what.kind in REMEMBERED}
        memory = [w for w in system.states if w in known or w.kind in observables.LYING]
        return tuple(
            clause
            for part in connected(system, memory)
            for clause in self._short_clauses(cut(system, part))
        )

    def _short_clauses(self, system: System) -> tuple[Expr, ...]:
        return self._store.answer(
            ("short clauses", system.content),
            lambda: inductive_clauses(system, deadline=self.time_limit()),
            lambda _: self._timeout is None and stopping.deadline() is None,
        )

    def memory_rests_on(self) -> tuple[str, ...]:
        """Titles of the assumptions that the memory facts need."""
        return self._titles(self.histories.system, FALSE, Unreachable(self.memory_facts))

    def _titles(self, system: System, bad: Expr, proof: Unreachable) -> tuple[str, ...]:
        """Titles of the assumptions that a proof needs."""
        used = [system.always[k] for k in relied_on(system, bad, proof, deadline=self.time_limit())]
        taken = zip(granted(self.plan), self.histories.system.always, strict=True)
        return tuple(assumed.title for assumed, expr in taken if expr in used)

    def _verdict(
        self,
        obligation: Obligation,
        bad: Expr,
        decided: LocalAnswer,
        *,
        late: Sequence[Conflict] = (),
        is_told: bool = True,
        finer: Finer = AS_FOUND,
    ) -> Verdict:
        """``late``: why a history found does not count; ``is_told``: an invariant is told as it was
        found; ``finer``: which histories are told apart."""
        outcome = decided.outcome
        possible = obligation.mode == "possible"
        match outcome:
            case Unreachable(clauses=clauses):
                proof = InductiveProof(decided.system, bad, clauses)
                lasting = proof if is_told else self._as_told(obligation, proof)
                used = () if self._quick else self._titles(decided.system, bad, outcome)
                if possible:
                    why = "no history does"
                    return Verdict(obligation, "broken", why, rests_on=used, lasting=lasting)
                return Verdict(obligation, "proved", rests_on=used, lasting=lasting)
            case Reachable() if late:
                return Verdict(obligation, "undecided", late_words(late))
            case Reachable(trace=trace, smallest=smallest):
                try:
                    if self._is_told_less(possible):
                        played = self._scheduled(obligation, trace, finer)
                        self._tried.check(obligation, played.moments, played.seconds, finer)
                        self._found_before.learn(obligation.key, trace)
                        if possible:
                            return Verdict(obligation, "proved")
                        return Verdict(obligation, "broken", TO_BE_TOLD)
                    history = self._replayed(obligation, trace, finer)
                    self._found_before.learn(obligation.key, trace)
                except Unsettled as circle:
                    return Verdict(obligation, "undecided", beyond_words(circle))
                except MovesOn:
                    if finer.wrecks:
                        return Verdict(obligation, "undecided", AFTER_MISHAP)
                    return self._told_apart(obligation, replace(finer, wrecks=True), len(trace))
                except Hasty:
                    if finer.prompt:
                        return Verdict(obligation, "undecided", TOO_SOON)
                    return self._told_apart(obligation, replace(finer, prompt=True), len(trace))
                story, last = history.story, last_moment(self.plan, history.story)
                if possible:
                    return Verdict(obligation, "proved", story=story, witness=last)
                finding = Finding(last, (), 0, history.causes, smallest=smallest, story=story)
                return Verdict(obligation, "broken", finding=finding)
            case Unknown(reason=reason, depth=depth):
                sought = f"; no history of up to {several(depth, 'moment')} does" if depth else ""
                return Verdict(obligation, "undecided", reason + sought)

    def _is_told_less(self, possible: bool) -> bool:
        """Whether a history is only replayed; where faults may be present, it says which one is."""
        return (self._quick and not self._faults) or (possible and self._brief)

    def _as_told(self, obligation: Obligation, proof: InductiveProof) -> InductiveProof:
        """What is told of a proof: without clauses of earlier ones, if that is found in time."""

        def find() -> InductiveProof:
            verdict = self._told(obligation.key) if self._told else None
            return verdict.lasting if verdict and verdict.lasting else proof

        return LaterProof(find)

    def _told_apart(self, obligation: Obligation, finer: Finer, moments: int) -> Verdict:
        """The verdict where more histories are told apart; so many ``moments`` has one where they
        are not."""
        place, likely = place_of(obligation, self.plan), obligation.mode == "possible"
        order = self._order
        known = self._found_again([obligation], finer)
        for _, found in known:
            return self._verdict(obligation, found.bad, found.answer, finer=finer)
        while True:
            histories, ordered = self._finer.of(finer, order)
            bad = ordered.within(histories.expand(obligation.formula))
            windows = Windows(
                ordered.system, few=self._few, timeout=self._timeout, store=self._store,
                quick=self._quick,
            )  # fmt: skip
            ((_, answer),) = windows.answers([bad], [place], likely=likely, traced=moments)
            late = against(obligation, answer, histories)
            before = order
            for conflict in late:
                order = order.also(conflict.windows, conflict.chain)
            if order == before:
                return self._verdict(obligation, bad, answer, late=late, finer=finer)

    def _replayed(
        self,
        obligation: Obligation,
        trace: Trace,
        finer: Finer = AS_FOUND,
        *,
        cleared: bool = False,
        before_mishaps: bool = False,
    ) -> Narrative:
        """The narrative of a history; the reference replayed its trace, not the one found, which
        nobody is told. Raises :class:`Unsettled` where the rules leave open what a signal shows at
        one of its moments, :class:`MovesOn` where a train moves on that met or derailed,
        :class:`InternalError` where a trace does not replay. ``cleared``: people clear away what
        collided or derailed, so that it moves on. ``before_mishaps``: nothing does."""
        histories = self._histories_of(finer)
        played = self._scheduled(obligation, trace, finer)
        history = narrative(histories, played, obligation, calm=before_mishaps)
        told = history.story
        self._tried.check(
            obligation, told.moments, told.seconds, finer, cleared=cleared, calm=before_mishaps
        )
        return history

    @property
    def _tried(self) -> Tried:
        histories = self.histories
        return Tried(self.plan, self._faults, self.lossy, histories.blips, histories.held)

    def _histories_of(self, finer: Finer) -> Histories:
        return self.histories if finer == AS_FOUND else self._finer.of(finer, self._order)[0]

    def _scheduled(self, obligation: Obligation, trace: Trace, finer: Finer) -> Scheduled:
        """The trace with its times. Raises :class:`InternalError` where it has none."""
        played = scheduled(self._histories_of(finer).system, trace)
        if played is None:
            raise InternalError(f"{obligation.key}: the history found has no times")
        return played


def place_of(obligation: Obligation, plan: Plan) -> tuple[str, ...]:
    """The place an obligation is about: the interlocking limits it touches, else its track."""
    entered = [plan.signals[s].enters.piece for s in obligation.signals]
    pieces = {*obligation.pieces, *entered}
    limits = tuple(x.name for x in plan.limits if pieces.intersection(x.pieces))
    return limits or tuple(sorted(pieces)[:1])
