"""Sheets for the terminal and as CSV."""

import csv
import io
from collections.abc import Iterator

from verifier.sheets.sheet import Row, Sheet, Table

# A spreadsheet takes a cell that begins so for a formula.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def sheet_lines(sheet: Sheet) -> Iterator[str]:
    """The sheet as lines of text."""
    yield sheet.title
    for text in (*sheet.cautions, *sheet.notes):
        yield ""
        yield text
    for table in sheet.tables:
        yield ""
        yield f"{table.title}:"
        yield from _table(table)
        yield from table.notes


def _table(table: Table) -> Iterator[str]:
    rows = (table.columns, *table.rows)
    widths = [max(len(row[i]) for row in rows) for i in range(len(table.columns))]
    right = [column in table.numeric for column in table.columns]
    for number, row in enumerate(rows):
        cells = zip(row, widths, right, strict=True)
        yield "  ".join(f"{cell:>{w}}" if r else f"{cell:<{w}}" for cell, w, r in cells).rstrip()
        if number == 0:
            yield "  ".join("-" * w for w in widths)


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
    return tuple(f"'{cell}" if cell.startswith(_FORMULA) and cell != "-" else cell for cell in row)
