"""From a plan to a report: the phases of a proof, read top to bottom.

Soundness lives in the phases themselves (:mod:`verifier.decide`): *proved* only when every
question was answered; *broken* only after the reference replayed the situation or history;
everything else is undecided, with the reason.

What only some files need, or what ends badly, is imported where it is used: loading it takes as
long as the proof of a small file.
"""

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from verifier.census.compare import differences, differences_with_faults
from verifier.decide.claims import check_claims, claimed, unmet
from verifier.decide.moved_report import keep_report, taken_over
from verifier.decide.situations import SituationProver, needs_history
from verifier.decide.vacuity import always_true, kept_out, nothing_clears, with_what_restricts
from verifier.engines.proof_store import NO_STORE, ProofStore
from verifier.engines.results import Interrupted, SolversDiffer
from verifier.engines.second_solver import Agreements, rechecked
from verifier.engines.session import fresh_context
from verifier.engines.stopping import OutOfTime, checkpoint, stoppable, time_limit
from verifier.explain.assumptions.texts import assumption_texts
from verifier.explain.roots import roots
from verifier.language.diagnostics.diagnostic import Diagnostic, InputError
from verifier.language.diagnostics.registry import diagnostic
from verifier.language.source import Span
from verifier.plan.locking.locking_model import Promise
from verifier.plan.model import Assumption, Plan
from verifier.properties.catalog import FAILURES, obligations
from verifier.properties.failures import harms, points_lie_alike
from verifier.properties.obligation import Mode, Obligation
from verifier.verdicts.grade import KeptOut
from verifier.verdicts.progress import OnVerdict, Progress, silent, unheard
from verifier.verdicts.report import InternalError, Report, SecondOpinion, Stopped, Verdict
from verifier.world.world import World

if TYPE_CHECKING:
    from verifier.decide.failures import FailureAnalysis
    from verifier.decide.fault_histories import FaultHistories
    from verifier.decide.histories import HistoryProver

# Told of all that must never be, before the rest is decided.
OnSafety = Callable[[Report], None]
# So many differences from the census are named in one message.
MOST_TOLD = 5


def prove(
    plan: Plan,
    *,
    timeout: float | None = None,
    within: float | None = None,
    only: Iterable[str] = (),
    pairs: bool = False,
    recheck: bool = False,
    repairs: bool = True,
    brief: bool = False,
    progress: Progress = silent,
    on_verdict: OnVerdict = unheard,
    on_safety: OnSafety | None = None,
    quick: bool = False,
    world: World | None = None,
    store: ProofStore = NO_STORE,
) -> Report:
    """Decide every obligation of a plan.

    ``timeout`` is in seconds, for each obligation, ``within`` for all of them; ``only`` names the
    properties wanted (all, when empty); ``pairs`` checks every two faults together, not only those
    of which one is silent; with ``recheck`` a second solver has to agree with each proof, and
    ``store`` is not used; without ``repairs`` none are looked for; ``brief``: advice is left out,
    and the histories of what is possible are replayed, not told. ``progress`` is called before
    every question with how many obligations (and steps of the search for pairs) are decided, of
    how many, ``on_verdict`` with each verdict once it is known; ``on_safety`` with a report of all
    that must never be, once that is decided: what must be possible, pairs and repairs follow.
    ``quick`` decides that part alone, and tells no history of what is broken: any one was
    replayed. ``store``: what earlier proofs found; the report is the same with any store.

    After Ctrl-C, when the time is over or the memory used up, the report holds what was decided;
    the rest is undecided.

    Raises :class:`InputError` when the file's assumptions contradict each other, or when it
    waives or expects what no obligation matches;
    :class:`~verifier.verdicts.report.InternalError` when a situation does not replay, when the
    obligations are not those that the census counts, or when two solvers differ; ImportError where
    the second solver is not installed.
    """
    with stoppable(), time_limit(within), rechecked(recheck) as agreements:
        world = world or World(plan)
        everything = tuple(obligations(plan, world.lower))
        wanted = tuple(dict.fromkeys(only))
        asked = [o for o in everything if not wanted or o.property in wanted]
        asked = [o for o in asked if not (brief and o.advice)]
        _count(plan, everything, wanted)
        if not wanted:
            check_claims(plan, asked)
        # With ``recheck``, what an earlier proof found was not asked twice.
        situations = SituationProver(world, timeout, (), NO_STORE if recheck else store)
        proof = ProofState(plan, plan, everything, asked, situations, progress, on_verdict, wanted)
        of_safety = quick and not (recheck or wanted or brief)
        if of_safety and (known := taken_over(store, plan, [*proof.plain, *proof.of_faults])):
            for verdict in known.verdicts:
                on_verdict(verdict)
            return known
        phases = _phases(brief, quick, pairs, repairs, on_safety)
        stopped = _run(phases, proof)
        report = proof.report(stopped or (FOLLOWS if quick else None))
        if of_safety and not stopped:
            keep_report(store, report)
        return replace(report, second=_second(agreements))


def _phases(
    brief: bool, quick: bool, pairs: bool, repairs: bool, on_safety: OnSafety | None
) -> list["Phase"]:
    """What is done, in this order."""
    first = [
        leave_out_vain,
        check_assumptions,
        decide_histories(brief=brief, quick=quick),
        decide_situations,
        decide_faults(pairs=pairs, quick=quick),
        find_kept_out,
    ]
    if quick:
        return first
    told = [tell(on_safety)] if on_safety else []
    last = [find_repairs, find_promises] if repairs else []
    return [*first, *told, decide_usefulness, look_for_clear_signals, decide_pairs, *last]


def _count(plan: Plan, everything: Sequence[Obligation], wanted: Collection[str]) -> None:
    """Raise :class:`InternalError` unless just those obligations are made that the census counts.
    Of a selection only its part is compared; with faults, all that must not come of them too."""
    found = differences(plan, everything, wanted)
    if not wanted or FAILURES & set(wanted):
        safety = (o for o in everything if o.of_situations and o.property not in FAILURES)
        moving = {
            fault.name: points_lie_alike(fault, plan)
            for fault in plan.equipment.faults if fault.moves_points
        }  # fmt: skip
        found += differences_with_faults(plan, harms(plan, safety), moving)
    if found:
        more = f" (and {len(found) - MOST_TOLD} more)" if len(found) > MOST_TOLD else ""
        raise InternalError(f"the census differs: {'; '.join(found[:MOST_TOLD])}{more}")


def _second(agreements: Agreements | None) -> SecondOpinion | None:
    """What the second solver has said, where it was asked."""
    return SecondOpinion(agreements.solver, agreements.agreed) if agreements else None


def _run(phases: Iterable["Phase"], proof: "ProofState") -> Stopped | None:
    """Run the phases. Why they ended early, if they did; what they decided until then stays."""
    try:
        for phase in phases:
            phase(proof)
    except OutOfTime as over:
        return Stopped("stopped when its time was over", str(over))
    except (KeyboardInterrupt, Interrupted):
        return Stopped("interrupted", "interrupted before it was decided")
    except SolversDiffer as found:
        raise InternalError(str(found)) from found
    except MemoryError:
        return Stopped("stopped for lack of memory", "the memory ran out before it was decided")
    return None


@dataclass(slots=True)
class ProofState:
    """The state of a proof between phases. ``decided`` holds verdicts by obligation key; what is
    in it stays, whatever stops the proof. ``told`` is the plan as the file has it, ``plan`` the one
    without assumptions that are always true (``vain``); ``only``: the properties selected, if any
    were."""

    told: Plan
    plan: Plan
    everything: Sequence[Obligation]
    asked: Sequence[Obligation]
    situations: SituationProver
    progress: Progress = silent
    on_verdict: OnVerdict = unheard
    only: tuple[str, ...] = ()
    # Of the pairs of faults: how many steps are done, of how many.
    of_pairs: tuple[int, int] = (0, 0)
    vain: tuple[Assumption, ...] = ()
    decided: dict[str, Verdict] = field(default_factory=dict)
    # What trains are kept from, and whether no signal ever clears; None until that is known.
    kept_out: tuple[KeptOut, ...] | None = None
    nothing_clears: bool | None = None
    failures: "FailureAnalysis | None" = None
    # Of a plan with memory or locking, once its assumptions are known to allow a history.
    histories: "HistoryProver | None" = None
    # What the crew could promise that would make it safe over time.
    promises: tuple[Promise, ...] = ()
    # Why it is unknown whether the assumptions allow anything at all; then all is undecided.
    assumptions_unknown: str = ""

    @property
    def of_faults(self) -> list[Obligation]:
        return [o for o in self.asked if o.property in FAILURES]

    @property
    def plain(self) -> list[Obligation]:
        return [o for o in self.asked if o.property not in FAILURES]

    def step(self) -> None:
        """Before each question: stops where the proof is to stop, and reports progress."""
        checkpoint()
        done, of = self.of_pairs
        self.progress(len(self.decided) + done, len(self.asked) + of)

    def decide(self, obligation: Obligation) -> Verdict:
        """The verdict on an obligation about single situations."""
        if self.assumptions_unknown:
            return Verdict(obligation, "undecided", self.assumptions_unknown)
        return self.situations.decide(obligation)

    def record(self, verdicts: Iterable[Verdict]) -> None:
        """Keep verdicts as the file claims them, each as soon as it comes. A waived obligation is
        decided too, so that the report can say when the waiver is no longer needed."""
        for verdict in verdicts:
            kept = self.decided[verdict.obligation.key] = claimed(self.plan, verdict)
            self.on_verdict(kept)

    def report(self, stopped: Stopped | None) -> Report:
        """All verdicts in the order asked; what was not reached is undecided."""
        late = stopped.why if stopped else ""
        verdicts = tuple(
            self.decided.get(o.key) or Verdict(o, "undecided", late)
            for o in [*self.plain, *self.of_faults]
        )
        incomplete = (
            any(o.key not in self.decided for o in self.asked)
            or (self.failures is not None and not self.failures.finished)
            or self.kept_out is None
            or self.nothing_clears is None
        )
        missed = () if incomplete or self.only else tuple(unmet(self.plan, verdicts))
        return Report(
            self.told,
            verdicts,
            assumption_texts(self.plan),
            missed,
            stopped if incomplete else None,
            self.failures.table(late) if self.failures else (),
            self.promises,
            self.only,
            self.kept_out or (),
            bool(self.nothing_clears),
            self.vain,
            self.failures is not None and self.failures.all_pairs,
            roots(self.plan, verdicts),
        )


# One step of a proof: it decides some of the obligations.
Phase = Callable[[ProofState], None]


def leave_out_vain(proof: ProofState) -> None:
    """Assumptions that are always true are left out: they change no verdict."""
    before = proof.situations
    proof.vain = always_true(before.world, before.timeout)
    if proof.vain:
        left = tuple(a for a in proof.told.assumptions if a not in proof.vain)
        proof.plan = replace(proof.told, assumptions=left)
        proof.situations = SituationProver(World(proof.plan), before.timeout, (), before.store)


def check_assumptions(proof: ProofState) -> None:
    """The assumptions allow a situation, and there is something to prove. Raises
    :class:`InputError` when not."""
    proof.assumptions_unknown = proof.situations.check_assumptions()
    if not proof.plan.signals and not proof.plan.proofs:
        raise InputError([diagnostic("CP502", Span(proof.plan.source, 0, 0))])


def decide_histories(*, brief: bool, quick: bool = False) -> Callable[[ProofState], None]:
    """What must never happen over time, of a plan with memory or locking. Memory facts proved here
    are kept for the phases that follow. ``brief``, ``quick``: see :class:`HistoryProver`."""

    def phase(proof: ProofState) -> None:
        _decide_histories(proof, brief, quick)

    return phase


def _decide_histories(proof: ProofState, brief: bool, quick: bool) -> None:
    plan, timeout = proof.plan, proof.situations.timeout
    if not plan.locking.over_time or proof.assumptions_unknown:
        return
    from verifier.decide.histories import HistoryProver

    restricted = with_what_restricts(plan, proof.situations, proof.step)
    fresh_context()
    store = proof.situations.store
    histories = HistoryProver(restricted, timeout, proof.step, store, brief=brief, quick=quick)
    contradiction = histories.contradiction()
    if contradiction:
        raise InputError([_no_history(contradiction)])
    if contradiction is None:
        proof.assumptions_unknown = "it is unknown whether the assumptions allow a history"
        return
    proof.histories = histories
    safety = (o for o in proof.plain if not o.of_situations and o.mode == "never")
    proof.record(histories.verdicts(safety))
    proof.situations = _with_memory_facts(plan, histories, proof.situations)


def _with_memory_facts(
    plan: Plan, histories: "HistoryProver", before: SituationProver
) -> SituationProver:
    """A prover that leaves out the memory states proved unreachable."""
    from verifier.decide.memory_invariants import MemoryInvariants, memory_reads_the_truth

    timeout = before.timeout
    world = before.world.with_memory_facts(histories.memory_facts())
    if plan.wiring.reports_may_differ and not memory_reads_the_truth(before.world, timeout):
        world = world.with_memory_facts(MemoryInvariants(world, timeout).whatever_is_reported)
    rests = histories.memory_rests_on() if world.memory_facts else ()
    return SituationProver(world, timeout, rests, before.store)


def decide_situations(proof: ProofState) -> None:
    """What must never be in any situation."""
    _decide_situations(proof, "never")


# Of a report of what must never be: the rest.
FOLLOWS = Stopped("what must be possible, pairs and repairs follow", "it follows")


def tell(told: OnSafety) -> Callable[[ProofState], None]:
    """Report what is decided so far."""

    def phase(proof: ProofState) -> None:
        told(proof.report(FOLLOWS))

    return phase


def find_kept_out(proof: ProofState) -> None:
    """What the assumptions keep trains from: of that the verdicts say nothing."""
    if not proof.assumptions_unknown:
        proof.kept_out = kept_out(proof.plan, proof.situations, proof.histories, proof.step)


def decide_usefulness(proof: ProofState) -> None:
    """What must be possible, in situations and over time: last, for it is no question of safety."""
    _decide_situations(proof, "possible")
    if proof.histories is not None:
        useful = (o for o in proof.plain if not o.of_situations and o.mode == "possible")
        proof.record(proof.histories.verdicts(useful))


def look_for_clear_signals(proof: ProofState) -> None:
    """Whether any signal ever clears; if none does, the verdicts say nothing of the rules."""
    if not proof.assumptions_unknown:
        verdicts, histories = proof.decided.values(), proof.histories
        proof.nothing_clears = nothing_clears(proof.plan, verdicts, proof.situations, histories)
    if proof.histories is not None:
        proof.histories.finished()


def _decide_situations(proof: ProofState, mode: Mode) -> None:
    """Obligations over single situations. For a situation that decides one, a history that leads
    there is looked for where memory may never be in such a state."""
    histories = proof.histories
    unreached = []
    for obligation in (o for o in proof.plain if o.mode == mode):
        if not (obligation.of_situations or proof.assumptions_unknown):
            continue
        proof.step()
        verdict = proof.decide(obligation)
        if histories is not None and needs_history(verdict):
            unreached.append(obligation)
        else:
            proof.record([verdict])
    if histories is not None:
        proof.record(histories.verdicts(unreached))


def decide_faults(*, pairs: bool, quick: bool = False) -> Callable[[ProofState], None]:
    """Obligations over faults, and the failure table; with ``pairs``, two faults at a time are
    to follow. ``quick``: only whether they do harm."""

    def phase(proof: ProofState) -> None:
        if not proof.of_faults:
            return
        from verifier.decide.failures import FailureAnalysis

        safety = []
        for obligation in proof.everything:
            of_faults = obligation.property in FAILURES
            if obligation.mode == "never" and obligation.of_situations and not of_faults:
                checkpoint()
                known = proof.decided.get(obligation.key)
                safety.append(known or claimed(proof.plan, proof.decide(obligation)))
        proof.failures = FailureAnalysis(
            proof.situations,
            proof.of_faults,
            safety,
            proof.step,
            pairs=pairs,
            undecided=proof.assumptions_unknown,
            histories=_with_faults(proof, quick),
            quick=quick,
        )
        proof.record(proof.failures.verdicts())

    return phase


def _with_faults(proof: ProofState, quick: bool) -> "FaultHistories | None":
    """What asks of histories with faults what was proved of those without; None where nothing is
    asked over time."""
    if proof.histories is None:
        return None
    from verifier.decide.fault_histories import WITH_FAULTS, FaultHistories

    safety = [o for o in proof.everything if o.over == "histories" and o.mode == "never"]
    asked = [o for o in safety if o.key not in proof.decided]
    proof_of = {v.obligation.key: v for v in proof.histories.verdicts(asked)} if asked else {}
    proved = {k for k, v in {**proof.decided, **proof_of}.items() if v.status == "proved"}
    sound = [o for o in safety if o.key in proved and not o.advice and o.property in WITH_FAULTS]
    never = (o for o in proof.everything if o.of_situations and o.mode == "never")
    excluded = [
        o for o in never
        if not o.advice and (v := proof.decided.get(o.key)) and v.status == "proved" and v.lasting
    ]  # fmt: skip
    where = proof.situations
    safety = [*sound, *excluded]
    return FaultHistories(proof.plan, where.timeout, safety, proof.step, where.store, quick=quick)


def decide_pairs(proof: ProofState) -> None:
    """Two faults at a time: those of which one is silent, or every two, if that is wanted."""
    if proof.failures is not None:
        for done, of in proof.failures.decide_pairs():
            proof.of_pairs = done, of
            proof.step()


def find_repairs(proof: ProofState) -> None:
    """Repairs of the first findings."""
    if not any(verdict.finding for verdict in proof.decided.values()):
        return
    from verifier.repair.repairs import repair_findings

    wanted = [o.key for o in [*proof.plain, *proof.of_faults]]
    repaired = repair_findings(
        proof.situations.world,
        proof.decided,
        wanted,
        proof.failures.effects if proof.failures else {},
        proof.situations.timeout,
        proof.step,
        lambda plan: _proved_of(proof, plan),
    )
    proof.record(repaired)


def _proved_of(proof: ProofState, plan: Plan) -> frozenset[str]:
    """The keys of all that is proved of another plan; none where that lacks any of what is proved
    here."""
    before, world = proof.decided, World(plan)

    def compare(verdict: Verdict) -> None:
        was = before.get(verdict.obligation.key)
        if verdict.status != "proved" and was is not None and was.status == "proved":
            raise _Worse

    asked = [o for o in obligations(plan, world.lower) if o.property not in FAILURES]
    situations = SituationProver(world, proof.situations.timeout, (), NO_STORE)
    tried = ProofState(plan, plan, asked, asked, situations, on_verdict=compare)
    try:
        histories = decide_histories(brief=True)
        for phase in (check_assumptions, histories, decide_situations, decide_usefulness):
            phase(tried)
    except (_Worse, InputError):
        return frozenset()
    return frozenset(key for key, verdict in tried.decided.items() if verdict.status == "proved")


class _Worse(Exception):
    """Something is proved no more."""


def find_promises(proof: ProofState) -> None:
    """Where nothing is locked and something is broken over time: what its crew could promise."""
    broken = (v for v in proof.decided.values() if v.fails and not v.obligation.of_situations)
    if proof.plan.locking.promises or not any(broken):
        return
    from verifier.repair.crew_candidates import merged
    from verifier.repair.fewest_promises import fewest_promises, has_locks

    if has_locks(proof.plan):
        return
    found = fewest_promises(proof.plan, proof.situations.timeout, proof.step, reasons=False)
    if found.suffices and not found.remaining:
        proof.promises = merged((needed.promise for needed in found.needed), proof.plan)


def _no_history(clash: Sequence[Assumption | Promise]) -> Diagnostic:
    first, *rest = clash
    return diagnostic(
        "CP501",
        first.span,
        "over_time" if rest else "over_time_alone",
        others=[(a.span, a.title) for a in rest],
        title=first.title,
    )
