"""A summary in Markdown, for a pull request or the page of a CI run: the grade of every file, then
each finding with its drawing and its history."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from verifier.reports.formats.cases import FAILING, Case, Edit, FileResult, cases
from verifier.reports.words import PROMISES_LEAD, mend_words
from verifier.verdicts.baseline import path_of
from verifier.verdicts.exit_codes import ExitCode

# Findings shown; the others are counted.
_SHOWN = 10
_CAUTION = "For model railroads, not for railways that carry people."


def markdown(results: Sequence[FileResult], code: ExitCode) -> str:
    """The summary of one run."""
    return "\n".join(_lines(results, code)) + "\n"


def _lines(results: Sequence[FileResult], code: ExitCode) -> Iterator[str]:
    yield f"### clearproof: {code.meaning}"
    yield ""
    yield "| junction | grade | |"
    yield "| --- | --- | --- |"
    for result in results:
        document = result.document
        said = document.get("headline", "").removeprefix(document["grade"]).lstrip(":; ")
        name = _cell(f"`{path_of(document['file'])}`")
        yield f"| {name} | {document['grade']} | {_cell(said)} |"
    for result in results:
        yield from _promises(result.document)
    failing = [case for r in results for case in cases(r) if case.ending in FAILING]
    for case in failing[:_SHOWN]:
        yield from _finding(case)
    if len(failing) > _SHOWN:
        yield ""
        yield f"… and {len(failing) - _SHOWN} further."
    for result in results:
        if result.document.get("counts", {}).get("broken"):
            yield ""
            yield mend_words(path_of(result.document["file"]))
    yield ""
    yield f"<sub>{_CAUTION}</sub>"


def _promises(document: Mapping[str, Any]) -> Iterator[str]:
    """What the crew could promise."""
    made = document.get("promises_to_make", ())
    if made:
        yield ""
        yield f"{PROMISES_LEAD}, in `{path_of(document['file'])}`:"
        yield ""
        yield from (f"- `crew promises {text}`" for text in made)


def _finding(case: Case) -> Iterator[str]:
    yield ""
    yield f"#### {case.ending}: {_text(case.name)}"
    yield ""
    yield f"{_text(case.text)} (`{case.file}:{case.line}`)"
    if case.drawing:
        yield ""
        yield "```text"
        yield from case.drawing.splitlines()
        yield "```"
    if case.events:
        yield ""
        yield from (
            f"{number}. {_text(event['text'])}" for number, event in enumerate(case.events, start=1)
        )
    for edit in case.repairs:
        yield ""
        yield from _repair(edit)


def _repair(edit: Edit) -> Iterator[str]:
    """A repair in its line; one of several lines as these lines then are, the first one from where
    it changes."""
    first, last = edit.start[0], edit.end[0]
    lines = edit.text.strip("\n").splitlines()
    if first == last and len(lines) < 2:
        yield f"{edit.label} (proved), at line {first}: `{' '.join(edit.text.split())}`"
        return
    where = f"at line {first}" if first == last else f"lines {first} to {last}"
    yield f"{edit.label} (proved), {where}:"
    yield ""
    yield "```text"
    yield from (f"… {lines[0].strip()}" if edit.start[1] > 1 else lines[0], *lines[1:])
    yield "```"


def _cell(text: str) -> str:
    return _text(text).replace("|", "\\|")


def _text(text: str) -> str:
    """A text in which Markdown finds no HTML and no links."""
    plain = " ".join(text.split())
    return plain.replace("&", "&amp;").replace("<", "&lt;").replace("[", "\\[").replace("*", "\\*")
