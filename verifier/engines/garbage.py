"""How often the process looks for garbage that Python's counting of references does not find.

A proof makes millions of small objects that live long and hardly any circles of them: with Python's
own thresholds it looks through all of them again and again, a tenth of a proof's time.
"""

import atexit
import gc

# Objects made since the last time, and how often the younger generations are looked through before
# the older ones are.
THRESHOLDS = (50_000, 20, 50)


def collect_seldom() -> None:
    """For processes that are ours: a library leaves this to its caller. At the end of the process
    nothing is looked through: the system takes back what is left."""
    gc.set_threshold(*THRESHOLDS)
    atexit.register(gc.freeze)
