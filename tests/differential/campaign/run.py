"""Many cases, one after another or in several processes, and what came of them.

In: a seed, and how many. Case ``i`` of a seed is the same in every run, so a run goes on where one
ended (``Progress``, kept in a folder). Out: counts of kinds, outcomes and features, and a file for
each disagreement.
"""

import json
import signal
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from multiprocessing import get_context
from random import Random
from types import FrameType
from typing import NoReturn, Self

from tests.differential.campaign.features import features
from tests.differential.campaign.kinds import KINDS
from tests.differential.campaign.minimize import Wrong, minimized, tried

# A case that takes longer is counted as such: nothing is known of it.
LONGEST = 120.0
# So many times that long is a disagreement made small.
PATIENCE = 5


class TooSlow(BaseException):
    """The time of a case is over. No check catches it."""


@dataclass(frozen=True, slots=True)
class Done:
    """One case. ``wrong`` with its text made small; None where all agree."""

    number: int
    kind: str
    outcome: tuple[tuple[str, int], ...]
    features: frozenset[str]
    wrong: tuple[Wrong, str] | None = None


@dataclass
class Progress:
    """All cases of a seed so far: the first ``cases`` of them."""

    seed: str
    cases: int = 0
    kinds: Counter[str] = field(default_factory=Counter)
    outcomes: Counter[str] = field(default_factory=Counter)
    features: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)

    def add(self, done: Done) -> None:
        self.cases = done.number + 1
        self.kinds[done.kind] += 1
        self.features.update(done.features)
        for what, often in done.outcome:
            self.outcomes[f"{done.kind}: {what}"] += often
        if done.wrong is not None:
            self.wrong.append(f"case {done.number}, {done.kind}: {done.wrong[0].place}")

    def kept(self) -> str:
        return json.dumps(vars(self), indent=1, sort_keys=True)

    @classmethod
    def read(cls, text: str) -> Self:
        kept = json.loads(text)
        for name in ("kinds", "outcomes", "features"):
            kept[name] = Counter(kept[name])
        return cls(**kept)


def run(progress: Progress, cases: int, jobs: int) -> Iterator[Done]:
    """The cases that are left, in their order. Ends, and is never half done, at Ctrl-C."""
    tasks = ((progress.seed, number) for number in range(progress.cases, cases))
    if jobs == 1:
        yield from map(case, tasks)
        return
    with get_context("fork").Pool(jobs, _deaf) as pool:
        yield from pool.imap(case, tasks, chunksize=4)


def _deaf() -> None:
    """Ctrl-C is for the first process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def case(task: tuple[str, int], *, small: bool = True) -> Done:
    """One case; what disagrees is made ``small``."""
    seed, number = task
    own = f"{seed} {number} check"
    name, text = "writing", ""
    try:
        with _no_longer_than(LONGEST):
            name, text = written(task)
            kind = KINDS[name]
            found = tried(kind, text, own)
    except TooSlow:
        return Done(number, name, (("too slow", 1),), features(text) if text else frozenset())
    if not isinstance(found, Wrong):
        return Done(number, name, tuple(found.items()), features(text))
    less = text
    try:
        with _no_longer_than(LONGEST * PATIENCE):
            less = minimized(kind, text, own, found) if small else text
    except TooSlow:
        pass
    return Done(number, name, (("disagree", 1),), features(text), (found, less))


def written(task: tuple[str, int]) -> tuple[str, str]:
    """The kind of a case, and its text."""
    r = Random(" ".join(map(str, task)))
    (name,) = r.choices(list(KINDS), [kind.share for kind in KINDS.values()])
    return name, KINDS[name].write(r)


@contextmanager
def _no_longer_than(seconds: float) -> Iterator[None]:
    """So many seconds of work, not of waiting."""

    def over(number: int, frame: FrameType | None) -> NoReturn:
        raise TooSlow

    before = signal.signal(signal.SIGVTALRM, over)
    signal.setitimer(signal.ITIMER_VIRTUAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        signal.signal(signal.SIGVTALRM, before)
