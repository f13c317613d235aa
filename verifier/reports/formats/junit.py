"""JUnit XML, as CI servers read it: a suite for each file, a test case for each property and place.

What is undecided is an ``error``, what is broken a ``failure``, what the file waives is skipped.
"""

from collections.abc import Sequence
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from verifier.reports.formats.cases import Case, FileResult, cases
from verifier.verdicts.baseline import path_of
from verifier.verdicts.exit_codes import ExitCode

_ELEMENTS = {"broken": "failure", "wrong": "error", "undecided": "error", "waived": "skipped"}
_ASIDE = {
    "known": "Broken, and known by the baseline", "expected": "Broken, as the file expects",
    "noted": "Noted",
}  # fmt: skip


def junit(results: Sequence[FileResult], _code: ExitCode) -> str:
    """The XML document of one run."""
    whole = Element("testsuites", name="clearproof")
    for result in results:
        found = cases(result)
        suite = SubElement(whole, "testsuite", name=path_of(result.document["file"]))
        kinds = [_ELEMENTS.get(case.ending, "") for case in found]
        for name, element in (("failures", "failure"), ("errors", "error"), ("skipped", "skipped")):
            suite.set(name, str(kinds.count(element)))
        suite.set("tests", str(len(found)))
        for case in found:
            _case(suite, case)
    indent(whole)
    text: str = tostring(whole, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'


def _case(suite: Element, case: Case) -> None:
    name = ", ".join(case.subjects) or case.rule
    made = SubElement(suite, "testcase", name=name, classname=f"{case.file}.{case.rule}")
    made.set("file", case.file)
    made.set("line", str(case.line))
    if kind := _ELEMENTS.get(case.ending):
        told = SubElement(made, kind, message=_allowed(case.text))
        if kind != "skipped":
            told.set("type", case.rule)
            told.text = _allowed(_in_full(case))
    elif aside := _ASIDE.get(case.ending):
        SubElement(made, "system-out").text = _allowed(f"{aside}: {case.text}")


def _in_full(case: Case) -> str:
    where = [f"{p['file']}:{p['line']}" for p in case.places]
    events = [f"{number}. {event['text']}" for number, event in enumerate(case.events, start=1)]
    return "\n".join([case.text, *where, *events, case.drawing]).rstrip()


def _allowed(text: str) -> str:
    """The text without characters that XML 1.0 (2.2) does not allow."""
    return "".join(c if c in "\t\n\r" or " " <= c <= "\ud7ff" or c > "\udfff" else "?"
                   for c in text if c not in "\ufffe\uffff")  # fmt: skip
