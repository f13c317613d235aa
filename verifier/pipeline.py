"""From a plan to a report: obligations, engine, replay, findings.

Soundness lives here: *proved* only when every question was answered; *broken* only after
the evaluator has replayed the situation; everything else is undecided, and says why.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from time import monotonic

from verifier.decide.failures import FailureAnalysis, FailureCheck, Outcome, sorted_failures
from verifier.decide.histories import HistoryProver, needs_history
from verifier.decide.interrupt import InterruptWatch
from verifier.decide.memory_invariants import Recollection, hears_the_truth
from verifier.engines.results import Exists, Impossible, Interrupted, Unknown
from verifier.engines.smt.situations import SituationCheck
from verifier.explain.signal_causes import causes
from verifier.language.diagnostics.diagnostic import Diagnostic, InputError, did_you_mean
from verifier.language.source import Span
from verifier.logic.expr import TRUE, Expr, conjunction, holds, support
from verifier.plan.minimality import count_situations
from verifier.plan.model import Assumption, Expectation, Plan, Waiver
from verifier.plan.situation import Situation
from verifier.properties.catalog import BY_NAME, FAILURES, obligations
from verifier.properties.failures import told_first, with_harm, with_harms
from verifier.properties.obligation import Obligation
from verifier.reference.equipment import can_be
from verifier.reference.evaluator import Evaluator, TooManyWays, Unsettled
from verifier.repair.lock_repair import ALL, is_mended_by_lock
from verifier.repair.rule_repair import mend
from verifier.repair.wiring_repair import Rewirer
from verifier.verdicts.report import (
    Addition,
    Failure,
    Finding,
    InternalError,
    Report,
    Unmet,
    Verdict,
)
from verifier.world.assumption_text import assumed
from verifier.world.world import World

# Beyond this many findings no further mendings are worked out: people mend the first ones,
# run again, and see the next.
MAX_MENDINGS = 12

# Told of every question: how many are answered, of how many.
Progress = Callable[[int, int], None]


def _silent(done: int, of: int) -> None:
    pass


def prove(
    plan: Plan,
    *,
    timeout: float | None = None,
    only: Iterable[str] = (),
    pairs: bool = False,
    mendings: bool = True,
    progress: Progress = _silent,
    world: World | None = None,
) -> Report:
    """Decide every obligation of a plan.

    ``timeout`` is in seconds, for each obligation; ``only`` names the properties wanted
    (all, when empty); ``pairs`` looks at every two faults together as well; without
    ``mendings`` none are worked out. ``progress`` is told how many questions are answered, of
    how many. After Ctrl-C the report holds what was decided, the rest undecided.

    Raises :class:`InputError` when the file's assumptions contradict each other, or when
    it waives or expects what no obligation matches; :class:`InternalError` when a
    situation does not replay.
    """
    wanted = set(only)
    decided: dict[str, Verdict] = {}
    failures: tuple[Failure, ...] = ()
    todo: list[Obligation] = []
    mended: list[Verdict] = []
    with InterruptWatch() as watch:
        prover = _Prover(plan, world or World(plan), timeout)
        everything = list(obligations(plan, prover.world.lower))
        todo = [o for o in everything if not wanted or o.property in wanted]
        plain = [o for o in todo if o.property not in FAILURES]
        failing = [o for o in todo if o.property in FAILURES]
        todo = [*plain, *failing]
        if not wanted:
            _check_claims(plan, todo)
        try:
            prover.check_assumptions()
            if not plan.signals and not plan.proofs:
                raise InputError([_nothing_to_prove(plan)])
            steps = _Steps(watch, progress, len(plain) + 3 * len(failing))
            prover = prover.over_time(plain, everything, decided, steps.next)
            for obligation in plain:
                if obligation.over == "situations" and obligation.key not in decided:
                    steps.next()
                    decided[obligation.key] = prover.decide(obligation)
            if failing:
                others = (o for o in everything if o.property not in FAILURES)
                safe = [decided.get(o.key) or prover.decide(o) for o in others if of_moment(o)]
                found = prover.failures(failing, safe, steps.next, pairs=pairs)
                decided |= {v.obligation.key: v for v in found.verdicts}
                failures = found.table
            if mendings:
                mended = prover.with_mendings([decided[o.key] for o in todo], watch)
        except (KeyboardInterrupt, Interrupted):
            pass
    left = [o for o in todo if o.key not in decided]
    verdicts = mended or [
        decided.get(o.key) or Verdict(o, "undecided", "interrupted before it was decided")
        for o in todo
    ]
    interrupted = bool(left)
    unmet = () if interrupted or wanted else tuple(_unmet(plan, verdicts))
    return Report(plan, tuple(verdicts), assumed(plan), unmet, interrupted, failures)


def of_moment(obligation: Obligation) -> bool:
    """Whether it speaks of single situations, apart from how they came about."""
    return obligation.over == "situations"


class _Steps:
    """One question after the other: looks for Ctrl-C, and tells how far it is."""

    def __init__(self, watch: InterruptWatch, progress: Progress, total: int):
        self._watch, self._progress, self._total, self._done = watch, progress, total, 0

    def next(self) -> None:
        self._watch.check()
        self._done += 1
        self._progress(self._done, max(self._done, self._total))


class _Prover:
    """One plan under proof: its world, engine and evaluator."""

    def __init__(self, plan: Plan, world: World, timeout: float | None):
        self.plan = plan
        self.world = world
        self.timeout = timeout
        self._check = SituationCheck.of(world, timeout)
        self._evaluator = Evaluator(plan)
        self._undecided_assumptions = ""
        # Titles of the assumptions that what is known of memory rests on.
        self.memory_rests_on: tuple[str, ...] = ()
        # What each fault does, by its name, once that was asked.
        self._outcomes: dict[str, Outcome] = {}

    def check_assumptions(self) -> None:
        """All assumptions together allow a situation. Raises :class:`InputError` when not;
        when that is undecided, so is everything else."""
        if not self.plan.assumptions:
            return
        match self._check.find(TRUE):
            case Impossible():
                raise InputError([_contradiction(self._clash())])
            case Unknown(reason=reason):
                self._undecided_assumptions = (
                    f"it is not known whether the assumptions allow any situation: {reason}"
                )
            case Exists():
                pass

    def _clash(self) -> list[Assumption]:
        """A smallest set of assumptions that contradict each other."""
        assumed = [self.world.expand(self.world.lower(a.condition)) for a in self.plan.assumptions]
        kept = list(range(len(assumed)))
        for i in list(kept):
            trial = [k for k in kept if k != i]
            check = SituationCheck.of(self.world, self.timeout, assumed=False)
            if isinstance(check.find(conjunction(*(assumed[k] for k in trial))), Impossible):
                kept = trial
        return [self.plan.assumptions[k] for k in kept]

    def over_time(
        self,
        asked: Sequence[Obligation],
        everything: Sequence[Obligation],
        decided: dict[str, Verdict],
        step: Callable[[], None],
    ) -> "_Prover":
        """Decides what a plan that speaks of time is asked of its histories. Out: a prover for
        the rest, which leaves out what memory never comes to."""
        if not self.plan.locking.asked or self._undecided_assumptions:
            return self
        histories = HistoryProver(self.plan, self.timeout, step)
        ruling_out = histories.ruling_out()
        if ruling_out:
            raise InputError([_no_history(ruling_out)])
        if ruling_out is None:
            self._undecided_assumptions = "it is not known whether the assumptions allow a history"
            decided |= {o.key: self.decide(o) for o in asked}
            return self
        over_time = [o for o in asked if not of_moment(o)]
        decided |= self._claimed(histories.decide(over_time))
        if self.plan.wiring.hides:  # then all that memory never comes to must be known
            known = {o.key for o in over_time}
            never = [o for o in everything if o.over == "histories" and o.mode == "never"]
            histories.decide(o for o in never if o.key not in known)
        plan = replace(self.plan, remembered=histories.remembered())
        if plan.wiring.hides and not hears_the_truth(self.world, self.timeout):
            whatever = Recollection(World(plan), self.timeout).whatever_is_reported
            plan = replace(plan, remembered=whatever)
        prover = _Prover(plan, World(plan), self.timeout)
        if plan.remembered and plan.assumptions:
            prover.memory_rests_on = histories.memory_rests_on()
        moments = []
        for obligation in filter(of_moment, asked):
            step()
            verdict = decided[obligation.key] = prover.decide(obligation)
            if needs_history(verdict, self.plan):
                moments.append(obligation)
        found = histories.decide(moments)
        if plan.wiring.hides:  # what wiring hides from the rules, no history without it shows
            found = {key: v for key, v in found.items() if v.status == "broken"}
        decided |= self._claimed(found)
        return prover

    def _claimed(self, verdicts: Mapping[str, Verdict]) -> dict[str, Verdict]:
        return {key: self._as_claimed(verdict) for key, verdict in verdicts.items()}

    def decide(self, obligation: Obligation) -> Verdict:
        """The verdict on one obligation. A waived one is decided too, so that the report can
        say when the waiver is no longer needed."""
        return self._as_claimed(self._decide(obligation))

    def _as_claimed(self, verdict: Verdict) -> Verdict:
        """The verdict with what the file says about it: waived, or expected."""
        obligation = verdict.obligation
        expected = any(_speaks_of(e, obligation) for e in self.plan.expectations)
        verdict = replace(verdict, expected=expected)
        waiver = next((w for w in self.plan.waivers if _covers(w, obligation)), None)
        if waiver is None:
            return verdict
        return Verdict(obligation, "waived", waiver.reason, needless=verdict.status == "proved")

    def _decide(self, obligation: Obligation) -> Verdict:
        if self._undecided_assumptions:
            return Verdict(obligation, "undecided", self._undecided_assumptions)
        goal = self.world.expand(obligation.formula)
        # The smallest, so that the same file has the same report whatever the solver finds
        # first.
        answer = self._check.find(goal, smallest=True)
        if isinstance(answer, Unknown):
            return Verdict(obligation, "undecided", answer.reason)
        decide = self._never if obligation.mode == "never" else self._possible
        try:
            return decide(obligation, goal, answer)
        except TooManyWays as beyond:
            why = f"the situation found cannot be replayed: {beyond} depends on too many others"
            return Verdict(obligation, "undecided", why)

    def _never(self, obligation: Obligation, goal: Expr, answer: Exists | Impossible) -> Verdict:
        match answer:
            case Impossible(rests_on=rests_on):
                return Verdict(
                    obligation,
                    "proved",
                    covered=count_situations(self.plan.inputs),
                    rests_on=self._rests_on(goal, rests_on),
                )
            case Exists():
                return self._broken(obligation, goal, answer, self._check)

    def _broken(
        self, obligation: Obligation, goal: Expr, answer: Exists, check: SituationCheck
    ) -> Verdict:
        situation = answer.situation
        self._replay(obligation, situation)
        relevant = check.relevant(goal, situation)
        free = [what for what in self.plan.inputs if what not in relevant]
        finding = Finding(
            situation,
            relevant,
            count_situations(free),
            causes(self.plan, self._evaluator, situation, obligation.signals, relevant),
            (),
            answer.smallest,
        )
        return Verdict(obligation, "broken", finding=finding)

    def failures(
        self,
        asked: Sequence[Obligation],
        safe: Sequence[Verdict],
        step: Callable[[], None],
        *,
        pairs: bool,
    ) -> FailureAnalysis:
        """The verdict on each fault, and the table of all. ``safe``: what was found of the
        safety properties with nothing broken; what the file sets aside is not asked again."""
        asked_again = [v.obligation for v in safe if v.status != "waived" or v.needless]
        unproved = {v.obligation.key for v in safe if v.status in ("broken", "undecided")}
        check = FailureCheck(self.world, self.timeout)
        outcomes = check.failures(asked_again, step, unproved)
        self._outcomes = outcomes
        verdicts = []
        for obligation in asked:
            step()
            outcome = outcomes[obligation.subjects[0]]
            verdicts.append(self._as_claimed(self._failure(obligation, outcome)))
        rows = [outcome.row() for outcome in outcomes.values()]
        rows += check.pairs(asked_again, outcomes, step) if pairs else []
        return FailureAnalysis(tuple(verdicts), sorted_failures(rows))

    def _failure(self, asked: Obligation, outcome: Outcome) -> Verdict:
        if self._undecided_assumptions:
            return Verdict(asked, "undecided", self._undecided_assumptions)
        if outcome.harms:
            obligation = with_harm(
                asked, outcome.fault, told_first(outcome.fault, outcome.harms, outcome.unproved)
            )
            goal = outcome.goal()
            answer = outcome.engine.find(goal, smallest=True)
            if isinstance(answer, Exists):
                try:
                    return self._broken(obligation, goal, answer, outcome.engine)
                except TooManyWays as beyond:
                    why = f"the situation found cannot be replayed: {beyond} depends on too many"
                    return Verdict(asked, "undecided", why)
            why = answer.reason if isinstance(answer, Unknown) else "the situation was lost again"
            return Verdict(asked, "undecided", why)
        if outcome.unknown:
            return Verdict(asked, "undecided", outcome.unknown)
        return Verdict(asked, "proved", covered=count_situations(self.plan.inputs))

    def _possible(self, obligation: Obligation, goal: Expr, answer: Exists | Impossible) -> Verdict:
        match answer:
            case Exists(situation=situation):
                self._replay(obligation, situation)
                return Verdict(obligation, "proved", witness=situation)
            case Impossible(rests_on=rests_on):
                return Verdict(
                    obligation,
                    "broken",
                    "no allowed situation does",
                    covered=count_situations(self.plan.inputs),
                    rests_on=self._rests_on(goal, rests_on),
                )

    def _replay(self, obligation: Obligation, situation: Situation) -> None:
        """The evaluator, which knows nothing of solver or expressions about inputs, must
        find the formula true in this situation, and the situation allowed."""
        try:
            states = self._evaluator.states(situation, support(obligation.formula))
        except TooManyWays:
            raise
        except Unsettled as unsettled:
            raise InternalError(
                f"{obligation.key}: what {unsettled} shows is not settled in the situation found"
            ) from unsettled
        if not (holds(obligation.formula, states) and can_be(self.plan, situation)):
            raise InternalError(f"{obligation.key}: the situation found does not replay")
        for assumption in self.plan.assumptions:
            if not self._evaluator.allows(situation, assumption.condition):
                raise InternalError(
                    f"{obligation.key}: the situation found is not allowed by the assumption "
                    f'"{assumption.title}"'
                )

    @cached_property
    def _whatever_memory_says(self) -> SituationCheck:
        return SituationCheck.of(World(replace(self.plan, remembered=())), self.timeout)

    def _rests_on(self, goal: Expr, positions: Sequence[int]) -> tuple[str, ...]:
        """Titles of the assumptions that rule out a goal: at the moment, or by what memory
        never comes to under them."""
        titles = {self.plan.assumptions[i].title for i in positions}
        memory = self.memory_rests_on
        if memory and not isinstance(self._whatever_memory_says.find(goal), Impossible):
            titles |= set(memory)
        return tuple(a.title for a in self.plan.assumptions if a.title in titles)

    def with_mendings(self, verdicts: list[Verdict], watch: InterruptWatch) -> list[Verdict]:
        left = MAX_MENDINGS
        mended = []
        harms = {name: outcome.harms for name, outcome in self._outcomes.items()} or None
        rewirer = Rewirer(self.world, harms, self.timeout)
        locks_left = ALL
        for verdict in verdicts:
            finding = verdict.finding
            # What takes a history is mended by its hint, where that is a lock to be tried.
            by_hint = finding is not None and finding.story is not None
            untried = by_hint and verdict.obligation.lock is None
            if finding is None or left == 0 or verdict.obligation.advice or untried:
                mended.append(verdict)
                continue
            left -= 1
            watch.check()
            if by_hint:
                begun, broken = monotonic(), verdict.obligation
                holds = is_mended_by_lock(self.plan, broken, verdicts, locks_left, self.timeout)
                locks_left -= monotonic() - begun
                finding = replace(finding, hint_proved=holds)
            else:
                additions = self._mend(verdict.obligation, finding.situation)
                rewiring = rewirer.rewire(verdict.obligation, finding)
                finding = replace(finding, mending=additions, rewiring=rewiring)
            mended.append(replace(verdict, finding=finding))
        return mended

    def _mend(self, obligation: Obligation, situation: Situation) -> tuple[Addition, ...]:
        """Additions to rules. Where something is broken, just that stays broken, and none of
        the harm it does may be left."""
        broken = [what for what, _ in situation if what.kind == "fault"]
        world = self.world
        if broken:
            outcome = next(o for o in self._outcomes.values() if o.fault.what in broken)
            world = outcome.alone()
            obligation = with_harms(obligation, outcome.fault, outcome.harms)
        return mend(world, obligation, situation, self.timeout)


def _nothing_to_prove(plan: Plan) -> Diagnostic:
    return Diagnostic(
        "CP502",
        "this file has no signals, so there is nothing to prove",
        Span(plan.source, 0, 0),
        "Add `signal` statements with their rules. `clearproof new` writes a file to start from.",
    )


def _contradiction(clash: Sequence[Assumption]) -> Diagnostic:
    first, *rest = clash
    if not rest:
        message = f'the assumption "{first.title}" rules out every situation'
    else:
        message = "these assumptions contradict each other: no situation is left"
    return Diagnostic(
        "CP501",
        message,
        first.span,
        "A proof under them would say nothing. Drop one, or say more exactly what you mean.",
        tuple((a.span, f'and "{a.title}"') for a in rest),
    )


def _no_history(clash: Sequence[Assumption]) -> Diagnostic:
    first, *rest = clash
    leave = "these assumptions leave" if rest else f'the assumption "{first.title}" leaves'
    return Diagnostic(
        "CP501",
        f"{leave} no history that goes on",
        first.span,
        "Over time, all starts with vacant track, points normal and relays down, and an assumption "
        "holds at every moment from there. A proof under this would say nothing: drop it, say more "
        "exactly what you mean, or say where stock stands at the start (`trains start on …`).",
        tuple((a.span, f'and "{a.title}"') for a in rest),
    )


# ------------------------------------------------------------------ waivers, expectations


def _covers(waiver: Waiver, obligation: Obligation) -> bool:
    """Same property, and every subject the waiver names is one of the obligation's: `for 4L`
    sets aside all that the property asks of 4L."""
    about = {*obligation.subjects, *obligation.signals}
    return waiver.claim == obligation.property and about.issuperset(waiver.subjects)


def _speaks_of(expectation: Expectation, obligation: Obligation) -> bool:
    """Same property and just these subjects, so that nothing else of its kind hides behind
    what is expected; without subjects, all of the property."""
    if expectation.claim != obligation.property:
        return False
    return not expectation.subjects or set(expectation.subjects) == set(obligation.subjects)


def _matches(claim: Waiver | Expectation, obligation: Obligation) -> bool:
    if isinstance(claim, Waiver):
        return _covers(claim, obligation)
    return _speaks_of(claim, obligation)


def _check_claims(plan: Plan, todo: Sequence[Obligation]) -> None:
    """Every waiver and expectation names a property and matches an obligation."""
    errors = []
    titles = {proof.title for proof in plan.proofs}
    known = [*BY_NAME, *titles]
    claims: tuple[Waiver | Expectation, ...] = (*plan.waivers, *plan.expectations)
    for claim in claims:
        if claim.claim not in known:
            errors.append(
                Diagnostic(
                    "CP209",
                    f"no property is called `{claim.claim}`",
                    claim.span,
                    did_you_mean(claim.claim, known)
                    or "`clearproof explain properties` lists them.",
                )
            )
        elif not any(_matches(claim, o) for o in todo):
            about = dict.fromkeys(", ".join(o.subjects) for o in todo if o.property == claim.claim)
            errors.append(
                Diagnostic(
                    "CP210",
                    f"`{claim.claim}` is not a question of {', '.join(claim.subjects) or 'this'} "
                    "in this file",
                    claim.span,
                    ("It is asked of: " + "; ".join(list(about)[:6]) + ".")
                    if about
                    else "Nothing in this file raises it.",
                )
            )
    if errors:
        raise InputError(errors)


def _unmet(plan: Plan, verdicts: Sequence[Verdict]) -> Iterable[Unmet]:
    """Expectations of which nothing came true."""
    for expectation in plan.expectations:
        if not any(_matches(expectation, v.obligation) and v.status == "broken" for v in verdicts):
            subjects = f" for {', '.join(expectation.subjects)}" if expectation.subjects else ""
            yield Unmet(
                f"the file expects {expectation.claim}{subjects} to be broken, and it is not",
                expectation.span,
            )
