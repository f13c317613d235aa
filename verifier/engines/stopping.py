"""When work has to stop before its end: Ctrl-C was pressed, the system ends the program (SIGTERM),
or the time for all of it is over.

Whoever runs a proof says so once (:func:`stoppable`, :func:`time_limit`). What works long asks
:func:`checkpoint` between two steps, where nothing is left half done, and lets a solver work no
longer than until :func:`deadline`. Being stopped is never an answer.

Python raises KeyboardInterrupt wherever it happens to be, a destructor included, where it is lost.
Here Ctrl-C only sets a flag. (The solver notices Ctrl-C by itself while it searches.)
"""

import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path
from time import monotonic

from verifier.engines.results import Interrupted

if sys.platform != "win32":
    import resource

# Where Linux says how many pages of memory this process uses.
_USED = Path("/proc/self/statm")
# Bytes that are left for telling what was decided.
RESERVE = 48 * 2**20
# What ends this program with what is known.
ENDING = (signal.SIGINT, signal.SIGTERM)
OUT_OF_TIME = "no answer in the time allowed"


@dataclass(frozen=True, slots=True)
class TimeLimit:
    """The ``seconds`` that the user gave, and the time of :func:`time.monotonic` at their end."""

    seconds: float
    end: float


_limit: ContextVar[TimeLimit | None] = ContextVar("limit", default=None)
# Not empty once Ctrl-C was pressed.
_pressed: ContextVar[list[int] | None] = ContextVar("pressed", default=None)


class OutOfTime(Interrupted):
    """The time that the user gave for all of the work is over."""


@contextmanager
def time_limit(seconds: float | None) -> Iterator[None]:
    """All work in here takes at most so many seconds, counted from now; None sets no limit.
    Of a limit within another, the one that ends earlier counts."""
    with under(None if seconds is None else TimeLimit(seconds, monotonic() + seconds)):
        yield


def limit_now() -> TimeLimit | None:
    """The limit that all work here has, for another process to work :func:`under`."""
    return _limit.get()


@contextmanager
def under(limit: TimeLimit | None) -> Iterator[None]:
    """All work in here ends with this limit too."""
    outer = _limit.get()
    if limit is None or (outer is not None and outer.end < limit.end):
        limit = outer
    before = _limit.set(limit)
    try:
        yield
    finally:
        _limit.reset(before)


@contextmanager
def stoppable() -> Iterator[None]:
    """In here, Ctrl-C and what :func:`heed_termination` heeds make :func:`checkpoint` raise
    :class:`Interrupted`.

    Not outside the main thread, nor where the caller handles a signal: then the caller's handler
    stays in place."""
    heeded = [n for n in ENDING if signal.getsignal(n) is signal.default_int_handler]
    if threading.current_thread() is not threading.main_thread() or not heeded:
        yield
        return
    pressed: list[int] = []
    for number in heeded:
        signal.signal(number, lambda number, _frame: pressed.append(number))
    before = _pressed.set(pressed)
    try:
        yield
    finally:
        _pressed.reset(before)
        for number in heeded:
            signal.signal(number, signal.default_int_handler)


def heed_termination() -> None:
    """From now on SIGTERM ends this process as Ctrl-C does, where nobody has said otherwise."""
    in_main = threading.current_thread() is threading.main_thread()
    if in_main and signal.getsignal(signal.SIGTERM) is signal.SIG_DFL:
        signal.signal(signal.SIGTERM, signal.default_int_handler)


def checkpoint() -> None:
    """Raises :class:`Interrupted` after Ctrl-C, :class:`OutOfTime` when the time is over, and
    MemoryError shortly before the memory is used up."""
    if is_stopped():
        raise Interrupted
    if is_over():
        raise OutOfTime(out_of_time())
    check_memory()


def is_stopped() -> bool:
    """Whether it was told to end since the work began that is :func:`stoppable`."""
    return bool(_pressed.get())


def check_memory() -> None:
    """Raises MemoryError while there is still some memory left of what the system allows this
    process (``ulimit -v``): a solver that gets none ends the process."""
    left = _memory_left()
    if left is not None and left < RESERVE:
        raise MemoryError


def _memory_left() -> int | None:
    """Bytes that this process may still take; None where there is no limit, or nobody says."""
    if sys.platform == "win32":
        return None
    limit, _ = resource.getrlimit(resource.RLIMIT_AS)
    if limit == resource.RLIM_INFINITY:
        return None
    try:
        pages = int(_USED.read_text("ascii").split()[0])
    except OSError:
        return None
    return limit - pages * resource.getpagesize()


def is_over(grace: float = 0.0) -> bool:
    """Whether the time for all of the work is over, and ``grace`` seconds more."""
    limit = _limit.get()
    return limit is not None and monotonic() >= limit.end + grace


def out_of_time() -> str:
    """Why something was not decided when :func:`is_over`."""
    limit = _limit.get()
    return f"not reached within {limit.seconds:g} s" if limit else ""


def late(end: float | None) -> str:
    """Why there was no answer before a deadline: that of the question, or that of all the work."""
    of_all = end is not None and end == deadline()
    return out_of_time() if of_all else OUT_OF_TIME


def deadline(of_question: float | None = None) -> float | None:
    """The time of :func:`time.monotonic` until which a solver may work on a question that has a
    deadline of its own or none; None for no limit."""
    limit = _limit.get()
    if limit is None:
        return of_question
    return limit.end if of_question is None else min(of_question, limit.end)
