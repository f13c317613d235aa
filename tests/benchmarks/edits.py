"""From an edit to its verdict: ``python -m tests.benchmarks.edits [--edits N] [FILE ...]``.

For each file over time (or each one named) N random edits with one session, as in a page that is
kept open; each is undone before the next. By kind of edit, in milliseconds of CPU time, median and
worst: until the verdict on all that must never be (:meth:`verifier.Session.verdicts`). An edit is
harmful where something is broken that was not. Edits that make the text invalid are left out.
``--check`` also works out each report, and compares it with one from scratch, whose safety verdicts
are the last column.
"""

import argparse
import json
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from random import Random
from statistics import median

import verifier
from tests.decide.edits import EDITS
from tests.junction_files import TIMED_SPECS
from verifier.language.diagnostics.diagnostic import InputError
from verifier.reports.machine import file_report
from verifier.verdicts.report import Report


def timed(work: Callable[[], Report]) -> tuple[float, Report]:
    """How many milliseconds some work takes, and what it says."""
    began = time.process_time()
    report = work()
    return (time.process_time() - began) * 1000, report


def broken(report: Report) -> set[str]:
    return {v.obligation.key for v in report.verdicts if v.status == "broken"}


class File:
    """The edits of one file, and how long each took, by kind."""

    def __init__(self, path: Path, *, check: bool):
        self._text = path.read_text("utf-8")
        self._check = check
        self._session = verifier.Session(self._text)
        self._session.report()
        self._before = broken(self._session.verdicts())
        self.after: dict[str, list[float]] = {}
        self.scratch: dict[str, list[float]] = {}
        self.different = 0

    def try_edits(self, count: int) -> None:
        chance = Random(1)
        for i in range(count):
            edit = EDITS[i % len(EDITS)]
            self._edited(edit(self._text, chance), edit.__name__)
            self._edited(self._text, "undone")

    def _edited(self, text: str, kind: str) -> None:
        def verdicts() -> Report:
            self._session.edit(text)
            return self._session.verdicts()

        try:
            took, report = timed(verdicts)
        except InputError:
            return
        kind += ", harmful" if broken(report) - self._before else ""
        self.after.setdefault(kind, []).append(took)
        if self._check and kind != "undone":
            scratch = verifier.Session(text)
            self.scratch.setdefault(kind, []).append(timed(scratch.verdicts)[0])
            told = [file_report(session.report()) for session in (self._session, scratch)]
            self.different += json.dumps(told[0]) != json.dumps(told[1])


def cell(times: Sequence[float]) -> str:
    return f"{median(times):6.0f} {max(times):7.0f}" if times else " " * 14


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("files", nargs="*", type=Path, default=TIMED_SPECS)
    parser.add_argument("--edits", type=int, default=50)
    parser.add_argument("--check", action="store_true")
    asked = parser.parse_args(arguments)
    print(f"{'kind':38}  {'edits':5}  {'after':>14}  {'from scratch':>14}")
    for path in asked.files:
        file = File(path, check=asked.check)
        file.try_edits(asked.edits)
        print(path.stem, f"({file.different} reports differ)" if asked.check else "")
        for kind, times in sorted(file.after.items()):
            scratch = cell(file.scratch.get(kind, ()))
            print(f"  {kind:36}  {len(times):5}  {cell(times)}  {scratch}", flush=True)


if __name__ == "__main__":
    main()
