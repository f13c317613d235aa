"""What ``prove`` says of each file, one by one or on several processors.

In: files and options. Out: an :class:`Outcome` for each file, in order. What is printed is made
where the file is proved, so that it is the same whoever proves it.
"""

import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from verifier.commands.console import complaint, working
from verifier.verdicts.exit_codes import ExitCode
from verifier.verdicts.grade import Grade, exit_code_of

if TYPE_CHECKING:
    from verifier.language.diagnostics.diagnostic import InputError
    from verifier.reports.formats.cases import FileResult
    from verifier.reports.ink import Ink
    from verifier.verdicts.report import Report

# How a process that died is told.
_DIED = "the process that proved it ended without an answer"
# How a file is told that was not begun after Ctrl-C.
NOT_BEGUN = "interrupted before it was begun"


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked about files, and how it is told: as lines (``text``), in one ``quiet`` line, or
    else in full where a file is ``alone``, where it is not as it says, or where ``everything`` is
    to be shown; and for other programs (``formats``). ``known``: the findings that a baseline has.
    ``keeps``: the reports are needed afterwards."""

    ink: "Ink"
    timeout: float | None = None
    only: tuple[str, ...] = ()
    pairs: bool = False
    recheck: bool = False
    required: Grade | None = None
    everything: bool = False
    text: bool = True
    formats: frozenset[str] = frozenset()
    known: frozenset[str] = frozenset()
    quiet: bool = False
    alone: bool = False
    keeps: bool = False

    @property
    def question(self) -> tuple[object, ...]:
        """The options that change what is told of a file, in a form that can be compared."""
        ink, known = self.ink, sorted(self.known)
        return (
            ink, self.timeout, self.only, self.pairs, self.required, self.everything, self.text,
            sorted(self.formats), known, self.quiet, self.alone,
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a file: what to print on standard output and on standard error, its part of
    reports for other programs, and its report where that is kept."""

    code: ExitCode
    grade: Grade
    result: "FileResult"
    lines: tuple[str, ...] = ()
    errors: tuple[str, ...] = ()
    # Whether the lines are one line, and not a report in full.
    is_brief: bool = True
    interrupted: bool = False
    report: "Report | None" = field(default=None, repr=False)
    # Whether another run would say the same of the same file, and all files that were read: path
    # and SHA-256.
    lasts: bool = False
    read: tuple[tuple[str, str], ...] = ()


def one_by_one(files: Sequence[Path], asked: Asked) -> Iterator[Outcome]:
    """The outcome of each file, as soon as it is known; after Ctrl-C no further file is begun."""
    from verifier.engines.stopping import is_over

    stopped = False
    for path in files:
        if stopped:
            yield undecided(path, NOT_BEGUN)
            continue
        outcome = proved(asked, path, shows=not asked.quiet)
        yield outcome
        stopped = outcome.interrupted and not is_over()


def side_by_side(files: Sequence[Path], asked: Asked, jobs: int) -> Iterator[Outcome]:
    """The same on so many processors."""
    # Once, before this process is copied.
    import verifier.decide.failures
    import verifier.decide.fault_histories
    import verifier.pipeline
    import verifier.repair.fewest_promises
    import verifier.repair.repairs
    import verifier.reports.terminal  # noqa: F401
    from verifier.commands.processes import Lost, NotBegun, in_processes
    from verifier.reports.progress import ProgressLine

    line = ProgressLine(sys.stderr, f"{len(files)} files", "proved")
    progress = (lambda _done, _of: None) if asked.quiet else line
    answers = in_processes(partial(proved, asked), files, jobs, progress)
    for path, answer in zip(files, answers, strict=True):
        line.clear()
        match answer:
            case Lost():
                yield undecided(path, _DIED)
            case NotBegun():
                yield undecided(path, NOT_BEGUN)
            case outcome:
                yield outcome


def proved(
    asked: Asked, path: Path, *, shows: bool = False, by: "Callable[..., Report] | None" = None
) -> Outcome:
    """The outcome of one file; ``shows`` its progress on the error output. ``by``: what proves it,
    where that is not read from the disk."""
    from verifier.api import prove_file
    from verifier.engines.stopping import is_over, out_of_time
    from verifier.language.diagnostics.diagnostic import InputError
    from verifier.language.files import noting_reads
    from verifier.reports.formats.cases import FileResult
    from verifier.verdicts.baseline import with_known

    if is_over():
        return undecided(path, out_of_time())
    prove = partial(
        by or partial(prove_file, path),
        timeout=asked.timeout, only=asked.only, pairs=asked.pairs, recheck=asked.recheck,
    )  # fmt: skip
    try:
        with noting_reads() as read:
            if shows:
                with working(str(path), "decided") as line:
                    report = prove(progress=line, on_verdict=line.on_verdict)
            else:
                report = prove()
    except KeyboardInterrupt:  # while it was read
        from verifier.reports import machine

        told = f"\n{path}: interrupted, nothing decided."
        result = FileResult(machine.file_not_reached(str(path), "Ctrl-C"))
        return Outcome(ExitCode.UNDECIDED, Grade.NONE, result, errors=(told,), interrupted=True)
    except InputError as error:
        return _wrong_input(error, path, asked)
    report = with_known(report, asked.known)
    code = exit_code_of(report.shortfalls, asked.required)
    brief = asked.quiet or not (asked.alone or asked.everything or code != ExitCode.AS_EXPECTED)
    return Outcome(
        code,
        report.grade,
        _result(report, asked),
        tuple(_told(report, asked, brief=brief)) if asked.text else (),
        is_brief=brief,
        interrupted=report.interrupted,
        report=report if asked.keeps else None,
        lasts=not is_over() and _is_whole(report),
        read=tuple(read.items()),
    )


def _is_whole(report: "Report") -> bool:
    """Whether all of a report was decided."""
    open_rows = any(row.consequence == "undecided" for row in report.failures)
    return (
        not report.interrupted
        and report.stopped is None
        and not open_rows
        and all(verdict.status != "undecided" for verdict in report.verdicts)
    )


def undecided(path: Path, why: str) -> Outcome:
    """Of a file that was not looked at."""
    from verifier.reports import machine
    from verifier.reports.formats.cases import FileResult

    result = FileResult(machine.file_not_reached(str(path), why))
    line = _one_line(f"{Grade.NONE.value}: undecided", str(path), why)
    return Outcome(ExitCode.UNDECIDED, Grade.NONE, result, (line,))


def _wrong_input(error: "InputError", path: Path, asked: Asked) -> Outcome:
    """What it means for a proof that a file is wrong. One that has nothing to prove, and one of
    several that cannot be read, leave something open; else the input is wrong."""
    from verifier.reports import machine
    from verifier.reports.formats.cases import FileResult

    code, grade, mark = ExitCode.BAD_INPUT, Grade.NONE, ": WRONG INPUT"
    if any(found.code == "CP502" for found in error.diagnostics):
        code, grade, mark = ExitCode.UNDECIDED, Grade.NOTHING, ""
    elif not asked.alone and any(
        d.code == "CP100" and d.span.source.name == str(path) for d in error.diagnostics
    ):
        code, mark = ExitCode.UNDECIDED, ": unread"
    result = FileResult(machine.file_with_errors(str(path), error.diagnostics, code, grade))
    line = _one_line(f"{grade.value}{mark}", str(path), error.diagnostics[0].message)
    lines = () if asked.alone and not asked.quiet else (line,)
    return Outcome(code, grade, result, lines, tuple(complaint(error)))


def _result(report: "Report", asked: Asked) -> "FileResult":
    """What reports for other programs need to know of a file."""
    from verifier.reports.formats.cases import FileResult

    if not asked.formats:
        return FileResult({})
    from verifier.commands.formats import drawings_of, repairs_of
    from verifier.reports import machine

    return FileResult(
        machine.file_report(report, asked.required),
        repairs_of(report) if asked.formats & {"sarif", "markdown"} else {},
        drawings_of(report) if asked.formats & {"junit", "markdown"} else {},
    )


def _one_line(mark: str, name: str, words: str = "") -> str:
    return f"{mark:<33}  {name}  {words}".rstrip()


def _told(report: "Report", asked: Asked, *, brief: bool) -> Iterator[str]:
    """What is printed of a report."""
    from verifier.reports.terminal import report_lines
    from verifier.reports.words import outcome, tally_words
    from verifier.verdicts.grade_words import quiet_words, stamp

    name = report.plan.source.name
    if asked.quiet:
        words = f"{tally_words(report.verdicts)}{quiet_words(report, asked.required)}"
        yield _one_line(stamp(report), name, words)
    elif brief:
        mark = asked.ink.paint(f"{stamp(report):<33}", outcome(report))
        yield f"{mark}  {name}"
    else:
        for line in report_lines(
            report, asked.ink, everything=asked.everything, lessons=asked.alone,
            pairs=asked.pairs, required=asked.required,
        ):  # fmt: skip
            yield asked.ink.plain(line)
