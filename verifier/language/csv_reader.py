"""Users' tables as CSV: text to cells, each with its place in the file.

In: the text of a file. Out: rows of cells. Follows RFC 4180, and what spreadsheets write:
separators are commas, semicolons or tabs, whichever the first line with any has; lines end with
LF, CR or both; quoted cells may contain all of these, and a quote in them is written twice.
(Python's csv module gives no columns, which messages need.)
"""

import re
from collections import Counter
from dataclasses import dataclass

from verifier.language.diagnostics.diagnostic import Diagnostic, InputError
from verifier.language.diagnostics.registry import diagnostic
from verifier.language.source import Source, Span

SEPARATORS = ",;\t"
_ENDS = {separator: re.compile(f"[{separator}\r\n]") for separator in SEPARATORS}
# More lines than any real table has.
MAX_ROWS = 10_000
# A cell that begins with one of these is a formula to a spreadsheet.
FORMULA = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, slots=True)
class CsvCell:
    """``text`` without the quotes and the space around it; ``span`` is all of it as written."""

    text: str
    span: Span


@dataclass(frozen=True, slots=True)
class CsvTable:
    """The non-empty rows of a file, and the separator of their cells."""

    rows: tuple[tuple[CsvCell, ...], ...]
    separator: str


def csv_table(source: Source) -> CsvTable:
    """All cells of a text. Raises :class:`InputError` (``CP803``) where quotes do not match, or
    where there are more than :data:`MAX_ROWS`."""
    separator = _separator(source)
    rows: list[tuple[CsvCell, ...]] = []
    row: list[CsvCell] = []
    errors: list[Diagnostic] = []
    text, at = source.text, 0
    while at <= len(text):
        cell, at = _cell(source, at, separator, errors)
        row.append(cell)
        ended = at >= len(text) or text[at] in "\r\n"
        if ended:
            if any(c.text for c in row):
                rows.append(tuple(row))
                if len(rows) > MAX_ROWS:
                    errors.append(diagnostic("CP803", row[0].span, "long", most=MAX_ROWS))
                    break
            row = []
            at += 2 if text.startswith("\r\n", at) else 1
        else:
            at += 1
    if errors:
        raise InputError(errors)
    return CsvTable(tuple(rows), separator)


def _separator(source: Source) -> str:
    lines = source.text.splitlines()
    first = next((line for line in lines if any(c in line for c in SEPARATORS)), "")
    counts = Counter(c for c in first if c in SEPARATORS)
    return max(SEPARATORS, key=lambda c: counts[c])


def _cell(
    source: Source, start: int, separator: str, errors: list[Diagnostic]
) -> tuple[CsvCell, int]:
    """The cell that starts here, and where it ends: at a separator, a line end or the end."""
    text = source.text
    quoted = start
    while quoted < len(text) and text[quoted] == " ":
        quoted += 1
    if not text.startswith('"', quoted):
        end = _end_of_plain(text, start, separator)
        return CsvCell(text[start:end].strip(), Span(source, start, end)), end
    close = quoted + 1
    while True:
        close = text.find('"', close)
        if close < 0:
            end = _end_of_plain(text, start, separator)
            span = Span(source, quoted, end)
            errors.append(diagnostic("CP803", span, "open_quote"))
            return CsvCell("", span), len(text)
        if not text.startswith('""', close):
            break
        close += 2
    end = _end_of_plain(text, close + 1, separator)
    span = Span(source, start, end)
    if text[close + 1 : end].strip():
        errors.append(diagnostic("CP803", span, "after_quote"))
    return CsvCell(text[quoted + 1 : close].replace('""', '"').strip(), span), end


def _end_of_plain(text: str, start: int, separator: str) -> int:
    found = _ENDS[separator].search(text, start)
    return found.start() if found else len(text)


def is_formula(text: str) -> bool:
    """Whether a spreadsheet would take this for a formula. A dash alone is none."""
    return text.startswith(FORMULA) and text != "-"


def shortened(text: str) -> str:
    """A cell's text as quoted in a message: at most 40 characters of it."""
    return text if len(text) <= 40 else f"{text[:37]}..."
