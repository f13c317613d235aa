"""Work in processes of this computer: for sweeps without a cluster, and to check what one says."""

import json
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from typing import Any

from verifier.engines.stopping import is_over, is_stopped, stoppable
from verifier.farm.answers import Answer, Lost, NotDone
from verifier.farm.hands import HandDied, NotWanted, end_all, hand, request

# Seconds between two looks whether to stop.
LOOK = 0.1


class OurBug(Exception):
    """Something was raised in a process that is no answer."""


class Stop:
    """Whether work that is begun is wanted no more. (Ctrl-C is noted in the main thread only.)"""

    def __init__(self) -> None:
        self.asked = False


def ask(stop: Stop, function: str, *arguments: object) -> Any:
    """What a function returns in a process here. Raises HandDied, NotWanted; :class:`OurBug` with
    what it raised."""
    with hand() as held:
        told = json.loads(held.ask(request(function, *arguments), lambda: not stop.asked))
    if "raised" in told:
        raise OurBug(told["raised"])
    return told["answer"]


def answers_here(
    requests: Sequence[bytes], jobs: int, progress: Callable[[int, int], None]
) -> Iterator[tuple[int, Answer]]:
    """For each request its number and the answer, in the order in which they come."""
    stop = Stop()

    def answer(asked: bytes) -> Answer:
        try:
            with hand() as held:
                told: Answer = json.loads(held.ask(asked, lambda: not stop.asked))
                return told
        except NotWanted:
            return NotDone()
        except HandDied:
            return Lost("the process that had it ended without an answer")

    with stoppable(), ThreadPoolExecutor(jobs) as pool:
        numbers: dict[Future[Answer], int] = {}
        waiting, done = iter(range(len(requests))), 0
        try:
            while True:
                while len(numbers) < 2 * jobs and (number := next(waiting, None)) is not None:
                    numbers[pool.submit(answer, requests[number])] = number
                if not numbers:
                    return
                ready, _ = wait(numbers, timeout=LOOK, return_when=FIRST_COMPLETED)
                for future in ready:
                    done += 1
                    yield numbers.pop(future), future.result()
                    progress(done, len(requests))
                if is_stopped() or is_over():
                    stop.asked = True
                    yield from ((n, f.result()) for f, n in numbers.items())
                    yield from ((n, NotDone()) for n in waiting)
                    return
        finally:
            stop.asked = True
            pool.shutdown(wait=True, cancel_futures=True)
            end_all()
