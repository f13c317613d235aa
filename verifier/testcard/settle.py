"""One thing done on a layout that remembers or locks, and all there is to wait for after it.

In: a plan, the plan its reports come from (wired otherwise, perhaps), and what is broken. Out: how
all is once points, relays and timers have come to rest, worked out moment by moment by
:mod:`verifier.reference.wired_step`.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.reference.evaluator import Unsettled
from verifier.reference.wired_step import WiredStepper

# So many moments are waited for until all has come to rest.
MAX_SETTLING = 120
CONTROLS = ("lever", "button", "derail", "gate")

Moment = dict[Observable, str]


@dataclass(frozen=True, slots=True)
class Action:
    """One thing done: what it changes, one after the other, each time till all is at rest. With
    ``thrown``, a turnout is thrown by hand. ``passes``: stock goes along this block, or comes onto
    it under way, and so past places at which it might be seen otherwise. ``off``: the supply of
    what remembers is switched off, and on again, at last."""

    changes: tuple[Mapping[Observable, str], ...]
    thrown: str | None = None
    passes: str | None = None
    off: bool = False


class Simulation:
    """What comes of things done. ``moments`` counts those that were worked out."""

    def __init__(self, plan: Plan, wired: Plan, broken: Mapping[Observable, str]):
        self.stepper = WiredStepper(plan, wired)
        self.plan = plan
        self.moments = 0
        self._broken = dict(broken)
        self._expiring = [w.name for w in self.stepper.choices if w.kind == "expiry"]
        self._by_hand = [w for w in self.stepper.choices if w.kind in CONTROLS]
        self._passing = {
            what: "yes" if what.kind in ("arrival", "tick") else what.usual
            for what in self.stepper.choices
        }
        self._held = (*self._by_hand, *self.stepper.wiring_inputs, *self._broken)

    def start(self) -> Moment | None:
        """How all is at first, everything put back; None where it does not come to rest."""
        return self._settled({
            **{what: what.usual for what in (*self.stepper.states, *self._by_hand)}, **self._broken,
        })  # fmt: skip

    def steps(self, moment: Mapping[Observable, str], done: Action) -> Iterator[Moment | None]:
        """How all is after each change; None, and nothing more, where it does not come to rest."""
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
        """How all is once it was done; None where it does not come to rest."""
        return [dict(moment), *self.steps(moment, done)][-1]

    def look(self, moment: Mapping[Observable, str]) -> dict[Observable, str]:
        """All there is to see. Raises :class:`Unsettled`."""
        return self.stepper.look(self._whole(moment))

    def situation(self, moment: Mapping[Observable, str]) -> Situation:
        return self.stepper.situation(self._whole(moment))

    # -------------------------------------------------------------- waiting

    def _settled(
        self, moment: Mapping[Observable, str], thrown: str | None = None
    ) -> Moment | None:
        """How all is once nothing moves any more and there is nothing to wait for; None where
        it does not come to rest, or the rules do not settle what is shown meanwhile."""
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
        """How long a timer or a slow relay takes."""
        timer = self.plan.locking.timers.get(name)
        if timer is not None:
            return timer.seconds
        relay = self.plan.locking.relays[name]
        is_up = now[observables.relay(name)] == "up"
        return (relay.slow_release if is_up else relay.slow_pick) or Fraction(0)

    def _following(
        self, moment: Mapping[Observable, str], expiring: Sequence[str], thrown: str | None = None
    ) -> Moment:
        """The next moment: points arrive, time passes, no train moves by itself."""
        self.moments += 1
        chosen = {observables.choice("expiry", name): "yes" for name in expiring}
        if thrown is not None:
            chosen[observables.choice("throw", thrown)] = "yes"
        following = self.stepper.step({**self._whole(moment), **chosen}).successor
        return {**following, **{what: moment[what] for what in self._held if what in moment}}

    def _whole(self, moment: Mapping[Observable, str]) -> Moment:
        """A moment with all that is chosen at it."""
        return {**self._passing, **moment}
