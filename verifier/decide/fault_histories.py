"""What any single fault does to locks and trains over time.

In: a plan over time, the faults that locks, or those who let trains in, may hear of, and what must
never happen in a history. Out: for each fault a history in which it does harm, replayed by the
reference, or none.

One system holds all of these faults, of which one may be present from some moment on, so what is
proved of it is proved of each. A fault is not asked about here where neither locks nor those who
let trains in hear of it (:func:`~verifier.world.memory_abstraction.faults_reaching_histories`) and
it never makes a signal show more than without it, which the situations decide. In a history with
such a fault every signal lets pass at most what it lets pass without, and relays, timers, locks
and points do what they do without: it is a history of the sound layout, in which some trains wait
longer.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from verifier.decide.fault_effects import CIRCLE
from verifier.decide.system_prover import SystemProver
from verifier.engines.proof_store import ProofStore
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import Expr, conjunction
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.wiring.faults import Fault, all_ways
from verifier.properties.obligation import Obligation
from verifier.verdicts.report import Verdict

# What is asked again. That signals lie as they were commanded to is not: points that do not obey
# are no harm while signals follow where they lie, which the situations with faults decide.
WITH_FAULTS = frozenset((
    "points-move-under-train", "points-move-under-signal", "approach-locking", "route-locking",
    "traffic-locking", "hand-points-unlocked", "opposing-signals-drop", "collision", "derailment",
))  # fmt: skip


class FaultHistories:
    """Histories of one plan with one fault, with each of which it is settled what signals show.
    ``safety``: what holds in every history with nothing broken; ``step`` is called before each
    question; ``quick``: see :class:`~verifier.decide.system_prover.SystemProver`."""

    def __init__(
        self,
        plan: Plan,
        timeout: float | None,
        safety: Sequence[Obligation],
        step: Callable[[], None],
        store: ProofStore,
        *,
        quick: bool = False,
    ):
        self._quick = quick
        self._plan = plan
        self._timeout = timeout
        self._safety = safety
        self._step = step
        self._store = store

    def verdicts(self, faults: Sequence[Fault]) -> Iterator[tuple[Fault, Verdict]]:
        """For each fault: *broken* with what it does, *undecided*, or *proved* that it does no
        harm."""
        if not faults or not self._safety:
            return
        try:
            prover = self._prover(faults)
        except InputError:
            # With any of several present, what signals show goes round in a circle.
            if len(faults) == 1:
                yield faults[0], Verdict(self._safety[0], "undecided", CIRCLE)
                return
            middle = len(faults) // 2
            yield from self.verdicts(faults[:middle])
            yield from self.verdicts(faults[middle:])
            return
        yield from self._decided(prover, faults)
        prover.finished()

    def _prover(self, faults: Sequence[Fault]) -> SystemProver:
        """Decides what these faults do. Raises InputError where what signals show goes round in a
        circle."""
        prover = SystemProver(
            self._plan, False, self._timeout, self._step, self._store, True, lambda _: None,
            faults=faults, quick=self._quick,
        )  # fmt: skip
        for obligation in self._safety:
            prover.histories.expand(obligation.formula)
        return prover

    def _decided(
        self, prover: SystemProver, faults: Sequence[Fault]
    ) -> Iterator[tuple[Fault, Verdict]]:
        left, waiting, unknown = list(faults), list(self._safety), ""
        while waiting and left:
            asked = {o.key: o for o in waiting}
            order = {key: i for i, key in enumerate(asked)}
            present = prover.histories.broken(left)
            found: dict[Fault, Verdict] = {}
            verdicts = prover.decide([_with(o, present) for o in waiting])
            for verdict in sorted(verdicts, key=lambda v: order[v.obligation.key]):
                obligation = asked[verdict.obligation.key]
                if verdict.status == "broken":
                    fault = self._blamed(verdict, left)
                    found.setdefault(fault, replace(verdict, obligation=obligation))
                    continue
                del asked[obligation.key]
                if verdict.status == "undecided":
                    unknown = verdict.why
            yield from found.items()
            left = [fault for fault in left if fault not in found]
            waiting = list(asked.values())
        for fault in left:
            status = Verdict(self._safety[0], "undecided", unknown) if unknown else None
            yield fault, status or Verdict(self._safety[0], "proved")

    def _blamed(self, verdict: Verdict, left: Sequence[Fault]) -> Fault:
        """The fault that is present at the end of the history found."""
        assert verdict.finding is not None and verdict.finding.story is not None
        ways: dict[str, tuple[Observable, str]] = all_ways(left)
        last = verdict.finding.story.moments[-1]
        (label,) = (s for w, s in last.items() if w.kind == "broken" and s != observables.NOTHING)
        return self._plan.equipment.fault_of(ways[label][0])


def _with(obligation: Obligation, present: Expr) -> Obligation:
    return replace(obligation, formula=conjunction(present, obligation.formula))
