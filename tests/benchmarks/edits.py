"""From an edit to its verdict: ``python -m tests.benchmarks.edits [--edits N] [FILE ...]``.

For each file over time (or each one named) N random edits, one after the other, with one store, as
in a page that is kept open. In milliseconds of CPU time, median and worst: until everything that
must never be is decided, and until all is. Beside them the same without a store. Edits that make
the text invalid are counted apart. ``--check`` compares each report with one from scratch.
"""

import argparse
import json
import time
from collections.abc import Sequence
from pathlib import Path
from random import Random
from statistics import median

from tests.decide.edits import versions
from tests.junction_files import TIMED_SPECS
from verifier.api import checked
from verifier.engines.proof_store import NO_STORE, ProofStore
from verifier.language.diagnostics.diagnostic import InputError
from verifier.pipeline import prove
from verifier.reports.machine import file_report
from verifier.verdicts.report import Report


def timed(text: str, store: ProofStore) -> tuple[float, float, Report] | None:
    """Milliseconds to the verdicts on safety and to all, and the report; None of an invalid
    text."""
    began, safety = time.process_time(), 0.0

    def on_safety(_: Report) -> None:
        nonlocal safety
        safety = time.process_time() - began

    try:
        plan, world = checked(text, "edited", None)
        report = prove(plan, world=world, store=store, repairs=False, on_safety=on_safety)
    except InputError:
        return None
    return safety * 1000, (time.process_time() - began) * 1000, report


def row(path: Path, count: int, *, check: bool) -> str:
    texts = versions(path.read_text("utf-8"), Random(1), count)
    store = ProofStore()
    timed(texts[0], store)
    safe: list[float] = []
    whole: list[float] = []
    scratch: list[float] = []
    different = 0
    for text in texts[1:]:
        found = timed(text, store)
        if found is None:
            continue
        safe.append(found[0])
        whole.append(found[1])
        if check:
            alone = timed(text, NO_STORE)
            assert alone is not None
            scratch.append(alone[0])
            different += json.dumps(file_report(found[2])) != json.dumps(file_report(alone[2]))
    cells = [f"{path.stem:42}", f"{len(safe):3} of {count}"]
    for times in (safe, whole, scratch):
        cells.append(f"{median(times):6.0f} {max(times):7.0f}" if times else " " * 14)
    return "  ".join([*cells, f"{different} differ" if check else ""])


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("files", nargs="*", type=Path, default=TIMED_SPECS)
    parser.add_argument("--edits", type=int, default=50)
    parser.add_argument("--check", action="store_true")
    asked = parser.parse_args(arguments)
    print(f"{'file':42}  {'valid':8}  {'safety':>14}  {'all':>14}  {'safety, scratch':>14}")
    for path in asked.files:
        print(row(path, asked.edits, check=asked.check), flush=True)


if __name__ == "__main__":
    main()
