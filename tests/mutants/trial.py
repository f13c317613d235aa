"""One mutant tried: its module is loaded from the changed text, in a process of its own, and
everything that looks at it runs until something fails. The checkout stays as it is.

In: a place, the changed text, test files. Out: how it was found, if it was.
"""

import importlib
import os
import resource
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import pytest

from tests.junction_files import ROOT
from tests.mutants.sources import EVERYWHERE
from tests.mutation.loading import load_from

How = Literal["found", "out of time", "survives"]
# Seconds of work for all that looks at one mutant; a pytest run of some files is a part of it.
PATIENCE = 200
# Generated cases that are decided twice, and of which seed.
CASES, SEED = 30, "mutants"
# Loaded once, before the processes: what none of the changed modules is part of.
THIRD = ("z3", "pytest", "hypothesis", "lark", "networkx", "pysat.solvers", "pycparser")


@dataclass(frozen=True, slots=True)
class Result:
    how: How
    by: str = ""


class _FirstFailure:
    """Which test failed first. A module that cannot be collected counts."""

    name = ""

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed and not self.name:
            self.name = report.nodeid

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed and not self.name:
            self.name = report.nodeid


def preload() -> None:
    for name in THIRD:
        importlib.import_module(name)


def tried(module: str, path: Path, text: str | None, tests: Sequence[str]) -> Result:
    """``text`` None: the module as it is, with which nothing must be found."""

    def look() -> str:
        if text is not None:
            load_from(module, path, text)
        if len(tests) < 2:
            return _tests(tests) if tests else _cases()
        near = [test for test in tests if test not in EVERYWHERE]
        return _tests(near) or _cases() or _tests(EVERYWHERE)

    return _apart(look)


def _apart(look: Callable[[], str]) -> Result:
    """What a look finds, in a process of its own, which has so many seconds."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        os.setpgid(0, 0)
        resource.setrlimit(resource.RLIMIT_CPU, (PATIENCE, PATIENCE + 5))
        with open(os.devnull, "w") as nothing:
            os.dup2(nothing.fileno(), 1)
            os.dup2(nothing.fileno(), 2)
        os.chdir(ROOT)
        sys.setrecursionlimit(5000)
        try:
            os.write(writer, look().encode()[:2000])
            os._exit(0)
        finally:  # whatever is raised, this process does not go on with what is the other's
            os._exit(1)
    os.close(writer)
    with os.fdopen(reader) as told:
        by = told.read()
    _, status = os.waitpid(child, 0)
    if status != 0:
        return Result("out of time", f"status {status}")
    return Result("found", by) if by else Result("survives")


def _tests(tests: Sequence[str]) -> str:
    first = _FirstFailure()
    if not tests:
        return ""
    pytest.main(
        ["-q", "-x", "-n", "0", "-p", "no:cacheprovider", "-m", "not slow and not browser",
         "--no-header", "-W", "ignore::pytest.PytestAssertRewriteWarning", *tests], plugins=[first],
    )  # fmt: skip
    return first.name


def _cases() -> str:
    """Generated cases that are decided twice."""
    from tests.differential.campaign.run import case

    for number in range(CASES):
        done = case((SEED, number), small=False)
        if done.wrong is not None:
            return f"case {number} of {SEED}, {done.kind}: {done.wrong[0].place}"
    return ""
