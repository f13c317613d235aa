"""What a statement's text is made of: clauses, each a line if it fits, of segments that stay
together."""

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
class Clause:
    """One line, if it fits.

    ``columns`` are padded to those of the clauses around it with the same ``table``.
    ``splits`` is the first segment that moves to a line of its own when the line is too
    long, 0 where none does. ``joins``: follows the clause before it on the same line where
    there is room. ``drawn`` holds the steps of a `track` line."""

    segments: tuple[Segment, ...]
    columns: tuple[str, ...]
    indent: int = 0
    table: Table = ""
    splits: int = 0
    joins: bool = False
    drawn: tuple[Drawn, ...] = ()
