"""The test card of a text, filled in on the page: made, read back from its file, and diagnosed.

In: a text, and the cells that were filled in. Out: JSON: the rows of the card, or what is likely
wrong. The card is kept until another text is asked about, since making one may take a while. Its
file is the one that `clearproof sheet FILE test-card --csv` prints and `diagnose --results` reads.
"""

from collections.abc import Sequence
from pathlib import Path

from verifier.api import checked
from verifier.diagnosis.bench import Bench
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.modules.expand import read
from verifier.language.source import Source
from verifier.reports.diagnosis import diagnosis_lines
from verifier.reports.ink import Ink
from verifier.reports.json_parts import Json
from verifier.reports.sheets import sheet_csv
from verifier.sheets.sheet import Row, Sheet, Table
from verifier.sheets.test_card import NOT_PLAYED, is_played, sheet_of
from verifier.testcard.card import card_on
from verifier.testcard.card_model import Card
from verifier.testcard.results import COLUMNS, cells_of, diagnose_filled
from verifier.verdicts.progress import Progress

# Where the rows of a card begin in its file: below its title and its columns.
_FIRST_ROW = 3
_last: list[tuple[tuple[str, ...], Bench, Card]] = []


def card_csv(title: str, rows: Sequence[Row]) -> str:
    """A card that was filled in, as its file has it."""
    return sheet_csv(Sheet("test-card", title, (Table(title, COLUMNS, tuple(rows)),)))


def card_json(text: str, name: str, path: Path | None, job: Json, progress: Progress) -> Json:
    """The card, with what its file ``filled`` has; with ``rows`` the diagnosis of what they say."""
    key = _texts(text, name, path)
    if not _last or _last[0][0] != key:
        plan, _ = checked(text, name, path)
        if not is_played(plan):
            return {"card": None, "why": NOT_PLAYED}
        bench = Bench(plan)
        _last[:] = [(key, bench, card_on(bench, progress))]
    _, bench, card = _last[0]
    if "rows" in job:
        return _diagnosed(bench, card, job["title"], [tuple(row) for row in job["rows"]])
    sheet = sheet_of(card)
    if not card.steps:
        return {"card": None, "why": sheet.notes[0]}
    table = sheet.tables[0]
    seen, other = {}, False
    if job.get("filled"):
        try:
            seen = cells_of(bench, card, Source("card", job["filled"]))
        except InputError:
            other = True
    rows = [[*row[:5], seen.get((row[0], row[2]), "")] for row in table.rows]
    notes = [*sheet.cautions, *sheet.notes]
    return {"card": {"title": table.title, "rows": rows, "notes": notes, "other": other}}


def _texts(text: str, name: str, path: Path | None) -> tuple[str, ...]:
    """All that a card is made of: the text, and those of the files it includes."""
    try:
        statements = read(Source(name, text), path)
    except InputError:
        return ()
    return (name, text, *sorted({statement.span.source.text for statement in statements}))


def _diagnosed(bench: Bench, card: Card, title: str, rows: Sequence[Row]) -> Json:
    """What is likely wrong; or what cannot be read, each with the number of its row."""
    try:
        found = diagnose_filled(bench, card, Source("card", card_csv(title, rows)))
    except InputError as error:
        wrong = [
            {"row": d.span.line - _FIRST_ROW, "message": d.message, "hint": d.hint}
            for d in error.diagnostics
        ]
        return {"diagnosis": None, "wrong": wrong}
    lines = list(diagnosis_lines(found, Ink(width=88)))
    return {"diagnosis": lines[1:], "verdict": found.verdict}
