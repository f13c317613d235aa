"""Spans, causes and events as JSON: the one encoder of all reports.

Reports differ only in what they say of a place in a file: an editor needs offsets, a program the
end and the module use. Each passes its own encoder of places to the others.
"""

from collections.abc import Callable
from typing import Any

from verifier.language.source import Span
from verifier.verdicts.causes import Cause
from verifier.verdicts.report import HistoryEvent

Json = dict[str, Any]
PlaceEncoder = Callable[[Span], Json]


def place_json(span: Span) -> Json:
    """File, line and column, both counted from 1."""
    return {"file": span.source.name, "line": span.line, "column": span.column}


def place_with_offsets(span: Span) -> Json:
    """A place with its start and end as counts of characters from the beginning of the text."""
    return {**place_json(span), "start": span.start, "end": span.end}


def place_with_end(span: Span) -> Json:
    """A place with its end; inside a module, with the use of it."""
    end_line, end_column = span.end_position
    place = {**place_json(span), "end_line": end_line, "end_column": end_column}
    used = span.source.used
    if used:
        use = {"module": used.module, "as": used.name, "place": place_with_end(used.span)}
        place["used"] = use
    return place


def text_at(text: str, span: Span, place: PlaceEncoder) -> Json:
    """What is said of a place."""
    return {"text": text, "place": place(span)}


def cause_json(cause: Cause, place: PlaceEncoder) -> Json:
    """A cause and those behind it."""
    return {
        "text": cause.text,
        "place": place(cause.span) if cause.span else None,
        "because": [cause_json(inner, place) for inner in cause.because],
    }


def event_json(event: HistoryEvent, place: PlaceEncoder) -> Json:
    """One event of a history; ``moment`` counts from 0."""
    return {
        "moment": event.moment,
        "text": event.text,
        "place": place(event.span) if event.span else None,
    }
