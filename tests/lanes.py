"""Which tests are slow: those that ``pytest -m "not slow and not browser"`` leaves out.

Folders and modules are named here, and single tests of modules that are quick otherwise. What is
named must exist (tests/house checks it), so that nothing stays here after it has moved.
"""

# Each of these takes more than two seconds of one processor, measured with nothing else running.
SLOW = ("tests/benchmarks/",)


def is_slow(nodeid: str) -> bool:
    """Whether a test belongs to what is named above."""
    return nodeid.startswith(SLOW)
