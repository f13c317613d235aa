"""Work on several processors: one process for each, and the answers in the order of the tasks.

A process that dies answers nothing: its task, and those not begun, are :class:`Lost`. Ctrl-C is
passed on: what is being worked on ends with what is known, and the rest is :class:`NotBegun`.
"""

import os
import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from functools import partial
from multiprocessing import active_children, get_context
from time import monotonic
from typing import Any, TypeVar

from verifier.engines.garbage import collect_seldom
from verifier.engines.stopping import TimeLimit, is_stopped, limit_now, stoppable, under

# Seconds between two looks at what is done, and that a process has to end after Ctrl-C.
_LOOK, _GRACE = 0.05, 10.0

Task = TypeVar("Task")
Answer = TypeVar("Answer")


@dataclass(frozen=True, slots=True)
class Lost:
    """The answer of a process that died."""


@dataclass(frozen=True, slots=True)
class NotBegun:
    """In place of an answer after Ctrl-C."""


def processors() -> int:
    """How many processors this process may use."""
    allowed = getattr(os, "sched_getaffinity", None)
    return len(allowed(0)) if allowed else os.cpu_count() or 1


def in_processes(
    work: Callable[[Task], Answer],
    tasks: Sequence[Task],
    jobs: int,
    progress: Callable[[int, int], None],
) -> Iterator[Answer | Lost | NotBegun]:
    """The answers to the tasks, one for each and in their order, as soon as it and those before it
    are known. Tasks and answers are sent from process to process, so they must be picklable."""
    # Before any thread runs, a copy of this process is the quickest way to a process that has
    # loaded everything; elsewhere than on Linux, copies are not safe.
    context = get_context("fork" if sys.platform == "linux" else "spawn")
    pool = ProcessPoolExecutor(min(jobs, len(tasks)), context, initializer=_begin)
    begun = partial(_answer, work, limit_now())
    try:
        with stoppable():
            futures: list[Future[Answer]] = [pool.submit(begun, task) for task in tasks]
            for future in futures:
                while not future.done() and not is_stopped():
                    wait([future], timeout=_LOOK)
                    progress(sum(other.done() for other in futures), len(futures))
                if is_stopped():
                    _stop(futures)
                yield _result(future)
    finally:
        pool.shutdown(wait=False, cancel_futures=True)
        for process in active_children():
            process.terminate()


# In a process: not empty once it was told to stop. Tasks that wait for it are then not begun.
_stopped: list[int] = []


def _begin() -> None:
    """In a new process: Ctrl-C is noted while there is nothing to do. Who began it may end it."""
    signal.signal(signal.SIGINT, _note)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    collect_seldom()


def _note(number: int, _frame: object) -> None:
    _stopped.append(number)


def _answer(work: Callable[[Task], Answer], limit: TimeLimit | None, task: Task) -> Answer:
    """In a process: the answer to a task. Ctrl-C ends it with what is known.

    Raises KeyboardInterrupt where the process was told to stop before."""
    if _stopped:
        raise KeyboardInterrupt
    signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with stoppable(), under(limit):
            answer = work(task)
            _stopped.extend([signal.SIGINT] * is_stopped())
            return answer
    finally:
        signal.signal(signal.SIGINT, _note)


def _result(future: "Future[Any]") -> Any:
    try:
        return future.result(timeout=0)
    except BrokenProcessPool:
        return Lost()
    except (CancelledError, KeyboardInterrupt, TimeoutError):
        return NotBegun()


def _stop(futures: "Sequence[Future[Answer]]") -> None:
    """End what is being worked on, and begin nothing more."""
    for future in futures:
        future.cancel()
    end = monotonic() + _GRACE
    while monotonic() < end and not all(future.done() for future in futures):
        for process in active_children():
            if process.pid is not None:
                os.kill(process.pid, signal.SIGINT)
        wait(futures, timeout=_LOOK * 10)
