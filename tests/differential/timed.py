"""Small junctions whose verdicts depend on times, and all histories of one in exact time.

Two signals into one block; the second may clear once a timer, and slow relays after or beside it,
have run since the first was put back. No train comes in, so there are few states.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor
from random import Random

from verifier.plan.observables import Observable
from verifier.reference.condition_eval import Predicate
from verifier.reference.explicit_states import every_step
from verifier.reference.step import Stepper
from verifier.reference.transition import Transition

# As one program: relays that act in any order may add a moment of any length between them.
TEXT = """
built as one program
edge West, East leaving only
block A, B, C
button Go, Other
track West = A | B | C = East
trains need {need} s to stop
trains never reverse
{memory}
signal 2R at A | B
  Approach when Go pressed and B, C clear
  Stop     otherwise
signal 2L at C | B
  Approach when Other pressed and {when} and not Go pressed and B, A clear
  Stop     otherwise
"""


def write_timed(r: Random, *, sizes: tuple[Fraction, ...]) -> str:
    """One to three delays, each waiting for one before it or for 2R at stop."""
    memory, starts = [], ["2R at stop"]
    for i in range(r.randint(1, 3)):
        start, seconds = r.choice(starts), _seconds(r.choice(sizes))
        if r.random() < 0.5:
            memory.append(f"timer D{i} {seconds} s runs while {start}")
            starts.append(f"D{i} done")
        elif r.random() < 0.7:
            memory.append(f"relay D{i} picks when {start} slow to pick {seconds} s")
            starts.append(f"D{i} up")
        else:
            memory.append(f"relay D{i} picks when not {start} slow to release {seconds} s")
            starts.append(f"D{i} down")
    ends = r.sample(starts[1:], r.randint(1, len(starts) - 1))
    when = " and ".join(ends)
    return TEXT.format(need=_seconds(r.choice(sizes)), memory="\n".join(memory), when=when)


def _seconds(number: Fraction) -> str:
    return f"{float(number):g}"


# ------------------------------------------------------------------ all histories


@dataclass(frozen=True)
class Times:
    """How many quanta each clock and window has lasted; as many as matter at most."""

    clocks: tuple[int, ...]
    windows: tuple[int, ...]


class ExactSearch:
    """All histories in which each moment lasts no time or one ``quantum``, and no delay is late;
    none at which something that surely comes to rest has cause to move, if the stepper says so."""

    def __init__(self, stepper: Stepper, quantum: Fraction):
        self.stepper, self._quantum = stepper, quantum
        variables = stepper.variables
        locking = stepper.plan.locking
        self._names = [name for name in locking.memory if variables.clock(name)]
        # In quanta: how many are as long, or longer.
        self._windows = [(w, ceil(seconds / quantum)) for w, seconds in variables.windows()]
        self._clock_of = {name: variables.clock(name) for name in self._names}
        self._limits: dict[tuple[str, str], tuple[int, int]] = {}
        self._steps: dict[tuple[str, ...], list[Transition]] = {}

    def find(self, bads: Sequence[Predicate], *, most: int) -> list[bool | None]:
        """Of each, whether it happens in any history; None where there are too many."""
        found: list[bool | None] = [None] * len(bads)
        start = Times((0,) * len(self._names), (0,) * len(self._windows))
        waiting = [(tuple(s.values()), start) for s in self.stepper.initial_states()]
        seen = set(waiting)
        while waiting and not all(found):
            values, times = waiting.pop()
            state = dict(zip(self.stepper.states, values, strict=True))
            for step in self._steps_from(values, state):
                ways = list(self._after(state, times, step))
                for i, bad in enumerate(bads if ways else ()):
                    found[i] = found[i] or bad(step.observed) or None
                for later in ways:
                    new = tuple(step.successor[w] for w in self.stepper.states), later
                    if new not in seen:
                        seen.add(new)
                        waiting.append(new)
            if len(seen) > most:
                return found
        return [bool(happens) for happens in found]

    def _steps_from(
        self, values: tuple[str, ...], state: dict[Observable, str]
    ) -> list[Transition]:
        if values not in self._steps:
            self._steps[values] = [step for _, step in every_step(self.stepper, state)]
        return self._steps[values]

    def _after(
        self, state: dict[Observable, str], times: Times, step: Transition
    ) -> Iterator[Times]:
        """The times after a step; none where it can not last so."""
        for lasts in (0,) if step.hurries else (0, 1):
            clocks = self._clocks(state, times, step, lasts)
            windows = self._windows_after(state, times, step, lasts)
            if clocks is not None and windows is not None:
                yield Times(clocks, windows)

    def _clocks(
        self, state: dict[Observable, str], times: Times, step: Transition, lasts: int
    ) -> tuple[int, ...] | None:
        found = []
        ended = dict(step.ended)
        for name, before in zip(self._names, times.clocks, strict=True):
            clock = self._clock_of[name]
            assert clock is not None
            if state[clock] == "at rest":
                found.append(0)
                continue
            now = before + lasts
            to = ended.get(name) or self._waits_for(name, state)
            least, longest = self._limit(name, to)
            if name in ended and now < least:
                return None
            waits = name in ended or step.successor[clock] == "running"
            if waits and now > longest:
                return None
            found.append(now if step.successor[clock] == "running" else 0)
        return tuple(found)

    def _limit(self, name: str, to: str) -> tuple[int, int]:
        """How many quanta a delay lasts, rounded up and rounded down."""
        if (name, to) not in self._limits:
            seconds = self.stepper.variables.delay(name, to)
            assert seconds is not None
            self._limits[name, to] = ceil(seconds / self._quantum), floor(seconds / self._quantum)
        return self._limits[name, to]

    def _waits_for(self, name: str, state: dict[Observable, str]) -> str:
        what = self.stepper.variables.memory(name)
        return {"down": "up", "up": "down"}.get(state[what], "done")

    def _windows_after(
        self, state: dict[Observable, str], times: Times, step: Transition, lasts: int
    ) -> tuple[int, ...] | None:
        found = []
        for (window, long), before in zip(self._windows, times.windows, strict=True):
            now = before + lasts
            if window in step.begun or state[window] == "no":
                found.append(0)
            elif now >= long:
                return None
            else:
                found.append(now if step.successor[window] == "yes" else 0)
        return tuple(found)
