"""Ctrl-C while a plan is being proved: noticed between two questions, never during one.

Python raises KeyboardInterrupt wherever it happens to be, a destructor included, where it is lost.
Here Ctrl-C only sets a flag, which the prover checks. (The solver notices Ctrl-C by itself while it
searches.)
"""

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from verifier.engines.results import Interrupted


@contextmanager
def interrupt_check() -> Iterator[Callable[[], None]]:
    """A function that raises :class:`Interrupted` once Ctrl-C was pressed.

    It never does outside the main thread, or where the caller handles Ctrl-C: then the caller's
    handler stays in place."""
    pressed: list[int] = []

    def check() -> None:
        if pressed:
            raise Interrupted

    if (
        threading.current_thread() is not threading.main_thread()
        or signal.getsignal(signal.SIGINT) is not signal.default_int_handler
    ):
        yield check
        return
    before = signal.signal(signal.SIGINT, lambda number, _frame: pressed.append(number))
    try:
        yield check
    finally:
        signal.signal(signal.SIGINT, before)
