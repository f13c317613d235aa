"""How long delays and windows of a history have lasted, in exact time.

Part of the reference, beside :mod:`verifier.reference.step`. In: the states of each moment, what
begins and ends there, and how long the moment lasts. Out: whether a timer or slow relay took at
least its time, and everything else less than it may.
"""

from collections.abc import Iterable, Mapping
from fractions import Fraction

from verifier.plan.observables import Observable
from verifier.reference.state_variables import StateVariables


class Stopwatch:
    """The time of one history so far. What begins or ends in a moment does so at its end."""

    def __init__(self, variables: StateVariables):
        self._variables = variables
        self._now = Fraction(0)
        # When each window last began, and each timer or slow relay was last not waiting.
        self._began: dict[Observable, Fraction] = {}
        self._rested: dict[str, Fraction] = {}

    def copy(self) -> "Stopwatch":
        """The same, to try how the history may go on."""
        other = Stopwatch(self._variables)
        other._now, other._began, other._rested = self._now, {**self._began}, {**self._rested}
        return other

    def passes(
        self,
        state: Mapping[Observable, str],
        begun: Iterable[Observable],
        ended: Iterable[tuple[str, str]],
        lasts: Fraction,
        *,
        hurries: bool = False,
    ) -> bool:
        """Whether, when the moment has passed, the delays that ended have lasted long enough, and
        the windows that are on and do not begin anew not too long. ``hurries``: it may not last."""
        if lasts < 0 or (hurries and lasts):
            return False
        self._now += lasts
        begun = set(begun)
        for window, seconds in self._variables.windows():
            on = state[window] == "yes" and window not in begun
            if on and self._now - self._began[window] >= seconds:
                return False
        for name in self._variables.plan.locking.memory:
            clock = self._variables.clock(name)
            if clock is not None and state[clock] == "at rest":
                self._rested[name] = self._now
        self._began |= dict.fromkeys(begun, self._now)
        return all(
            self._now - self._rested[name] >= (self._variables.delay(name, to) or 0)
            for name, to in ended
            if self._variables.timed
        )
