"""What one fault does, as far as it is known, and what counts as a harm of its own.

In: a fault, and the world in which it may be present. Out: a :class:`FaultEffect`, filled by those
who ask, and its row of the failure table.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field

from verifier.engines.smt.situations import SituationCheck
from verifier.logic.expr import Expr, atom, conjunction, negation
from verifier.plan.wiring.faults import Fault, FaultKind
from verifier.properties.failures import most_telling
from verifier.properties.obligation import Obligation
from verifier.verdicts.report import Consequence, Failure, Verdict
from verifier.world.fault_cone import FaultCone
from verifier.world.train_constraints import train_constraints
from verifier.world.world import World

CIRCLE = "with this broken, what signals show goes round in a circle"


@dataclass(slots=True)
class FaultEffect:
    """What one fault does, as far as it is known."""

    fault: Fault
    world: World
    engine: SituationCheck
    unproved: frozenset[str] = frozenset()
    harms: list[Obligation] = field(default_factory=list)
    restricts: bool = False
    # What stays as it is as long as the fault is there, in words.
    holds: list[str] = field(default_factory=list)
    # Whether some head shows another color with it.
    shows: bool = False
    unknown: str = ""
    # What it does in histories, where that was asked.
    over_time: Verdict | None = None

    @property
    def unlocks(self) -> Verdict | None:
        """A history in which it does harm, of a fault that does none in a single situation."""
        broken = self.over_time is not None and self.over_time.status == "broken"
        return self.over_time if broken and not self.harms else None

    @property
    def silent(self) -> bool:
        """It does no harm alone, and nobody finds it: every signal shows what it would without."""
        if self.fault.kind is FaultKind.INDICATOR:
            return False  # whoever looks at it finds it
        harmless = self.consequence == "none"
        return harmless and not (self.shows or self.holds) and not self.fault.moves_points

    @property
    def why_unknown(self) -> str:
        """Why it is not known what the fault does; empty if it is."""
        late = self.over_time is not None and self.over_time.status == "undecided"
        return self.unknown or (self.over_time.why if late and self.over_time else "")

    @property
    def worst_harm(self) -> Obligation:
        """The harm that says most, of a fault that does any."""
        return most_telling(self.fault, self.harms, self.unproved)

    def goal(self) -> Expr:
        """That the worst harm comes about with nothing else broken."""
        harm, what = self.worst_harm, self.fault.what
        harmful = self.world.expand(harm.formula)
        if harm.key in self.unproved and self.world.sound:
            harmful = conjunction(harmful, negation(already_comes_about(self.world.sound, harm)))
        others = (atom(other, "sound") for other in self.world.faults if other != what)
        return conjunction(atom(what, *what.values[1:]), harmful, *others)

    def row(self) -> Failure:
        """The fault's row of the failure table."""
        why = self.worst_harm.trouble if self.harms else self.why_unknown or "; ".join(self.holds)
        if self.unlocks is not None:
            why = self.unlocks.obligation.trouble
        silent = (self.fault.name,) if self.silent else ()
        kind = self.fault.kind.property_name
        return Failure((self.fault.name,), kind, self.consequence, why, silent)

    def alone(self) -> World:
        """The world in which only this fault may be present."""
        assert self.world.sound is not None
        return FaultCone(self.world.sound).world([self.fault.what])

    @property
    def consequence(self) -> Consequence:
        if self.harms:
            return consequence_of(self.harms)
        if self.unlocks is not None:
            return "unlocked"
        if self.why_unknown:
            return "undecided"
        return "more restrictive" if self.restricts or self.holds else "none"


def consequence_of(harms: Iterable[Obligation]) -> Consequence:
    """What these harms come to: all of them may be about indicators of the panel alone."""
    misled = all(harm.property == "indicator-misleads" for harm in harms)
    return "false indication" if misled else "false proceed"


def assumed(world: World) -> tuple[list[Expr], list[Expr]]:
    """The assumptions of the file and the constraints that always hold, expanded in a world."""
    plan = world.plan
    assumptions = [world.expand(world.lower(a.condition)) for a in plan.assumptions]
    return assumptions, [
        world.expand(fact) for fact in (*train_constraints(plan), *world.memory_facts)
    ]


def already_comes_about(sound: World, harm: Obligation) -> Expr:
    """That a harm comes about with nothing broken, in a situation that is then allowed."""
    assumptions, always = assumed(sound)
    return conjunction(sound.expand(harm.formula), *assumptions, *always)
