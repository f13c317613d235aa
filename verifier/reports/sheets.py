"""Sheets for the terminal and as CSV."""

import csv
import io
import textwrap
from collections.abc import Iterator, Sequence
from itertools import zip_longest

from verifier.language.csv_reader import is_formula
from verifier.sheets.sheet import Row, Sheet, Table

# Columns of text are made narrower until a table is no wider than this.
_WIDE = 118
_NARROWEST = 14


def sheet_lines(sheet: Sheet) -> Iterator[str]:
    """The sheet as lines of text."""
    yield sheet.title
    for text in filter(None, (*sheet.cautions, sheet.grade, *sheet.notes)):
        yield ""
        yield from textwrap.wrap(text, 100)
    for table in sheet.tables:
        yield ""
        yield f"{table.title}:"
        yield from _table(table)
        for text in table.notes:
            yield from textwrap.wrap(text, 100)


def _table(table: Table) -> Iterator[str]:
    rows = (table.columns, *table.rows)
    right = [column in table.numeric for column in table.columns]
    widths = _widths(rows, right)
    for number, row in enumerate(rows):
        cells = [_lines(cell, width) for cell, width in zip(row, widths, strict=True)]
        for line in zip_longest(*cells, fillvalue=""):
            parts = zip(line, widths, right, strict=True)
            yield "  ".join(f"{c:>{w}}" if r else f"{c:<{w}}" for c, w, r in parts).rstrip()
        if number == 0:
            yield "  ".join("-" * w for w in widths)


def _widths(rows: Sequence[Row], right: Sequence[bool]) -> list[int]:
    """As wide as the cells are; where that is too wide, the widest columns of text narrower,
    and where there are too many columns for that, down to their longest words."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    text = [i for i, is_amount in enumerate(right) if not is_amount]
    words = {i: max((len(w) for row in rows for w in row[i].split()), default=0) for i in text}
    for narrowest in (_NARROWEST, 1):
        while sum(widths) + 2 * (len(widths) - 1) > _WIDE:
            narrower = [i for i in text if widths[i] > max(narrowest, words[i])]
            if not narrower:
                break
            widths[max(narrower, key=lambda i: widths[i])] -= 1
    return widths


def _lines(cell: str, width: int) -> list[str]:
    if len(cell) <= width:
        return [cell]
    return textwrap.wrap(cell, width, break_long_words=False, break_on_hyphens=False)


def sheet_csv(sheet: Sheet) -> str:
    """The tables of the sheet as CSV (RFC 4180), each below its title, an empty line between.

    A cell that a spreadsheet would take for a formula has an apostrophe before it."""
    text = io.StringIO()
    writer = csv.writer(text)
    for number, table in enumerate(sheet.tables):
        if number:
            writer.writerow(())
        writer.writerow(_harmless((table.title,)))
        writer.writerow(_harmless(table.columns))
        writer.writerows(_harmless(row) for row in table.rows)
    return text.getvalue()


def _harmless(row: Row) -> Row:
    return tuple(f"'{cell}" if is_formula(cell) else cell for cell in row)
