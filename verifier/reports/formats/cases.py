"""What a report in another format says of each file, case by case.

In: the JSON report of each file, and what the JSON does not have: repairs as edits, drawings. Out:
cases: one for each obligation, and one for each thing that is wrong with a file as a whole.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from verifier.reports.json_parts import Json
from verifier.verdicts.baseline import fingerprint, path_of

# How a case ended. ``known``: broken, as a baseline says; ``noted``: broken, and advice only.
Ending = Literal["proved", "broken", "known", "expected", "noted", "waived", "undecided", "wrong"]
# Those that fail a run.
FAILING = frozenset(("broken", "undecided", "wrong"))


@dataclass(frozen=True, slots=True)
class Edit:
    """A proved repair: ``text`` in place of what stands from (line, column) to (line, column)."""

    label: str
    start: tuple[int, int]
    end: tuple[int, int]
    text: str


@dataclass(frozen=True, slots=True)
class FileResult:
    """The JSON report of a file, and for verdicts by number: repairs and drawings."""

    document: Json
    repairs: Mapping[int, tuple[Edit, ...]] = field(default_factory=dict)
    drawings: Mapping[int, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Case:
    """One thing that was asked of a file. ``rule``: the property, or the code of an error;
    ``text``: what is wrong, or why it was not decided; ``places``: as the JSON report has them,
    the first being the one to show; ``events``: of a history, in order."""

    file: str
    rule: str
    subjects: tuple[str, ...]
    ending: Ending
    text: str = ""
    places: tuple[Json, ...] = ()
    events: tuple[Json, ...] = ()
    repairs: tuple[Edit, ...] = ()
    drawing: str = ""
    # What tells it from others of its rule, beside the subjects.
    further: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """``opposing-proceeds: 4L, 4RA``."""
        return f"{self.rule}: {', '.join(self.subjects)}" if self.subjects else self.rule

    @property
    def fingerprint(self) -> str:
        """The same for the same case of another run, wherever it stands in its file."""
        return fingerprint(self.file, self.rule, (*self.subjects, *self.further))

    @property
    def line(self) -> int:
        """The line to show; the first, where the case is about no one place of its file."""
        place = self.place
        return int(place["line"]) if place else 1

    @property
    def place(self) -> Json | None:
        """The first place that stands in the file itself."""
        return next((p for p in self.places if path_of(p["file"]) == self.file), None)


def cases(result: FileResult) -> list[Case]:
    """All cases of a file: what is wrong with the file as a whole first. If the exit code of the
    file is not 0, one of them fails."""
    document = result.document
    found = list(_cases(result))
    if document["exit_code"] and not any(case.ending in FAILING for case in found):
        text = document["headline"] if "headline" in document else document["grade"]
        found.insert(0, Case(path_of(document["file"]), "grade", (), "undecided", text))
    return found


def _cases(result: FileResult) -> Iterator[Case]:
    document = result.document
    file = path_of(document["file"])
    for error in document.get("errors", ()):
        text = f"{error['message']}. {error['hint']}".rstrip()
        ending: Ending = "undecided" if document["exit_code"] == 3 else "wrong"
        further = (error["message"],)
        yield Case(file, error["code"], (), ending, text, (error["place"],), further=further)
    if document.get("stopped") and "verdicts" not in document:
        yield Case(file, "not-reached", (), "undecided", document["stopped"])
    for unmet in document.get("not_as_expected", ()):
        text, place = unmet["text"], unmet["place"]
        yield Case(file, "not-as-expected", (), "broken", text, (place,), further=(text,))
    yield from _of_the_whole(document, file)
    for number, verdict in enumerate(document.get("verdicts", ())):
        finding = verdict["finding"] or {}
        story = finding.get("history") or {}
        ending, text = _ending(verdict)
        yield Case(
            file,
            verdict["property"],
            tuple(verdict["subjects"]),
            ending,
            text,
            (*_causes(finding.get("causes", ())), *verdict["places"]),
            tuple(story.get("events", ())),
            result.repairs.get(number, ()),
            result.drawings.get(number, ""),
        )


# What leaves a file as a whole undecided, beside single verdicts, and the name of its case.
_WHOLE = {
    "stopped": "stopped-early",
    "kept out": "trains-kept-out",
    "nothing clears": "nothing-clears",
    "nothing asked": "nothing-to-prove",
}


def _of_the_whole(document: Json, file: str) -> Iterator[Case]:
    for short in document.get("short_of", ()):
        if short["kind"] in _WHOLE:
            yield Case(file, _WHOLE[short["kind"]], (), "undecided", short["text"])
    for row in document.get("failures", ()):
        if row["kind"] == "pair" and row["consequence"] == "undecided":
            yield Case(file, "pair", tuple(row["faults"]), "undecided", row["why"])


def _ending(verdict: Json) -> tuple[Ending, str]:
    match verdict["status"]:
        case "undecided":
            return "undecided", f"not decided: {verdict['why']}"
        case "waived":
            return "waived", verdict["why"]
        case "proved":
            return "proved", ""
    trouble = verdict["trouble"]
    if verdict["expected"]:
        return "expected", trouble
    if verdict["advice"]:
        return "noted", trouble
    return ("known" if verdict.get("known") else "broken"), trouble


def _causes(causes: Sequence[Json]) -> Iterator[Json]:
    """Where the file says what lets it happen."""
    return (cause["place"] for cause in causes if cause["place"])
