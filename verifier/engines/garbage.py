"""How often the process looks for garbage that Python's counting of references does not find.

A proof makes millions of small objects that live long and hardly any circles of them: with Python's
own thresholds it looks through all of them again and again, a tenth of a proof's time.
"""

import gc

# Objects made since the last time, and how often the younger generations are looked through before
# the older ones are.
THRESHOLDS = (50_000, 20, 50)


def collect_seldom() -> None:
    """For processes that are ours: a library leaves this to its caller."""
    gc.set_threshold(*THRESHOLDS)
