"""What the commands share: options, printing, error messages, and the files to work on."""

import argparse
import os
import re
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from verifier.language.listing import several

if TYPE_CHECKING:
    from verifier.reports.ink import Ink
    from verifier.reports.progress import ProgressLine

# Adds a command: its name, the function that runs it, and its help text.
Command = Callable[[str, Callable[[argparse.Namespace], int], str], argparse.ArgumentParser]

# People correct the first errors and run again; a long list does not help.
_SHOWN_ERRORS = 25
# Control characters, but for the ends of lines, a tab and a change of color.
_CONTROL = re.compile(r"(?!\x1b\[[0-9;]*m|\r\n|\r\Z)[\x00-\x08\x0b-\x1f\x7f-\x9f]")


class NotInstalled(Exception):
    """A package that an option needs is not there; the text is one line that says what to
    install."""


class WrongWord(Exception):
    """A word of the command line is none that fits; the text is one line that says what does."""


class OnlyOne(Exception):
    """Two outputs go to one place; the text is one sentence that says which."""


def console_options(parser: argparse.ArgumentParser) -> None:
    """Add the options for colors and plain ASCII drawings."""
    parser.add_argument("--ascii", action="store_true", help="draw with plain ASCII characters")
    parser.add_argument("--color", "--colour", choices=("auto", "always", "never"), default="auto")


def timeout_option(parser: argparse.ArgumentParser, what: str = "each check") -> None:
    """Add ``--timeout``, in seconds for ``what``."""
    parser.add_argument("--timeout", type=_seconds, metavar="S", help=f"seconds for {what}")


def jobs_option(parser: argparse.ArgumentParser) -> None:
    """Add ``--jobs``, on how many processors to work."""
    parser.add_argument(
        "--jobs", type=_processors, metavar="N",
        help="work on so many files at once; otherwise one for each processor",
    )  # fmt: skip


def _processors(text: str) -> int:
    """A number of processors. Raises ArgumentTypeError unless it is from 1 to 999."""
    if not (text.isascii() and text.isdigit() and 0 < int(text[:9]) < 1000):
        raise argparse.ArgumentTypeError(f"`{text}` is not a number of processors, from 1")
    return int(text)


def within_option(parser: argparse.ArgumentParser, what: str = "all of it") -> None:
    """Add ``--within``, in seconds for ``what``, however many checks it takes."""
    parser.add_argument(
        "--within", type=_seconds, metavar="S",
        help=f"seconds for {what}: what is not decided by then is undecided",
    )  # fmt: skip


def _seconds(text: str) -> float:
    """An option value in seconds. Raises ArgumentTypeError unless it is a number above 0."""
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0 < value < 1e6:
        raise argparse.ArgumentTypeError(f"`{text}` is not a number of seconds above 0")
    return value


def ink_of(options: argparse.Namespace) -> "Ink":
    from verifier.reports.ink import standard_ink

    return standard_ink(color=options.color, ascii_only=options.ascii)


@contextmanager
def working(file: str, done: str = "done") -> "Iterator[ProgressLine]":
    """Shows the progress of long work on a file on the error output. ``done`` is the word for
    what is done."""
    from verifier.reports.progress import ProgressLine

    line = ProgressLine(sys.stderr, showable(Path(file).name, sys.stderr), done)
    with line.alive():
        yield line


def say(lines: Iterable[str], ink: "Ink | None" = None) -> None:
    """Print lines. Characters that the console cannot show become `?`."""
    for line in lines:
        print(showable(ink.plain(line) if ink else line, sys.stdout))


def showable(text: str, stream: TextIO) -> str:
    """The text with `?` for characters that the encoding of the stream does not have, and for those
    that would do something to a terminal: all control characters but our own colors."""
    encoding = stream.encoding or "ascii"
    return _CONTROL.sub("?", text).encode(encoding, "replace").decode(encoding)


def complaint(error: Any) -> Iterator[str]:
    """The diagnostics of an InputError, and where to read more."""
    from verifier.language.diagnostics.diagnostic import render

    number = len(error.diagnostics)
    for diagnostic in error.diagnostics[:_SHOWN_ERRORS]:
        yield render(diagnostic)
    if number > _SHOWN_ERRORS:
        yield f"... and {number - _SHOWN_ERRORS} more."
    codes = list(dict.fromkeys(d.code for d in error.diagnostics))
    yield f"{several(number, 'error')}. `clearproof explain {codes[0]}` tells more."


def complain(error: Any) -> int:
    """Print the diagnostics of an InputError on standard error. Returns exit code 2."""
    say_aside(complaint(error))
    return 2


def say_aside(lines: Iterable[str]) -> None:
    """Print lines on standard error, after what was printed before. Where nobody can be told, the
    exit code tells."""
    sys.stdout.flush()
    try:
        for line in lines:
            print(showable(line, sys.stderr), file=sys.stderr)
    except OSError:
        discard(sys.stderr)


def discard(stream: TextIO) -> None:
    """Discard what a stream still holds and all that follows, so that the program can end."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, stream.fileno())
    os.close(nowhere)


def tell_aside(text: str) -> None:
    """One text on standard error: whatever names files or repeats what was typed goes this way."""
    say_aside([text])


def files_of(paths: Iterable[str], *, layouts: bool = False) -> Iterator[Path]:
    """The junction files at these paths. A folder stands for all files in it; with ``layouts``,
    those that another file includes are left out. A folder that cannot be looked into is one of
    them: reading it says why."""
    from verifier.language.files import files_below
    from verifier.language.modules.includes import not_included

    for text in paths:
        if not text:
            from verifier.api import no_name

            raise no_name()
        path = Path(text)
        if path.is_dir():
            found = files_below(path, ".ixl")
            if not found:
                from verifier.api import no_junctions

                raise no_junctions(text)
            yield from not_included(found) if layouts else found
        else:
            yield path
