"""SARIF 2.1.0 (Static Analysis Results Interchange Format, an OASIS standard).

What is undecided is of kind ``open``: no one may take it for passed. What the file waives, expects
or a baseline knows is there, and suppressed. A history is a code flow; proved repairs are fixes.
"""

import json
from collections.abc import Sequence
from urllib.parse import quote

from verifier import __version__
from verifier.language.diagnostics.registry import kinds
from verifier.language.words import meanings
from verifier.properties.catalog import BY_NAME
from verifier.reports.formats.cases import Case, Edit, FileResult, cases
from verifier.reports.json_parts import Json
from verifier.verdicts.baseline import path_of
from verifier.verdicts.exit_codes import ExitCode

SCHEMA = (
    "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
)

# Kind and level of a result (SARIF 2.1.0, 3.27.9 and 3.27.10: a level other than `none` is for
# results of kind `fail` only), and where it is suppressed (3.35.2).
_KINDS = {
    "broken": ("fail", "error", ""),
    "wrong": ("fail", "error", ""),
    "known": ("fail", "error", "external"),
    "expected": ("fail", "error", "inSource"),
    "waived": ("review", "none", "inSource"),
    "noted": ("fail", "note", ""),
    "undecided": ("open", "none", ""),
    "proved": ("pass", "none", ""),
}
_WHY_SUPPRESSED = {
    "known": "known by the baseline", "expected": "the file says that this is broken",
}  # fmt: skip


def sarif(results: Sequence[FileResult], code: ExitCode) -> str:
    """The SARIF log of one run."""
    found = [case for result in results for case in cases(result)]
    rules = list(dict.fromkeys(case.rule for case in found))
    run = {
        "tool": {
            "driver": {
                "name": "clearproof",
                "semanticVersion": __version__,
                "rules": [_rule(rule) for rule in rules],
            }
        },
        "columnKind": "unicodeCodePoints",
        "artifacts": [{"location": _file(path_of(r.document["file"]))} for r in results],
        "invocations": [
            {
                "executionSuccessful": code in (ExitCode.AS_EXPECTED, ExitCode.BROKEN),
                "exitCode": int(code),
                "exitCodeDescription": code.meaning,
            }
        ],
        "results": [_result(case, rules.index(case.rule)) for case in found],
    }
    return json.dumps({"$schema": SCHEMA, "version": "2.1.0", "runs": [run]}, indent=2) + "\n"


def _rule(rule: str) -> Json:
    entry = BY_NAME.get(rule)
    word = meanings().get(rule)
    title = entry.title if entry else word.text if word else rule
    found: Json = {"id": rule, "shortDescription": {"text": title}}
    if entry or word or rule in kinds():  # else it is a property of the file's own
        found["help"] = {"text": f"`clearproof explain {rule}` tells more."}
    return found


def _result(case: Case, rule: int) -> Json:
    kind, level, suppressed = _KINDS[case.ending]
    # A file that is wrong or undecided as a whole is shown at its first line.
    place = case.place or {"line": 1, "column": 1, "end_line": 1, "end_column": 1}
    found: Json = {
        "ruleId": case.rule,
        "ruleIndex": rule,
        "kind": kind,
        "level": level,
        "message": {"text": f"{case.name}: {case.text or case.ending}"},
        "locations": [{"physicalLocation": _place({**place, "file": case.file})}],
        "partialFingerprints": {"caseHash/v1": case.fingerprint},
    }
    others = [p for p in case.places if p is not case.place]
    if others:
        found["relatedLocations"] = [{"id": k, "physicalLocation": _place(p)}
                                     for k, p in enumerate(others)]  # fmt: skip
    if case.events:
        found["codeFlows"] = [{"threadFlows": [{"locations": _flow(case)}]}]
    if case.repairs:
        found["fixes"] = [_fix(case.file, edit) for edit in case.repairs]
    if suppressed:
        why = _WHY_SUPPRESSED.get(case.ending, case.text)
        found["suppressions"] = [{"kind": suppressed, "justification": why}]
    return found


def _flow(case: Case) -> list[Json]:
    """The events of a history; one that no line of a file causes has no place."""
    steps: list[Json] = []
    for number, event in enumerate(case.events):
        location: Json = {"message": {"text": event["text"]}}
        if event["place"]:
            location["physicalLocation"] = _place(event["place"])
        steps.append({"location": location, "executionOrder": number + 1})
    return steps


def _fix(file: str, edit: Edit) -> Json:
    (line, column), (end_line, end_column) = edit.start, edit.end
    region = {
        "startLine": line, "startColumn": column, "endLine": end_line, "endColumn": end_column,
    }  # fmt: skip
    return {
        "description": {"text": f"{edit.label} (proved)"},
        "artifactChanges": [
            {
                "artifactLocation": _file(file),
                "replacements": [{"deletedRegion": region, "insertedContent": {"text": edit.text}}],
            }
        ],
    }


def _place(place: Json) -> Json:
    return {
        "artifactLocation": _file(path_of(place["file"])),
        "region": {
            "startLine": place["line"],
            "startColumn": place["column"],
            "endLine": place["end_line"],
            "endColumn": place["end_column"],
        },
    }


def _file(path: str) -> Json:
    return {"uri": quote(path)}
