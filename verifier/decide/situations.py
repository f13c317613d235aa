"""Obligations about single situations: from the solver's answer to a replayed verdict.

Soundness lives here: *proved* only when the solver answered that no situation exists (or, for
``possible``, when the reference replayed one); *broken* only after the reference replayed the
situation; everything else is undecided, with the reason.
"""

from collections.abc import Sequence
from functools import cached_property

from verifier.engines.minimal_core import minimal_core
from verifier.engines.proof_store import NO_STORE, ProofStore
from verifier.engines.results import Exists, Impossible, Unknown
from verifier.engines.smt.situations import SituationCheck
from verifier.explain.signal_causes import causes
from verifier.language.diagnostics.diagnostic import Diagnostic, InputError
from verifier.language.diagnostics.registry import diagnostic
from verifier.logic.expr import TRUE, Const, Expr, conjunction, holds, support
from verifier.plan.claims import granted
from verifier.plan.minimality import count_situations
from verifier.plan.model import Assumption, Plan
from verifier.plan.situation import Situation
from verifier.properties.obligation import Obligation
from verifier.reference.evaluator import Evaluator, TooManyWays, Unsettled
from verifier.reference.standing import can_be
from verifier.verdicts.report import Finding, InternalError, Verdict
from verifier.world.world import World


class SituationProver:
    """Decides obligations about single situations of one plan.

    ``timeout`` is in seconds, for each obligation. ``memory_rests_on`` holds the titles of the
    assumptions that the plan's memory facts rest on. ``store``: what earlier proofs found.
    """

    def __init__(
        self,
        world: World,
        timeout: float | None,
        memory_rests_on: tuple[str, ...] = (),
        store: ProofStore = NO_STORE,
    ) -> None:
        self.world = world
        self.plan: Plan = world.plan
        self.timeout = timeout
        self._memory_rests_on = memory_rests_on
        self.store = store
        self._check = SituationCheck.of(world, timeout, store=store)
        self._evaluator = Evaluator(world.plan)

    def check_assumptions(self) -> str:
        """Why it is unknown whether the assumptions allow any situation; empty when they do.

        Raises :class:`InputError` when they contradict each other.
        """
        if not self.plan.assumptions:
            return ""
        match self._check.find(TRUE):
            case Impossible():
                raise InputError([_contradiction(self._clash())])
            case Unknown(reason=reason):
                return f"it is unknown whether the assumptions allow any situation: {reason}"
            case Exists():
                return ""

    def _clash(self) -> list[Assumption]:
        """A smallest set of assumptions that contradict each other."""
        assumed = [self.world.expand(self.world.lower(a.condition)) for a in self.plan.assumptions]
        check = SituationCheck.of(self.world, self.timeout, assumed=False)

        def clash(some: Sequence[int]) -> bool:
            return isinstance(check.find(conjunction(*(assumed[k] for k in some))), Impossible)

        return [self.plan.assumptions[k] for k in minimal_core(range(len(assumed)), clash)]

    @cached_property
    def covered(self) -> int:
        """How many situations the plan has."""
        return count_situations(self.plan.inputs)

    def decide(self, obligation: Obligation) -> Verdict:
        """The verdict on one obligation.

        Raises :class:`InternalError` when the situation found does not replay.
        """
        goal = self.world.expand(obligation.formula)
        # The smallest, so that the same file has the same report whatever the solver finds first.
        answer = self._check.find(goal, smallest=True)
        possible = obligation.mode == "possible"
        match answer:
            case Unknown(reason=reason):
                return Verdict(obligation, "undecided", reason)
            case Impossible(rests_on=positions):
                return Verdict(
                    obligation,
                    "broken" if possible else "proved",
                    "no allowed situation does" if possible else "",
                    covered=self.covered,
                    rests_on=self._rests_on(goal, positions),
                )
            case Exists(situation=situation) if possible:
                try:
                    self._replay(obligation, situation)
                except TooManyWays as beyond:
                    return not_replayed(obligation, beyond)
                return Verdict(obligation, "proved", witness=situation)
            case Exists():
                return self.broken(obligation, goal, answer, self._check)

    def broken(
        self, obligation: Obligation, goal: Expr, answer: Exists, check: SituationCheck
    ) -> Verdict:
        """The verdict on a situation that breaks an obligation: broken once it is replayed.

        ``check`` is the engine that found the answer to ``goal``.
        """
        situation = answer.situation
        try:
            self._replay(obligation, situation)
        except TooManyWays as beyond:
            return not_replayed(obligation, beyond)
        relevant = check.relevant(goal, situation)
        free = [what for what in self.plan.inputs if what not in relevant]
        finding = Finding(
            situation,
            relevant,
            count_situations(free),
            causes(self.plan, self._evaluator, situation, _told(obligation, self.plan), relevant),
            (),
            answer.smallest,
        )
        return Verdict(obligation, "broken", finding=finding)

    def _replay(self, obligation: Obligation, situation: Situation) -> None:
        """The reference must find the formula true in this situation, and the situation
        allowed. Raises :class:`TooManyWays` where it cannot work that out."""
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

    def is_impossible(self, formula: Expr) -> bool:
        """Whether no allowed situation fulfils a formula; False where that is not known."""
        return isinstance(self._check.find(self.world.expand(formula)), Impossible)

    def ruled_out_by(self, formula: Expr) -> tuple[tuple[str, ...], bool]:
        """Titles of the assumptions without which some situation fulfils a formula, and with which
        none does; none where they make no difference. Also whether that is sure: what was not
        decided in time may be due to any of them. Of a plan without memory."""
        goal = self.world.expand(formula)
        everything = tuple(a.title for a in self.plan.assumptions)
        match self._check.find(goal):
            case Exists():
                return (), True
            case Unknown():
                return everything, False
            case Impossible(rests_on=()):
                return (), True
            case Impossible(rests_on=positions):
                titles = tuple(everything[i] for i in positions)
        match SituationCheck.of(self.world, self.timeout, assumed=False).find(goal):
            case Exists():
                return titles, True
            case Unknown():
                return titles, False
            case Impossible():
                return (), True

    @cached_property
    def _without_memory_facts(self) -> SituationCheck:
        world = self.world.with_memory_facts(())
        return SituationCheck.of(world, self.timeout, store=self.store)

    def _rests_on(self, goal: Expr, positions: Sequence[int]) -> tuple[str, ...]:
        """Titles of the assumptions that rule out a goal, directly or through the memory facts
        proved under them."""
        titles = {self.plan.assumptions[i].title for i in positions}
        memory = self._memory_rests_on
        if memory and not isinstance(self._without_memory_facts.find(goal), Impossible):
            titles |= set(memory)
        return tuple(taken.title for taken in granted(self.plan) if taken.title in titles)


def _told(obligation: Obligation, plan: Plan) -> tuple[str, ...]:
    """The indicator, if it is about one, and the signals whose state is explained."""
    indicator = (obligation.place,) if obligation.place in plan.indicators else ()
    return (*indicator, *obligation.signals)


def not_replayed(obligation: Obligation, beyond: TooManyWays) -> Verdict:
    """The verdict where the reference cannot replay what the solver found."""
    why = f"the situation found cannot be replayed: {beyond} depends on too many others"
    return Verdict(obligation, "undecided", why)


def _contradiction(clash: Sequence[Assumption]) -> Diagnostic:
    first, *rest = sorted(clash, key=lambda a: a.trains is None)
    variant = "trains" if first.trains is not None else ""
    return diagnostic(
        "CP501",
        first.span,
        variant if rest else "alone",
        others=[(a.span, a.title) for a in rest],
        title=first.title,
    )


def needs_history(verdict: Verdict) -> bool:
    """Whether a verdict on single situations leaves open whether a history leads there."""
    if verdict.obligation.mode == "possible":
        return verdict.status == "proved"
    return verdict.status == "broken" and not isinstance(verdict.obligation.formula, Const)
