"""Questions to the solver about all that a person can do to a layout.

In: a bench. Out: for an expression, a step in which it holds, that there is none, or that this
was not decided. What the file assumes is kept to, and stock stands only where it can.
"""

from collections.abc import Iterator

from verifier.decide.memory_invariants import MemoryInvariants
from verifier.diagnosis.bench import Bench, Setup
from verifier.engines.results import Exists, Impossible, Interrupted, Unknown
from verifier.engines.smt.situations import SituationCheck
from verifier.engines.smt.train_length_constraints import rooms
from verifier.logic.expr import FALSE, Expr, conjunction
from verifier.testcard.operator_actions import doable, setup_of
from verifier.world.memory_abstraction import at_rest
from verifier.world.train_constraints import train_constraints
from verifier.world.world import World

# Seconds for one question.
EACH = 20.0


class Questions:
    def __init__(self, bench: Bench, *, played: bool = False):
        self._bench = bench
        self.world = World(bench.plan)
        expand, lower = self.world.expand, self.world.lower
        self._check = SituationCheck(
            self.world.inputs,
            [expand(lower(assumed.condition)) for assumed in bench.plan.assumptions],
            EACH,
            [
                *(expand(body) for body in train_constraints(bench.plan)),
                *map(expand, doable(bench, played=played)),
                *(map(expand, _memory_facts(self.world)) if played else ()),
            ],
            rooms(bench.plan),
        )

    def step(self, *goals: Expr) -> Setup | None:
        """The simplest step in which all of these hold; None where there is none.

        Raises :class:`Inconclusive`."""
        goal = conjunction(*map(self.world.expand, goals))
        if goal is FALSE:
            return None
        match self._find(goal, smallest=True):
            case Exists(situation=situation):
                return setup_of(self._bench, situation)
            case Impossible():
                return None
            case _:
                raise Undecided

    def never(self, *goals: Expr) -> bool:
        """Whether it is proved that no step meets all of these."""
        goal = conjunction(*map(self.world.expand, goals))
        return goal is FALSE or isinstance(self._find(goal), Impossible)

    def _find(self, goal: Expr, *, smallest: bool = False) -> Exists | Impossible | Unknown:
        try:
            return self._check.find(goal, smallest=smallest)
        except Interrupted:  # half a card is none
            raise KeyboardInterrupt from None


def _memory_facts(world: World) -> Iterator[Expr]:
    """What holds of memory in every step, once all is at rest."""
    yield from at_rest(world)
    yield from MemoryInvariants(world, EACH).whatever_is_reported


class Undecided(Exception):
    """The solver did not get to the end in its time."""
