"""Sheets on the terminal and as CSV, read back by Python's own CSV reader."""

import csv
import io

from verifier.reports.sheets import sheet_csv, sheet_lines
from verifier.sheets.sheet import Sheet, Table

SHEET = Sheet(
    "wires",
    "Wires: Otter Valley",
    (
        Table("By block", ("wire", "mm"), (("a, b", "5"), ("c", "1200")), ("In mm.",),
              frozenset({"mm"})),
        Table("By cost", ("part", "price"), (("=1+1", "@x"), ("-", '"quoted"'))),
    ),
    notes=("A note.",),
    cautions=("Disconnect first.",),
)  # fmt: skip


def test_lines_have_cautions_first_and_amounts_to_the_right() -> None:
    assert list(sheet_lines(SHEET)) == [
        "Wires: Otter Valley", "", "Disconnect first.", "", "A note.", "", "By block:",
        "wire    mm", "----  ----", "a, b     5", "c     1200", "In mm.", "", "By cost:",
        "part  price", "----  --------", "=1+1  @x", '-     "quoted"',
    ]  # fmt: skip


def test_csv_reads_back_and_holds_no_formulas() -> None:
    assert list(csv.reader(io.StringIO(sheet_csv(SHEET)))) == [
        ["By block"], ["wire", "mm"], ["a, b", "5"], ["c", "1200"], [],
        ["By cost"], ["part", "price"], ["'=1+1", "'@x"], ["-", '"quoted"'],
    ]  # fmt: skip
