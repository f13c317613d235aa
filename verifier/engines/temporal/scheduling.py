"""Times for a trace of a timed system, or the delays and windows that rule them out.

In: a timed system, and the states and inputs of a trace. Out: the seconds that pass at each step,
the least there can be; or the windows and delays of the trace that no times satisfy.

The bounds are differences between the times of two steps, so times exist unless these differences
form a cycle that gains time (Bellman and Ford). "Less than" is kept exactly: amounts are pairs of
seconds and a count of arbitrarily short times.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from verifier.engines.results import Conflict
from verifier.engines.temporal.simulation import Machine, machine_of
from verifier.logic.expr import Expr, negation
from verifier.logic.transition_system import Delay, System, Timing, Window
from verifier.plan import observables
from verifier.plan.observables import Observable

Moment = Mapping[Observable, str]
# Seconds, and how many arbitrarily short times more.
_Amount = tuple[Fraction, int]


@dataclass(frozen=True, slots=True)
class _Bound:
    """The time of step ``to`` is no less than that of step ``frm`` and so much more."""

    frm: int
    to: int
    more: _Amount
    facts: tuple[tuple[Expr, int], ...] = ()
    why: Window | tuple[Observable, Fraction] | None = None


@dataclass(frozen=True, slots=True)
class Scheduled:
    """A trace with times: the states and inputs of each moment, and the seconds that it lasts."""

    moments: tuple[Moment, ...]
    seconds: tuple[Fraction, ...]


def scheduled(system: System, trace: Sequence[Moment]) -> Scheduled | None:
    """A trace of a system, or of it with more comparisons, with its times; None where it has none.
    What is compared is left out, and no choice is kept that has no effect."""
    states = {*system.states, *system.inputs}
    moments = [
        {what: value for what, value in moment.items() if what in states} for moment in trace
    ]
    if system.timing is None:
        return Scheduled(tuple(moments), ())
    for now, after in pairwise(moments):
        over = {observables.stays(w.what) for w in system.timing.windows if after[w.what] == "no"}
        over |= {
            observables.choice("expiry", delay.clock.name)
            for delay in system.timing.delays
            if after[delay.clock] == "running"
        }
        now |= {what: "no" for what in now if what in over}
    scheduler = scheduler_of(system)
    seconds = scheduler.schedule(moments)
    while isinstance(seconds, Conflict) and (early := _ended_last(seconds, system.timing, moments)):
        # With comparisons, a delay that cannot be over yet is not, whatever the last moment says.
        moments[-1] |= dict.fromkeys(early, "no")
        seconds = scheduler.schedule(moments)
    return None if isinstance(seconds, Conflict) else Scheduled(tuple(moments), seconds)


def _ended_last(conflict: Conflict, timing: Timing, moments: Sequence[Moment]) -> list[Observable]:
    """The choices of the last moment by which delays of a conflict end there."""
    last = len(moments) - 1
    ends = {when for when, step in conflict.facts if step == last}
    clocks = (d.clock for d in timing.delays if any(when in ends for when, _ in d.ends))
    over = (observables.choice("expiry", clock.name) for clock in clocks)
    return [what for what in over if moments[-1].get(what) == "yes"]


def scheduler_of(system: System) -> "Scheduler":
    """The last one is kept: traces of one system follow each other."""
    if not _latest or _latest[0][0] is not system:
        _latest[:] = [(system, Scheduler(system))]
    return _latest[0][1]


class Scheduler:
    """Finds times for traces of one system."""

    def __init__(self, system: System, machine: Machine | None = None):
        self._machine = machine or machine_of(system)
        timing = system.timing or Timing((), ())
        self._delays, self._windows, self._waits = timing.delays, timing.windows, timing.waits
        slot = self._machine.slot
        self._hurries = timing.hurries, slot(timing.hurries)
        self._ends = {
            delay.clock: [(slot(when), when, seconds) for when, seconds in delay.ends]
            for delay in self._delays
        }
        self._begins = {
            w.what: (slot(w.begins), slot(w.goes_on)) for w in (*self._windows, *self._waits)
        }

    def schedule(
        self,
        trace: Sequence[Moment],
        *,
        punctual: bool = False,
        evaluated: Sequence[Sequence[int]] = (),
    ) -> tuple[Fraction, ...] | Conflict:
        """The seconds that pass at each step of a trace of the system, or why there are none.
        ``punctual``: no delay is late; ``evaluated``: the slots of the system's machine at each
        moment, where they are known."""
        holds = evaluated or [self._true_at(moment) for moment in trace]
        bounds = list(self._bounds(trace, holds, punctual=punctual))
        times: list[_Amount] = [(Fraction(0), 0)] * (len(trace) + 1)
        by: list[_Bound | None] = [None] * len(times)
        for _ in times:
            late = [b for b in bounds if _plus(times[b.frm], b.more) > times[b.to]]
            if not late:
                return _seconds(times, bounds)
            for bound in bounds:
                at = _plus(times[bound.frm], bound.more)
                if at > times[bound.to]:
                    times[bound.to], by[bound.to] = at, bound
        return _conflict(by)

    # -------------------------------------------------------------- bounds

    def _bounds(
        self, trace: Sequence[Moment], holds: Sequence[Sequence[int]], *, punctual: bool
    ) -> Iterator[_Bound]:
        """Bounds on the times at which steps begin; that of the last also on when it ends."""
        hurries, slot = self._hurries
        for k in range(len(trace)):
            yield _Bound(k, k + 1, (Fraction(0), 0))
            if holds[k][slot]:
                yield _Bound(k + 1, k, (Fraction(0), 0), ((hurries, k),))
        for delay in self._delays:
            yield from self._of_delay(delay, trace, holds)
        for window in (*self._windows, *(self._waits if punctual else ())):
            yield from self._of_window(window, holds)

    def _of_delay(
        self, delay: Delay, trace: Sequence[Moment], holds: Sequence[Sequence[int]]
    ) -> Iterator[_Bound]:
        """It begins at the end of a step at which the clock is at rest, and ends at the end of
        another, so much later."""
        began = 0
        for k in range(len(trace)):
            if trace[k][delay.clock] == "at rest":
                began = k
            for slot, when, seconds in self._ends[delay.clock]:
                if holds[k][slot]:
                    facts = ((delay.at_rest, began), (when, k))
                    yield _Bound(began + 1, k + 1, (seconds, 0), facts, (delay.clock, seconds))

    def _of_window(self, window: Window, holds: Sequence[Sequence[int]]) -> Iterator[_Bound]:
        """It begins at the end of a step, and lasts no longer than it may at the end of each step
        at which it goes on."""
        began = 0
        begins, goes_on = self._begins[window.what]
        for k, now in enumerate(holds):
            if now[begins]:
                began = k + 1
            elif now[goes_on]:
                lasts = tuple((negation(window.begins), j) for j in range(began, k + 1))
                facts = ((window.goes_on, k), *lasts)
                more = (-window.seconds, 0 if window.closed else 1)
                yield _Bound(k + 1, began, more, facts, window)

    def _true_at(self, moment: Moment) -> list[int]:
        values = self._machine.blank(1)
        self._machine.set(values, moment)
        self._machine.evaluate(values)
        return values


def _plus(one: _Amount, more: _Amount) -> _Amount:
    return one[0] + more[0], one[1] + more[1]


def _seconds(times: Sequence[_Amount], bounds: Sequence[_Bound]) -> tuple[Fraction, ...]:
    """The times with a number in place of arbitrarily short ones: 1 s or a half, a quarter …"""
    short = Fraction(1)
    while not all(
        times[b.to][0] + times[b.to][1] * short
        >= times[b.frm][0] + times[b.frm][1] * short + b.more[0]
        and _is_less(times, b, short)
        for b in bounds
    ):
        short /= 2
    at = [seconds + count * short for seconds, count in times]
    return tuple(after - now for now, after in pairwise(at))


def _is_less(times: Sequence[_Amount], bound: _Bound, short: Fraction) -> bool:
    """Whether a window is on for less than its seconds, not as long."""
    if not isinstance(bound.why, Window) or bound.why.closed:
        return True
    on = (
        times[bound.frm][0]
        - times[bound.to][0]
        + (times[bound.frm][1] - times[bound.to][1]) * short
    )
    return on < bound.why.seconds


def _conflict(by: Sequence[_Bound | None]) -> Conflict:
    """The cycle of bounds that gains time."""
    at = next(k for k in _rising(by))
    cycle: list[_Bound] = []
    start = at
    while True:
        bound = by[at]
        assert bound is not None, "a time that rises forever rises because of others"
        cycle.append(bound)
        at = bound.frm
        if at == start:
            break
    cycle.reverse()
    reasons = sorted((b for b in cycle if b.why is not None), key=lambda b: min(b.frm, b.to))
    windows = tuple(b.why for b in reasons if isinstance(b.why, Window))
    chain = tuple(b.why for b in reasons if b.why is not None and not isinstance(b.why, Window))
    facts = tuple(fact for b in cycle for fact in b.facts)
    return Conflict(facts, windows, chain)


def _rising(by: Sequence[_Bound | None]) -> Iterator[int]:
    """Steps on a cycle of reasons."""
    for first in range(len(by)):
        seen: list[int] = []
        at = first
        while at not in seen:
            seen.append(at)
            bound = by[at]
            if bound is None:
                break
            at = bound.frm
        else:
            yield at


_latest: list[tuple[System, Scheduler]] = []
