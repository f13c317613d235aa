"""A test card as data: its steps, what they are for, what they show, and what no step can.

Made by :mod:`verifier.testcard.card`; printed, filled in and read back by others.
"""

from dataclasses import dataclass

from verifier.diagnosis.bench import Setup
from verifier.plan.model import Plan
from verifier.plan.situation import Situation
from verifier.testcard.coverage_goals import ConflictGoals, FactGoals, Goal
from verifier.testcard.fault_list import CardFault
from verifier.testcard.fault_simulation import ExpectedStep, FaultSimulator
from verifier.testcard.step_ordering import Instruction


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class CardStep(ExpectedStep):
    """One step of the card. ``number`` from 1; ``instructions``: what to do after the step before;
    ``setup``: the resulting setup; ``situation``: the same, for drawing."""

    number: int
    instructions: tuple[Instruction, ...]
    setup: Setup
    situation: Situation


@dataclass(frozen=True, slots=True, eq=False)
class Met:
    """A goal and the numbers of the steps that meet it."""

    goal: Goal
    steps: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """A fault and where it shows: numbers of steps, with the signal, or what is thrown, to look at.
    A fault that memory may hide is simulated up to the step that first shows it."""

    fault: CardFault
    at: tuple[tuple[int, str], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Unseen:
    """What the card cannot show. ``proved``: no step at all can."""

    what: Goal | CardFault
    proved: bool


@dataclass(frozen=True, slots=True, eq=False)
class Card:
    """``facts`` and ``conflicts`` with the numbers of the steps that meet their goals.
    ``at_least``: a lower bound for the steps of any card that meets the same goals. ``effort``: the
    cost of all instructions; ``shortest``: no other order of these steps costs less.
    ``simulator``: for layouts with memory."""

    plan: Plan
    steps: tuple[CardStep, ...]
    lines: tuple[Met, ...]
    facts: tuple[tuple[FactGoals, tuple[int, ...], tuple[int, ...]], ...]
    colors: tuple[Met, ...]
    routes: tuple[Met, ...]
    conflicts: tuple[tuple[ConflictGoals, int, tuple[int, ...]], ...]
    found: tuple[Found, ...]
    unseen: tuple[Unseen, ...]
    at_least: int
    effort: int
    shortest: bool
    simulator: FaultSimulator | None = None
    # Things to do that are on no card: what comes of them depends on which relay acts first.
    by_order: tuple[tuple[Instruction, ...], ...] = ()
