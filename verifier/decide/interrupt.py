"""Ctrl-C while a plan is being proved: noticed between two questions, never in the midst.

Python raises KeyboardInterrupt wherever it happens to be, a destructor included, where it
is lost. While this watch is on, Ctrl-C only leaves a mark, and the prover looks at it. (The
solver notices Ctrl-C by itself while it searches.)
"""

import signal
import threading
from types import FrameType, TracebackType
from typing import Any

from verifier.engines.results import Interrupted


class InterruptWatch:
    """Context manager; :meth:`check` raises :class:`Interrupted` once Ctrl-C was pressed.

    Does nothing outside the main thread, or where the caller handles Ctrl-C itself: then
    what the caller wants happens."""

    def __init__(self) -> None:
        self._pressed = False
        self._before: Any = None

    def __enter__(self) -> "InterruptWatch":
        ours = threading.current_thread() is threading.main_thread()
        if ours and signal.getsignal(signal.SIGINT) is signal.default_int_handler:
            self._before = signal.signal(signal.SIGINT, self._press)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        where: TracebackType | None,
    ) -> None:
        if self._before is not None:
            signal.signal(signal.SIGINT, self._before)

    def _press(self, _number: int, _frame: FrameType | None) -> None:
        self._pressed = True

    def check(self) -> None:
        if self._pressed:
            raise Interrupted
