"""The largest total current of lamps, over all allowed situations.

In: a world, and the current of each head while a lamp of it is lit, in amperes. Out: the largest
sum found, a situation that draws it, and the proved upper bound.

Searches from both sides: each situation found is replayed by the evaluator, which adds up the lit
lamps itself; each "no such situation" lowers the bound.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from verifier.engines.results import Exists, Impossible, Interrupted
from verifier.engines.smt.situations import SituationCheck
from verifier.logic.expr import TRUE, holds
from verifier.plan.situation import Situation
from verifier.plan.wiring.wiring_model import Number
from verifier.properties.electrical import Load, all_lit, more_than
from verifier.reference.evaluator import Evaluator, Unsettled
from verifier.world.world import World


@dataclass(frozen=True, slots=True)
class LargestLoad:
    """``amps`` is drawn in ``situation``, replayed; no situation draws more than ``bound``.
    They are equal when everything was decided; ``why`` says what was not."""

    amps: Number
    bound: Number
    situation: Situation | None
    why: str = ""

    @property
    def proved(self) -> bool:
        return self.amps == self.bound


def most_together(world: World, loads: Sequence[Load], timeout: float | None = None) -> LargestLoad:
    """The largest total of these loads with no fault.

    ``timeout`` in seconds for each question."""
    return _MaximumSearch(world, list(loads), timeout).most()


class _MaximumSearch:
    def __init__(self, world: World, loads: list[Load], timeout: float | None):
        self._world, self._loads = world, loads
        self._check = SituationCheck.of(world, timeout)
        self._evaluator = Evaluator(world.plan)
        self._amps = Number(0)
        self._bound = all_lit(loads)
        self._situation: Situation | None = None

    def most(self) -> LargestLoad:
        try:
            why = self._close_in()
        except Interrupted:
            why = "interrupted"
        except Unsettled as signal:
            why = f"what {signal} shows depends on too many others"
        return LargestLoad(self._amps, self._bound, self._situation, why)

    def _close_in(self) -> str:
        """Raise the sum found and lower the bound until they meet; the reason if they do not."""
        if not self._loads:
            return ""
        least = min(lamp for _, lamp in self._loads)
        # First whether all can be lit together: as a rule they can.
        limit, goal = Number(-1), TRUE
        while True:
            match self._check.find(self._world.expand(goal)):
                case Exists(situation=situation):
                    self._amps, self._situation = self._drawn(situation), situation
                    if self._amps <= limit:
                        raise AssertionError(f"the lamps draw no more than {limit} A after all")
                case Impossible():
                    self._bound = max(limit, Number(0))
                case unknown:
                    return unknown.reason
            if self._amps >= self._bound:
                return ""
            near = self._bound - self._amps <= least
            first = goal is TRUE
            middle = (self._amps + self._bound) / 2
            limit = self._amps if near else self._bound - least if first else middle
            goal = more_than(limit, self._loads)
            if goal == TRUE:
                return "the lamps draw too many different currents"

    def _drawn(self, situation: Situation) -> Number:
        seen = self._evaluator.see(situation)
        drawn = (current for lit, current in self._loads if holds(lit, seen.states))
        return sum(drawn, Number(0))
