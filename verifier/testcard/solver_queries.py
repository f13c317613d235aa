"""Solver queries about everything that an operator can do to a layout.

In: a bench. Out: for an expression, a step in which it holds, that there is none, or that this was
not decided. Steps meet the file's assumptions, and stock stands only where it can.
"""

from collections.abc import Iterator

from verifier.decide.memory_invariants import MemoryInvariants
from verifier.diagnosis.bench import Bench, Setup
from verifier.engines.results import Exists, Impossible, Interrupted, Unknown
from verifier.engines.smt.situations import SituationCheck
from verifier.engines.smt.train_length_constraints import rooms
from verifier.logic.expr import FALSE, Expr, conjunction
from verifier.testcard.operator_actions import operator_constraints, setup_of
from verifier.world.memory_abstraction import at_rest
from verifier.world.train_constraints import train_constraints
from verifier.world.world import World

# The work to spend on one query, in the solver's own unit: about ten seconds. A count, not a time:
# the card of a layout is the same on every machine.
EFFORT = 8_000_000


class SolverQueries:
    """Queries about one layout. ``stateful``: with memory and points in any reachable state."""

    def __init__(self, bench: Bench, *, stateful: bool = False):
        self._bench = bench
        self.world = World(bench.plan)
        expand, lower = self.world.expand, self.world.lower
        self._check = SituationCheck(
            self.world.inputs,
            [expand(lower(assumed.condition)) for assumed in bench.plan.assumptions],
            None,
            [
                *(expand(body) for body in train_constraints(bench.plan)),
                *map(expand, operator_constraints(bench, stateful=stateful)),
                *(map(expand, _memory_facts(self.world)) if stateful else ()),
            ],
            rooms(bench.plan),
            effort=EFFORT,
        )

    def step(self, *goals: Expr) -> Setup | None:
        """The simplest step in which all goals hold; None if there is none.

        Raises :class:`QueryUndecided`."""
        goal = conjunction(*map(self.world.expand, goals))
        if goal is FALSE:
            return None
        match self._find(goal, smallest=True):
            case Exists(situation=situation):
                return setup_of(self._bench, situation)
            case Impossible():
                return None
            case _:
                raise QueryUndecided

    def never(self, *goals: Expr) -> bool:
        """Whether it is proved that no step meets all goals."""
        goal = conjunction(*map(self.world.expand, goals))
        return goal is FALSE or isinstance(self._find(goal), Impossible)

    def _find(self, goal: Expr, *, smallest: bool = False) -> Exists | Impossible | Unknown:
        try:
            return self._check.find(goal, smallest=smallest)
        except Interrupted:  # there is no partial card
            raise KeyboardInterrupt from None


def _memory_facts(world: World) -> Iterator[Expr]:
    """Invariants of memory in every step, once everything has settled."""
    yield from at_rest(world)
    yield from MemoryInvariants(world, None).whatever_is_reported


class QueryUndecided(Exception):
    """The solver ran out of time."""
