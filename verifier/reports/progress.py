"""How far a proof is, on one line of a terminal that is written over again and again.

In: a stream, and how many questions are answered of how many. Out: nothing where the
stream is no terminal, or while it takes less than a second.
"""

import time
from collections.abc import Callable
from typing import TextIO

# Seconds before anything is shown, and between two updates.
AFTER, EVERY = 1.0, 0.1


class ProgressLine:
    """Called with (done, of); :meth:`clear` wipes the line away. ``name`` is the file's."""

    def __init__(self, stream: TextIO, name: str = "", clock: Callable[[], float] = time.monotonic):
        self._stream, self._name, self._clock = stream, name, clock
        self._on = stream.isatty()
        self._begun = clock()
        self._next = self._begun + AFTER
        self._written = 0

    def __call__(self, done: int, of: int) -> None:
        now = self._clock()
        if not self._on or now < self._next:
            return
        self._next = now + EVERY
        share = 100 * done // of if of else 100
        self._write(
            f"{self._name}: {done} of {of} questions ({share} %), {now - self._begun:.0f} s"
        )

    def clear(self) -> None:
        """Leave no trace."""
        if self._written:
            self._write("")
            self._stream.write("\r")
            self._stream.flush()
            self._written = 0

    def _write(self, text: str) -> None:
        encoding = self._stream.encoding or "ascii"
        text = text.encode(encoding, "replace").decode(encoding)
        self._stream.write(f"\r{text:<{self._written}}")
        self._stream.flush()
        self._written = len(text)
