"""Durations of a file: what takes at least so long, and what lasts less long than that.

Time is continuous, and nothing is rounded. A timer or a slow relay takes as long as the file says.
What trains need, and how long detection is lost, are bounds from above.

A history may show a delay that is late; then it is found to end alike where none is
(:mod:`verifier.decide.punctuality`), since a shorter history is easier to read.

Durations matter only where the plan says how long trains need to stop, or where detection may be
lost for so many seconds. Elsewhere a delay may have any length.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from verifier.plan.locking.locking_model import Locking

# Loss of shunt of this length and less must not release anything (49 CFR 236.309).
LOSS_SECONDS = Fraction(5)


@dataclass(frozen=True, slots=True)
class Duration:
    """The least time that a timer or relay takes to become ``to``, in seconds."""

    name: str
    to: str
    seconds: Fraction


def durations_matter(locking: Locking, *, lossy: bool = False) -> bool:
    """Whether anything has an upper bound that delays are measured against."""
    return lossy or locking.running.to_stop is not None


def delays(locking: Locking) -> Iterator[Duration]:
    """The delays of the file: timers, and slow relays each way."""
    for timer in locking.timers.values():
        if timer.seconds:
            yield Duration(timer.name, "done", timer.seconds)
    for relay in locking.relays.values():
        if relay.slow_pick:
            yield Duration(relay.name, "up", relay.slow_pick)
        if relay.slow_release:
            yield Duration(relay.name, "down", relay.slow_release)
