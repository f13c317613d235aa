"""What a statement's text is made of: lines, of segments that stay together."""

from dataclasses import dataclass
from typing import NamedTuple

from verifier.language.statements.kind import Table


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
class TextLine:
    """A line of the result, split into several if it is too long.

    ``columns`` are padded to those of the lines around it with the same ``table``. Each segment in
    ``splits`` of a line that is too long has a line of its own; where that is empty, lines
    are filled. ``joins``: the line joins the one before it if there is room. ``drawn`` holds
    the steps of a `track` line."""

    segments: tuple[Segment, ...]
    columns: tuple[str, ...]
    indent: int = 0
    table: Table = ""
    splits: frozenset[int] = frozenset()
    joins: bool = False
    drawn: tuple[Drawn, ...] = ()
