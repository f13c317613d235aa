"""One action on a layout with memory or locks, and the state in which the layout settles.

In: a plan, the plan with the wiring that gives its reports, and the faults present. Out: the state
once points, relays and timers have come to rest, simulated moment by moment on
:mod:`verifier.reference.wired_step`.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.reference.evaluator import Unsettled
from verifier.reference.wired_step import WiredStepper

# A layout that has not settled after this many moments is taken never to settle.
MAX_SETTLING = 120
CONTROLS = ("lever", "button", "derail", "gate")

Moment = dict[Observable, str]


@dataclass(frozen=True, slots=True)
class Action:
    """One action of the operator: ``changes`` are made in order, the layout settling after each.

    ``thrown``: the turnout thrown by hand. ``passes``: the block along which stock moves, past
    places at which detectors might report it differently. ``off``: at the end the supply of
    relays and timers is switched off and on again."""

    changes: tuple[Mapping[Observable, str], ...]
    thrown: str | None = None
    passes: str | None = None
    off: bool = False


class Simulation:
    """A simulation with the given faults. ``moments`` counts the steps computed."""

    def __init__(self, plan: Plan, wired: Plan, broken: Mapping[Observable, str]):
        self.stepper = WiredStepper(plan, wired)
        self.plan = plan
        self.moments = 0
        self._broken = dict(broken)
        self._expiring = [w.name for w in self.stepper.choices if w.kind == "expiry"]
        self._by_hand = [w for w in self.stepper.choices if w.kind in CONTROLS]
        self._passing = {
            what: "yes" if what.kind == "arrival" else what.usual for what in self.stepper.choices
        }
        self._held = (*self._by_hand, *self.stepper.wiring_inputs, *self._broken)

    def start(self) -> Moment | None:
        """The state in which the layout settles with everything reset; None if it never does."""
        return self._settled({
            **{what: what.usual for what in (*self.stepper.states, *self._by_hand)}, **self._broken,
        })  # fmt: skip

    def steps(self, moment: Mapping[Observable, str], done: Action) -> Iterator[Moment | None]:
        """The settled state after each change; None, and then no more, if it does not settle."""
        now: Moment | None = dict(moment)
        for changes in done.changes:
            assert now is not None
            now = self._settled({**now, **changes}, done.thrown)
            yield now
            if now is None:
                return
        if done.off:
            yield self.start()

    def after(self, moment: Mapping[Observable, str], done: Action) -> Moment | None:
        """The settled state after an action; None if the layout does not settle."""
        return [dict(moment), *self.steps(moment, done)][-1]

    def look(self, moment: Mapping[Observable, str]) -> dict[Observable, str]:
        """Everything that can be observed at a moment. Raises :class:`Unsettled`."""
        return self.stepper.look(self._whole(moment))

    # -------------------------------------------------------------- settling

    def _settled(
        self, moment: Mapping[Observable, str], thrown: str | None = None
    ) -> Moment | None:
        """The state once nothing moves and no delay runs; None if the layout does not settle, or
        if the rules leave open what a signal shows meanwhile."""
        try:
            return self._at_rest(moment, thrown)
        except Unsettled:
            return None

    def _at_rest(self, moment: Mapping[Observable, str], thrown: str | None) -> Moment | None:
        now = self._following(moment, (), thrown)
        waiting: dict[str, Fraction] = {}
        for _ in range(MAX_SETTLING):
            then = self._following(now, ())
            if then != now:
                now = then
                continue
            due = {name: self._following(now, (name,)) for name in self._expiring}
            due = {name: then for name, then in due.items() if then != now}
            if not due:
                return now
            waiting = {name: waiting.get(name, self._seconds(name, now)) for name in due}
            first = min(due, key=lambda name: waiting[name])
            passed = waiting.pop(first)
            waiting = {name: left - passed for name, left in waiting.items()}
            now = due[first]
        return None

    def _seconds(self, name: str, now: Mapping[Observable, str]) -> Fraction:
        """The delay of a timer or a slow relay, in seconds."""
        timer = self.plan.locking.timers.get(name)
        if timer is not None:
            return timer.seconds
        relay = self.plan.locking.relays[name]
        is_up = now[observables.relay(name)] == "up"
        return (relay.slow_release if is_up else relay.slow_pick) or Fraction(0)

    def _following(
        self, moment: Mapping[Observable, str], expiring: Sequence[str], thrown: str | None = None
    ) -> Moment:
        """The next state: points arrive, time passes, no train moves."""
        self.moments += 1
        chosen = {observables.choice("expiry", name): "yes" for name in expiring}
        if thrown is not None:
            chosen[observables.choice("throw", thrown)] = "yes"
        following = self.stepper.step({**self._whole(moment), **chosen}).successor
        return {**following, **{what: moment[what] for what in self._held if what in moment}}

    def _whole(self, moment: Mapping[Observable, str]) -> Moment:
        """A moment with all its choices."""
        return {**self._passing, **moment}
