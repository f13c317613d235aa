"""Every situation of a small layout at once: one bit for each situation.

In: a plan. Out: for every observable and state the situations in which it is in it, as
the evaluator sees them. No solver, and of :mod:`verifier.logic` only the walk over nodes.
"""

from itertools import product

from verifier.engines.evaluator import Evaluator, Unsettled
from verifier.engines.order import cost, values_in_order
from verifier.logic.expr import And, Atom, Const, Expr, fold
from verifier.plan.facts import Observable
from verifier.plan.model import Plan
from verifier.world.situation import Situation


def all_situations(plan: Plan) -> list[Situation]:
    """Every situation, those that no assumption allows included."""
    return [
        Situation.of(zip(plan.inputs, values, strict=True))
        for values in product(*(values_in_order(what) for what in plan.inputs))
    ]


def unsettled_situation(plan: Plan) -> Situation | None:
    """A situation in which what some signal shows is not settled."""
    evaluator = Evaluator(plan)
    for situation in all_situations(plan):
        try:
            evaluator.see(situation)
        except Unsettled:
            return situation
    return None


class Truth:
    """What the evaluator sees in every situation. Raises Unsettled."""

    def __init__(self, plan: Plan):
        self.plan = plan
        self.situations = all_situations(plan)
        self.everywhere = (1 << len(self.situations)) - 1
        self.where: dict[tuple[Observable, str], int] = {}
        self.allowed = 0
        evaluator = Evaluator(plan)
        for i, situation in enumerate(self.situations):
            bit = 1 << i
            seen = evaluator.see(situation)
            for fact in seen.states.items():
                self.where[fact] = self.where.get(fact, 0) | bit
            if all(evaluator.true(a.condition, seen) for a in plan.assumptions):
                self.allowed |= bit

    def of(self, expr: Expr) -> int:
        """The situations in which an expression holds."""

        def step(node: Expr, parts: tuple[int, ...]) -> int:
            match node:
                case Const(value=value):
                    return self.everywhere if value else 0
                case Atom(what=what, values=values):
                    found = 0
                    for value in values:
                        found |= self.where.get((what, value), 0)
                    return found
                case And():
                    found = self.everywhere
                    for part in parts:
                        found &= part
                    return found
                case _:
                    found = 0
                    for part in parts:
                        found |= part
                    return found

        return fold(expr, step)

    def agreeing(self, situation: Situation, about: tuple[Observable, ...]) -> int:
        """The situations that agree with one on some inputs."""
        found = self.everywhere
        for what in about:
            found &= self.where.get((what, situation.state(what)), 0)
        return found

    def listed(self, where: int) -> list[Situation]:
        return [s for i, s in enumerate(self.situations) if where >> i & 1]

    def simplest(self, where: int) -> Situation | None:
        return min(self.listed(where), key=lambda s: cost(s, self.plan.inputs), default=None)
