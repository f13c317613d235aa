"""The command that repairs files: what to change, proved, and the change itself."""

import argparse
from pathlib import Path

from verifier.commands.console import (
    Command,
    console_options,
    ink_of,
    say,
    tell_aside,
    timeout_option,
    within_option,
    working,
)
from verifier.language.listing import several
from verifier.verdicts.exit_codes import ExitCode


def add(command: Command) -> None:
    mend = command("mend", _mend, "show repairs of what is broken, each proved, or make one")
    mend.add_argument("file", metavar="FILE")
    mend.add_argument(
        "--apply", type=_number, metavar="N",
        help="make the repair of this number in the file",
    )  # fmt: skip
    timeout_option(mend)
    within_option(mend, "the search: repairs found by then are shown")
    mend.add_argument("--json", action="store_true", help="print the repairs as JSON")
    console_options(mend)


def _number(text: str) -> int:
    """The number of a repair. Raises ArgumentTypeError unless it is from 1 to 999."""
    if not (text.isascii() and text.isdigit() and 0 < int(text[:9]) < 1000):
        raise argparse.ArgumentTypeError(f"`{text}` is not the number of a repair, from 1")
    return int(text)


def _mend(options: argparse.Namespace) -> int:
    from verifier.api import mend_file, read_file
    from verifier.language.files import as_on_disk
    from verifier.language.writing import UnwritableError, check_target, write_file
    from verifier.reports import mending

    path = Path(options.file)
    if options.apply is not None:
        check_target(path, over_input=True)
    with working(options.file, "looked at") as progress:
        found = mend_file(path, timeout=options.timeout, within=options.within, step=progress)
    code = mending.exit_code(found)
    if options.apply is None or not found.before.broken:
        if options.json:
            import json

            print(json.dumps(mending.mended_json(found, code), indent=2))
        else:
            ink = ink_of(options)
            say(mending.mended_lines(found, ink), ink)
        return code
    if options.apply > len(found.repairs):
        count = len(found.repairs)
        there = f"there are {count}" if count > 1 else "there is one" if count else "there is none"
        tell_aside(f"{path} has no repair {options.apply}: {there}.")
        return ExitCode.BAD_INPUT
    repair = found.repairs[options.apply - 1]
    text, raw = read_file(path)
    if text != found.before.text:
        raise UnwritableError(f"{path} was changed meanwhile; nothing was written. Run it again.")
    write_file(path, as_on_disk(repair.text, raw), over_input=True)
    code = mending.exit_code_after(found, repair)
    left = len(found.before.broken) - len(repair.mends)
    rest = (
        "Nothing stays broken (proved)."
        if repair.whole
        else f"{several(left, 'check')} still broken."
    )
    say([f"Mended {path}. {repair.sentence} {rest}"])
    if code:
        tell_aside(f"`clearproof mend {path}` looks for more.")
    return code
