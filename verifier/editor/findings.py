"""What a process that proves has said of a text, kept while the text is edited.

In: the lines of :mod:`verifier.workbench.proofs`. Out: errors of the plan and verdicts, each at its
place. After an edit a finding stays where the piece of text that it stands in is the same; it is
then no longer proved, until the next verdicts are there.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Literal

from verifier.assist.fixes import Fix
from verifier.assist.pieces import Text
from verifier.language.diagnostics.diagnostic import Diagnostic

Json = dict[str, Any]
Weight = Literal["error", "warning", "note", "hint"]


@dataclass(frozen=True, slots=True)
class Further:
    """What is said of a further place: a cause of a finding, or the other of two declarations."""

    file: str
    start: int
    end: int
    text: str


@dataclass(frozen=True, slots=True)
class Found:
    """Something to show at a place of a text. ``code``: of an error, or a property."""

    start: int
    end: int
    weight: Weight
    code: str
    text: str
    further: tuple[Further, ...] = ()


@dataclass(frozen=True, slots=True)
class Anchored:
    """Something found, from the beginning of the piece of text in which it stands."""

    piece: str
    found: Found


def told(error: Diagnostic) -> Found:
    """An error of a text, where it stands."""
    text = f"{error.message}\n{error.hint}" if error.hint else error.message
    further = tuple(
        Further(span.source.name, span.start, span.end, words) for span, words in error.others
    )
    return Found(error.span.start, error.span.end, "error", error.code, text, further)


def told_by_worker(errors: list[Json], text: Text) -> Iterator[Found]:
    """The errors of the plan; those of an included file at its `include`, or else at the top."""
    for error in errors:
        place = error["place"]
        words = f"{error['message']}\n{error['hint']}" if error["hint"] else error["message"]
        further = tuple(_further(other["text"], other["place"]) for other in error["others"])
        start, end = place["start"], place["end"]
        if not error["here"]:
            words = f"{place['file']}:{place['line']}: {words}"
            start, end = _elsewhere(text)
        yield Found(start, end, "error", error["code"], words, further)


def _elsewhere(text: Text) -> tuple[int, int]:
    """Where to tell what stands in another file: the first line."""
    return text.source.line_bounds(1)


def verdicts(report: Json, text: Text) -> Iterator[Found]:
    """What is broken or undecided, each at the first place in this text that it is about."""
    for verdict in report["verdicts"]:
        weight = _weight(verdict)
        if weight is None:
            continue
        here = [place for place in verdict["places"] if place["file"] == text.source.name]
        start, end = (here[0]["start"], here[0]["end"]) if here else _elsewhere(text)
        yield Found(
            start, end, weight, verdict["property"], verdict["sentence"], tuple(_causes(verdict))
        )
    for unmet in report["unmet"]:
        place = unmet["place"]
        yield Found(place["start"], place["end"], "error", "expect", unmet["text"])


def _weight(verdict: Json) -> Weight | None:
    """How grave a verdict is; None where nothing is to be said."""
    if verdict["status"] == "broken" and verdict["fails"]:
        return "error"
    if verdict["status"] == "broken":
        return "hint" if verdict["expected"] else "note"
    return "warning" if verdict["status"] == "undecided" else None


def _causes(verdict: Json) -> Iterator[Further]:
    finding = verdict.get("finding")
    for cause in finding["causes"] if finding else ():
        if cause["place"]:
            yield _further(cause["text"], cause["place"])


def _further(text: str, place: Json) -> Further:
    return Further(place["file"], place["start"], place["end"], text)


def repairs(report: Json) -> Iterator[tuple[Found, Fix]]:
    """The proved repairs that can be made in the text itself, each with the verdict it mends."""
    for verdict in report["verdicts"]:
        for edit in (verdict.get("finding") or {}).get("edits", ()):
            written = " ".join(edit["text"].split())
            title = f"{edit['label']}, proved: {written[:60]}{'…' * (len(written) > 60)}"
            mended = Fix(title, edit["start"], edit["end"], edit["text"], verdict["key"], True)
            for place in verdict["places"]:
                yield Found(place["start"], place["end"], "error", verdict["property"], ""), mended


def anchored(found: Found, text: Text) -> Anchored:
    """Something found, by the piece it stands in."""
    start, piece = text.piece_at(found.start)
    moved = replace(found, start=found.start - start, end=found.end - start)
    return Anchored(piece.text, moved)


def in_text(kept: list[Anchored], text: Text) -> Iterator[Found]:
    """What was found in an earlier text, where its piece is still in this one."""
    starts: dict[str, int] = {}
    for start, piece in text.pieces:
        starts.setdefault(piece.text, start)
    for one in kept:
        start_now = starts.get(one.piece)
        if start_now is not None:
            found = one.found
            yield replace(found, start=found.start + start_now, end=found.end + start_now)
