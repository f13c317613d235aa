"""The commands that prove files and explain proofs."""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from verifier.commands.console import (
    Command,
    complain,
    console_options,
    files_of,
    ink_of,
    say,
    timeout_option,
    working,
)
from verifier.verdicts.exit_codes import ExitCode, worst

if TYPE_CHECKING:
    from verifier.verdicts.report import Report

_MARKS = {
    ExitCode.AS_EXPECTED: "ok",
    ExitCode.BROKEN: "BROKEN",
    ExitCode.UNDECIDED: "undecided",
}


def add(command: Command) -> None:
    prove = command("prove", _prove, "prove junction files or all files of a folder")
    prove.add_argument("paths", nargs="+", metavar="FILE-OR-FOLDER")
    timeout_option(prove)
    prove.add_argument(
        "--only", action="append", default=[], metavar="PROPERTY", help="check this property only"
    )
    prove.add_argument("--pairs", action="store_true", help="also check every pair of faults")
    prove.add_argument("--all", action="store_true", help="show all findings")
    prove.add_argument("--json", action="store_true", help="print the report as JSON")
    prove.add_argument(
        "--certificate",
        metavar="DIR",
        help="write each proof over time into this folder, for any SMT solver to check",
    )
    prove.add_argument(
        "--report", metavar="FILE.html",
        help="write a report with drawings and sheets: one file for any browser",
    )  # fmt: skip
    prove.add_argument(
        "--with-test-card", action="store_true",
        help="add the test card to the report; takes longer",
    )  # fmt: skip
    prove.add_argument("--quiet", action="store_true", help="print one line per file")
    console_options(prove)

    why = command("why", _why, "show the facts a proof rests on, or how a property is broken")
    why.add_argument("file", metavar="FILE")
    why.add_argument("property", metavar="PROPERTY", help="such as derailment")
    why.add_argument(
        "subjects", nargs="*", metavar="SUBJECT",
        help="such as T1; leave out for all subjects",
    )  # fmt: skip
    timeout_option(why)
    why.add_argument("--all", action="store_true", help="show all facts")
    console_options(why)


def _prove(options: argparse.Namespace) -> int:
    from verifier.language.diagnostics.diagnostic import InputError
    from verifier.language.writing import check_target
    from verifier.reports import machine, terminal
    from verifier.reports.json_parts import Json
    from verifier.reports.words import tally_words

    ink = ink_of(options)
    codes: list[ExitCode] = []
    documents: list[Json] = []
    reports: list[Report] = []
    files = list(files_of(options.paths, layouts=True))
    _check_only(options.only)
    if options.report:
        check_target(Path(options.report))
    for number, path in enumerate(files):
        try:
            report = _proved(path, options)
        except InputError as error:
            codes.append(ExitCode.BAD_INPUT)
            if options.json:
                documents.append(machine.file_with_errors(str(path), error.diagnostics))
            else:
                complain(error)
            continue
        codes.append(report.exit_code)
        reports.append(report)
        if options.json:
            documents.append(machine.file_report(report))
        elif options.quiet:
            mark = _MARKS[report.exit_code]
            say([f"{mark:<9}  {path}  {tally_words(report.verdicts)}"])
        else:
            say([""] * (number > 0))
            say(
                terminal.report_lines(
                    report,
                    ink,
                    everything=options.all,
                    lessons=len(files) == 1,
                    pairs=options.pairs,
                ),
                ink,
            )
        if report.interrupted:
            break
    if options.report:
        _write_report(reports, options)
    if options.certificate:
        _write_certificates(reports, Path(options.certificate))
    if options.json:
        import json

        print(json.dumps(machine.document(documents, worst(codes)), indent=2))
    elif len(files) > 1 and not options.quiet:
        say(["", f"{len(codes)} of {len(files)} files checked, exit code {int(worst(codes))}."])
    return worst(codes)


def _proved(path: Path, options: argparse.Namespace) -> "Report":
    """The report of one file. Progress goes to the terminal's error output."""
    from verifier.api import prove_file

    with working(str(path)) as progress:
        return prove_file(
            path,
            timeout=options.timeout,
            only=options.only,
            pairs=options.pairs,
            progress=progress,
        )


def _write_certificates(reports: "Sequence[Report]", folder: Path) -> None:
    """Write the proofs over time, and the file that lists them."""
    from verifier.language.writing import make_folder, write_file
    from verifier.reports.certificates import certificate_files

    make_folder(folder)
    files = list(certificate_files(reports))
    for name, text in files:
        write_file(folder / name, text)
    print(f"{len(files) - 1} proofs over time written into {folder}.", file=sys.stderr)


def _write_report(reports: "Sequence[Report]", options: argparse.Namespace) -> None:
    """Write the HTML report."""
    from verifier.language.writing import write_file
    from verifier.reports.page.document import FileReport, document
    from verifier.reports.page.made import sheets_of

    path = Path(options.report)
    written = []
    for report in reports:
        with working(report.plan.source.name) as progress:
            found = sheets_of(report.plan, test_card=options.with_test_card, progress=progress)
        written.append(FileReport(report, found))
    if not written:
        print("No report was written: no file could be read.", file=sys.stderr)
        return
    text = document(
        written, options=_command_line(options), pairs=options.pairs, everything=options.all
    )
    write_file(path, text)
    print(f"Report written: {path}", file=sys.stderr)


def _command_line(options: argparse.Namespace) -> str:
    """The command line, with the options that the verdicts depend on."""
    said = ["clearproof prove"]
    said += [f"--timeout {options.timeout:g}"] if options.timeout else []
    said += [f"--only {name}" for name in options.only]
    said += [f"--{name}" for name in ("pairs", "all") if getattr(options, name)]
    return " ".join([*said, *options.paths])


def _check_only(names: Sequence[str]) -> None:
    from verifier.api import unknown_word
    from verifier.properties.catalog import BY_NAME

    for name in names:
        if name not in BY_NAME:
            raise unknown_word(name, BY_NAME, "property", "`clearproof explain properties`")


def _why(options: argparse.Namespace) -> int:
    from verifier.api import reasons_file
    from verifier.reports.why import why_lines

    subjects = [name for text in options.subjects for name in text.split(",") if name]
    with working(options.file) as progress:
        report, verdicts = reasons_file(
            options.file, options.property, subjects, timeout=options.timeout, progress=progress
        )
    ink = ink_of(options)
    say(why_lines(report, verdicts, ink, everything=options.all), ink)
    return report.exit_code
