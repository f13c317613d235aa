"""The commands that write junction files: new ones from patterns, and formatted ones."""

import argparse
from pathlib import Path

from verifier.commands.console import Command, files_of, say


def add(command: Command) -> None:
    new = command("new", _new, "start a junction file from a pattern that is already proved safe")
    new.add_argument("pattern", nargs="?", metavar="PATTERN", help="leave out to list the patterns")
    new.add_argument("file", nargs="?", metavar="FILE", help="the file to write")

    tidy = command("format", _format, "format junction files")
    tidy.add_argument("paths", nargs="+", metavar="FILE-OR-FOLDER")
    tidy.add_argument("--check", action="store_true", help="change nothing; exit 1 if a file would")


def _new(options: argparse.Namespace) -> int:
    from verifier.api import unknown_word
    from verifier.language.writing import write_file
    from verifier.patterns import PATTERNS, pattern_text

    if options.pattern is None:
        say(["Patterns (clearproof new PATTERN FILE):"])
        wide = max(map(len, PATTERNS))
        say(f"  {name:<{wide}}  {text}" for name, text in PATTERNS.items())
        return 0
    if options.pattern not in PATTERNS:
        raise unknown_word(options.pattern, PATTERNS, "pattern", "`clearproof new`")
    path = Path(options.file or f"{options.pattern}.ixl")
    write_file(path, pattern_text(options.pattern), new=True)
    say(
        [
            f"Wrote {path}. It is already safe: try `clearproof prove {path}`.",
            "Then change its names and track to yours, step by step, and prove it after each step.",
        ]
    )
    return 0


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
