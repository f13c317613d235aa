"""Processes that do one piece of work after another, each for whoever holds it.

In: the name of a function of ours and its arguments. Out: what it returns, as JSON. The solver is
for one thread of a process at a time, and a process can be ended at any moment: so threads, such as
those of a Dask worker, have hands to work with. A hand ends with the process that holds it.

Started as ``python -P -m verifier.farm.hands``.
"""

import json
import os
import pickle
import signal
import struct
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from importlib import import_module
from queue import Empty, SimpleQueue
from typing import IO, Any

Json = dict[str, Any]

# Seconds between two looks at whether the answer is still wanted.
_LOOK = 0.25
_SIZE = struct.Struct(">Q")


class HandDied(Exception):
    """The process ended before it answered."""


class NotWanted(Exception):
    """Nobody waits for the answer any more; the process was ended."""


class Hand:
    """One process."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-m", "verifier.farm.hands"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip
        self._answers: SimpleQueue[bytes | None] = SimpleQueue()
        threading.Thread(target=self._listen, daemon=True).start()

    def ask(self, request: bytes, is_wanted: Callable[[], bool]) -> bytes:
        """The answer to a request. Raises :class:`HandDied`, :class:`NotWanted`."""
        assert self._process.stdin is not None
        try:
            _write(self._process.stdin, request)
        except OSError:
            raise HandDied from None
        while True:
            try:
                answer = self._answers.get(timeout=_LOOK)
            except Empty:
                if is_wanted():
                    continue
                self.end()
                raise NotWanted from None
            if answer is None:
                raise HandDied
            return answer

    def end(self) -> None:
        """End the process, whatever it does."""
        self._process.kill()
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                with suppress(OSError):
                    pipe.close()

    def _listen(self) -> None:
        pipe = self._process.stdout
        assert pipe is not None
        with suppress(OSError, ValueError):  # closed at the end
            while (answer := _read(pipe)) is not None:
                self._answers.put(answer)
        self._answers.put(None)


# Of this process: those that nobody uses.
_idle: list[Hand] = []
_lock = threading.Lock()


@contextmanager
def hand() -> Iterator[Hand]:
    """A hand for one piece of work; one that did not come to its end is not used again."""
    with _lock:
        held = _idle.pop() if _idle else None
    held = held or Hand()
    try:
        yield held
    except BaseException:
        held.end()
        raise
    with _lock:
        _idle.append(held)


def end_all() -> None:
    """End the hands that nobody uses."""
    with _lock:
        while _idle:
            _idle.pop().end()


def request(function: str, *arguments: object) -> bytes:
    """A request as it is sent: ``function`` is named as ``module:name``."""
    return pickle.dumps((function, arguments))


# ------------------------------------------------------------------ in the process


def main() -> None:
    from verifier.engines.garbage import collect_seldom

    # Ctrl-C is for whoever holds the hand. Nothing printed may be taken for an answer.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    collect_seldom()
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    requests: SimpleQueue[bytes] = SimpleQueue()
    threading.Thread(target=_take, args=(requests,), daemon=True).start()
    while True:
        _write(answers, answer_to(requests.get()))


def _take(requests: "SimpleQueue[bytes]") -> None:
    """Pass requests on. End the process at once when nobody holds it any more."""
    while (found := _read(sys.stdin.buffer)) is not None:
        requests.put(found)
    os._exit(0)


def answer_to(asked: bytes) -> bytes:
    """What a function returns, or what it raised."""
    function, arguments = pickle.loads(asked)
    module, _, name = function.partition(":")
    try:
        told: Json = {"answer": getattr(import_module(module), name)(*arguments)}
    except Exception as error:
        told = {"raised": f"{type(error).__name__}: {error}"}
    return json.dumps(told, separators=(",", ":")).encode()


def _write(pipe: IO[bytes], content: bytes) -> None:
    pipe.write(_SIZE.pack(len(content)) + content)
    pipe.flush()


def _read(pipe: IO[bytes]) -> bytes | None:
    head = pipe.read(_SIZE.size)
    if len(head) < _SIZE.size:
        return None
    (size,) = _SIZE.unpack(head)
    content = pipe.read(size)
    return content if len(content) == size else None


if __name__ == "__main__":
    main()
