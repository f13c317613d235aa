"""What a statement's text is made of: clauses, each a line if it fits, of segments that stay
together."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from verifier.language.source import Span
from verifier.language.syntax import tree as s


@dataclass(frozen=True, slots=True)
class Segment:
    """A few words that stay together, and where they stand in the source."""

    text: str
    start: int
    end: int


class Drawn(NamedTuple):
    """One step of a `track` line: the join before it, and its leg on either side."""

    join: str
    left: str
    name: str
    right: str


@dataclass(frozen=True, slots=True)
class Clause:
    """One line, if it fits.

    ``columns`` are padded to those of the clauses around it with the same ``table``.
    ``splits`` is the first segment that moves to a line of its own when the line is too
    long, 0 where none does. ``joins``: follows the clause before it on the same line where
    there is room. ``drawn`` holds the steps of a `track` line."""

    segments: tuple[Segment, ...]
    columns: tuple[str, ...]
    indent: int = 0
    table: Literal["", "block", "supply", "aspect", "rule", "track"] = ""
    splits: int = 0
    joins: bool = False
    drawn: tuple[Drawn, ...] = ()


def clause(
    segments: Sequence[Segment], *, indent: int = 0, splits: int = 0, joins: bool = False
) -> Clause:
    line = " ".join(segment.text for segment in segments)
    return Clause(tuple(segments), (line,), indent, "", splits, joins)


def whole(text: str, span: Span) -> Clause:
    return clause([Segment(text, span.start, span.end)])


def list_segments(word: str, names: Sequence[s.Name], start: int) -> list[Segment]:
    """``word A, B, C``, a segment for each name."""
    segments = []
    for i, name in enumerate(names):
        text = name.text + ("," if i < len(names) - 1 else "")
        begin = start if i == 0 else name.span.start
        segments.append(Segment(text if i else f"{word} {text}", begin, name.span.end))
    return segments


def listed(word: str, names: Sequence[s.Name], span: Span, after: str = "") -> Clause:
    segments = list_segments(word, names, span.start)
    if after:
        segments.append(Segment(after, segments[-1].end, span.end))
    return clause(segments)
