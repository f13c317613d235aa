"""The commands that write junction files: new ones from patterns, and formatted ones."""

import argparse
from pathlib import Path

from verifier.commands.console import (
    Command,
    files_of,
    say,
    tell_aside,
)
from verifier.verdicts.exit_codes import ExitCode


def add(command: Command) -> None:
    new = command("new", _new, "start a junction file from a pattern that is already proved safe")
    new.add_argument("pattern", nargs="?", metavar="PATTERN", help="leave out to list the patterns")
    new.add_argument("file", nargs="?", metavar="FILE", help="the file to write")
    new.add_argument(
        "--sidings", type=_sidings, metavar="N", help="line: so many passing sidings (default 2)"
    )
    new.usage = "%(prog)s [-h] [PATTERN] [FILE] [--sidings N]"

    tidy = command("format", _format, "format junction files")
    tidy.add_argument("paths", nargs="+", metavar="FILE-OR-FOLDER")
    tidy.add_argument("--check", action="store_true", help="change nothing; exit 1 if a file would")


def _sidings(text: str) -> int:
    """A number of sidings. Raises ArgumentTypeError unless a line can have so many."""
    from verifier.patterns.line import MOST_SIDINGS

    if not (text.isascii() and text.isdigit() and 0 < int(text[:9]) <= MOST_SIDINGS):
        raise argparse.ArgumentTypeError(
            f"`{text}` is not a number of sidings from 1 to {MOST_SIDINGS}"
        )
    return int(text)


def _new(options: argparse.Namespace) -> int:
    from verifier.api import unknown_word
    from verifier.language.writing import write_file
    from verifier.patterns import PATTERNS, pattern_text

    known = {**PATTERNS, "line": "single track with as many sidings as you like: --sidings N"}
    if options.pattern is None:
        say(["Patterns (clearproof new PATTERN FILE):"])
        wide = max(map(len, known))
        say(f"  {name:<{wide}}  {text}" for name, text in known.items())
        return 0
    if options.pattern not in known:
        raise unknown_word(options.pattern, known, "pattern", "`clearproof new`")
    if options.sidings is not None and options.pattern != "line":
        tell_aside("--sidings is for the pattern line.")
        return ExitCode.BAD_INPUT
    path = Path(options.file or f"{options.pattern}.ixl")
    text = _line(options.sidings or 2) if options.pattern == "line" else None
    write_file(path, text or pattern_text(options.pattern), new=True)
    if text:
        say([f"Wrote {path}. Lines of one and two sidings are proved; prove this one, too:"])
        say([f"`clearproof prove {path}`. All ends are one module: change it once for all."])
        return 0
    say(
        [
            f"Wrote {path}. It is already safe: try `clearproof prove {path}`.",
            "Then change its names and track to yours, step by step, and prove it after each step.",
        ]
    )
    return 0


def _line(sidings: int) -> str:
    from verifier.language.format.formatter import format_text
    from verifier.patterns.line import line_text

    return format_text(line_text(sidings))


def _format(options: argparse.Namespace) -> int:
    from verifier.api import read_file
    from verifier.language.files import as_on_disk
    from verifier.language.format.formatter import format_text
    from verifier.language.source import LINE_END
    from verifier.language.writing import write_file

    code = 0
    for path in files_of(options.paths):
        text, raw = read_file(path)
        before = LINE_END.sub("\n", text)
        after = format_text(before, str(path))
        if after == before:
            continue
        if options.check:
            code = 1
        else:
            write_file(path, as_on_disk(after, raw), over_input=True)
        say([f"{'would change' if options.check else 'changed'} {path}"])
    return code
