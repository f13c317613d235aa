"""Files as text, and places in them.

Inside the program a place is a pair of character offsets; lines and columns, both
counted from 1, exist only here, at the edge where people read them.
"""

import re
from bisect import bisect_right
from collections.abc import Iterator
from copy import copy
from dataclasses import dataclass, field
from hashlib import sha256

# Lines end with LF, CR LF, or CR alone, as the grammar's comments do.
LINE_END = re.compile(r"\r\n|\r|\n")


@dataclass(frozen=True, eq=False)
class Source:
    """One file of the user's: its name as shown in messages, and its whole text.

    The statements of a module stand in the layout once for each `use`, and each time they
    have a source of their own, of the same name and text, that says which ``used`` it is."""

    name: str
    text: str = field(repr=False)
    used: "Used | None" = field(default=None, repr=False)
    _starts: list[int] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        starts = [0, *(found.end() for found in LINE_END.finditer(self.text))]
        object.__setattr__(self, "_starts", starts)

    def as_used(self, used: "Used") -> "Source":
        """The same text, as a module of it stands in the layout by one `use`."""
        source = copy(self)
        object.__setattr__(source, "used", used)
        return source

    @property
    def digest(self) -> str:
        """The SHA-256 of the text, in hexadecimal, as `sha256sum` prints it of the file."""
        return sha256(self.text.encode()).hexdigest()

    @property
    def lines(self) -> int:
        """How many lines there are; the last one may be empty."""
        return len(self._starts)

    def position(self, offset: int) -> tuple[int, int]:
        """Line and column of a character, both from 1."""
        line = bisect_right(self._starts, offset)
        return line, offset - self._starts[line - 1] + 1

    def line_bounds(self, number: int) -> tuple[int, int]:
        """Where line ``number`` (from 1) starts and ends, its line end left out."""
        start = self._starts[number - 1]
        if number == len(self._starts):
            return start, len(self.text)
        end = self._starts[number]
        return start, end - (2 if self.text[end - 2 : end] == "\r\n" else 1)

    def line(self, number: int) -> str:
        """The text of line ``number`` (from 1), without its line end."""
        start, end = self.line_bounds(number)
        return self.text[start:end]


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of one source, ``start`` inclusive, ``end`` exclusive."""

    source: Source
    start: int
    end: int

    @property
    def line(self) -> int:
        return self.source.position(self.start)[0]

    @property
    def column(self) -> int:
        return self.source.position(self.start)[1]

    @property
    def end_position(self) -> tuple[int, int]:
        """Line and column one past the last character."""
        return self.source.position(self.end)

    @property
    def text(self) -> str:
        return self.source.text[self.start : self.end]

    @property
    def one_line(self) -> str:
        """The text with every run of white space as one space."""
        return " ".join(self.text.split())

    @property
    def first_line(self) -> str:
        """The first line of the text, without the space around and between its words."""
        return " ".join(self.text.splitlines()[0].split())

    @property
    def where(self) -> str:
        """``file:line``, as findings print it."""
        return f"{self.source.name}:{self.line}"

    def seen_from(self, source: Source) -> str:
        """``line 31``, as things read that are all about ``source``; ``file:line`` elsewhere."""
        return f"line {self.line}" if self.source.name == source.name else self.where

    @property
    def turned(self) -> bool:
        """Whether the layout has what is written here mirrored."""
        return sum(used.turned for used in self.uses) % 2 == 1

    @property
    def uses(self) -> "Iterator[Used]":
        """The `use` statements that brought this place into the layout, the nearest first."""
        used = self.source.used
        while used is not None:
            yield used
            used = used.span.source.used

    def to(self, other: "Span") -> "Span":
        """The stretch from the start of this one to the end of ``other``."""
        return Span(self.source, self.start, other.end)


@dataclass(frozen=True, slots=True)
class Used:
    """One `use` of a module: the module's name, what its inside is reached by (``East``, or
    ``North.East`` where it is used in a module itself), the place of the statement, and whether
    it is ``turned`` round."""

    module: str
    name: str
    span: Span
    turned: bool

    @property
    def words(self) -> str:
        """``in module End-Of-Siding, used as East turned round``."""
        turned = " turned round" if self.turned else ""
        return f"in module {self.module}, used as {self.name}{turned}"
