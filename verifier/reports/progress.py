"""How far long work has come, on the error output.

On a terminal: one line that is written over again and again. Elsewhere (a log, a pipe): a plain
line every ten seconds. Nothing at all while the work takes less than that.
"""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import TextIO

from verifier.verdicts.report import Verdict

# Seconds before anything is shown, and between two updates: on a terminal, and elsewhere.
AFTER, EVERY = 1.0, 0.1
PLAIN_AFTER, PLAIN_EVERY = 5.0, 10.0
# Seconds after which the line is shown even though no question ended.
BEAT = 1.0


class ProgressLine:
    """Called with (done, of), and told each verdict; :meth:`clear` wipes the line away. ``name``
    is the file's, ``done`` the word for what is done."""

    def __init__(
        self,
        stream: TextIO,
        name: str = "",
        done: str = "done",
        clock: Callable[[], float] = time.monotonic,
    ):
        self._stream, self._name, self._word, self._clock = stream, name, done, clock
        self._on = True
        self._over = stream.isatty()
        self._begun = clock()
        self._next = self._begun + (AFTER if self._over else PLAIN_AFTER)
        self._written = 0
        self._done = self._of = 0
        self._broken: set[str] = set()
        self._lock = threading.Lock()

    def __call__(self, done: int, of: int) -> None:
        self._done, self._of = done, of
        self.show()

    def on_verdict(self, verdict: Verdict) -> None:
        """Count what is broken."""
        if verdict.fails:
            self._broken.add(verdict.obligation.key)

    def show(self) -> None:
        """Write the line, where it is time to."""
        with self._lock:
            now = self._clock()
            if not self._on or now < self._next:
                return
            self._next = now + (EVERY if self._over else PLAIN_EVERY)
            try:
                self._write(self._text(now - self._begun))
            except (OSError, ValueError):  # nobody reads it any more
                self._on = False

    def clear(self) -> None:
        """Leave no trace on a terminal."""
        with self._lock, suppress(OSError, ValueError):
            if self._written and self._on:
                self._write("")
                self._stream.write("\r")
                self._stream.flush()
                self._written = 0

    @contextmanager
    def alive(self) -> Iterator[None]:
        """In here it is shown even while one question takes long; at the end it is cleared."""
        over = threading.Event()

        def beat() -> None:
            while not over.wait(BEAT):
                self.show()

        thread = threading.Thread(target=beat, daemon=True, name="progress")
        thread.start()
        try:
            yield
        finally:
            over.set()
            thread.join()
            self.clear()

    def _text(self, seconds: float) -> str:
        said = [f"{self._done} of {self._of} {self._word}"] if self._of else []
        said += [f"{len(self._broken)} broken so far"] if self._broken else []
        return f"{self._name}: {', '.join([*said, f'{seconds:.0f} s'])}"

    def _write(self, text: str) -> None:
        encoding = self._stream.encoding or "ascii"
        text = text.encode(encoding, "replace").decode(encoding)
        if self._over:
            self._stream.write(f"\r{text:<{self._written}}")
            self._written = len(text)
        else:
            self._stream.write(f"{text}\n")
        self._stream.flush()
