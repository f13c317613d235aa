"""The commands. Thin: they read arguments, call the API, and print.

Nothing heavy is imported at the top: `clearproof --help` must not wait for a solver.
"""

import argparse
import os
import platform
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from verifier import __version__
from verifier.findings.exit_codes import ExitCode, table, worst

if TYPE_CHECKING:
    from verifier.findings.verdicts import Report
    from verifier.reports.ink import Ink

# People mend the first errors and run again; a long list helps nobody.
_SHOWN_ERRORS = 25

_CAUTION = (
    "For model railroads, not for railways that carry people. Proofs hold on the assumptions "
    "printed with them."
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command. Returns the exit code."""
    arguments = sys.argv[1:] if arguments is None else arguments
    options = _parser().parse_args(arguments)
    try:
        code = int(options.run(options))
        sys.stdout.flush()
        return code
    except KeyboardInterrupt:
        print("\nInterrupted: nothing further was decided.", file=sys.stderr)
        return ExitCode.UNDECIDED
    except BrokenPipeError:
        # The reader of our output went away (`| head`): say nothing more.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return ExitCode.UNDECIDED
    except Exception as error:
        if os.environ.get("CLEARPROOF_TRACEBACK"):
            raise
        print(_our_bug(error, arguments), file=sys.stderr)
        return ExitCode.OUR_BUG


def _our_bug(error: Exception, arguments: Sequence[str]) -> str:
    return (
        f"This is a bug in clearproof, not in your file: {type(error).__name__}: {error}\n"
        f"clearproof {__version__}, Python {platform.python_version()}, {platform.system()}; "
        f"arguments: {' '.join(arguments)}\n"
        "Please report it with the file. CLEARPROOF_TRACEBACK=1 shows where it happened."
    )


def _exit_codes() -> str:
    return "\n".join(["exit codes:", *(f"  {line}" for line in table())])


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="clearproof",
        description="Proves that the signals of a model railroad never show a false clear, "
        "or draws the situation where they do.",
        epilog=f"{_exit_codes()}\n\n{_CAUTION}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"clearproof {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)

    def command(
        name: str, run: Callable[[argparse.Namespace], int], text: str
    ) -> argparse.ArgumentParser:
        sub = commands.add_parser(
            name, help=text, description=text, epilog=_exit_codes(),
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )  # fmt: skip
        sub.set_defaults(run=run)
        return sub

    _proving(command)
    _asking(command)
    _explaining(command)
    return parser


# Adds a command: its name, what runs it, and what it does in a few words.
_Command = Callable[[str, Callable[[argparse.Namespace], int], str], argparse.ArgumentParser]


def _proving(command: _Command) -> None:
    """The commands that prove, and that say what a proof rests on."""
    prove = command("prove", _prove, "prove junction files, or all of a folder")
    prove.add_argument("paths", nargs="+", metavar="FILE-OR-FOLDER")
    prove.add_argument("--timeout", type=_seconds, metavar="S", help="seconds for each question")
    prove.add_argument(
        "--only", action="append", default=[], metavar="PROPERTY", help="this property alone"
    )
    prove.add_argument(
        "--pairs", action="store_true", help="look at every two things broken at once as well"
    )
    prove.add_argument("--all", action="store_true", help="show every finding")
    prove.add_argument("--json", action="store_true", help="print the report as JSON")
    prove.add_argument(
        "--certificate",
        metavar="DIR",
        help="write each proof over time into this folder, as a file any SMT solver can check",
    )
    prove.add_argument("--quiet", action="store_true", help="one line a file")
    _console_options(prove)

    why = command("why", _why, "what a proof rests on, or how things come to be broken")
    why.add_argument("file", metavar="FILE")
    why.add_argument("property", metavar="PROPERTY", help="such as derailment")
    why.add_argument(
        "subjects", nargs="*", metavar="SUBJECT",
        help="what it is asked of, such as T1; leave out for all",
    )  # fmt: skip
    why.add_argument("--timeout", type=_seconds, metavar="S", help="seconds for each question")
    why.add_argument("--all", action="store_true", help="show all facts it rests on")
    _console_options(why)


def _asking(command: _Command) -> None:
    """The commands that look at one situation, or at what was seen on the bench."""
    ask = command("ask", _ask, "what the signals show in a situation you name")
    ask.add_argument("file", metavar="FILE")
    ask.add_argument(
        "situation", nargs="*", metavar="FACT",
        help='such as "T1 reverse, train on Main, lever 4 left", where wiring is given also '
        '"train at m2, feeder m3 broken"; unmentioned track is vacant, unmentioned points lie '
        "normal",
    )  # fmt: skip
    ask.add_argument("--why", action="store_true", help="say why each signal shows what it shows")
    _console_options(ask)

    find = command("diagnose", _diagnose, "what explains what you saw on the bench")
    find.add_argument("file", metavar="FILE")
    find.add_argument(
        "observations", nargs="+", metavar="OBSERVATION",
        help='one look each: "locomotive at m2, T1 reverse, lever 4 left: 4L Stop", or '
        '"train on Main: 4L.upper green, 4L.lower dark"; `T1 thrown reverse` is what it was told',
    )  # fmt: skip
    find.add_argument("--json", action="store_true", help="print the diagnosis as JSON")
    _console_options(find)


def _explaining(command: _Command) -> None:
    """The commands that print what there is to read, and that write files."""
    sheet = command("sheet", _sheet, "the locking sheet: routes, points, conflicts")
    sheet.add_argument("file", metavar="FILE")

    explain = command("explain", _explain, "explain a property, an error code, or a list")
    explain.add_argument(
        "name",
        nargs="?",
        metavar="NAME",
        help="a property, an error code such as CP204, or one of: properties, codes, "
        "indications, aspects, exit-codes",
    )  # fmt: skip

    new = command("new", _new, "start a junction file from a pattern that already proves")
    new.add_argument("pattern", nargs="?", metavar="PATTERN", help="leave out to list them")
    new.add_argument("file", nargs="?", metavar="FILE", help="where to write it")

    tidy = command("format", _format, "lay out junction files in the usual way")
    tidy.add_argument("paths", nargs="+", metavar="FILE-OR-FOLDER")
    tidy.add_argument("--check", action="store_true", help="change nothing; exit 1 if it would")


def _console_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--ascii", action="store_true", help="draw with plain ASCII characters")
    parser.add_argument("--colour", "--color", choices=("auto", "always", "never"), default="auto")


def _seconds(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0 < value < 1e6:
        raise argparse.ArgumentTypeError(f"`{text}` is not a number of seconds above 0")
    return value


def _ink(options: argparse.Namespace) -> "Ink":
    from verifier.reports.ink import standard_ink

    return standard_ink(colour=options.colour, ascii_only=options.ascii)


def _say(lines: Iterable[str], ink: "Ink | None" = None) -> None:
    """Print; what the console cannot show becomes `?`."""
    for line in lines:
        print(_showable(ink.plain(line) if ink else line, sys.stdout))


def _showable(text: str, stream: TextIO) -> str:
    encoding = stream.encoding or "ascii"
    return text.encode(encoding, "replace").decode(encoding)


def _complain(error: Any) -> int:
    from verifier.language.diagnostics import render

    sys.stdout.flush()
    number = len(error.diagnostics)
    for diagnostic in error.diagnostics[:_SHOWN_ERRORS]:
        print(_showable(render(diagnostic), sys.stderr), file=sys.stderr)
    if number > _SHOWN_ERRORS:
        print(f"... and {number - _SHOWN_ERRORS} more.", file=sys.stderr)
    codes = list(dict.fromkeys(d.code for d in error.diagnostics))
    print(
        f"{number} error{'s' if number > 1 else ''}. `clearproof explain {codes[0]}` tells more.",
        file=sys.stderr,
    )
    return 2


# ------------------------------------------------------------------ prove


def _files(paths: Iterable[str], *, layouts: bool = False) -> Iterator[Path]:
    """The junction files asked for; a folder stands for all those in it, for ``layouts``
    without those that others there include."""
    from verifier.api import no_junctions
    from verifier.language.includes import not_included

    for text in paths:
        path = Path(text)
        if path.is_dir():
            found = sorted(path.rglob("*.ixl"))
            if not found:
                raise no_junctions(text)
            yield from not_included(found) if layouts else found
        else:
            yield path


_MARKS = {
    ExitCode.AS_EXPECTED: "ok",
    ExitCode.BROKEN: "BROKEN",
    ExitCode.UNDECIDED: "undecided",
}


def _proved(path: Path, options: argparse.Namespace) -> "Report":
    """The report of one file. Progress goes to the terminal's error output."""
    from verifier.api import prove_file
    from verifier.reports.progress import ProgressLine

    progress = ProgressLine(sys.stderr, path.name)
    try:
        return prove_file(
            path,
            timeout=options.timeout,
            only=options.only,
            pairs=options.pairs,
            progress=progress,
        )
    finally:
        progress.clear()


def _prove(options: argparse.Namespace) -> int:
    from verifier.language.diagnostics import InputError
    from verifier.reports import machine, terminal
    from verifier.reports.words import tally_words

    ink = _ink(options)
    codes: list[ExitCode] = []
    documents: list[machine.Json] = []
    reports: list[Report] = []
    try:
        files = list(_files(options.paths, layouts=True))
        _check_only(options.only)
    except InputError as error:
        return _complain(error)
    for number, path in enumerate(files):
        try:
            report = _proved(path, options)
        except InputError as error:
            codes.append(ExitCode.BAD_INPUT)
            if options.json:
                documents.append(machine.file_with_errors(str(path), error.diagnostics))
            else:
                _complain(error)
            continue
        codes.append(report.exit_code)
        reports.append(report)
        if options.json:
            documents.append(machine.file_report(report))
        elif options.quiet:
            mark = _MARKS[report.exit_code]
            _say([f"{mark:<9}  {path}  {tally_words(report.verdicts)}"])
        else:
            _say([""] * (number > 0))
            _say(
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
    if options.certificate and not _certified(reports, Path(options.certificate)):
        return ExitCode.BAD_INPUT
    if options.json:
        import json

        print(json.dumps(machine.document(documents, worst(codes)), indent=2))
    elif len(files) > 1 and not options.quiet:
        _say(["", f"{len(codes)} of {len(files)} files looked at, exit code {int(worst(codes))}."])
    return worst(codes)


def _certified(reports: "Sequence[Report]", folder: Path) -> bool:
    """Write the proofs over time; False where that cannot be done."""
    from verifier.reports.certificates import certificate_files

    number = -1
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in certificate_files(reports):
            (folder / name).write_text(text, encoding="utf-8")
            number += 1
    except OSError as error:
        print(f"Cannot write certificates into {folder}: {error.strerror}.", file=sys.stderr)
        return False
    print(f"{number} proofs over time written into {folder}.", file=sys.stderr)
    return True


def _check_only(names: Sequence[str]) -> None:
    from verifier.api import unknown_word
    from verifier.properties.catalogue import BY_NAME

    for name in names:
        if name not in BY_NAME:
            raise unknown_word(name, BY_NAME, "property", "`clearproof explain properties`")


# ------------------------------------------------------------------ why


def _why(options: argparse.Namespace) -> int:
    from verifier.api import reasons_file
    from verifier.language.diagnostics import InputError
    from verifier.reports.progress import ProgressLine
    from verifier.reports.why import why_lines

    progress = ProgressLine(sys.stderr, Path(options.file).name)
    subjects = [name for text in options.subjects for name in text.split(",") if name]
    try:
        report, verdicts = reasons_file(
            options.file, options.property, subjects, timeout=options.timeout, progress=progress
        )
    except InputError as error:
        progress.clear()
        return _complain(error)
    progress.clear()
    ink = _ink(options)
    _say(why_lines(report, verdicts, ink, everything=options.all), ink)
    return report.exit_code


# ------------------------------------------------------------------ ask


def _ask(options: argparse.Namespace) -> int:
    from verifier.api import load, situation_of
    from verifier.language.diagnostics import InputError
    from verifier.reports import answers

    try:
        plan = load(options.file)
        situation = situation_of(plan, ", ".join(options.situation))
    except InputError as error:
        return _complain(error)
    ink = _ink(options)
    _say(answers.shown_lines(plan, situation, ink, why=options.why), ink)
    return 0


def _diagnose(options: argparse.Namespace) -> int:
    from verifier.api import diagnose, load
    from verifier.language.diagnostics import InputError
    from verifier.reports import diagnosis

    try:
        found = diagnose(load(options.file), options.observations)
    except InputError as error:
        return _complain(error)
    if options.json:
        import json

        print(json.dumps(diagnosis.diagnosis_json(found), indent=2))
    else:
        ink = _ink(options)
        _say(diagnosis.diagnosis_lines(found, ink), ink)
    return diagnosis.exit_code(found)


# ------------------------------------------------------------------ sheet, explain, new, format


def _sheet(options: argparse.Namespace) -> int:
    from verifier.api import load
    from verifier.language.diagnostics import InputError
    from verifier.sheets.locking import locking_sheet

    try:
        plan = load(options.file)
    except InputError as error:
        return _complain(error)
    _say(locking_sheet(plan))
    return 0


def _explain(options: argparse.Namespace) -> int:
    from verifier.api import unknown_word
    from verifier.reports import explanations

    if options.name is None:
        _say(explanations.overview())
        return 0
    lines = explanations.explain(options.name)
    if lines is None:
        return _complain(
            unknown_word(options.name, explanations.topics(), "topic", "`clearproof explain`")
        )
    _say(lines)
    return 0


def _new(options: argparse.Namespace) -> int:
    from verifier.api import unknown_word
    from verifier.patterns import PATTERNS, pattern_text

    if options.pattern is None:
        _say(["Patterns (clearproof new PATTERN FILE):"])
        _say(f"  {name:<16} {text}" for name, text in PATTERNS.items())
        return 0
    if options.pattern not in PATTERNS:
        return _complain(unknown_word(options.pattern, PATTERNS, "pattern", "`clearproof new`"))
    path = Path(options.file or f"{options.pattern}.ixl")
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(pattern_text(options.pattern))
    except FileExistsError:
        print(f"{path} exists already; nothing was written. Give another name.", file=sys.stderr)
        return 2
    except OSError as error:
        print(f"{path} cannot be written: {error.strerror}.", file=sys.stderr)
        return 2
    _say(
        [
            f"Wrote {path}. It proves as it stands: try `clearproof prove {path}`.",
            "Then change its names and track to yours, a little at a time, proving as you go.",
        ]
    )
    return 0


def _format(options: argparse.Namespace) -> int:
    from verifier.api import read_text
    from verifier.language.diagnostics import InputError
    from verifier.language.format import format_text

    code = 0
    try:
        for path in _files(options.paths):
            before = read_text(path)
            after = format_text(before, str(path))
            if after == before:
                continue
            _say([f"{'would change' if options.check else 'changed'} {path}"])
            if options.check:
                code = 1
            else:
                path.write_text(after, encoding="utf-8")
    except InputError as error:
        return _complain(error)
    return code


if __name__ == "__main__":
    sys.exit(main())
