"""The commands that prove files and explain proofs."""

import argparse
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from verifier.commands.console import (
    Command,
    complain,
    console_options,
    files_of,
    ink_of,
    say,
    timeout_option,
    within_option,
    working,
)
from verifier.verdicts.exit_codes import ExitCode, worst
from verifier.verdicts.grade import Grade, exit_code_of

if TYPE_CHECKING:
    from verifier.language.diagnostics.diagnostic import InputError
    from verifier.plan.model import Plan
    from verifier.sheets.sheet import Sheet
    from verifier.verdicts.report import Report

# Seconds in which certificates of what was proved may still be written when the time is over.
GRACE = 1.0


def add(command: Command) -> None:
    prove = command("prove", _prove, "prove junction files or all files of a folder")
    prove.add_argument("paths", nargs="+", metavar="FILE-OR-FOLDER")
    timeout_option(prove)
    within_option(prove)
    prove.add_argument(
        "--only", action="append", default=[], metavar="PROPERTY", help="check this property only"
    )
    prove.add_argument(
        "--require", choices=("operation",), metavar="GRADE",
        help="operation: anything less than proved in operation exits 3",
    )  # fmt: skip
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

    why = command(
        "why", _why, "show what a crew must promise, or the facts that the proof of a property uses"
    )
    why.add_argument("file", metavar="FILE")
    why.add_argument(
        "property", nargs="?", metavar="PROPERTY",
        help="such as derailment; leave out for the fewest promises that make the file safe",
    )  # fmt: skip
    why.add_argument(
        "subjects", nargs="*", metavar="SUBJECT",
        help="such as T1; leave out for all subjects",
    )  # fmt: skip
    timeout_option(why)
    within_option(why)
    why.add_argument("--all", action="store_true", help="show all facts")
    console_options(why)


def _prove(options: argparse.Namespace) -> int:
    from verifier.engines.stopping import time_limit

    with time_limit(options.within):
        return _prove_all(options)


@dataclass(slots=True)
class _Told:
    """What became of each file so far."""

    codes: list[ExitCode] = field(default_factory=list)
    grades: list[Grade] = field(default_factory=list)
    documents: list[Any] = field(default_factory=list)
    reports: "list[Report]" = field(default_factory=list)

    def add(self, code: ExitCode, grade: Grade, document: Any) -> None:
        self.codes.append(code)
        self.grades.append(grade)
        self.documents.append(document)


def _prove_all(options: argparse.Namespace) -> int:
    from verifier.language.writing import check_target
    from verifier.reports import machine

    told = _Told()
    files = list(files_of(options.paths, layouts=True))
    _check_only(options.only)
    if options.report:
        check_target(Path(options.report))
    _prove_each(files, told, options)
    if options.report:
        _write_report(told.reports, options)
    if options.certificate:
        told.codes.append(_write_certificates(told.reports, Path(options.certificate)))
    code = worst(told.codes)
    if options.json:
        import json

        print(json.dumps(machine.document(told.documents, code), indent=2))
    elif len(files) > 1 and not options.quiet:
        from verifier.verdicts.grade_words import grades_words

        reached = f"{len(told.documents)} of {len(files)} files checked"
        say(["", f"{reached}, exit code {int(code)}.", f"{grades_words(told.grades)}."])
    return code


def _prove_each(files: "Sequence[Path]", told: _Told, options: argparse.Namespace) -> None:
    """Prove files one by one, and say of each what was found."""
    from verifier.engines.stopping import is_over, out_of_time
    from verifier.language.diagnostics.diagnostic import InputError
    from verifier.reports import machine

    for number, path in enumerate(files):
        if is_over():
            document = machine.file_not_reached(str(path), out_of_time())
            told.add(ExitCode.UNDECIDED, Grade.NONE, document)
            if not options.json:
                say([_quiet_line(f"{Grade.NONE.value}: undecided", str(path), out_of_time())])
            continue
        try:
            report = _proved(path, options)
        except KeyboardInterrupt:  # while it was read
            told.add(ExitCode.UNDECIDED, Grade.NONE, machine.file_not_reached(str(path), "Ctrl-C"))
            print(f"\n{path}: interrupted, nothing decided.", file=sys.stderr)
            break
        except InputError as error:
            code, grade = _of_wrong_input(error, str(path), alone=len(files) == 1)
            document = machine.file_with_errors(str(path), error.diagnostics, code, grade)
            told.add(code, grade, document)
            _say_wrong_input(error, code, grade, path, options)
            continue
        code = exit_code_of(report.shortfalls, _required(options))
        document = machine.file_report(report, _required(options)) if options.json else {}
        told.add(code, report.grade, document)
        told.reports.append(report)
        if not options.json:
            _say_report(report, options, first=number == 0, alone=len(files) == 1)
        if report.interrupted and not is_over():
            break


def _required(options: argparse.Namespace) -> Grade | None:
    """The grade that ``--require`` asks for."""
    return Grade.OPERATION if options.require == "operation" else None


def _of_wrong_input(error: "InputError", name: str, *, alone: bool) -> tuple[ExitCode, Grade]:
    """What it means for a proof that a file is wrong. One that has nothing to prove, and one of
    several that cannot be read, leave something open; else the input is wrong."""
    if any(found.code == "CP502" for found in error.diagnostics):
        return ExitCode.UNDECIDED, Grade.NOTHING
    itself = any(d.code == "CP100" and d.span.source.name == name for d in error.diagnostics)
    return (ExitCode.UNDECIDED if itself and not alone else ExitCode.BAD_INPUT), Grade.NONE


def _say_wrong_input(
    error: "InputError", code: ExitCode, grade: Grade, path: Path, options: argparse.Namespace
) -> None:
    if options.json:
        return
    complain(error)
    if options.quiet:
        mark = grade.value
        if grade is Grade.NONE:
            mark += ": unread" if code == ExitCode.UNDECIDED else ": WRONG INPUT"
        say([_quiet_line(mark, str(path), error.diagnostics[0].message)])


def _quiet_line(mark: str, name: str, words: str) -> str:
    return f"{mark:<33}  {name}  {words}"


def _say_report(report: "Report", options: argparse.Namespace, *, first: bool, alone: bool) -> None:
    """Print what was decided of one file, now: what comes after may take long."""
    from verifier.reports import terminal
    from verifier.reports.words import tally_words
    from verifier.verdicts.grade_words import quiet_words, stamp

    required = _required(options)
    if options.quiet:
        words = f"{tally_words(report.verdicts)}{quiet_words(report, required)}"
        say([_quiet_line(stamp(report), report.plan.source.name, words)])
        return
    ink = ink_of(options)
    say([] if first else [""])
    say(
        terminal.report_lines(
            report,
            ink,
            everything=options.all,
            lessons=alone,
            pairs=options.pairs,
            required=required,
        ),
        ink,
    )
    sys.stdout.flush()


def _proved(path: Path, options: argparse.Namespace) -> "Report":
    """The report of one file. Progress goes to the error output."""
    from verifier.api import prove_file

    asked = partial(
        prove_file, path, timeout=options.timeout, only=options.only, pairs=options.pairs
    )
    if options.quiet:
        return asked()
    with working(str(path), "decided") as line:
        return asked(progress=line, on_verdict=line.on_verdict)


def _write_certificates(reports: "Sequence[Report]", folder: Path) -> ExitCode:
    """Write the proofs over time, and the file that lists them. Whether there was time for all."""
    from verifier.engines.stopping import is_over
    from verifier.language.writing import make_folder, write_file
    from verifier.reports.certificates import certificate_files, proofs_over_time

    make_folder(folder)
    of, written = proofs_over_time(reports), -1  # one file lists the others
    for name, text in certificate_files(reports):
        write_file(folder / name, text)
        written += 1
        if written < of and is_over(GRACE):
            print(
                f"Only {written} of {of} proofs over time written into {folder}: "
                "there was no time for more.",
                file=sys.stderr,
            )
            return ExitCode.UNDECIDED
    print(f"{written} proofs over time written into {folder}.", file=sys.stderr)
    return ExitCode.AS_EXPECTED


def _write_report(reports: "Sequence[Report]", options: argparse.Namespace) -> None:
    """Write the HTML report."""
    from verifier.language.writing import write_file
    from verifier.reports.page.document import FileReport, document

    path = Path(options.report)
    written = [FileReport(report, _sheets_of(report.plan, options)) for report in reports]
    if not written:
        print("No report was written: no file could be read.", file=sys.stderr)
        return
    text = document(
        written, options=_command_line(options), pairs=options.pairs, everything=options.all
    )
    write_file(path, text)
    print(f"Report written: {path}", file=sys.stderr)


def _sheets_of(plan: "Plan", options: argparse.Namespace) -> "Mapping[str, Sheet]":
    """The sheets for a report; without the test card where there is no time for it."""
    from verifier.engines.stopping import OutOfTime, checkpoint
    from verifier.reports.page.made import sheets_of

    if not options.with_test_card:
        return sheets_of(plan)
    with working(plan.source.name) as line:

        def progress(done: int, of: int) -> None:
            checkpoint()
            line(done, of)

        try:
            return sheets_of(plan, test_card=True, progress=progress)
        except OutOfTime as over:
            print(f"The report has no test card: {over}.", file=sys.stderr)
            return sheets_of(plan)


def _command_line(options: argparse.Namespace) -> str:
    """The command line, with the options that the verdicts depend on."""
    said = ["clearproof prove"]
    said += [f"--timeout {options.timeout:g}"] if options.timeout else []
    said += [f"--within {options.within:g}"] if options.within else []
    said += [f"--only {name}" for name in options.only]
    said += [f"--require {options.require}"] if options.require else []
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

    if options.property is None:
        return _promises(options)
    subjects = [name for text in options.subjects for name in text.split(",") if name]
    with working(options.file, "decided") as progress:
        report, verdicts = reasons_file(
            options.file,
            options.property,
            subjects,
            timeout=options.timeout,
            within=options.within,
            progress=progress,
        )
    ink = ink_of(options)
    say(why_lines(report, verdicts, ink, everything=options.all), ink)
    return report.exit_code


def _promises(options: argparse.Namespace) -> int:
    from verifier.api import promises_file
    from verifier.reports.crew import crew_exit_code, crew_lines

    with working(options.file, "decided") as progress:
        found, report = promises_file(
            options.file, timeout=options.timeout, within=options.within, progress=progress
        )
    ink = ink_of(options)
    say(crew_lines(found, report, ink), ink)
    return crew_exit_code(found, report)
