"""What follows a moment on a layout whose reports come through its wiring, with things broken.

In: a plan, the same with its points free to lie as they do, and moments that say, beside all that
a :class:`~verifier.reference.step.Stepper` wants, where on its block stock stands, how current
flows past gaps, and what is broken. Out: what the stepper tells, with relays, locks and trains
going by what then comes in and what the lenses then show. What a moment does not say of these is
as usual; stock on a block of which nothing is said stands at the first of its places.
"""

from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.reference.evaluator import Evaluator
from verifier.reference.step import Stepper, Valuation, remembering


class WiredStepper(Stepper):
    """``wired``: the plan whose reports count, with other mistakes in its wiring perhaps."""

    def __init__(self, plan: Plan, wired: Plan):
        super().__init__(plan)
        self._see = remembering(Evaluator(wired))
        self._inputs = wired.inputs
        # What a moment may give besides state variables, choices and faults.
        self.wiring_inputs = tuple(
            what for what in wired.inputs if what.kind in ("standing", "current")
        )
        self._faults = tuple(fault.what for fault in wired.equipment.faults)

    def look(self, moment: Valuation) -> dict[Observable, str]:
        """All that can be observed at a moment, but for events.

        Raises :class:`~verifier.reference.evaluator.Unsettled`."""
        seen = self._see(self.situation(moment)).states
        return {**seen, **self.state_of(moment), **self._stock(moment)}

    def situation(self, moment: Valuation) -> Situation:
        """A moment as a situation of the wired plan."""
        stock = self._stock(moment)
        known: dict[Observable, str] = {**moment, **stock}
        for what in self.wiring_inputs:
            if what.kind == "standing":
                occupied = stock[observables.stock(what.name)] == "occupied"
                known[what] = moment.get(what, what.values[1]) if occupied else what.usual
        broken = ((what, moment[what]) for what in self._faults if what in moment)
        return Situation.of([
            *((what, known.get(what, what.usual)) for what in self._inputs), *broken,
        ])  # fmt: skip
