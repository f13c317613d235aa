"""A text in its canonical layout, as far as it can be read. Lines that belong together, with no
blank line between them, stay as they are where one of them has an error in it; so does a module."""

import re
from collections.abc import Iterator
from itertools import groupby

from verifier.assist.pieces import Piece, Text
from verifier.language.format.formatter import format_text
from verifier.language.source import LINE_END
from verifier.language.syntax import tree as s

_BLANK_LINE = re.compile(r"\n[ \t]*\n\s*\Z")


def formatted(text: Text) -> str:
    """The text, formatted. Its lines end as the first one does."""
    parts = list(_formatted_parts(text))
    found = LINE_END.search(text.text)
    end = found[0] if found else "\n"
    return "".join(part.replace("\n", end) for part in parts)


def _formatted_parts(text: Text) -> Iterator[str]:
    pieces = [piece for _, piece in text.pieces]
    if not any(piece.errors for piece in pieces):
        yield format_text(LINE_END.sub("\n", text.text))
        return
    runs = [(k, "".join(p for _, p in run)) for k, run in groupby(_runs(pieces), lambda r: r[0])]
    for i, (is_whole, run) in enumerate(runs):
        part = LINE_END.sub("\n", run)
        if is_whole:
            body = part.rstrip("\n")
            behind = part[len(body) :] if i + 1 < len(runs) else "\n"
            yield format_text(body).rstrip("\n") + behind
        else:
            yield part


def _runs(pieces: list[Piece]) -> Iterator[tuple[bool, str]]:
    """The text of each group of pieces, and whether it can be formatted."""
    group: list[Piece] = []
    in_module = False
    for piece in pieces:
        group.append(piece)
        in_module = (in_module or _has(piece, s.Module)) and not _has(piece, s.End)
        if not in_module and _BLANK_LINE.search(piece.text):
            yield _run(group)
            group = []
    if group:
        yield _run(group)


def _run(group: list[Piece]) -> tuple[bool, str]:
    return not any(piece.errors for piece in group), "".join(piece.text for piece in group)


def _has(piece: Piece, kind: type[s.Statement]) -> bool:
    return any(isinstance(statement, kind) for statement in piece.statements)
