"""Whether a text is better than another: both are proved as a whole, and compared.

A text that mends something is worth showing only where nothing that was proved before is lost:
neither a property, nor an aspect or route, nor the harmlessness of a failure. What is expected to
be broken counts as broken.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import count

from verifier.decide.histories import HistoryProver
from verifier.engines.proof_store import ProofStore
from verifier.engines.stopping import checkpoint
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import support
from verifier.mending.given import Given
from verifier.pipeline import prove
from verifier.plan.devices import devices
from verifier.plan.model import Plan
from verifier.properties.catalog import BY_NAME, FAILURES
from verifier.properties.obligation import Obligation
from verifier.reference.evaluator import Evaluator, Unsettled
from verifier.reference.standing import can_be
from verifier.reference.step import replay
from verifier.repair.fewest_promises import can_move
from verifier.verdicts.report import Consequence, Finding, Report, Verdict
from verifier.world.world import World

# Reads a text: its plan and world. Raises :class:`InputError`.
Read = Callable[[str], tuple[Plan, World]]

_GRAVITY: tuple[Consequence, ...] = (
    "none", "more restrictive", "undecided", "false indication", "unlocked", "false proceed",
)  # fmt: skip


@dataclass(frozen=True)
class Judged:
    """A text, its plan as it stands, and the report on it with nothing expected to be broken."""

    told: Plan
    report: Report

    @property
    def text(self) -> str:
        return self.told.source.text

    @cached_property
    def verdicts(self) -> Mapping[str, Verdict]:
        """By key. Where subjects are lines of the text, which move, their order counts instead."""
        found: dict[str, Verdict] = {}
        for v in self.report.verdicts:
            key = v.obligation.key
            if v.obligation.property == "rule-never-used":
                stem = f"{v.obligation.property}: {v.obligation.subjects[0]}"
                key = next(k for i in count(1) if (k := f"{stem}, number {i}") not in found)
            if not v.obligation.advice:
                found[key] = v
        return found

    @cached_property
    def broken(self) -> Mapping[str, Verdict]:
        return {key: v for key, v in self.verdicts.items() if v.status == "broken"}

    @property
    def given(self) -> Given:
        return Given(self.report.plan, self.report)


class Judge:
    """Proves texts of one file. ``timeout`` in seconds for each obligation."""

    def __init__(self, read: Read, timeout: float | None):
        self._read = read
        self._timeout = timeout
        self._store = ProofStore()
        self._known: dict[str, Judged | None] = {}
        self._moving: dict[str, frozenset[str]] = {}

    def judged(self, text: str, *, repairs: bool = False) -> Judged:
        """A text and what is proved of it. Raises :class:`InputError`."""
        told, _ = self._read(text)
        plan = replace(told, expectations=())
        report = prove(plan, timeout=self._timeout, repairs=repairs, store=self._store)
        return Judged(told, report)

    def tried(self, text: str) -> Judged | None:
        """The same with no repairs; None where the text is no junction."""
        checkpoint()
        if text not in self._known:
            try:
                self._known[text] = self.judged(text)
            except InputError:
                self._known[text] = None
        return self._known[text]

    def keeps_moving(self, before: Judged, after: Judged) -> bool:
        """Whether everything that could be thrown still can be: no lock stays shut forever."""
        if not before.told.locking.over_time or before.told.locking == after.told.locking:
            return True
        kept = devices(after.told).keys()
        return all(name in self._movable(after) for name in self._movable(before) if name in kept)

    def _movable(self, judged: Judged) -> frozenset[str]:
        known = self._moving.get(judged.text)
        if known is None:
            plan = judged.report.plan
            asked = {can_move(device).key: name for name, device in devices(plan).items()}
            prover = HistoryProver(plan, self._timeout, checkpoint, self._store)
            found = prover.verdicts(map(can_move, devices(plan).values()))
            proved = (v for v in found if v.status == "proved")
            known = frozenset(asked[v.obligation.key] for v in proved)
            self._moving[judged.text] = known
        return known

    def may_help(self, text: str, verdict: Verdict) -> bool | None:
        """Whether an obligation is no longer broken in a text, looked at by itself; None where that
        was seen without a proof: the text is no junction, or what was found happens there too."""
        checkpoint()
        obligation = verdict.obligation
        name = obligation.property
        entry = BY_NAME.get(name)
        try:
            plan = replace(self._read(text)[0], expectations=(), waivers=())
            if entry is None or name == "rule-never-used":
                return True
            if name not in FAILURES:
                there = next((o for o in entry.make(plan) if o.key == obligation.key), None)
                if there is not None and _happens(plan, there, verdict.finding):
                    return None
            report = prove(
                plan, timeout=self._timeout, only=[name], repairs=False, store=self._store
            )
        except InputError:
            return None
        found = (v.status for v in report.verdicts if v.obligation.key == obligation.key)
        return next(found, "proved") == "proved"


def _happens(plan: Plan, obligation: Obligation, finding: Finding | None) -> bool:
    """Whether the counterexample of another text is one of this plan too, by the reference. False
    where it cannot be told."""
    if finding is None or obligation.mode != "never":
        return False
    story = finding.story
    try:
        if story is None:
            there, evaluator = finding.situation, Evaluator(plan)
            states = evaluator.states(there, support(obligation.formula))
            allowed = all(evaluator.allows(there, a.condition) for a in plan.assumptions)
            return allowed and obligation.holds_in(states) and can_be(plan, there)
        return obligation.over == "histories" and replay(
            plan, story.moments, obligation.holds_in, seconds=story.seconds, wrecks_stay=False
        )
    except (Unsettled, KeyError):
        return False


def worse(before: Judged, after: Judged, trades: frozenset[str] = frozenset()) -> Iterator[str]:
    """The keys of what is lost from one text to another; ``trades`` may be."""
    for key, verdict in after.verdicts.items():
        was = before.verdicts.get(key)
        if verdict.status in ("broken", "undecided") and (
            was is None or was.status in ("proved", "waived")
        ):
            yield key
        if verdict.status == "waived" and was is not None and was.status == "proved":
            yield key
    for key, was in before.verdicts.items():
        gone = key not in after.verdicts and was.obligation.mode == "possible"
        if gone and was.status == "proved" and key not in trades:
            yield key
    rows = {row.faults: row.consequence for row in before.report.failures}
    for row in after.report.failures:
        # Of single faults there are verdicts.
        then = rows.get(row.faults) if row.kind == "pair" else None
        grave = row.consequence not in ("none", "more restrictive")
        if grave and then and _GRAVITY.index(row.consequence) > _GRAVITY.index(then):
            yield " and ".join(row.faults)
    if after.report.nothing_clears and not before.report.nothing_clears:
        yield "nothing clears"
    if len(after.report.kept_out) > len(before.report.kept_out):
        yield "kept out"
    if after.report.stopped is not None:
        yield "stopped"
