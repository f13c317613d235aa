"""`prove --cluster`: what ``prove`` says of each file, proved by the workers of a Dask cluster.

In: files and options. Out: an outcome for each file, in order, the same as if it were proved here.
What a worker says is believed only after everything it decided was decided here too: its proofs
are data that the induction check accepts or not, situations are asked again, what is broken is
replayed. Of what is not the same the file is proved here. Its words, drawings and repairs are as
the worker wrote them.
"""

import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures import TimeoutError as NotYet
from dataclasses import replace
from functools import partial
from pathlib import Path
from time import monotonic

from verifier.commands.proof_cache import entry_of, outcome_of
from verifier.commands.proved_files import NOT_BEGUN, Asked, Outcome, proved, undecided
from verifier.engines.stopping import is_stopped, limit_now, out_of_time, stoppable
from verifier.farm.answers import Answer, Lost, NotDone
from verifier.farm.cluster import answers, cluster_at
from verifier.farm.evidence import NOT_SO, Json, decided, prove_lent
from verifier.farm.hands import HandDied, NotWanted, end_all, request
from verifier.farm.here import LOOK, Stop, ask
from verifier.farm.lent import Lent, lent
from verifier.language.diagnostics.diagnostic import InputError

_WORK = "verifier.commands.cluster_proving:work"
_CHECK = "verifier.commands.cluster_proving:confirmed"


# ------------------------------------------------------------------ in a hand


def work(asked: Asked, file: Lent, seconds: float | None) -> Json:
    """The printed report on a file, its verdicts, and the proofs that were found."""
    from verifier.decide.sent_proofs import sent
    from verifier.engines.proof_store import ProofStore
    from verifier.engines.stopping import time_limit

    store = ProofStore()
    prove = partial(prove_lent, file, store, repairs=True)
    with time_limit(seconds):
        outcome = proved(replace(asked, keeps=True), Path(file.name), by=prove)
    found = decided(outcome.report) if outcome.report else None
    return {"outcome": entry_of(outcome), "decided": found, "proofs": sent(store)}


def confirmed(asked: Asked, file: Lent, told: Json, seconds: float | None) -> bool:
    """Whether all that was told is found here too, with the proofs that were sent to try."""
    from verifier.decide.sent_proofs import received
    from verifier.engines.stopping import time_limit
    from verifier.verdicts.baseline import with_known
    from verifier.verdicts.grade import exit_code_of

    try:
        store = received(told["proofs"])
        outcome = outcome_of(told["outcome"])
    except NOT_SO:
        return False
    with time_limit(seconds):
        report = prove_lent(
            file, store, repairs=False,
            timeout=asked.timeout, only=asked.only, pairs=asked.pairs, recheck=asked.recheck,
        )  # fmt: skip
    report = with_known(report, asked.known)
    code = exit_code_of(report.shortfalls, asked.required)
    same = (outcome.code, outcome.grade) == (code, report.grade)
    return same and told["decided"] == decided(report)


# ------------------------------------------------------------------ here


def on_cluster(files: Sequence[Path], asked: Asked, address: str, jobs: int) -> Iterator[Outcome]:
    """The outcome of each file, proved on the cluster at this address, and checked in so many
    processes here. Raises :class:`~verifier.farm.absent.NoCluster`."""
    from verifier.reports.progress import ProgressLine

    line = ProgressLine(sys.stderr, f"{len(files)} files", "proved")
    with (
        stoppable(),
        cluster_at(address) as client,
        ThreadPoolExecutor(jobs, thread_name_prefix="check") as pool,
    ):
        found: dict[int, Future[Outcome]] = {}
        here = _Here(asked)
        sent: list[tuple[int, Lent]] = []
        for number, path in enumerate(files):
            try:
                sent.append((number, lent(path)))
            except InputError:  # told as it is without a cluster
                found[number] = pool.submit(proved, asked, path)
        requests = [request(_WORK, asked, file, _seconds_left()) for _, file in sent]
        try:
            progress = (lambda _done, _of: None) if asked.quiet else line
            ready = 0
            for k, answer in answers(client, requests, progress):
                number, file = sent[k]
                found[number] = pool.submit(here.outcome, file, answer, _seconds_left())
                while ready in found and found[ready].done():
                    line.clear()
                    yield found[ready].result()
                    ready += 1
            for number in range(ready, len(files)):
                line.clear()
                yield here.waited(found[number])
        finally:
            here.stop.asked = True
            pool.shutdown(wait=True, cancel_futures=True)
            end_all()


def _seconds_left() -> float | None:
    limit = limit_now()
    return None if limit is None else max(0.001, limit.end - monotonic())


class _Here:
    """What this computer makes of answers."""

    def __init__(self, asked: Asked):
        self._asked = asked
        self.stop = Stop()

    def waited(self, future: "Future[Outcome]") -> Outcome:
        """An outcome, once it is known; after Ctrl-C what is worked on ends."""
        while True:
            try:
                return future.result(timeout=LOOK)
            except NotYet:
                self.stop.asked |= is_stopped()

    def outcome(self, file: Lent, answer: Answer, seconds: float | None) -> Outcome:
        """The outcome of a file, after a worker's answer."""
        path = Path(file.name)
        match answer:
            case NotDone():
                return undecided(path, out_of_time() if seconds is not None else NOT_BEGUN)
            case Lost(why=why):
                return undecided(path, why)
        told = answer.get("answer")
        try:
            if (
                isinstance(told, dict)
                and told.get("decided") is not None
                and ask(self.stop, _CHECK, self._asked, file, told, seconds) is True
            ):
                return outcome_of(told["outcome"])
            return outcome_of(ask(self.stop, _WORK, self._asked, file, seconds)["outcome"])
        except NotWanted:
            return undecided(path, NOT_BEGUN)
        except HandDied:
            return undecided(path, "the process that checked it ended without an answer")
