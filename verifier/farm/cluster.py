"""A Dask cluster that is there already: work is sent to it, and answers come back.

In: its address, and requests for :mod:`verifier.farm.hands`. Out: for each request its number and
the answer, as they come, each once. Dask gives what a worker had begun to others when it dies; what
too many died of is lost. Dask runs whatever a client sends, and whatever workers send back
is read by Dask: so a cluster belongs on a network that is trusted, behind TLS.
"""

import json
import logging
import threading
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from importlib.util import find_spec
from queue import Empty, SimpleQueue
from time import monotonic
from typing import TYPE_CHECKING, Any, TypeVar, cast

from verifier.engines.stopping import is_over, is_stopped, stoppable
from verifier.farm.absent import NoCluster
from verifier.farm.answers import Answer, Lost, NotDone
from verifier.farm.hands import hand
from verifier.farm.versions import difference, versions

if TYPE_CHECKING:
    from distributed import Client, Future

Json = dict[str, Any]
T = TypeVar("T")

# What to install for it.
EXTRA = "pip install 'clearproof[farm]'"
# Seconds in which a cluster answers; in which it has some worker again after it had none; between
# two looks.
CONNECT, PATIENCE, _LOOK = 4.0, 20.0, 0.1
# Seconds between two looks at which workers there are.
_EVERY = 1.0
# Requests that wait at each thread of a worker, so that it never waits for one.
_AHEAD = 3


def check_address(address: str) -> None:
    """Raises :class:`NoCluster` where no scheduler can have this address, or where there are no
    certificates for it. Nobody is asked."""
    if find_spec("distributed") is None:
        raise NoCluster(f"`--cluster` needs Dask: {EXTRA}")
    from distributed import Security
    from distributed.comm import get_address_host_port, parse_address

    see = "see `distributed.comm.tls` in the reference."
    try:
        get_address_host_port(address)
    except ValueError:
        raise NoCluster(
            f"There is no Dask cluster at `{address}`: that is no address. Give the one that `dask "
            "scheduler` prints, such as `tls://host:8786`."
        ) from None
    try:
        certificates = Security().get_connection_args("client")["ssl_context"]
    except OSError as error:
        raise NoCluster(f"Dask cannot use its TLS certificates ({error}): {see}") from None
    if parse_address(address)[0] in ("tls", "wss") and certificates is None:
        raise NoCluster(f"Dask has no TLS certificates here: {see}")


@contextmanager
def cluster_at(address: str) -> Iterator["Client"]:
    """A cluster whose workers have our versions. Raises :class:`NoCluster`."""
    check_address(address)
    # Dask tells of every connection that does not come about. We do, in one line.
    for name in ("distributed", "tornado", "asyncio"):
        logging.getLogger(name).setLevel(logging.CRITICAL)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        client = _connected(address)
        try:
            _check_workers(client, address)
            yield client
        finally:
            with suppress(Exception):
                client.close(timeout=CONNECT)


def _within(seconds: float, work: Callable[[], T]) -> T:
    """What some work of Dask returns. Raises what it raises, or TimeoutError: it waits for ever for
    somebody who listens and does not answer."""
    found: SimpleQueue[tuple[T | None, Exception | None]] = SimpleQueue()

    def attempt() -> None:
        try:
            found.put((work(), None))
        except Exception as error:
            found.put((None, error))

    threading.Thread(target=attempt, daemon=True, name="dask").start()
    try:
        answer, error = found.get(timeout=seconds)
    except Empty:
        raise TimeoutError("no answer") from None
    if error is not None:
        raise error
    return cast(T, answer)


def _connected(address: str) -> "Client":
    """Raises :class:`NoCluster`."""
    from distributed import Client

    try:
        return _within(2 * CONNECT, lambda: Client(address, timeout=CONNECT, set_as_default=False))
    except Exception as error:
        words = (str(error) or type(error).__name__).splitlines()[0]
        raise NoCluster(
            f"There is no Dask cluster at {address} ({words}). Start `dask scheduler`, and give "
            "the address that it prints."
        ) from None


def _check_workers(client: "Client", address: str) -> None:
    """Raises :class:`NoCluster` unless there is a worker, and all of them have our versions."""
    try:
        found = _within(PATIENCE, lambda: client.run(versions, on_error="return"))
    except Exception as error:
        raise NoCluster(f"The cluster at {address} does not answer ({error}).") from None
    if not found:
        raise NoCluster(
            f"The cluster at {address} has no worker. Start `dask worker {address}` somewhere."
        )
    for worker, theirs in sorted(found.items()):
        if not isinstance(theirs, Mapping):
            raise NoCluster(f"Worker {worker} cannot run clearproof: install it there: {EXTRA}")
        differs = difference(theirs)
        if differs:
            raise NoCluster(f"Worker {worker} differs: {differs}. Install the same on both.")


def at_worker(ours: Mapping[str, str], request: bytes) -> bytes:
    """On a worker: the answer to a request, by one of its hands. One that joined later has to have
    the versions of the client too."""
    from distributed import get_worker

    if versions() != ours:
        return json.dumps({"versions": versions()}).encode()
    try:
        worker = get_worker()
        key = worker.get_current_task()
    except (ValueError, AttributeError):
        return b'{"raised": "not on a worker"}'

    def is_wanted() -> bool:
        task = worker.state.tasks.get(key)
        return task is not None and task.state == "executing"

    with hand() as held:
        return held.ask(request, is_wanted)


def answers(
    client: "Client", requests: Sequence[bytes], progress: Callable[[int, int], None]
) -> Iterator[tuple[int, Answer]]:
    """For each request, its number and the answer, in the order in which they come. Raises
    :class:`NoCluster` where a worker that joined later has other versions."""
    with stoppable():
        sent = _Sent(client, requests)
        done = 0
        try:
            for number, answer in sent.all():
                done += 1
                yield number, answer
                progress(done, len(requests))
        finally:
            sent.cancel()


class _Sent:
    """The requests that were sent, and the answers that came."""

    def __init__(self, client: "Client", requests: Sequence[bytes]):
        self._client = client
        self._requests = requests
        self._waiting = list(range(len(requests)))[::-1]
        self._open: dict[int, Future] = {}
        self._came: SimpleQueue[int] = SimpleQueue()
        self._seen = monotonic()
        self._ask_again = 0.0
        self._known_threads = 0

    def all(self) -> Iterator[tuple[int, Answer]]:
        while self._waiting or self._open:
            self._send()
            if is_stopped() or is_over():
                yield from self._rest(NotDone())
                return
            if self._is_gone():
                yield from self._rest(Lost("the cluster has gone"))
                return
            with suppress(Empty):
                number = self._came.get(timeout=_LOOK)
                future = self._open.pop(number, None)
                if future is not None:
                    yield number, _answer(future)

    def cancel(self) -> None:
        """Nothing that was sent is wanted any more."""
        if self._open:
            with suppress(Exception):
                self._client.cancel(list(self._open.values()), force=True)

    def _send(self) -> None:
        """As many requests as keep every thread of every worker at work."""
        most = _AHEAD * max(1, self._threads())
        while self._waiting and len(self._open) < most:
            number = self._waiting.pop()
            future = self._client.submit(
                at_worker, versions(), self._requests[number], pure=False, retries=2
            )
            self._open[number] = future
            future.add_done_callback(lambda _, number=number: self._came.put(number))

    def _threads(self) -> int:
        """Of all workers there are now; asking takes time, so it is asked once in a while."""
        now = monotonic()
        if now >= self._ask_again:
            self._ask_again = now + _EVERY
            try:
                found = _within(CONNECT, lambda: self._client.nthreads())
                self._known_threads = sum(found.values())
            except Exception:
                self._known_threads = 0
        return self._known_threads

    def _is_gone(self) -> bool:
        """Whether there was no scheduler or no worker for too long."""
        now = monotonic()
        if self._client.status == "running" and self._threads():
            self._seen = now
        return now - self._seen > PATIENCE

    def _rest(self, answer: Answer) -> Iterator[tuple[int, Answer]]:
        """What has come all the same, and the answer in place of each other one."""
        self.cancel()
        for number in [*self._open, *self._waiting]:
            yield number, answer
        self._open, self._waiting = {}, []


def _answer(future: "Future") -> Answer:
    """Raises :class:`NoCluster` where it comes from another version."""
    try:
        told = json.loads(future.result(timeout=CONNECT))
    except Exception as error:
        return Lost(f"the worker that had it ended without an answer ({type(error).__name__})")
    if not isinstance(told, dict):
        return Lost("the worker that had it sent something else")
    if "versions" in told:
        differs = difference(told["versions"]) or "other versions"
        raise NoCluster(f"A worker joined that differs: {differs}. Install the same on both.")
    return told
