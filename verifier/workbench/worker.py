"""The process that proves, apart from the server so that it can be killed at any moment.

In: one line of JSON on standard input for each text to prove. Out: lines of JSON: progress, then
the verdicts or the errors in the text. The process ends with its input, so that nothing is left
running after the server.

Started by :mod:`verifier.workbench.proofs` as ``python -m verifier.workbench.worker``.
"""

import json
import os
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from queue import SimpleQueue
from typing import TYPE_CHECKING, Any, TextIO

from verifier.engines.garbage import collect_seldom

if TYPE_CHECKING:
    from verifier.engines.proof_store import ProofStore
    from verifier.verdicts.report import Verdict

Json = dict[str, Any]

# Seconds between two lines of progress.
EVERY = 0.1


def main() -> None:
    collect_seldom()
    # Anything printed by accident must not be taken for an answer.
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    jobs: SimpleQueue[str] = SimpleQueue()
    threading.Thread(target=_listen, args=(jobs,), daemon=True).start()
    _say(answers, {"ready": _warmed_up()})
    from verifier.engines.proof_store import ProofStore

    store = ProofStore()
    while True:
        with suppress(KeyboardInterrupt):  # it came when there was nothing to stop
            _answer(jobs.get(), answers, store)


def _answer(job: str, answers: TextIO, store: "ProofStore") -> None:
    """Do a job. Ctrl-C ends it with what was decided; pressed twice, it loses nothing."""
    from verifier.engines.stopping import stoppable

    with stoppable():
        _say(answers, done(json.loads(job), lambda line: _say(answers, line), store))


def _listen(jobs: "SimpleQueue[str]") -> None:
    """Pass jobs on. End the process at once when the server has gone."""
    for line in sys.stdin:
        jobs.put(line)
    os._exit(0)


def _say(answers: TextIO, line: Json) -> None:
    answers.write(json.dumps(line) + "\n")
    answers.flush()


def _warmed_up() -> bool:
    """Load everything that a proof needs by proving a small junction."""
    from verifier.patterns import pattern_text

    return "report" in done({"text": pattern_text("end-of-siding"), "name": ""}, lambda line: None)


def done(job: Json, say: Callable[[Json], None], store: "ProofStore | None" = None) -> Json:
    """The answer to one job: ``text``, ``name``, and ``path`` if the file exists; ``timeout`` in
    seconds for each query, ``within`` for all of them; ``store``: what earlier jobs found. With
    ``mend``: its ``repairs``. With ``promise``: the fewest ``promises`` of its crew, each with its
    history and what replaces it. With ``card``: the test card, or the diagnosis of its ``rows``.
    With ``draft``, what is asked of a draft of the text: that. Else
    a ``report``. Ctrl-C (SIGINT) ends it with what was decided."""
    from verifier.engines.proof_store import NO_STORE
    from verifier.language.diagnostics.diagnostic import InputError
    from verifier.workbench.analysis import diagnostics_json

    try:
        return _answered(job, _Progress(say), NO_STORE if store is None else store)
    except InputError as error:
        return {"errors": diagnostics_json(error.diagnostics, job["name"])}
    except Exception as error:
        if os.environ.get("CLEARPROOF_TRACEBACK"):
            raise
        return {"bug": f"{type(error).__name__}: {error}"}


class _Progress:
    """Says now and then how far a job is, and what was found broken."""

    def __init__(self, say: Callable[[Json], None]):
        self.say, self._last, self._broken = say, time.monotonic(), set[str]()

    def __call__(self, done: int, of: int) -> None:
        if time.monotonic() - self._last > EVERY:
            self._last = time.monotonic()
            self.say({"done": done, "of": of, "broken": len(self._broken)})

    def on_verdict(self, verdict: "Verdict") -> None:
        if verdict.fails:
            self._broken.add(verdict.obligation.key)


def _answered(job: Json, progress: _Progress, store: "ProofStore") -> Json:
    from verifier.workbench.drafts import draft_json
    from verifier.workbench.promises import promises_json

    text, name = job["text"], job["name"] or "(not saved yet)"
    path = Path(job["path"]) if job.get("path") else None
    if job.get("mend"):
        return {"repairs": _repairs(job, path, progress)}
    if job.get("card"):
        from verifier.workbench.cards import card_json

        return card_json(text, name, path, job, progress)
    if job.get("promise"):
        return promises_json(text, name, path, job.get("timeout"), job.get("within"))
    if "draft" in job:
        within, asked = job.get("within"), job["draft"]
        return draft_json(text, name, path, asked, within=within, progress=progress, store=store)
    return _proved(job, path, progress, store)


def _proved(job: Json, path: Path | None, progress: _Progress, store: "ProofStore") -> Json:
    """The report. What must never be is said (``safety``) before the rest; after an edit, whether
    it is broken before how."""
    from verifier.api import checked
    from verifier.pipeline import FOLLOWS, prove
    from verifier.verdicts.report import Report
    from verifier.workbench.report_json import report_json

    began, name = time.monotonic(), job["name"]

    def on_safety(report: Report) -> None:
        progress.say({"safety": report_json(report, name, path)})

    plan, world = checked(job["text"], name or "(not saved yet)", path)
    timeout, within = job.get("timeout"), job.get("within")
    if len(store) and not within:
        report = prove(plan, timeout=timeout, world=world, store=store, quick=True)
        if report.stopped != FOLLOWS:
            return {"report": report_json(report, name, path)}
        on_safety(report)
    report = prove(
        plan, timeout=timeout, within=within, world=world, progress=progress,
        on_verdict=progress.on_verdict, on_safety=on_safety, store=store,
    )  # fmt: skip
    return {"report": report_json(report, name, path), "seconds": time.monotonic() - began}


def _repairs(job: Json, path: Path | None, progress: Callable[[int, int], None]) -> list[Json]:
    """Repairs of a text, each as one stretch to replace."""
    from verifier.api import mend_text
    from verifier.workbench.quick_fixes import stretch

    text, name = job["text"], job["name"] or "(not saved yet)"
    found = mend_text(text, name, path, job.get("timeout"), job.get("within"), progress)
    return [
        {"sentence": repair.sentence, "mends": list(repair.mends), "mends_all": repair.whole,
         **stretch(text, repair.text)}
        for repair in found.repairs
    ]  # fmt: skip


if __name__ == "__main__":
    main()
