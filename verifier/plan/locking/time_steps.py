"""Time steps ("moments" to users): their length, and how many of them each duration takes.

Durations matter only where the plan says how long trains need to stop, or where detection may
be lost for so many seconds. Elsewhere a delay may have any length, which over-approximates.
"""

from fractions import Fraction
from functools import reduce
from math import ceil, floor, gcd, lcm

from verifier.plan.locking.locking_model import Locking

# No duration takes more time steps than this: a delay of the file may then end anywhere between
# its length rounded down and rounded up, and the times that trains and track need are rounded up,
# so that the result over-approximates.
MOST = 12

# Loss of shunt of this length and less must not release anything (49 CFR 236.309).
LOSS_SECONDS = Fraction(5)


def step_length(locking: Locking, *, lossy: bool = False) -> Fraction | None:
    """The length of a time step in seconds; None where durations do not matter."""
    given = [*([LOSS_SECONDS] if lossy else []), *filter(None, [locking.running.to_stop])]
    if not given:
        return None
    for relay in locking.relays.values():
        given += filter(None, (relay.slow_pick, relay.slow_release))
    given += [timer.seconds for timer in locking.timers.values()]
    common = reduce(_common, given)
    return max(common, max(given) / MOST)


def fewest_steps(seconds: Fraction, unit: Fraction) -> int:
    """The fewest time steps that a timer or a slow relay of the file takes."""
    return floor(seconds / unit)


def most_steps(seconds: Fraction, unit: Fraction) -> int:
    """The most time steps that a duration takes."""
    return ceil(seconds / unit)


def _common(one: Fraction, other: Fraction) -> Fraction:
    below = lcm(one.denominator, other.denominator)
    return Fraction(gcd(int(one * below), int(other * below)), below)
