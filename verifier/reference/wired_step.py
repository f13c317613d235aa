"""Transitions of a layout whose reports come through its wiring, faults included.

In: a plan, the same with its wiring, and moments that may also give where on its block stock
stands, how current flows past gaps, and which faults are present. Out: the transition, in which
relays, locks and trains respond to the reports at inputs and the colors displayed. What a moment
leaves out has its usual value; stock of unknown position stands at the first place of its block.
"""

from collections import ChainMap

from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.reference.evaluator import Evaluator
from verifier.reference.step import Stepper, remembering
from verifier.reference.transition import Valuation


class WiredStepper(Stepper):
    """``wired``: the plan whose wiring gives the reports; it may contain wiring mistakes."""

    def __init__(self, plan: Plan, wired: Plan):
        super().__init__(plan)
        self._see = remembering(Evaluator(wired))
        self._inputs = wired.inputs
        # What a moment may give besides state variables, choices and faults.
        self.wiring_inputs = tuple(
            what for what in wired.inputs if what.kind in ("standing", "current", "share")
        )
        self._faults = tuple(fault.what for fault in wired.equipment.faults)

    def seeing_as(self, other: "WiredStepper") -> None:
        """Share what another has evaluated, whose plan differs in what locks and remembers alone:
        what can be seen follows from a situation, memory included."""
        self._see = other._see

    def look(self, moment: Valuation) -> dict[Observable, str]:
        """Everything that can be observed at a moment, except events.

        Raises :class:`~verifier.reference.evaluator.Unsettled`."""
        seen = self._see(self.situation(moment)).states
        return {**seen, **self.state_of(moment), **self._stock(moment)}

    def situation(self, moment: Valuation) -> Situation:
        """A moment as a situation of the wired plan."""
        stock = self._stock(moment)
        # What is not an input is not read: it may be a choice that is still open.
        known: ChainMap[Observable, str] = ChainMap({}, stock, moment)  # type: ignore[arg-type]
        for what in self.wiring_inputs:
            if what.kind == "standing":
                occupied = stock[observables.stock(what.name)] == "occupied"
                known[what] = moment.get(what, what.values[1]) if occupied else what.usual
        broken = ((what, moment[what]) for what in self._faults if what in moment)
        return Situation.of([
            *((what, known.get(what, what.usual)) for what in self._inputs), *broken,
        ])  # fmt: skip
