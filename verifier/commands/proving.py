"""The commands that prove files and explain proofs."""

import argparse
import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from verifier.commands.console import (
    Command,
    NotInstalled,
    OnlyOne,
    console_options,
    files_of,
    ink_of,
    jobs_option,
    say,
    say_aside,
    tell_aside,
    timeout_option,
    within_option,
    working,
)
from verifier.commands.formats import TEXT, Outputs, format_options
from verifier.commands.proof_cache import SIZE, open_cache
from verifier.commands.proved_files import Asked, Outcome, one_by_one, side_by_side
from verifier.language.listing import several
from verifier.verdicts.exit_codes import ExitCode, worst
from verifier.verdicts.grade import Grade

if TYPE_CHECKING:
    from verifier.plan.model import Plan
    from verifier.reports.formats.cases import FileResult
    from verifier.sheets.sheet import Sheet
    from verifier.verdicts.report import Report

# What to install for a second solver.
SECOND = "pip install 'clearproof[recheck]'"
# Seconds in which certificates of what was proved may still be written when the time is over.
GRACE = 1.0
# So many files that are not as they say are named again at the end.
_SHOWN_AMISS = 10


def add(command: Command) -> None:
    prove = command("prove", _prove, "prove junction files or all files of a folder")
    prove.add_argument("paths", nargs="+", metavar="FILE-OR-FOLDER")
    timeout_option(prove)
    within_option(prove)
    jobs_option(prove)
    prove.add_argument(
        "--cluster", metavar="ADDRESS",
        help="have the workers of a Dask cluster prove the files, such as tls://host:8786",
    )  # fmt: skip
    prove.add_argument(
        "--watch", action="store_true",
        help="prove again what each save changes, until Ctrl-C",
    )  # fmt: skip
    prove.add_argument(
        "--no-cache", dest="cache", action="store_false",
        help="prove again what an earlier run has proved of the same file",
    )  # fmt: skip
    prove.add_argument(
        "--cache-size", type=_megabytes, metavar="MB",
        help=f"megabytes that earlier proofs may take on disk (default {SIZE})",
    )  # fmt: skip
    prove.add_argument(
        "--only", action="append", default=[], metavar="PROPERTY", help="check this property only"
    )
    prove.add_argument(
        "--require", choices=("operation",), metavar="GRADE",
        help="operation: anything less than proved in operation exits 3",
    )  # fmt: skip
    prove.add_argument("--pairs", action="store_true", help="also check every pair of faults")
    prove.add_argument(
        "--all", action="store_true", help="show all findings, and every file in full"
    )
    prove.add_argument(
        "--recheck", action="store_true",
        help="ask a second solver for each answer that a proof rests on",
    )  # fmt: skip
    format_options(prove)
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


def _megabytes(text: str) -> int:
    """A number of megabytes. Raises ArgumentTypeError unless it is from 1 to 999999."""
    if not (text.isascii() and text.isdigit() and 0 < int(text[:9]) < 1_000_000):
        raise argparse.ArgumentTypeError(f"`{text}` is not a number of megabytes, from 1")
    return int(text)


def _prove(options: argparse.Namespace) -> int:
    from verifier.engines.stopping import time_limit

    if options.watch:  # each round has a limit of its own
        return _prove_all(options)
    with time_limit(options.within):
        return _prove_all(options)


@dataclass(slots=True)
class _Tally:
    """What became of each file so far."""

    paths: list[Path] = field(default_factory=list)
    outcomes: list[Outcome] = field(default_factory=list)
    codes: list[ExitCode] = field(default_factory=list)
    grades: list[Grade] = field(default_factory=list)
    results: "list[FileResult]" = field(default_factory=list)
    lines: list[str] = field(default_factory=list)
    reports: "list[Report]" = field(default_factory=list)
    in_brief: list[Path] = field(default_factory=list)

    def add(self, path: Path, outcome: Outcome) -> None:
        self.outcomes.append(outcome)
        self.paths.append(path)
        self.codes.append(outcome.code)
        self.grades.append(outcome.grade)
        self.results.append(outcome.result)
        self.reports += [outcome.report] if outcome.report else []
        self.in_brief += [path] if outcome.is_brief else []

    def say(self, lines: "Iterable[str]", outputs: Outputs) -> None:
        """Print lines where the report is text, and keep them for a file."""
        told = list(lines)
        self.lines += told
        if outputs.console == TEXT:
            say(told)
            sys.stdout.flush()


def _prove_all(options: argparse.Namespace) -> int:
    from verifier.engines.second_solver import is_installed
    from verifier.language.writing import check_target

    files = list(files_of(options.paths, layouts=True))
    _check_only(options.only)
    if options.recheck and not is_installed():
        raise NotInstalled(f"`--recheck` needs cvc5: {SECOND}")
    if options.cluster is not None and (options.report or options.certificate or options.watch):
        name = "watch" if options.watch else "report" if options.report else "certificate"
        raise OnlyOne(f"`--{name}` needs proofs made on this computer: leave out `--cluster`.")
    if options.cluster is not None:  # even if the cache should know all files
        from verifier.farm.cluster import check_address

        check_address(options.cluster)
    if options.report:
        from verifier.reports.page.document import today

        check_target(Path(options.report))
        today()  # raises where the date is none
    outputs = Outputs(options)
    prove = _watched if options.watch else _prove_each
    tally = prove(files, outputs, options)
    if options.report:
        _write_report(tally.reports, options)
    if options.certificate:
        tally.codes.append(_write_certificates(tally.reports, Path(options.certificate)))
    code = worst(tally.codes)
    if len(files) > 1 and not options.quiet:
        tally.say(_counted(tally, len(files), code), outputs)
    outputs.finish(tally.results, code, tally.lines)
    return code


def _watched(files: "Sequence[Path]", outputs: Outputs, options: argparse.Namespace) -> _Tally:
    """Prove the files, and again what each save changes, until Ctrl-C: the last of each counts."""
    from verifier.commands.watching import saves, touched
    from verifier.engines.stopping import time_limit

    stream = saves(options.paths)

    def proved(some: "Sequence[Path]") -> dict[Path, Outcome]:
        with time_limit(options.within):
            tally = _prove_each(some, outputs, options)
        return dict(zip(tally.paths, tally.outcomes, strict=True))

    known = proved(files)
    tell_aside("Watching: save a file to have it proved again. Ctrl-C ends it.")
    with suppress(KeyboardInterrupt):
        for changed in stream:
            now = list(files_of(options.paths, layouts=True))
            again = touched(now, changed)
            known = {path: outcome for path, outcome in known.items() if path in now}
            known |= proved(again)
            tell_aside(f"Proved again: {len(again)} of {len(now)}. Watching.")
    tally = _Tally()
    for path, outcome in known.items():
        tally.add(path, outcome)
    return tally


def _prove_each(files: "Sequence[Path]", outputs: Outputs, options: argparse.Namespace) -> _Tally:
    """Prove the files, and say of each what was found as soon as it is known."""
    from verifier.reports.ink import Ink

    asked = Asked(
        ink_of(options) if outputs.shows_text else Ink(),
        timeout=options.timeout,
        only=tuple(options.only),
        pairs=options.pairs,
        recheck=options.recheck,
        required=Grade.OPERATION if options.require == "operation" else None,
        everything=options.all,
        text=TEXT in outputs.kinds,
        formats=outputs.kinds - {TEXT},
        known=options.baseline,
        quiet=options.quiet,
        alone=len(files) == 1,
        keeps=bool(options.report or options.certificate),
    )
    jobs = len(files)
    if jobs > 1 or options.cluster is not None:
        from verifier.commands.processes import processors

        jobs = min(options.jobs or processors(), jobs)
    # Reports are not sent from process to process; what is asked twice is asked in this run.
    cached = options.cache and not (asked.keeps or asked.recheck)
    cache = open_cache(options.cache_size) if cached else None
    known = {path: told for path in files if cache and (told := cache.get(path, asked))}
    left = [path for path in files if path not in known]
    spread = jobs > 1 and not asked.keeps
    if options.cluster is not None:
        from verifier.commands.cluster_proving import on_cluster

        proved = on_cluster(left, asked, options.cluster, jobs)
    else:
        proved = side_by_side(left, asked, jobs) if spread and left else one_by_one(left, asked)
    outcomes = (known[path] if path in known else next(proved) for path in files)
    tally = _Tally()
    was_brief = True
    for path, outcome in zip(files, outcomes, strict=True):
        say_aside(outcome.errors)
        apart = tally.codes and not (was_brief and outcome.is_brief)
        tally.say([*[""] * bool(apart), *outcome.lines], outputs)
        was_brief = outcome.is_brief
        tally.add(path, outcome)
        if cache and path not in known:
            cache.put(path, asked, outcome)
    if cache and left:
        cache.trim()
    return tally


def _counted(tally: _Tally, files: int, code: ExitCode) -> Iterator[str]:
    """The last lines of a run over several files: how many have each grade, and how to see one of
    them in full."""
    from verifier.verdicts.grade_words import grade_counts

    yield ""
    yield f"{len(tally.codes)} of {files} files checked, exit code {int(code)}: {code.meaning}."
    yield from grade_counts(zip(tally.grades, tally.codes, strict=True))
    amiss = [f for f, c in zip(tally.paths, tally.codes, strict=True) if c != ExitCode.AS_EXPECTED]
    yield from (f"  see   {path}" for path in amiss[:_SHOWN_AMISS])
    if len(amiss) > _SHOWN_AMISS:
        yield f"  … and {len(amiss) - _SHOWN_AMISS} further"
    if tally.in_brief:
        yield f"One file in full: `clearproof prove {tally.in_brief[0]}`. All in full: `--all`."


def _write_certificates(reports: "Sequence[Report]", folder: Path) -> ExitCode:
    """Write the proofs over time, and the file that lists them. Whether there was time for all."""
    from verifier.language.writing import UnwritableError, made_folder, write_files
    from verifier.reports.certificates import ENDING, foreign, proofs_over_time

    if foreign(folder):
        names = " and ".join(foreign(folder))
        raise UnwritableError(
            f"{folder} cannot be written to: its {names} would be overwritten. Name a new folder."
        )
    of = proofs_over_time(reports)
    with made_folder(folder):
        files = ((folder / name, text) for name, text in _in_time(reports, of))
        written = write_files(files, partial(_remove_earlier, folder))
    proofs = sum(path.suffix == ENDING for path in written)
    if proofs < of:
        tell_aside(
            f"Only {proofs} of {several(of, 'proof')} over time written into {folder}: "
            "there was no time for more."
        )
        return ExitCode.UNDECIDED
    tell_aside(f"{several(proofs, 'proof')} over time written into {folder}.")
    return ExitCode.AS_EXPECTED


def _in_time(reports: "Sequence[Report]", of: int) -> Iterator[tuple[str, str]]:
    """The files of that many proofs, as many as there is time for, and one at least."""
    from verifier.engines.stopping import is_over
    from verifier.reports.certificates import ENDING, certificate_files

    proofs = 0
    for name, text in certificate_files(reports):
        yield name, text
        proofs += name.endswith(ENDING)
        if proofs < of and is_over(GRACE):
            return


def _remove_earlier(folder: Path) -> None:
    from verifier.reports.certificates import of_earlier_runs

    for path in of_earlier_runs(folder):
        path.unlink(missing_ok=True)


def _write_report(reports: "Sequence[Report]", options: argparse.Namespace) -> None:
    """Write the HTML report."""
    from verifier.language.writing import write_file
    from verifier.reports.page.document import FileReport, document

    path = Path(options.report)
    written = [FileReport(report, _sheets_of(report.plan, options)) for report in reports]
    if not written:
        tell_aside("No report was written: no file could be read.")
        return
    text = document(
        written, options=_command_line(options), pairs=options.pairs, everything=options.all
    )
    write_file(path, text)
    tell_aside(f"Report written: {path}")


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
            tell_aside(f"The report has no test card: {over}.")
            return sheets_of(plan)


def _command_line(options: argparse.Namespace) -> str:
    """The command line, with the options that the verdicts depend on."""
    said = ["clearproof prove"]
    said += [f"--timeout {options.timeout:g}"] if options.timeout else []
    said += [f"--within {options.within:g}"] if options.within else []
    said += [f"--only {name}" for name in options.only]
    said += [f"--require {options.require}"] if options.require else []
    said += [f"--{name}" for name in ("pairs", "recheck", "all") if getattr(options, name)]
    return " ".join([*said, *options.paths])


def _check_only(names: Sequence[str]) -> None:
    if not names:
        return
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
