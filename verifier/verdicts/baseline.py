"""Findings that are known already: a run with a baseline fails only where something is new.

In: an earlier JSON report. Out: a report with its known findings marked. Only what was broken is
ever known; what was undecided never is.
"""

import os
from collections.abc import Sequence, Set
from dataclasses import replace
from hashlib import sha256
from pathlib import Path, PurePath
from typing import Any

from verifier.verdicts.report import Report, Verdict


def path_of(name: str) -> str:
    """The path of a file as seen from the folder where the program runs, with slashes."""
    try:
        inside = Path(name).absolute().relative_to(Path.cwd())
    except ValueError:
        return PurePath(os.path.normpath(name)).as_posix()
    return inside.as_posix()


def fingerprint(file: str, rule: str, subjects: Sequence[str]) -> str:
    """What identifies a finding from run to run: its file, its property and its subjects, wherever
    it stands in the file."""
    return sha256("\0".join((path_of(file), rule, *subjects)).encode()).hexdigest()[:32]


def known_in(document: Any) -> frozenset[str]:
    """The fingerprints of what is broken in a JSON report, apart from what its files expect.

    Raises ValueError where the document is no such report."""
    try:
        if document["schema_version"] != 1:
            raise ValueError(document["schema_version"])
        return frozenset(
            fingerprint(file["file"], verdict["property"], verdict["subjects"])
            for file in document["files"]
            for verdict in file.get("verdicts", ())
            if verdict["status"] == "broken" and not verdict["expected"] and not verdict["advice"]
        )
    except (KeyError, TypeError, AttributeError) as error:
        raise ValueError("not a JSON report") from error


def with_known(report: Report, known: Set[str]) -> Report:
    """The report with those of its findings marked that are known."""
    if not known:
        return report
    file = report.plan.source.name

    def marked(verdict: Verdict) -> Verdict:
        asked = verdict.obligation
        is_known = fingerprint(file, asked.property, asked.subjects) in known
        return replace(verdict, known=True) if verdict.fails and is_known else verdict

    return replace(report, verdicts=tuple(map(marked, report.verdicts)))
