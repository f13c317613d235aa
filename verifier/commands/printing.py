"""The commands that print sheets and explanations."""

import argparse
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from verifier.commands.console import (
    Command,
    say,
    showable,
    tell_aside,
    working,
)
from verifier.commands.sheet_options import misplaced_option, requested_options, sheet_options
from verifier.verdicts.exit_codes import ExitCode

if TYPE_CHECKING:
    from verifier.plan.model import Plan
    from verifier.sheets.options import SheetOptions


def add(command: Command) -> None:
    from verifier.sheets.catalog import SHEETS

    sheet = command("sheet", _sheet, "print a sheet to build or test from")
    sheet.add_argument("file", metavar="FILE")
    sheet.add_argument(
        "kind", nargs="?", default="locking", choices=tuple(SHEETS), metavar="SHEET",
        help="; ".join(f"{kind.name}: {kind.text}" for kind in SHEETS.values()),
    )  # fmt: skip
    sheet.add_argument("--csv", action="store_true", help="print the tables as CSV")
    sheet_options(sheet)

    explain = command("explain", _explain, "explain a property, an error code, a word, or a list")
    explain.add_argument(
        "name",
        nargs="*",
        metavar="NAME",
        help="a property, an error code such as CP204, a word of junction files or of reports, or "
        "one of: properties, codes, indications, aspects, words, exit-codes",
    )  # fmt: skip


def _sheet(options: argparse.Namespace) -> int:
    from verifier.api import load
    from verifier.reports.sheets import sheet_csv, sheet_lines
    from verifier.sheets.catalog import SHEETS

    unfit = misplaced_option(options)
    if unfit:
        tell_aside(unfit)
        return ExitCode.BAD_INPUT
    with working(options.file) as progress:
        chosen = replace(requested_options(options), progress=progress)
        plan = load(options.file)
        sheet = SHEETS[options.kind].make(plan, chosen)
    if options.output is not None and sheet.tables:
        return _labels(options.output, plan, chosen)
    if options.output is not None:
        tell_aside(
            f"No labels were written: {options.file} says nothing of its wiring: see "
            "grammar/reference.md, `Wiring`."
        )
        return ExitCode.BAD_INPUT
    if options.csv:
        # RFC 4180 line ends, whatever the platform's are.
        sys.stdout.reconfigure(newline="")  # type: ignore[union-attr]
        print(showable(sheet_csv(sheet), sys.stdout), end="")
    else:
        say(sheet_lines(sheet))
    return 0


def _labels(path: str, plan: "Plan", chosen: "SheetOptions") -> int:
    """Write labels to print and cut."""
    from verifier.language.writing import write_file
    from verifier.reports.labels import labels_document
    from verifier.sheets.terminals import harness

    write_file(Path(path), labels_document(harness(plan, chosen.colors), plan.title))
    say([f"Wrote {path}. Print it at its own size, without scaling."])
    return ExitCode.AS_EXPECTED


def _explain(options: argparse.Namespace) -> int:
    from verifier.api import unknown_word
    from verifier.reports import explanations

    name = " ".join(options.name)
    if not name:
        say(explanations.overview())
        return 0
    lines = explanations.explain(name)
    if lines is None:
        raise unknown_word(name, explanations.topics(), "topic", "`clearproof explain`")
    say(lines)
    return 0
