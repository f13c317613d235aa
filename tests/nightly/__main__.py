"""Everything that attacks clearproof, in one command: ``python -m tests.nightly``.

Texts at random, generated files decided twice, slips in our source, solvers that fail, hostile
clients of the page, and commands that cannot write. What was tried and what was found is printed
and, with ``--board``, written as a table (README links tests/SCOREBOARD.md). Each part has a number
of tries; 0 leaves it out, and the table says so. Exit code 1 if anything was found.
"""

import argparse
import os
import platform
import sys
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from random import Random, SystemRandom
from tempfile import TemporaryDirectory
from typing import NamedTuple

import pytest

from tests.differential.campaign.run import Progress, run
from tests.junction_files import ROOT
from tests.mutants.__main__ import one
from tests.mutants.sources import equivalents, modules, places
from tests.mutants.trial import preload
from tests.nightly.fuzz import TEXTS, wrong_with
from tests.nightly.writers import attacks
from verifier import __version__
from verifier.engines.stopping import heed_termination

# Tests of this kind inject one fault, or send one request, or many, each.
FAULTS = ("tests/engines/test_faulty_solver.py", "tests/engines/test_no_answer.py",
          "tests/decide/test_within.py", "tests/language/test_writing.py")  # fmt: skip
CLIENTS = ("tests/workbench/test_server.py",)


class Row(NamedTuple):
    """One part: how many were tried, of what, what was found, and the seconds of work."""

    part: str
    tried: int
    of_what: str
    found: list[str]
    seconds: float = 0.0


class Part(NamedTuple):
    """What is tried, so often in a night, and what does it."""

    number: int
    about: str
    run: Callable[[int, str], Row]


def fuzzers(number: int, seed: str) -> Row:
    r, found = Random(f"fuzz {seed}"), []
    for i in range(number):
        name = list(TEXTS)[i % len(TEXTS)]
        text = TEXTS[name](r)
        if wrong := wrong_with(text):
            found.append(f"{name} {i}: {wrong}: {text[:80]!r}")
    return Row("texts at random", number, "texts: " + ", ".join(TEXTS), found)


def differential(number: int, seed: str) -> Row:
    progress = Progress(seed)
    for done in run(progress, number, 1):
        progress.add(done)
    return Row("generated files decided twice", progress.cases, "cases", progress.wrong)


def mutants(number: int, seed: str) -> Row:
    """Survivors that are not in the list."""
    preload()
    every = [place for path in modules() for place in places(path)]
    listed = {row.key for row in equivalents()}
    drawn = Random(seed).sample(every, number)
    found = [" ".join(place.key) for place in drawn if one(place, listed) == "survives"]
    return Row("slips in our source", number, "mutants", found)


def writing(number: int, seed: str) -> Row:
    with TemporaryDirectory() as place:
        every = list(attacks(Path(place) / "here", Random(seed)))
        some = Random(seed).sample(every, min(number, len(every)))
        found = [f"{name}: {wrong}" for name, attack in some if (wrong := attack())]
    return Row("commands that cannot write, or are ended", len(some), "runs", found)


class _Counting:
    """How many tests ran, and which failed."""

    def __init__(self) -> None:
        self.ran, self.failed = 0, list[str]()

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self.ran += report.when == "call"
        if report.failed:
            self.failed.append(report.nodeid)

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed:
            self.failed.append(report.nodeid)


def _of_tests(part: str, files: tuple[str, ...]) -> Callable[[int, str], Row]:
    def row(number: int, seed: str) -> Row:
        counting = _Counting()
        options = ["-q", "-p", "no:cacheprovider", "-n", "0", "--no-header",
                   "-W", "ignore::pytest.PytestAssertRewriteWarning"]  # fmt: skip
        code = pytest.main([*options, *files], plugins=[counting])
        if code == pytest.ExitCode.INTERRUPTED and not counting.failed:
            raise KeyboardInterrupt
        if code and not counting.failed:
            counting.failed.append(f"pytest ended with {code}")
        return Row(part, counting.ran, "tests", counting.failed)

    return row


_FAULTS = "faults injected into solver, clock, memory, disk"
_CLIENTS = "hostile clients of the page, workers killed"
PARTS = {
    "fuzz": Part(20_000, "texts at random", fuzzers),
    "cases": Part(20_000, "generated files decided twice", differential),
    "mutants": Part(50, "slips in our source", mutants),
    "writers": Part(1000, "commands that cannot write, or are ended", writing),
    "faults": Part(1, _FAULTS, _of_tests(_FAULTS, FAULTS)),
    "clients": Part(1, _CLIENTS, _of_tests(_CLIENTS, CLIENTS)),
}


def rows(options: argparse.Namespace, seed: str) -> Iterator[Row]:
    for name, part in PARTS.items():
        number = getattr(options, name)
        if number:
            began = _seconds()
            row = part.run(number, seed)
            yield row._replace(seconds=_seconds() - began)
        else:
            yield Row(part.about, 0, "left out", [])


def _seconds() -> float:
    """Of work so far, by this process and those it started that have ended."""
    spent = os.times()
    return spent.user + spent.system + spent.children_user + spent.children_system


def stopped(made: Sequence[Row]) -> Iterator[Row]:
    """The rows of the parts that have none yet: the one that was stopped, and those after it."""
    what = "known: stopped before its end"
    for part in list(PARTS.values())[len(made) :]:
        yield Row(part.about, 0, what, [])
        what = "tried: the run was stopped before"


def board(made: list[Row], command: str) -> str:
    """The table, with what it was made by."""
    when = datetime.now(UTC).date().isoformat()
    lines = [
        "# Scoreboard", "",
        f"Made by `{command}` on {when}: clearproof {__version__}, Python "
        f"{platform.python_version()}, {platform.system()}.", "",
        "| attack | tried | found | seconds of work |", "| --- | --- | --- | --- |",
    ]  # fmt: skip
    lines += [
        f"| {r.part} | {r.tried} {r.of_what} | {len(r.found)} | {r.seconds:.0f} |" for r in made
    ]
    found = [f"- {row.part}: {one}" for row in made for one in row.found]
    return "\n".join([*lines, "", *(found or ["Nothing found is left unmended."])]) + "\n"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, prog="python -m tests.nightly")
    for name, part in PARTS.items():
        parser.add_argument(
            f"--{name}", type=int, default=part.number, metavar="N",
            help=f"{part.about}: {'all' if part.number == 1 else 'so many'}, or 0 for none "
            "(%(default)s)",
        )  # fmt: skip
    parser.add_argument(
        "--seed", help="what everything is drawn by; drawn, and printed, if not given"
    )
    parser.add_argument("--board", type=Path, metavar="FILE", help="write the table to this file")
    options = parser.parse_args()
    seed = options.seed or str(SystemRandom().randrange(1_000_000))
    given = " ".join(f"--{name} {getattr(options, name)}" for name in PARTS)
    heed_termination()
    made: list[Row] = []
    try:
        for row in rows(options, seed):
            made.append(row)
            print(f"{row.part}: {row.tried} {row.of_what}, {len(row.found)} found", flush=True)
    except KeyboardInterrupt:
        made += stopped(made)
    told = board(made, f"python -m tests.nightly {given} --seed {seed}")
    print(told)
    if options.board:
        (ROOT / options.board).write_text(told, "utf-8")
    return 1 if any(row.found for row in made) else 0


if __name__ == "__main__":
    sys.exit(main())
