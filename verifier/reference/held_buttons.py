"""Whether a signal clears again behind a train while a button stays pressed.

Part of the reference: worked out on the moment itself, and on the same moment with the button let
go. In: a plan and a moment with all that can be observed at it. Out: what became of each signal
since its button was pressed, and which signals clear again.
"""

from collections import ChainMap
from collections.abc import Callable, Iterator, Mapping

from verifier.plan import observables
from verifier.plan.locking.held_buttons import HeldButton, commands_of, held_buttons
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.signals.aspects import Aspect
from verifier.reference.condition_eval import is_true, looking_at
from verifier.reference.transition import Valuation

Look = Callable[[Valuation], Mapping[Observable, str]]


class HeldButtons:
    """The signals of a plan that a button clears. ``look``: all that can be observed at a
    moment."""

    def __init__(self, plan: Plan, look: Look):
        self._plan = plan
        self._look = look
        self._held = held_buttons(plan)
        self._commands = commands_of(self._held)

    def step(
        self, now: Valuation, observed: Valuation
    ) -> Iterator[tuple[Observable, str, Observable, bool]]:
        """For each of them its state and the next value of that; its event, and whether that
        happens."""
        for each in self._held:
            pressed = now[each.button] == "pressed"
            after = self._after(each, now, observed) if pressed else "no"
            again = pressed and self._clears_again(each, now, observed)
            yield each.state, after, each.event, again

    def commanded(self, now: Valuation) -> Iterator[tuple[Observable, str]]:
        """What the next moment knows of how levers and buttons are now."""
        return ((observables.before(what), now[what]) for what in self._commands)

    def _after(self, each: HeldButton, now: Valuation, observed: Valuation) -> str:
        match now[each.state]:
            case "no":
                return "cleared" if self._proceeds(each, observed) else "no"
            case "cleared":
                gone = self._is_passed(each, now) and not self._permits(each, observed)
                return "passed" if gone else "cleared"
            case "due" if self._is_untouched(each, now):
                return "due"
            case "passed" if self._is_untouched(each, now):
                return "due" if self._is_due(each, now, observed) else "passed"
        return "no"

    def _clears_again(self, each: HeldButton, now: Valuation, observed: Valuation) -> bool:
        state = now[each.state]
        if state not in ("passed", "due") or not self._is_untouched(each, now):
            return False
        if not self._proceeds(each, observed):
            return False
        return state == "due" or not self._proceeds(each, self._let_go(each, now))

    def _let_go(self, each: HeldButton, now: Valuation) -> Mapping[Observable, str]:
        """What could be observed if the button were let go."""
        return self._look(ChainMap({each.button: "released"}, now))  # type: ignore[arg-type]

    def _is_due(self, each: HeldButton, now: Valuation, observed: Valuation) -> bool:
        """Something holds that a relay, a timer or traffic acts by, and would not if the button
        were let go."""
        without = self._let_go(each, now)
        return any(
            is_true(condition, looking_at(observed), {}, self._plan)
            and not is_true(condition, looking_at(without), {}, self._plan)
            for condition in each.memory
        )

    def _is_passed(self, each: HeldButton, now: Valuation) -> bool:
        port = self._plan.signals[each.signal].enters
        heading = observables.heading(port.piece, self._plan.track.pieces[port.piece].ends)
        return now[observables.train(port.piece)] == "occupied" and now[heading] == port.end

    def _is_untouched(self, each: HeldButton, now: Valuation) -> bool:
        return all(now[what] == now[observables.before(what)] for what in each.commands)

    def _proceeds(self, each: HeldButton, observed: Valuation) -> bool:
        return any(aspect.proceeds for aspect in self._shown(each, observed))

    def _permits(self, each: HeldButton, observed: Valuation) -> bool:
        return any(aspect.permits for aspect in self._shown(each, observed))

    def _shown(self, each: HeldButton, observed: Valuation) -> Iterator[Aspect]:
        """The aspect that a signal is read as, none where its colors are no aspect."""
        aspect = self._plan.chart.get(observed[self._plan.signals[each.signal].reading])
        return iter(() if aspect is None else (aspect,))
