"""Proofs in worker processes, which are killed when the text changes.

In: a text to prove. Out: lines of progress, and a last line: the verdicts, or that nothing was
decided and why. Whatever happens to a worker, it is never taken for a proof.
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
# Idle workers: one for the next text, and another while it proves.
MAX_IDLE = 2
# The length of a line: the verdicts of a large layout.
MAX_LINE = 200_000_000

CUT_SHORT = "the process that proves ended early"


class _Worker:
    """One process. ``ready``: it has loaded everything that a proof needs."""

    def __init__(self, process: Process):
        self.process = process
        self.ready = False

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
        try:
            self.process.stdin.write(json.dumps(job).encode() + b"\n")
            await self.process.stdin.drain()
        except (OSError, RuntimeError):
            return False
        return True

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
        """Prove a text for one tab; its previous proof is aborted. The last line has ``report``,
        ``errors``, ``bug`` or ``undecided``."""
        before = self._at_work.pop(tab, None)
        if before is not None:
            self._end(before)
        async with self._room:
            worker = await self._next()
            if worker is None:
                yield {"undecided": "the page is being closed"}
                return
            self._at_work[tab] = worker
            finished = False
            try:
                async with aclosing(_answer(worker, job)) as lines:
                    async for line in lines:
                        finished = "report" in line or "errors" in line
                        if not finished:  # the text may change before the proof ends
                            self.warm_up()
                        yield line
            finally:
                mine = self._at_work.get(tab) is worker
                if mine:
                    del self._at_work[tab]
                if mine and finished and len(self._idle) < MAX_IDLE and not self._closed:
                    self._idle.insert(0, asyncio.create_task(_as_it_is(worker)))
                else:
                    self._end(worker)

    def stop(self, tab: str) -> None:
        """End the proof of a tab early: its last line has what was decided until then."""
        worker = self._at_work.get(tab)
        if worker is None or worker.process.returncode is not None:
            return
        if worker.ready and sys.platform != "win32":
            worker.process.send_signal(signal.SIGINT)
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


async def _as_it_is(worker: _Worker) -> _Worker:
    return worker


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
                yield {"undecided": "the process that proves does not start"}
                return
            if now - said >= HEARTBEAT:
                said = now
                yield {**far, "seconds": round(now - began, 1)}
            if not told:
                continue
            line, waiting = waiting.result(), None
            if line is None:
                yield {"undecided": CUT_SHORT}
                return
            if "ready" in line:
                worker.ready = True
            elif "done" in line:
                far = line
            else:
                yield line
                return
    finally:
        if waiting is not None:
            waiting.cancel()
