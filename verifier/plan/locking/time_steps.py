"""Time in moments: how long a moment is, and how many of them each duration takes.

Durations matter only where the plan says how long trains need to stop, or where detection may
be lost for so many seconds. Elsewhere a delay lasts as long as it likes, which allows more
histories than any length would.
"""

from fractions import Fraction
from functools import reduce
from math import ceil, floor, gcd, lcm

from verifier.plan.locking.locking_model import Locking

# No duration takes more moments than this: delays of the file may then end anywhere between
# what they come to rounded down and rounded up, and what trains and track may do is rounded up,
# so that nothing is proved that is not so.
MOST = 12

# Loss of shunt of this length and less must not release anything (49 CFR 236.309).
LOSS_SECONDS = Fraction(5)


def moment(locking: Locking, *, lossy: bool = False) -> Fraction | None:
    """The length of a moment in seconds; None where durations do not matter."""
    given = [*([LOSS_SECONDS] if lossy else []), *filter(None, [locking.running.to_stop])]
    if not given:
        return None
    for relay in locking.relays.values():
        given += filter(None, (relay.slow_pick, relay.slow_release))
    given += [timer.seconds for timer in locking.timers.values()]
    common = reduce(_common, given)
    return max(common, max(given) / MOST)


def delay_in(seconds: Fraction, unit: Fraction) -> int:
    """How many moments a timer or a slow relay of the file takes, at least."""
    return floor(seconds / unit)


def window_in(seconds: Fraction, unit: Fraction) -> int:
    """How many moments something takes, at most."""
    return ceil(seconds / unit)


def _common(one: Fraction, other: Fraction) -> Fraction:
    below = lcm(one.denominator, other.denominator)
    return Fraction(gcd(int(one * below), int(other * below)), below)
