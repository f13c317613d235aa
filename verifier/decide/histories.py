"""Obligations about histories: which transition system each is asked of, and in which order.

The verdicts are those of :mod:`verifier.decide.system_prover`.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from functools import cached_property

from verifier.decide.claims import claimed
from verifier.decide.system_prover import SystemProver
from verifier.engines.minimal_core import minimal_core
from verifier.engines.proof_store import NO_STORE, ProofStore
from verifier.engines.temporal.bmc import goes_on
from verifier.logic.expr import Expr
from verifier.logic.transition_system import System
from verifier.plan.claims import granted
from verifier.plan.locking.locking_model import Promise
from verifier.plan.model import Assumption, Plan
from verifier.properties.obligation import Obligation, Over
from verifier.verdicts.report import Verdict

# How many moments some history must last under the file's assumptions.
MIN_MOMENTS = 40

# Where a file breaks one of these, what can always be done again is asked of what comes before:
# ways out of every wreck are many, and a mended file has none of them.
MISHAPS = ("collision", "derailment")


class HistoryProver:
    """Decides obligations about histories of one plan. ``timeout`` is in seconds, for each place;
    ``step`` is called before each question; ``store``: what earlier proofs found; ``brief``: the
    histories of what is possible are replayed, and not told; ``quick``: all histories are.

    The report depends on the plan and the questions alone, never on what the store holds. A proof
    that uses clauses of earlier proofs therefore reports the invariant of a second proof that does
    without them (``from_scratch``), which runs when the invariant is first read."""

    def __init__(
        self,
        plan: Plan,
        timeout: float | None,
        step: Callable[[], None],
        store: ProofStore = NO_STORE,
        *,
        from_scratch: bool = False,
        brief: bool = False,
        quick: bool = False,
    ):
        self.plan = plan
        self._brief = brief
        self._quick = quick
        self._timeout = timeout
        self._step = step
        self._store = store
        self._is_from_scratch = from_scratch
        self._asked: list[list[Obligation]] = []
        # Whether a mishap was found that the file does not claim.
        self._mishap = False

    @cached_property
    def _truthful(self) -> SystemProver:
        return self._prover(lossy=False)

    @cached_property
    def _lossy(self) -> SystemProver:
        return self._prover(lossy=True)

    @cached_property
    def _with_blips(self) -> SystemProver:
        return self._prover(lossy=False, blips=True)

    @cached_property
    def _with_buttons_held(self) -> SystemProver:
        return self._prover(lossy=False, held=True)

    def _prover(self, *, lossy: bool, blips: bool = False, held: bool = False) -> SystemProver:
        return SystemProver(
            self.plan,
            lossy,
            self._timeout,
            self._step,
            self._store,
            not self._is_from_scratch,
            None if self._is_from_scratch else lambda key: self._from_scratch.get(key),
            blips=blips,
            held=held,
            brief=self._brief,
            quick=self._quick,
        )

    @cached_property
    def _from_scratch(self) -> dict[str, Verdict]:
        """The same questions in the same order, without clauses of earlier proofs."""
        prover = HistoryProver(
            self.plan, self._timeout, lambda: None, self._store, from_scratch=True
        )
        found = {key: v for asked in self._asked for key, v in prover.decide(asked).items()}
        prover.finished()
        return found

    def contradiction(self) -> tuple[Assumption | Promise, ...] | None:
        """A smallest set of assumptions and promises that together allow no history; empty when
        some history lasts, None when that is not known. (Promises alone can always be kept.)"""
        system, assumed = self._truthful.histories.system, granted(self.plan)
        if not self.plan.assumptions:
            return ()
        goes = goes_on(system, MIN_MOMENTS, self._truthful.time_limit())
        if goes is None:
            return None
        if goes:
            return ()

        def leaves_none(some: Sequence[int]) -> bool:
            fewer = replace(system, always=tuple(system.always[k] for k in some))
            return goes_on(fewer, MIN_MOMENTS, self._truthful.time_limit()) is False

        return tuple(assumed[k] for k in minimal_core(range(len(assumed)), leaves_none))

    def decide(self, obligations: Iterable[Obligation]) -> dict[str, Verdict]:
        """The verdict on each obligation, by its key."""
        return {verdict.obligation.key: verdict for verdict in self.verdicts(obligations)}

    def verdicts(self, obligations: Iterable[Obligation]) -> Iterator[Verdict]:
        """The verdict on each obligation, as soon as it is known."""
        asked = list(obligations)
        self._asked.append(asked)
        kinds: dict[tuple[str, str], list[Obligation]] = {}
        for obligation in asked:
            kinds.setdefault((obligation.over, obligation.mode), []).append(obligation)
        # "For good" uses the invariants of what was asked before.
        for here in sorted(kinds.values(), key=lambda here: here[0].over == "for good"):
            prover = self._prover_of(here[0].over)
            if here[0].over != "for good":
                yield from map(self._noted, prover.decide(here))
            else:
                yield from prover.always_again(here, before_mishaps=self._mishap)

    def _noted(self, verdict: Verdict) -> Verdict:
        if verdict.status == "broken" and verdict.obligation.property in MISHAPS:
            told = claimed(self.plan, verdict)
            self._mishap |= told.status == "broken" and not told.expected
        return verdict

    def _prover_of(self, over: Over) -> SystemProver:
        match over:
            case "lossy":
                return self._lossy
            case "blips":
                return self._with_blips
            case "held":
                return self._with_buttons_held
            case _:
                return self._truthful

    def finished(self) -> None:
        """All that is asked about histories was."""
        for name in ("_truthful", "_lossy", "_with_blips", "_with_buttons_held"):
            prover = self.__dict__.get(name)
            if prover is not None:
                prover.finished()

    def whole(
        self, *, lossy: bool = False, wrecks: bool = False
    ) -> tuple[System, Callable[[Expr], Expr]]:
        """The whole transition system, with the comparisons of delays that were needed so far;
        and what a formula of an obligation is over its states and choices. ``wrecks``: that in
        which trains that met or derailed stay where they are, and quick relays move before a delay
        is over, which is larger."""
        return (self._lossy if lossy else self._truthful).whole(wrecks=wrecks)

    def memory_facts(self) -> tuple[Expr, ...]:
        """Invariants of relays, timers, direction of traffic and points alone."""
        return self._truthful.memory_facts

    def memory_rests_on(self) -> tuple[str, ...]:
        """Titles of the assumptions that :meth:`memory_facts` rest on."""
        return self._truthful.memory_rests_on()
