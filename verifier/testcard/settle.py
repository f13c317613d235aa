"""One action on a layout with memory or locks, and the state in which the layout settles.

In: a plan, the plan with the wiring that gives its reports, and the faults present. Out: the state
once points, relays and timers have come to rest, simulated moment by moment on
:mod:`verifier.reference.wired_step`. Relays act in any order: where it depends on that in which
state the layout comes to rest, or whether it does, the state is not known.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.reference.evaluator import Unsettled
from verifier.reference.explicit_states import in_any_order
from verifier.reference.transition import Transition
from verifier.reference.wired_step import WiredStepper

# A layout that has not settled after this many moments is taken never to settle.
MAX_SETTLING = 120
# After so many moments in all orders, or orders at one moment, it is not known how it settles.
MAX_IN_ALL_ORDERS = 600
MAX_ORDERS = 64
CONTROLS = ("lever", "button", "derail", "gate")

Moment = dict[Observable, str]


@dataclass(frozen=True, slots=True)
class Action:
    """One action of the operator: ``changes`` are made in order, the layout settling after each.

    ``thrown``: the turnout thrown by hand. ``passes``: the block along which stock moves, past
    places at which detectors might report it differently. ``off``: at the end the supply of
    relays and timers is switched off and on again. ``within``: so many seconds pass, and what
    takes longer runs on; None for as long as everything takes."""

    changes: tuple[Mapping[Observable, str], ...]
    thrown: str | None = None
    passes: str | None = None
    off: bool = False
    within: Fraction | None = None


@dataclass(frozen=True, slots=True)
class _Pause:
    """A state on the way to rest. ``waiting``: how much longer delays run; ``left``: how much
    longer time passes at all, None for as long as it takes."""

    now: Moment
    waiting: Mapping[str, Fraction]
    left: Fraction | None

    def is_like(self, other: "_Pause") -> bool:
        alike = self.waiting == other.waiting and self.left == other.left
        return alike and self.now == other.now


class _Unknown(Exception):
    """It is not known how the layout settles. ``by_order``: that depends on who acts first."""

    def __init__(self, *, by_order: bool):
        self.by_order = by_order


class Simulation:
    """A simulation with the given faults. ``moments`` counts the steps computed; ``by_order``: the
    last action had no known outcome because that depends on which relay acts first."""

    def __init__(self, plan: Plan, wired: Plan, broken: Mapping[Observable, str]):
        self.stepper = WiredStepper(plan, wired)
        self.plan = plan
        self.moments = 0
        self.by_order = False
        self._broken = dict(broken)
        self._known: dict[frozenset[tuple[Observable, str]], list[Transition] | None] = {}
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
            now = self._settled({**now, **changes}, done.thrown, done.within)
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
        self,
        moment: Mapping[Observable, str],
        thrown: str | None = None,
        within: Fraction | None = None,
    ) -> Moment | None:
        """The state once nothing moves and no delay runs, or time is up; None if the layout does
        not settle, if that depends on which relay acts first, or if the rules leave open what a
        signal shows meanwhile."""
        self.by_order = False
        try:
            return self._at_rest(moment, thrown, within)
        except _Unknown as unknown:
            self.by_order = unknown.by_order
        except Unsettled:
            pass
        return None

    def _at_rest(
        self, moment: Mapping[Observable, str], thrown: str | None, within: Fraction | None
    ) -> Moment:
        """The one state in which the layout comes to rest, in whatever order its relays act."""
        rest: Moment | None = None
        known: list[_Pause] = []
        on_way: list[_Pause] = []
        # Where to go on, and how many states are on the way there.
        todo = [(_Pause(now, {}, within), 0) for now, _ in self._following(moment, thrown=thrown)]
        by_order = len(todo) > 1
        while todo:
            here, depth = todo.pop()
            del on_way[depth:]
            if any(here.is_like(other) for other in on_way):
                raise _Unknown(by_order=by_order)
            if any(here.is_like(other) for other in known):
                continue
            known.append(here)
            on_way.append(here)
            if depth >= MAX_SETTLING or len(known) > MAX_IN_ALL_ORDERS:
                raise _Unknown(by_order=by_order)
            onward = list(self._onward(here))
            by_order = by_order or len(onward) > 1
            todo += [(pause, depth + 1) for pause in onward]
            if not onward:
                if rest is not None and rest != here.now:
                    raise _Unknown(by_order=True)
                rest = here.now
        assert rest is not None
        return rest

    def _onward(self, here: _Pause) -> Iterator[_Pause]:
        """What may come next on the way to rest: something moves at once, or the shortest delay
        ends; nothing at rest, nor where time is up."""
        at_once = self._following(here.now)
        moving = [then for then, _ in at_once if then != here.now]
        if moving:
            yield from (_Pause(then, here.waiting, here.left) for then in moving)
            return
        due = {
            name: [then for then, _ in self._following(here.now, name)]
            for _, waiting in at_once
            for name in waiting
        }
        waiting = {name: here.waiting.get(name, self._seconds(name, here.now)) for name in due}
        shortest = min(waiting.values(), default=Fraction(0))
        left = None if here.left is None else here.left - shortest
        if left is not None and left < 0:
            return
        for first, ways in due.items():
            if waiting[first] == shortest:
                further = {n: w - shortest for n, w in waiting.items() if n != first}
                yield from (_Pause(then, further, left) for then in ways)

    def _seconds(self, name: str, now: Mapping[Observable, str]) -> Fraction:
        """The delay of a timer or a slow relay, in seconds."""
        timer = self.plan.locking.timers.get(name)
        if timer is not None:
            return timer.seconds
        relay = self.plan.locking.relays[name]
        is_up = now[observables.relay(name)] == "up"
        return (relay.slow_release if is_up else relay.slow_pick) or Fraction(0)

    def _following(
        self, moment: Mapping[Observable, str], expiring: str = "", thrown: str | None = None
    ) -> list[tuple[Moment, tuple[str, ...]]]:
        """The next states, by the order in which relays act, each with the delays that run on:
        points arrive, time passes, no train moves."""
        chosen = {observables.choice("expiry", expiring): "yes"} if expiring else {}
        if thrown is not None:
            chosen[observables.choice("throw", thrown)] = "yes"
        whole = {**self._whole(moment), **chosen}
        key = frozenset(whole.items())
        if key not in self._known:
            # The same moments come again and again on the way to rest.
            self._known[key] = in_any_order(self.stepper, whole, MAX_ORDERS)
        ways = self._known[key]
        if ways is None:
            raise _Unknown(by_order=True)
        self.moments += len(ways)
        held = {what: moment[what] for what in self._held if what in moment}
        return [({**way.successor, **held}, way.waiting) for way in ways]

    def _whole(self, moment: Mapping[Observable, str]) -> Moment:
        """A moment with all its choices."""
        return {**self._passing, **moment}
