"""What forges show beside a change: annotations by workflow commands, and code-quality reports.

The first are lines that GitHub Actions reads from the output of a step ("Workflow commands for
GitHub Actions"); the second is the JSON that GitLab CI takes as a `codequality` artifact.
"""

import json
from collections.abc import Sequence

from verifier.reports.formats.cases import FAILING, Case, FileResult, cases
from verifier.verdicts.exit_codes import ExitCode


def github(results: Sequence[FileResult], _code: ExitCode) -> str:
    """An annotation for each case that fails, and a notice for each that is noted."""
    told = [c for result in results for c in cases(result) if c.ending in (*FAILING, "noted")]
    return "".join(f"{_annotation(case)}\n" for case in told)


def _annotation(case: Case) -> str:
    word = "notice" if case.ending == "noted" else "error"
    said = {"file": case.file, "line": str(case.line)}
    if place := case.place:
        said["endLine"] = str(place["end_line"])
        if place["line"] == place["end_line"]:
            said |= {"col": str(place["column"]), "endColumn": str(place["end_column"])}
    said["title"] = f"{case.ending}: {case.name}"
    properties = ",".join(f"{name}={_in_property(text)}" for name, text in said.items())
    steps = [f"{number}. {event['text']}" for number, event in enumerate(case.events, start=1)]
    return f"::{word} {properties}::{_in_message(chr(10).join([case.text, *steps]))}"


def _in_message(text: str) -> str:
    return text.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


def _in_property(text: str) -> str:
    return _in_message(text).replace(":", "%3A").replace(",", "%2C")


# How grave a case is, in the words of code-quality reports.
_SEVERITIES = {"broken": "blocker", "wrong": "blocker", "undecided": "critical", "noted": "info"}


def gitlab(results: Sequence[FileResult], _code: ExitCode) -> str:
    """The code-quality report: what fails, and what is noted."""
    found = [
        {
            "description": f"{case.name}: {case.text}",
            "check_name": case.rule,
            "fingerprint": case.fingerprint,
            "severity": _SEVERITIES[case.ending],
            "location": {"path": case.file, "lines": {"begin": case.line}},
        }
        for result in results
        for case in cases(result)
        if case.ending in _SEVERITIES
    ]
    return json.dumps(found, indent=2) + "\n"
