"""Sheets as lines of text and as CSV: nothing lost, nothing a spreadsheet would run."""

import csv
import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import verifier
from tests.sheets.wired_files import TEXTS
from verifier.cli import main
from verifier.language.csv_reader import is_formula
from verifier.reports.sheets import sheet_csv, sheet_lines
from verifier.sheets.catalog import SHEETS
from verifier.sheets.sheet import Sheet, Table

QUICK = [name for name in SHEETS if name != "test-card"]
cells = st.text(st.sampled_from('=+-@\t\r\n ",;a1'), max_size=5)


def read(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text, newline="")))


@given(cells, st.lists(st.tuples(cells, cells), max_size=4))
def test_no_cell_of_the_csv_is_a_formula_and_none_is_lost(
    title: str, rows: list[tuple[str, str]]
) -> None:
    """Python's csv is the reference."""
    table = Table(title, ("=one", "two"), tuple(rows))
    written = read(sheet_csv(Sheet("any", "=title", (table,))))
    assert not any(is_formula(cell) for row in written for cell in row)
    bare = [[cell.removeprefix("'") for cell in row] for row in written]
    assert bare[1:] == [["=one", "two"], *map(list, rows)]


@pytest.mark.parametrize("name", QUICK)
def test_every_sheet_of_a_wired_junction_as_csv(name: str) -> None:
    plan = verifier.load_text(TEXTS["two-supplies-mended.ixl"])
    made = SHEETS[name].make(plan)
    for table in made.tables:
        assert all(len(row) == len(table.columns) for row in table.rows)
    written = read(sheet_csv(made))
    assert not any(is_formula(cell) for row in written for cell in row)
    assert sum(len(table.rows) + 2 for table in made.tables) == sum(bool(row) for row in written)


def test_a_file_with_the_name_of_a_formula_is_harmless(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    text = 'layout "=1+1"\nedge A, B\nblock M, N\ntrack A = M | N = B\n'
    text += "signal 2 at M | N\n  Clear when N clear\n  Stop otherwise\n"
    text += 'prove "=HYPERLINK(1)" never 2 proceeds\n'
    for name in ("a.ixl", "=1.ixl"):
        Path(name).write_text(text, "utf-8")
    assert main(["sheet", "a.ixl", "parts", "--csv", "--compare", "=1.ixl"]) == 0
    written = read(capsys.readouterr().out)
    seen = [cell for row in written for cell in row]
    assert "'=1.ixl" in seen and any(cell.startswith("'=HYPERLINK") for cell in seen)
    assert not any(is_formula(cell) for cell in seen)


def test_many_columns_are_no_wider_than_their_longest_words() -> None:
    columns = tuple(f"block B{number}" for number in range(16))
    table = Table("Wide", columns, (tuple("occupied or clear" for _ in columns),))
    lines = list(sheet_lines(Sheet("any", "Any", (table,))))
    assert max(map(len, lines)) <= 16 * len("occupied") + 15 * 2
    few = Table("Few", ("one", "two"), (("a word " * 30, "b"),))
    lines = list(sheet_lines(Sheet("any", "Any", (few,))))
    assert max(map(len, lines)) <= 118 and " ".join(lines).count("word") == 30
