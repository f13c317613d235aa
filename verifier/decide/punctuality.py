"""Whether what a history ends in rests on relays or timers that are late.

In: a timed system and a trace of it with times, in which delays may last longer than the file says.
Out: nothing, where no delay is late, or where the trace still ends so once each delay is over in
time; else the windows and delays that rule out that none is late.
"""

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction

from verifier.engines.results import Conflict, Reachable, Unknown
from verifier.engines.temporal.localization import LocalAnswer
from verifier.engines.temporal.scheduling import Scheduled, scheduled, scheduler_of
from verifier.explain.trace_slicing import following
from verifier.logic.expr import Expr, holds
from verifier.logic.transition_system import Delay, System
from verifier.plan import observables
from verifier.plan.observables import Observable
from verifier.properties.obligation import Obligation
from verifier.world.history import Histories

Moment = Mapping[Observable, str]

# Moments added at most so that delays are over in time.
MOST_ADDED = 60
_HELD = ("lever", "button", "derail", "gate")


def lateness(system: System, bad: Expr, played: Scheduled) -> Conflict | None:
    """Why the end of a trace rests on delays that are late; None where it does not."""
    if system.timing is None:
        return None
    scheduler = scheduler_of(system)
    late = scheduler.schedule(played.moments, punctual=True)
    if not isinstance(late, Conflict):
        return None
    course = [*_InTime(system, played).course()]
    ends_so = len(course) <= len(played.moments) + MOST_ADDED and holds(bad, course[-1])
    if ends_so and all(holds(expr, moment) for moment in course for expr in system.always):
        found = scheduler.schedule(course, punctual=True)
        return None if not isinstance(found, Conflict) else late
    return late


class _InTime:
    """A trace with moments added, at which delays end that would be late."""

    def __init__(self, system: System, played: Scheduled):
        assert system.timing is not None
        self._system = system
        self._delays = system.timing.delays
        self._played = played
        self._now = Fraction(0)
        self._state: Moment = {what: played.moments[0][what] for what in system.states}
        self._began = {delay.clock: Fraction(0) for delay in self._delays}

    def course(self) -> Iterator[Moment]:
        """The states and inputs of each moment; too many, where that does not end."""
        added = 0
        for moment, seconds in zip(self._played.moments, self._played.seconds, strict=True):
            end = self._now + seconds
            while added <= MOST_ADDED and (late := self._late(end)):
                added += 1
                yield self._step(self._waiting(moment, late), max(self._now, self._due(late[0])))
            chosen = {what: moment[what] for what in self._system.inputs}
            for delay in self._delays:
                if end < self._due(delay) and _over(delay) in chosen:
                    chosen[_over(delay)] = "no"
            yield self._step(chosen, end)
        if added > MOST_ADDED:
            yield from [self._played.moments[-1]] * added

    def _due(self, delay: Delay) -> Fraction:
        """When a delay that runs should be over."""
        return self._began[delay.clock] + delay.longest

    def _late(self, end: Fraction) -> Sequence[Delay]:
        """The delays that should be over first, and before ``end``."""
        runs = [d for d in self._delays if self._state[d.clock] == "running" and self._due(d) < end]
        first = min(map(self._due, runs), default=None)
        return [delay for delay in runs if self._due(delay) == first]

    def _waiting(self, moment: Moment, late: Sequence[Delay]) -> Moment:
        """The inputs of a moment at which nothing happens but that delays end."""
        windows = self._system.timing.windows if self._system.timing else ()
        kept = {what: moment[what] for what in self._system.inputs if what.kind in _HELD}
        stay = dict.fromkeys((observables.stays(window.what) for window in windows), "yes")
        usual = {what: what.usual for what in self._system.inputs}
        ripens = (observables.choice("ripens", delay.clock.name) for delay in self._delays)
        over = dict.fromkeys((*ripens, *map(_over, late)), "yes")
        chosen = {**kept, **stay, **over}
        return {what: chosen.get(what, value) for what, value in usual.items()}

    def _step(self, chosen: Moment, end: Fraction) -> Moment:
        """The moment with these inputs, which ends then."""
        moment = {**self._state, **chosen}
        self._now = end
        self._state = following(self._system, moment)
        self._began |= {d.clock: end for d in self._delays if moment[d.clock] == "at rest"}
        return moment


def _over(delay: Delay) -> Observable:
    return observables.choice("expiry", delay.clock.name)


def against(
    obligation: Obligation, answer: LocalAnswer, histories: Histories
) -> tuple[Conflict, ...]:
    """Why the histories that an answer found do not count: they have no times, or their ends
    rest on relays or timers that are late."""
    system, outcome = histories.system, answer.outcome
    match outcome:
        case Unknown(conflicts=conflicts):
            return conflicts
        case Reachable(trace=trace) if system.timing is not None:
            played = scheduled(system, trace)
            assert played is not None, "bounded model checking finds traces that have times"
            late = lateness(system, histories.expand(obligation.formula), played)
            return () if late is None else (late,)
        case _:
            return ()
