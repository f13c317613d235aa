"""What a text is made of: parts to fold, things to list, words to tint."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Literal, get_args

from verifier.assist.naming import Names
from verifier.assist.pieces import Text
from verifier.language.syntax import tree as s
from verifier.language.syntax.parse import terminal_words
from verifier.language.syntax.tree import STATEMENT_WORDS

Tint = Literal["comment", "string", "statement", "keyword", "number", "name", "aspect", "operator"]
TINTS: tuple[Tint, ...] = get_args(Tint)

_SIGNS = ("JOINED", "GAP", "DOUBLE_GAP", "COMMA", "OPEN_PAREN", "CLOSE_PAREN", "COLON")
_TINT_OF: dict[str, Tint] = {
    "STRING": "string", "UNCLOSED_STRING": "string", "RULE_NAME": "aspect", "COLOR": "keyword",
    "INDICATION": "keyword", "PLATE": "keyword", "LIES": "keyword", "FLASHES": "keyword",
    **dict.fromkeys(_SIGNS, "operator"),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Tinted:
    """A stretch of one line, and what kind of word it is. ``declares``: a name where its thing is
    declared."""

    start: int
    end: int
    tint: Tint
    declares: bool = False


@dataclass(frozen=True, slots=True)
class Fold:
    """Lines, from 1, of which all but the first may be hidden."""

    first: int
    last: int
    comment: bool = False


@dataclass(frozen=True, slots=True)
class Symbol:
    """A thing that a text declares: its statement from ``start`` to ``end``, its name from
    ``name_start`` to ``name_end``. ``inside``: those of a module."""

    name: str
    kind: str
    start: int
    end: int
    name_start: int
    name_end: int
    inside: tuple["Symbol", ...] = ()


def tints(names: Names) -> list[Tinted]:
    """The words of a text, in order; names as the statements have them."""
    text = names.text
    named = {(o.start, o.end): o for o in names.occurrences}
    declared = {d.name.start for d in names.declarations}
    found: list[Tinted] = []
    for begins, piece in text.pieces:
        at = begins
        for token in piece.tokens:
            start, end = begins + (token.start_pos or 0), begins + (token.end_pos or 0)
            found += _comments(text.text, at, start)
            at = end
            if (start, end) in named:
                found.append(Tinted(start, end, "name", start in declared))
                continue
            tint = _tint(token.type, str(token))
            if tint and "\n" not in token:
                found.append(Tinted(start, end, tint))
        found += _comments(text.text, at, begins + len(piece.text))
    return found


def _tint(terminal: str, word: str) -> Tint | None:
    if terminal in STATEMENT_WORDS:
        return "statement"
    if terminal in _TINT_OF:
        return _TINT_OF[terminal]
    if terminal == "NAME":
        # Words that are words in their place only, and amounts.
        if word[0].isdigit():
            return "number"
        return "keyword" if word in _words() else "name"
    return "keyword" if terminal in terminal_words() else None


def _words() -> frozenset[str]:
    return frozenset(terminal_words().values())


def _comments(text: str, start: int, end: int) -> Iterator[Tinted]:
    """The comments between two words."""
    while (start := text.find("#", start, end)) >= 0:
        line = min((at for at in (text.find("\n", start), text.find("\r", start)) if at >= 0),
                   default=len(text))  # fmt: skip
        last = min(line, end)
        yield Tinted(start, last, "comment")
        start = last


def folds(text: Text) -> list[Fold]:
    """Statements of several lines, modules, and comments of several lines."""
    found: list[Fold] = []
    opened: int | None = None
    for start, statement in text.statements():
        place = text.span(start, statement.span)
        first, last = place.line, place.end_position[0]
        if isinstance(statement, s.Module):
            opened = first
        elif isinstance(statement, s.End) and opened is not None:
            found.append(Fold(opened, last))
            opened = None
        elif last > first:
            found.append(Fold(first, last))
    lines = text.text.splitlines()
    at = 0
    for is_comment, run in groupby(lines, key=lambda line: line.lstrip().startswith("#")):
        many = len(list(run))
        if is_comment and many > 1:
            found.append(Fold(at + 1, at + many, comment=True))
        at += many
    return sorted(found, key=lambda fold: (fold.first, fold.last))


def symbols(names: Names) -> list[Symbol]:
    """What a text declares, in order, the inside of modules inside them."""
    inner: dict[str, list[Symbol]] = {}
    for declared in names.declarations:
        name = declared.name
        if name.kind not in ("module", "parameter"):
            inner.setdefault(name.scope, []).append(
                Symbol(name.text, name.kind, declared.start, declared.end, name.start, name.end)
            )
    found = inner.get("", [])
    for declared in names.declarations:
        name = declared.name
        if name.kind == "module":
            inside = tuple(inner.get(name.text, ()))
            end = max((symbol.end for symbol in inside), default=declared.end)
            found.append(
                Symbol(name.text, "module", declared.start, end, name.start, name.end, inside)
            )
    return sorted(found, key=lambda symbol: symbol.start)
