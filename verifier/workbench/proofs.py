"""Proofs in worker processes, which are told to stop when the text changes.

In: a text to prove. Out: lines of progress, the verdicts on safety as soon as they are there, and a
last line: all verdicts, or that nothing was decided and why. Whatever happens to a worker, it is
never taken for a proof. A worker keeps what it found for the next text, so the one that proved the
text before is asked first; one that does not stop soon is killed.
"""

import asyncio
import json
import os
import signal
import sys
import time
from asyncio.subprocess import DEVNULL, PIPE, Process
from collections.abc import AsyncGenerator
from contextlib import aclosing, suppress
from pathlib import Path
from typing import Any

import verifier

Json = dict[str, Any]

# Seconds between two lines of progress, which notice a page that has disconnected.
HEARTBEAT = 0.2
# Seconds after which a worker that has not started is given up.
START_SECONDS = 60.0
# Proofs at the same time; those of further tabs wait.
MAX_WORKERS = 4
# Seconds in which a worker that is told to stop must have stopped.
STOPPING_SECONDS = 1.0
# Idle workers: one for the next text, and another while it proves.
MAX_IDLE = 2
# The length of a line: the verdicts of a large layout.
MAX_LINE = 200_000_000

# What the last line of a worker has that goes on to work.
FINISHED = frozenset(
    {"report", "errors", "draft", "undrafted", "repairs", "promises", "card", "diagnosis"}
)
CUT_SHORT = "the process that proves ended early"


class _Worker:
    """One process. ``ready``: it has loaded everything that a proof needs."""

    def __init__(self, process: Process):
        self.process = process
        self.ready = False
        # Whether it has a job that it has not answered, and was told to stop it.
        self.busy = self.told = False
        # Nobody waits for its answers any more.
        self.left = asyncio.Event()

    async def line(self) -> Json | None:
        """The next line of the worker; None if it has ended or if the line is invalid."""
        assert self.process.stdout is not None
        try:
            raw = await self.process.stdout.readline()
            said = json.loads(raw) if raw.endswith(b"\n") else None
        except (ValueError, OSError):
            return None
        return said if isinstance(said, dict) else None

    async def send(self, job: Json) -> bool:
        assert self.process.stdin is not None
        self.busy, self.told = True, False
        try:
            self.process.stdin.write(json.dumps(job).encode() + b"\n")
            await self.process.stdin.drain()
        except (OSError, RuntimeError):
            return False
        return True

    @property
    def may_stop(self) -> bool:
        """Whether it can be told to stop, and be of use afterward."""
        return self.process.returncode is None and self.ready and sys.platform != "win32"

    def stop(self) -> None:
        """Tell it to stop: its last line has what was decided until then."""
        if self.busy and not self.told:
            self.told = True
            with suppress(ProcessLookupError):
                self.process.send_signal(signal.SIGINT)

    async def stopped(self) -> "_Worker":
        """Told to stop, and free again; if that takes too long, killed."""
        if not self.busy:
            return self
        self.stop()
        try:
            async with asyncio.timeout(STOPPING_SECONDS):
                while (line := await self.line()) is not None:
                    if not _is_on_the_way(line):
                        self.busy = False
                        return self
        except TimeoutError:
            pass
        await self.end()
        return self

    async def end(self) -> None:
        with suppress(ProcessLookupError):
            self.process.kill()
        await self.process.wait()


async def _started() -> _Worker:
    """A new process, which imports the package from the same place as this one, and nothing from
    the working folder."""
    root = str(Path(verifier.__file__).parents[1])
    paths = [root, *os.environ.get("PYTHONPATH", "").split(os.pathsep)]
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-P", "-m", "verifier.workbench.worker",
        stdin=PIPE, stdout=PIPE, stderr=DEVNULL, limit=MAX_LINE,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, paths))},
        # Ctrl-C in the terminal is for the server, which ends its workers itself.
        start_new_session=True,
    )  # fmt: skip
    return _Worker(process)


class Proofs:
    """The workers of one server. One is kept ready, so that killing another costs no time."""

    def __init__(self) -> None:
        self._idle: list[asyncio.Task[_Worker]] = []
        self._at_work: dict[str, _Worker] = {}
        self._room = asyncio.Semaphore(MAX_WORKERS)
        self._closed = False
        self._ending: set[asyncio.Task[None]] = set()

    def warm_up(self) -> None:
        """Start a worker before it is needed."""
        if not self._idle and not self._closed:
            self._idle.append(asyncio.create_task(_started()))

    async def prove(self, tab: str, job: Json) -> AsyncGenerator[Json, None]:
        """Prove, draft or mend a text for one tab, or say what its crew must promise; what it asked
        before is aborted. The last line has ``report``, ``draft``, ``undrafted``, ``repairs``,
        ``promises``, ``card``, ``diagnosis``, ``errors``, ``bug`` or ``undecided``."""
        while (before := self._at_work.get(tab)) is not None:
            await self._leave(tab, before)
        async with self._room:
            worker = await self._next()
            if worker is None:
                yield {"undecided": "the page is being closed"}
                return
            self._at_work[tab] = worker
            worker.left.clear()
            finished = False
            try:
                async with aclosing(_answer(worker, job)) as lines:
                    async for line in lines:
                        finished = not line.keys().isdisjoint(FINISHED)
                        if not finished:  # the text may change before the proof ends
                            self.warm_up()
                        yield line
            finally:
                if self._at_work.get(tab) is worker:
                    del self._at_work[tab]
                worker.left.set()
                if finished or worker.busy or not worker.ready:
                    self._set_free(worker)
                else:
                    self._end(worker)

    async def _leave(self, tab: str, worker: _Worker) -> None:
        """End the proof of a tab for the next one, which is to have the same worker."""
        if worker.may_stop:
            worker.stop()
            with suppress(TimeoutError):
                async with asyncio.timeout(STOPPING_SECONDS):
                    await worker.left.wait()
                    return
        if self._at_work.get(tab) is worker:
            del self._at_work[tab]
        self._end(worker)

    def _set_free(self, worker: _Worker) -> None:
        """Stop what a worker does, and keep it for the next text; so is one that still starts."""
        is_of_use = worker.may_stop or (not worker.ready and worker.process.returncode is None)
        if self._closed or len(self._idle) >= MAX_IDLE or not is_of_use:
            self._end(worker)
        else:
            self._idle.insert(0, asyncio.create_task(worker.stopped()))

    def stop(self, tab: str) -> None:
        """End the proof of a tab early: its last line has what was decided until then."""
        worker = self._at_work.get(tab)
        if worker is None or worker.process.returncode is not None:
            return
        if worker.may_stop:
            worker.stop()
        else:
            self._end(worker)

    async def _next(self) -> _Worker | None:
        """A running worker; None if the server is closing. Workers that have ended are skipped."""
        while True:
            self.warm_up()
            if not self._idle:
                return None
            worker = await self._idle.pop(0)
            if worker.process.returncode is None:
                return worker

    def _end(self, worker: _Worker) -> None:
        """Kill a worker now, and collect it once it has ended."""
        task = asyncio.ensure_future(worker.end())
        self._ending.add(task)
        task.add_done_callback(self._ending.discard)

    async def close(self) -> None:
        """End all workers."""
        self._closed = True
        for worker in self._at_work.values():
            self._end(worker)
        for task in self._idle:
            self._end(await task)
        self._at_work.clear()
        self._idle.clear()
        await asyncio.gather(*self._ending)


def _is_on_the_way(line: Json) -> bool:
    """Whether more lines follow."""
    return "ready" in line or "done" in line or "safety" in line


async def _answer(worker: _Worker, job: Json) -> AsyncGenerator[Json, None]:
    """The lines of a worker for one job, with at least one at each heartbeat."""
    began = said = time.monotonic()
    sent, far = False, {"done": 0, "of": 0, "broken": 0}
    waiting: asyncio.Task[Json | None] | None = None
    try:
        while True:
            if worker.ready and not sent:
                sent = True
                if not await worker.send(job):
                    yield {"undecided": CUT_SHORT}
                    return
            waiting = waiting or asyncio.ensure_future(worker.line())
            told, _ = await asyncio.wait({waiting}, timeout=HEARTBEAT)
            now = time.monotonic()
            if not worker.ready and now - began > START_SECONDS:
                await worker.end()
                yield {"undecided": "the process that proves does not start"}
                return
            if now - said >= HEARTBEAT:
                said = now
                yield {**far, "seconds": round(now - began, 1)}
            if not told:
                continue
            line, waiting = waiting.result(), None
            if line is None:
                await worker.end()
                yield {"undecided": CUT_SHORT}
                return
            if "ready" in line:
                worker.ready = True
            elif "done" in line:
                far = line
            else:
                worker.busy = worker.busy and _is_on_the_way(line)
                yield line
                if not worker.busy:
                    return
    finally:
        if waiting is not None:
            waiting.cancel()
