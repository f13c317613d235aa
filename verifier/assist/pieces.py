"""A text cut into pieces that can be read one by one: the next version of a text has nearly all of
them again, so that a keystroke costs the reading of one.

In: a text. Out: its pieces in order, each with its statements, the errors in it, and its words.
Places inside a piece are counted from its beginning. A piece begins with a statement word at the
beginning of a line, or is what stands before the first.
"""

import re
from bisect import bisect_right
from collections import OrderedDict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

from lark import Token

from verifier.language.diagnostics.diagnostic import Diagnostic
from verifier.language.source import Source, Span
from verifier.language.syntax import tree
from verifier.language.syntax.parse import MAX_CHARACTERS, MAX_ERRORS, lex, parse_on, starters

# Pieces kept: those of several large files.
MAX_KEPT = 20_000
# What may stand before a line that begins a piece: `next` goes on with `signal`, `at most 2`
# with `trains`, `live by` with `lever`.
_GOES_ON = re.compile(r"(?:next|most\s+\S+|live\s+by)\s*\Z")
# `track power` and `number plate` are no statements, nor is what is shown, before `when`.
_NO_NAME = r"(?!\s+(?:power|plate)\b)(?!(?:\s|#[^\r\n]*[\r\n])+(?:when|otherwise)(?![\w-]))"


class Piece:
    """A part of a text that is read by itself. Equal texts are one piece."""

    def __init__(self, text: str):
        self.source = Source("", text)
        self._read = parse_on(self.source)

    @property
    def text(self) -> str:
        return self.source.text

    @property
    def statements(self) -> tuple[tree.Statement, ...]:
        """The statements that can be read."""
        return self._read[0]

    @property
    def errors(self) -> Sequence[Diagnostic]:
        return self._read[1]

    @cached_property
    def tokens(self) -> tuple[Token, ...]:
        return tuple(lex(self.source))


@dataclass(frozen=True)
class Text:
    """A text and its pieces, each with the offset at which it begins."""

    source: Source
    pieces: tuple[tuple[int, Piece], ...]

    @property
    def text(self) -> str:
        return self.source.text

    @cached_property
    def _starts(self) -> list[int]:
        return [start for start, _ in self.pieces]

    def piece_at(self, offset: int) -> tuple[int, Piece]:
        """The piece with a character, and where it begins; the last one at the end of the text."""
        return self.pieces[max(0, bisect_right(self._starts, offset) - 1)]

    def statements(self) -> Iterator[tuple[int, tree.Statement]]:
        """Every statement that can be read, and where its piece begins."""
        for start, piece in self.pieces:
            for statement in piece.statements:
                yield start, statement

    def errors(self) -> Iterator[Diagnostic]:
        """What cannot be read, with its places in the whole text; at most MAX_ERRORS."""
        left = MAX_ERRORS
        for start, piece in self.pieces:
            for error in piece.errors[:left]:
                left -= 1
                yield self._moved(error, start)

    def span(self, start: int, span: Span) -> Span:
        """A place of a piece that begins at ``start``, in the whole text."""
        return Span(self.source, start + span.start, start + span.end)

    def _moved(self, error: Diagnostic, start: int) -> Diagnostic:
        others = tuple((self.span(start, at), words) for at, words in error.others)
        fix = error.fix and replace(error.fix, span=self.span(start, error.fix.span))
        return replace(error, span=self.span(start, error.span), others=others, fix=fix)


_kept: OrderedDict[str, Piece] = OrderedDict()


def text_of(source: Source) -> Text:
    """A text, cut and read."""
    found: list[tuple[int, Piece]] = []
    cuts = [0, *_cuts(source.text[:MAX_CHARACTERS]), len(source.text)]
    for start, end in pairwise(cuts):
        if end > start or not found:
            found.append((start, _piece(source.text[start:end])))
    return Text(source, tuple(found))


def _cuts(text: str) -> Iterator[int]:
    """Where pieces begin, the first one apart."""
    words = "|".join(sorted(starters().values(), reverse=True))
    starts = rf"(?:(?<=\n)|(?<=\r))(?:{words})(?![\w.-]){_NO_NAME}"
    for found in re.finditer(starts, text):
        if not _GOES_ON.search(text, max(0, found.start() - 40), found.start()):
            yield found.start()


def _piece(text: str) -> Piece:
    piece = _kept.get(text)
    if piece is None:
        piece = _kept[text] = Piece(text)
        if len(_kept) > MAX_KEPT:
            _kept.popitem(last=False)
    return piece
