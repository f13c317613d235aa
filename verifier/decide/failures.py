"""The failure analysis: every single fault, pairs with a silent one, and on request every pair.

In: a plan whose safety properties were decided. Out: a verdict for each fault and a table of
their effects, the worst first.

A fault is *silent* when it does no harm and no signal ever shows anything else with it: nobody
finds it before a second comes. So its pairs are looked at in every proof.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property

from verifier.decide.fault_effects import FaultEffect
from verifier.decide.fault_histories import FaultHistories
from verifier.decide.fault_pairs import FaultPairs
from verifier.decide.memory_invariants import MemoryInvariants
from verifier.decide.single_faults import SingleFaults
from verifier.decide.situations import SituationProver
from verifier.engines.proof_store import NO_STORE, ProofStore
from verifier.engines.results import Exists, Impossible, Unknown
from verifier.plan.observables import Observable
from verifier.plan.wiring.faults import Fault
from verifier.properties.failures import (
    harms,
    over_time,
    with_harm,
)
from verifier.properties.obligation import Obligation
from verifier.verdicts.report import Consequence, Failure, Verdict
from verifier.world.memory_abstraction import faults_reaching_histories
from verifier.world.world import World

_ORDER: tuple[Consequence, ...] = (
    "false proceed", "unlocked", "false indication", "undecided", "more restrictive", "none",
)  # fmt: skip


class FailureAnalysis:
    """The verdict on each fault, and the failure table.

    ``safety`` holds the verdicts on the safety properties with nothing broken; a waived one is
    left out. ``step`` is called before each question. ``undecided`` is why nothing can be decided,
    if so.

    ``histories`` asks what faults do over time, of a plan with locks. ``quick``: only whether they
    do harm is asked, so there is no table.

    ``effects`` are those of the faults, by name, as far as the analysis has come; ``finished`` says
    that it has come to its end.
    """

    def __init__(
        self,
        prover: SituationProver,
        asked: Sequence[Obligation],
        safety: Sequence[Verdict],
        step: Callable[[], None],
        *,
        pairs: bool,
        undecided: str = "",
        histories: FaultHistories | None = None,
        quick: bool = False,
    ):
        self._prover = prover
        self._quick = quick
        self._histories = histories
        self._asked = {o.subjects[0]: o for o in asked}
        self._step = step
        self._with_pairs = pairs
        self._undecided = undecided
        self._check = FailureCheck(
            prover.world,
            prover.timeout,
            [v.obligation for v in safety if v.status != "waived" or v.needless],
            # What only histories exclude, histories with faults are asked about again.
            {v.obligation.key for v in safety if v.status in ("broken", "undecided") or v.lasting},
            step,
            prover.store,
        )
        self.effects: dict[str, FaultEffect] = {}
        self._pairs: list[Failure] = []
        self.all_pairs = pairs
        self.finished = False

    def verdicts(self) -> Iterator[Verdict]:
        """The verdict on each fault, as soon as it is known."""
        reaching = self._check.reaching_histories if self._histories else frozenset[Observable]()
        later: list[FaultEffect] = []
        for effect in self._check.failures(harms_alone=self._quick):
            if effect.fault.what in reaching and not (effect.harms or effect.unknown):
                later.append(effect)
            else:
                yield from self._told(effect)
        if self._histories is not None and not self._undecided:
            by_fault = {effect.fault: effect for effect in later}
            for fault, verdict in self._histories.verdicts(list(by_fault)):
                by_fault[fault].over_time = verdict
                yield from self._told(by_fault[fault])
        for effect in later:
            if effect.fault.name not in self.effects:
                yield from self._told(effect)
        self.finished = not (self._quick or self._with_pairs or self._silent)

    @property
    def _silent(self) -> list[FaultEffect]:
        return [] if self._undecided else [e for e in self.effects.values() if e.silent]

    def _told(self, effect: FaultEffect) -> Iterator[Verdict]:
        """The verdict on a fault whose effect is known, if it is asked for."""
        self.effects[effect.fault.name] = effect
        if obligation := self._asked.get(effect.fault.name):
            self._step()
            yield (
                Verdict(obligation, "undecided", self._undecided)
                if self._undecided
                else _verdict(self._prover, obligation, effect, quick=self._quick)
            )

    def decide_pairs(self) -> Iterator[tuple[int, int]]:
        """Every two faults together of which one is silent, or just every two, if that is wanted;
        after all :meth:`verdicts`. Yields how many steps of how many are done; what was found
        until then stays."""
        if self._with_pairs or self._silent:
            search = self._check.pairs(self.effects, every=self._with_pairs)
            for done, of, found in search:
                self._pairs = found
                yield done, of
        self.finished = True

    def table(self, late: str = "") -> tuple[Failure, ...]:
        """The failure table, in the order of the file where equally grave. ``late`` says why what
        was not reached is undecided."""
        if self._quick:
            return ()
        rows = []
        for fault in self._prover.plan.equipment.faults:
            effect = self.effects.get(fault.name)
            rows.append(effect.row() if effect else _not_reached(late, fault))
        rows += self._pairs
        if (self._with_pairs or self._silent) and not self.finished:
            rows.append(Failure(("some pair",), "pair", "undecided", late))
        return sorted_failures(rows)


def _not_reached(why: str, fault: Fault) -> Failure:
    return Failure((fault.name,), fault.kind.property_name, "undecided", why)


def _verdict(
    prover: SituationProver, asked: Obligation, effect: FaultEffect, *, quick: bool
) -> Verdict:
    """The verdict on one fault; the harm it reports was replayed. ``quick``: in whichever
    situation was found."""
    if effect.unlocks is not None:
        harmed = with_harm(asked, effect.fault, effect.unlocks.obligation)
        hint = over_time(prover.plan, effect.fault) or harmed.hint
        return replace(effect.unlocks, obligation=replace(harmed, over="histories", hint=hint))
    if not effect.harms:
        if effect.why_unknown:
            return Verdict(asked, "undecided", effect.why_unknown)
        return Verdict(asked, "proved", covered=prover.covered)
    goal = effect.goal()
    match effect.engine.find(goal, smallest=not quick):
        case Exists() as answer:
            obligation = with_harm(asked, effect.fault, effect.worst_harm)
            verdict = prover.broken(obligation, goal, answer, effect.engine)
            return verdict if verdict.finding else replace(verdict, obligation=asked)
        case Unknown(reason=reason):
            return Verdict(asked, "undecided", reason)
        case Impossible():
            return Verdict(asked, "undecided", "the situation that does harm was not found again")


def sorted_failures(rows: Iterable[Failure]) -> tuple[Failure, ...]:
    """The worst first; single faults before pairs; otherwise in the order of the file."""
    return tuple(sorted(rows, key=lambda r: (_ORDER.index(r.consequence), len(r.faults))))


class FailureCheck:
    """One plan with its faults, one at a time or two.

    ``safety`` are the safety properties; those that do not hold with nothing broken (their keys in
    ``unproved``) count only in situations in which it takes the fault to break them. ``step`` is
    called before each question; ``store``: what earlier proofs found."""

    def __init__(
        self,
        sound: World,
        timeout: float | None,
        safety: Iterable[Obligation],
        unproved: Collection[str] = (),
        step: Callable[[], None] = lambda: None,
        store: ProofStore = NO_STORE,
    ):
        self._plan = sound.plan
        self._timeout = timeout
        self._harms = list(harms(self._plan, safety))
        self._unproved = frozenset(unproved)
        self._step = step
        self._store = store
        self._memory = MemoryInvariants(sound, timeout, store)
        self._sound = sound

    @cached_property
    def reaching_histories(self) -> frozenset[Observable]:
        """The faults that locks, what throws points, or whoever lets trains in may hear of."""
        return faults_reaching_histories(self._sound)

    def failures(self, *, harms_alone: bool = False) -> Iterator[FaultEffect]:
        """The effect of each fault, or only what harm it does; those of faults close to each other
        together."""
        for world, some in self._memory.partition(self._plan.equipment.faults):
            check = SingleFaults(
                world, some, self._timeout, self._harms, self._unproved, self._store
            )
            yield from check.failures(self._step, harms_alone=harms_alone)

    def pairs(
        self, singles: Mapping[str, FaultEffect], *, every: bool
    ) -> Iterator[tuple[int, int, list[Failure]]]:
        """Pairs of faults that do harm where neither does alone, with the first harm found: all
        such pairs, or only those with a silent fault. ``singles``: the effects of each fault
        alone. Yields how many harms of how many are done, with what was found so far."""
        faults = [fault.what for fault in self._plan.equipment.faults]
        sound = self._memory.with_faults(self._sound, faults)
        pairs = FaultPairs(sound, singles, self._unproved, self._timeout, self._store, every=every)
        return pairs.search(self._harms)
