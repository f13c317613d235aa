"""Run a sweep: each case once, whatever becomes of the workers.

In: cases, and who works them out. Out: a row for each case, and those that have none. What was
found is in the journal at once, so that the same command goes on where this one was ended.
"""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import dataclass

from verifier.engines.stopping import is_over, is_stopped, stoppable
from verifier.farm.answers import Answer, Lost, NotDone
from verifier.farm.hands import HandDied, NotWanted, request
from verifier.farm.here import LOOK, Stop, ask
from verifier.farm.journal import Journal
from verifier.farm.sweeps import Case, Row, row_in

# How often a case is given to the workers that some of them died of.
ROUNDS = 2
# So many answers wait to be checked; then no further ones are taken.
_UNCHECKED = 64

Answers = Callable[[Sequence[bytes]], Iterator[tuple[int, Answer]]]


@dataclass(frozen=True, slots=True)
class Swept:
    """A row for each case in their order; None where it was not worked out, and why it was not."""

    rows: tuple[Row | None, ...]
    why: str = ""


def swept(
    cases: Sequence[Case],
    columns: Sequence[str],
    journal: Journal,
    answers: Answers,
    jobs: int,
    *,
    checks: bool,
) -> Swept:
    """Work out all cases that the journal has not. ``checks``: what is answered is checked in so
    many processes here."""
    why = ""
    with stoppable(), ThreadPoolExecutor(jobs) as pool:
        checker = _Checker(columns, pool, checks)
        for _ in range(ROUNDS):
            left = [case for case in cases if case.digest not in journal.rows]
            if not left or is_stopped() or is_over():
                break
            lost = False
            try:
                for number, answer in answers([request(c.work, *c.given) for c in left]):
                    match answer:
                        case Lost(why=why):
                            lost = True
                        case NotDone():
                            pass
                        case _:
                            checker.take(left[number], answer)
                    _keep(journal, checker.ready(wait_for=_UNCHECKED))
                _keep(journal, checker.ready(wait_for=0))
            finally:
                checker.stop.asked = True
            checker.stop.asked = False
            if not lost:
                break
    rows = tuple(journal.rows.get(case.digest) for case in cases)
    return Swept(rows, why if None in rows else "")


def _keep(journal: Journal, found: "Iterator[tuple[Case, Row | None]]") -> None:
    for case, row in found:
        if row is not None and case.digest not in journal.rows:
            journal.add(case.digest, row)


class _Checker:
    """Answers on their way to being rows."""

    def __init__(self, columns: Sequence[str], pool: ThreadPoolExecutor, checks: bool):
        self.stop = Stop()
        self._columns = columns
        self._pool = pool
        self._checks = checks
        self._waiting: dict[Future[Row | None], Case] = {}

    def take(self, case: Case, answer: object) -> None:
        self._waiting[self._pool.submit(self._row, case, answer)] = case

    def ready(self, *, wait_for: int) -> "Iterator[tuple[Case, Row | None]]":
        """What is checked; no more than so many are left unchecked then, unless work is to stop."""
        while True:
            done = [future for future in self._waiting if future.done()]
            yield from ((self._waiting.pop(future), future.result()) for future in done)
            if len(self._waiting) <= wait_for:
                return
            self.stop.asked |= is_stopped() or is_over()
            wait(self._waiting, timeout=LOOK)

    def _row(self, case: Case, answer: object) -> Row | None:
        """The row of an answer that is found here too, else of what is found here."""
        told = answer.get("answer") if isinstance(answer, dict) else None
        row = row_in(told, self._columns)
        try:
            if row is not None and (
                not self._checks or ask(self.stop, case.check, told, *case.given) is True
            ):
                return row
            return row_in(ask(self.stop, case.work, *case.given), self._columns)
        except (NotWanted, HandDied):
            return None
