"""The failure analysis: every single fault, and on request every pair.

In: a plan of which the safety properties were decided. Out: a verdict for each fault and a
table of what each does, the worst first.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from verifier.engines.situations import SituationCheck
from verifier.findings.verdicts import Consequence, Failure, Verdict
from verifier.logic.expr import Expr, atom, both
from verifier.plan.equipment import Fault
from verifier.plan.facts import Observable
from verifier.plan.model import Plan
from verifier.properties.failures import (
    counts_against,
    harms,
    more_restrictive,
)
from verifier.properties.obligation import Obligation
from verifier.world.world import World

_ORDER: tuple[Consequence, ...] = ("false proceed", "undecided", "more restrictive", "none")


@dataclass(frozen=True, slots=True)
class FailureAnalysis:
    """The verdict on each fault, and the table of all of them."""

    verdicts: tuple[Verdict, ...]
    table: tuple[Failure, ...]


def sorted_failures(rows: Iterable[Failure]) -> tuple[Failure, ...]:
    """The worst first; single faults before pairs; otherwise in the order of the file."""
    return tuple(sorted(rows, key=lambda r: (_ORDER.index(r.consequence), len(r.faults))))


class FailureCheck:
    """One plan with anything that it declares broken, one thing at a time."""

    def __init__(self, sound: World, timeout: float | None):
        self.plan: Plan = sound.plan
        self.world = World(sound.plan, sound, [f.what for f in sound.plan.equipment.faults])
        self.engine = SituationCheck.of(self.world, timeout)
        self._faults = {fault.what: fault for fault in self.plan.equipment.faults}

    def failures(
        self, proved: Iterable[Obligation], step: Callable[[], None]
    ) -> dict[str, "Outcome"]:
        """What each fault does, by its name. ``proved`` are the safety properties that hold
        with nothing broken; ``step`` is called before each question."""
        outcomes = {fault.name: Outcome(fault) for fault in self._faults.values()}
        for harm in harms(self.plan, proved):
            step()
            for fault in self._with(harm, outcomes):
                outcomes[fault.name].harms.append(harm)
        for signal in self.plan.signals.values():
            step()
            goal = self.world.expand(more_restrictive(signal, self.plan))
            open_ones = [w for w, f in self._faults.items() if not outcomes[f.name].restricts]
            # Whether time ran out is of no matter here: that a fault is a nuisance is no
            # safety claim.
            found, _ = self.engine.faults_with(goal, open_ones)
            for (what,) in found:
                outcomes[self._faults[what].name].restricts = True
        return outcomes

    def _with(self, harm: Obligation, outcomes: dict[str, "Outcome"]) -> list[Fault]:
        asked = [w for w, fault in self._faults.items() if counts_against(harm, fault)]
        goal = self.world.expand(harm.formula)
        found, reason = self.engine.faults_with(goal, asked)
        hit = [self._faults[what] for (what,) in found]
        if reason:
            cone = set(self.engine.cone(goal)[0])
            for what in asked:
                if what in cone and self._faults[what] not in hit:
                    outcomes[self._faults[what].name].unknown = reason
        return hit

    def pairs(
        self, proved: Sequence[Obligation], singles: dict[str, "Outcome"], step: Callable[[], None]
    ) -> list[Failure]:
        """Pairs of faults that do harm where neither does alone, with the first harm found."""
        harmless = [o.fault.what for o in singles.values() if not o.harms]
        told: dict[frozenset[Observable], Failure] = {}
        for harm in harms(self.plan, proved):
            step()
            asked = [w for w in harmless if counts_against(harm, self._faults[w])]
            goal = self.world.expand(harm.formula)
            found, reason = self.engine.faults_with(goal, asked, at_once=2, spared=set(told))
            for pair in found:
                names = tuple(what.name for what in pair)
                why = f"{harm.trouble}"
                told[frozenset(pair)] = Failure(names, "pair", "false proceed", why)
            if reason:
                told[frozenset()] = Failure(("some pair",), "pair", "undecided", reason)
        return list(told.values())

    def goal(self, faults: Sequence[Fault], harm: Obligation) -> Expr:
        harmful = self.world.expand(harm.formula)
        broken = {fault.what for fault in faults}
        cone = set(self.engine.cone(harmful)[0])
        return both(
            *(atom(what, *what.values[1:]) for what in broken),
            *(atom(w, "sound") for w in self._faults if w in cone and w not in broken),
            harmful,
        )


@dataclass(slots=True)
class Outcome:
    """What one fault does, as far as it is known."""

    fault: Fault
    harms: list[Obligation]
    restricts: bool
    unknown: str

    def __init__(self, fault: Fault):
        self.fault, self.harms, self.restricts, self.unknown = fault, [], False, ""

    def row(self) -> Failure:
        why = self.harms[0].trouble if self.harms else self.unknown
        return Failure((self.fault.name,), self.fault.kind, self.consequence, why)

    @property
    def consequence(self) -> Consequence:
        if self.harms:
            return "false proceed"
        if self.unknown:
            return "undecided"
        return "more restrictive" if self.restricts else "none"
