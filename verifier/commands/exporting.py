"""The command that writes a junction for other tools: as C source, or as a circuit."""

import argparse
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from verifier.commands.console import (
    Command,
    say,
    say_aside,
    showable,
    tell_aside,
    timeout_option,
    within_option,
    working,
)
from verifier.language.listing import several
from verifier.verdicts.exit_codes import ExitCode

if TYPE_CHECKING:
    from verifier.plan.model import Plan

# Seconds in which the grade of the rules is worked out, unless `--within` says otherwise.
WITHIN = 60.0


def add(command: Command) -> None:
    export = command(
        "export", _export,
        "write the rules as one C file, proved equivalent, or the proofs over time as a circuit "
        "for model checkers",
    )  # fmt: skip
    export.add_argument("file", metavar="FILE")
    export.add_argument("-o", "--output", metavar="OUT", help="write to this file; default: print")
    export.add_argument(
        "--format", choices=("c", "aiger"), default="c",
        help="c: the rules as C source (the default); aiger: an AIGER 1.9 circuit with a bad state "
        "for each obligation over time and a constraint for each assumption (OUT.aag as text, "
        "OUT.aig as binary)",
    )  # fmt: skip
    export.add_argument(
        "--board", metavar="NAME",
        help="C for one board (`driver`) of the file alone: its signals, and memory and points "
        "where the program runs on it",
    )  # fmt: skip
    export.add_argument(
        "--around", metavar="OUT",
        help="write also a program around it, not proved, to change as the board needs: pin table, "
        "debouncing, flashing, dimming, coils; compiles for an ATmega328P and for a host",
    )  # fmt: skip
    timeout_option(export, "the proof of equivalence")
    within_option(export, f"the grade of the rules, in the head of the C file (default {WITHIN:g})")


def _export(options: argparse.Namespace) -> int:
    from verifier.exports.checked_export import NothingToExport
    from verifier.language.writing import check_target

    if contradiction := _contradiction(options):
        tell_aside(contradiction)
        return ExitCode.BAD_INPUT
    for path in (options.output, options.around):
        if path is not None:
            check_target(Path(path))
    try:
        return _export_circuit(options) if options.format == "aiger" else _export_c(options)
    except NothingToExport as error:
        tell_aside(f"{options.file}: {error}.")
        return ExitCode.BAD_INPUT


def _contradiction(options: argparse.Namespace) -> str | None:
    """Why some options do not go together, and what to do."""
    for name in ("board", "around"):
        if options.format == "aiger" and getattr(options, name) is not None:
            return f"--{name} is for C, not for --format aiger. Leave out one of them."
    both = [os.path.realpath(path) for path in (options.around, options.output) if path]
    if len(both) == 2 and both[0] == both[1]:
        return f"-o and --around both name {options.around}. Give one of them another name."
    return None


def _export_circuit(options: argparse.Namespace) -> int:
    from verifier.api import load
    from verifier.engines.interchange.aiger import ascii_form, binary_form
    from verifier.exports.circuit import circuit
    from verifier.language.writing import write_file

    made = circuit(load(options.file))
    if options.output is None:
        print(showable(ascii_form(made), sys.stdout), end="")
        return ExitCode.AS_EXPECTED
    path = Path(options.output)
    write_file(path, binary_form(made) if path.suffix == ".aig" else ascii_form(made))
    say([
        f"Wrote {path}: {several(len(made.bad), 'bad state')}, "
        f"{several(len(made.constraints), 'constraint')}. A bad state "
        "is a check that fails; the comments at the end of the file name them."
    ])  # fmt: skip
    return ExitCode.AS_EXPECTED


def _export_c(options: argparse.Namespace) -> int:
    from verifier.api import load
    from verifier.exports.checked_export import checked_export
    from verifier.exports.equivalence import Equivalent, Inconclusive, NotEquivalent
    from verifier.exports.skeleton import skeleton
    from verifier.language.writing import write_files

    plan = load(options.file)
    graded = _graded(plan, options.within or WITHIN) if plan.signals else ""
    made, shown = checked_export(plan, options.timeout, graded, options.board)
    match shown:
        case NotEquivalent(what=what, values=values):
            tell_aside(
                "This is a bug in clearproof, not in your file: the C text is not the same as the "
                f"rules ({what}{_given(values)}). Nothing was written. Please report it with the "
                "file."
            )
            return ExitCode.OUR_BUG
        case Inconclusive(reason=reason):
            tell_aside(
                f"It could not be shown that the C text is the same as the rules ({reason}), so "
                "nothing was written."
            )
            return ExitCode.UNDECIDED
        case Equivalent(questions=questions):
            pass
    path = Path(options.output) if options.output else None
    around = Path(options.around) if options.around else None
    core = path.name if path else f"{made.prefix}.c"
    files = [(path, made.text)] if path else []
    write_files(files + ([(around, skeleton(made, core))] if around else []))
    if path is None:
        print(showable(made.text, sys.stdout), end="")
    else:
        say([f"Wrote {path}: {made.prefix}_step() and what belongs to it."])
    if around is not None:
        # With the C on standard output, nothing else goes there.
        tell = say_aside if options.output is None else say
        tell([f"Wrote {around}: a program around {core}, not proved. Test what you build."])
    tell_aside(
        "Proved: read back from its text, one call gives what the rules give for every input, "
        f"every memory and every time passed ({several(questions, 'question')}). What the "
        "compiler, the pins and the wiring do, only a test shows "
        f"(`clearproof sheet {options.file} test-card`); "
        f"why the rules have their grade, `clearproof prove {options.file}` says.\n"
        f"Grade of the rules: {graded}"
    )
    return ExitCode.AS_EXPECTED


def _graded(plan: "Plan", within: float) -> str:
    """The grade of the rules in a sentence, as far as it can be worked out in so many seconds."""
    from verifier.pipeline import prove
    from verifier.verdicts.grade_words import headline

    with working(plan.source.name, "decided") as progress:
        return f"{headline(prove(plan, within=within, repairs=False, progress=progress))}."


def _given(values: tuple[tuple[str, int], ...]) -> str:
    return ", with " + ", ".join(f"{name} = {number}" for name, number in values) if values else ""
