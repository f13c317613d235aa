"""Every situation of a small layout at once: one bit for each situation.

In: a plan, and what may be broken. Out: for every observable and state the situations in
which it is in it, as the evaluator sees them. No solver, and of :mod:`verifier.logic` only
the walk over nodes.
"""

from collections.abc import Sequence
from functools import cached_property
from itertools import product

from verifier.logic.expr import And, Atom, Const, Expr, fold
from verifier.plan import observables
from verifier.plan.minimality import Cost, cost, values_in_order
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.reference.evaluator import Evaluator, Seen, Unsettled
from verifier.reference.standing import can_be

# What is broken, and in which way.
Broken = tuple[tuple[Observable, str], ...]
NOTHING: Broken = ()


def all_situations(plan: Plan) -> list[Situation]:
    """Every situation, those that no assumption allows included."""
    return [
        Situation.of(zip(plan.inputs, values, strict=True))
        for values in product(*(values_in_order(what) for what in plan.inputs))
    ]


def single_faults(plan: Plan) -> list[Broken]:
    """Every way in which one thing can be broken."""
    return [((f.what, state),) for f in plan.equipment.faults for state in f.what.values[1:]]


def unsettled_situation(plan: Plan) -> Situation | None:
    """A situation in which what some signal shows is not settled."""
    evaluator = Evaluator(plan)
    for situation in all_situations(plan):
        try:
            evaluator.see(situation)
        except Unsettled:
            return situation
    return None


def heard_reports(plan: Plan) -> list[Observable]:
    """Every report, as each driver gets it at its inputs."""
    reports = [observables.block_report(b.name) for b in plan.blocks.values() if b.detected]
    pieces = plan.track.pieces.values()
    reports += [observables.points_report(p.name) for p in pieces if p.kind in ("turnout", "slip")]
    drivers = plan.wiring.drivers
    return [observables.at_reader(what, driver) for driver in drivers for what in reports]


class _Remembering(Evaluator):
    """Sees each situation with nothing broken once: every fault is compared with it."""

    def __init__(self, plan: Plan):
        super().__init__(plan)
        self._sound: dict[Situation, Seen] = {}

    def see(self, situation: Situation) -> Seen:
        if any(what.kind == "fault" for what, _ in situation):
            return super().see(situation)
        if situation not in self._sound:
            self._sound[situation] = super().see(situation)
        return self._sound[situation]


class Truth:
    """What the evaluator sees in every situation, with each of ``broken`` in turn. Raises
    Unsettled.

    ``possible`` are the situations in which stock can stand so; ``allowed`` those of them
    that the assumptions allow, and what is known of memory."""

    def __init__(
        self,
        plan: Plan,
        broken: Sequence[Broken] = (NOTHING,),
        memory_facts: Sequence[Expr] = (),
    ):
        self.plan = plan
        self.broken = broken
        self.faults = tuple(dict.fromkeys(what for faults in broken for what, _ in faults))
        sound = all_situations(plan)
        self.situations = [
            Situation.of([*situation, *faults]) for faults in broken for situation in sound
        ]
        self.everywhere = (1 << len(self.situations)) - 1
        self.where: dict[tuple[Observable, str], int] = {}
        self.possible = self.allowed = 0
        evaluator = _Remembering(plan)
        heard = heard_reports(plan)
        conditions = [assumption.condition for assumption in plan.assumptions]
        for i, situation in enumerate(self.situations):
            bit = 1 << i
            seen = evaluator.see(situation)
            states = {**seen.states, **evaluator.states(situation, heard)}
            states |= {fault.what: situation.state(fault.what) for fault in plan.equipment.faults}
            for what, state in states.items():
                self.where[what, state] = self.where.get((what, state), 0) | bit
            if can_be(plan, situation):
                self.possible |= bit
                if all(evaluator.true(condition, seen) for condition in conditions):
                    self.allowed |= bit
        for fact in memory_facts:
            self.allowed &= self.of(fact)

    def of(self, expr: Expr) -> int:
        """The situations in which an expression holds."""

        def step(node: Expr, parts: tuple[int, ...]) -> int:
            match node:
                case Const(value=value):
                    return self.everywhere if value else 0
                case Atom(what=what, values=values):
                    found = 0
                    for state in values:
                        found |= self.where.get((what, state), 0)
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
        numbers = (i for i in range(len(self.situations)) if where >> i & 1)
        first = min(numbers, key=self._costs.__getitem__, default=None)
        return None if first is None else self.situations[first]

    @cached_property
    def _costs(self) -> list[Cost]:
        inputs = [*self.plan.inputs, *(fault.what for fault in self.plan.equipment.faults)]
        return [cost(situation, inputs) for situation in self.situations]
