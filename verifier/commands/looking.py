"""The commands on one situation: what the signals show, and what explains what they showed."""

import argparse
import sys

from verifier.commands.console import Command, console_options, ink_of, say, working
from verifier.verdicts.exit_codes import ExitCode


def add(command: Command) -> None:
    ask = command("ask", _ask, "show what the signals display in a situation")
    ask.add_argument("file", metavar="FILE")
    ask.add_argument(
        "situation", nargs="*", metavar="FACT",
        help='such as "T1 reverse, train on Main, lever 4 left", or with wiring "train at m2, '
        'feeder m3 broken"; all other track is vacant, and all other points lie normal',
    )  # fmt: skip
    ask.add_argument("--why", action="store_true", help="explain why each signal shows its aspect")
    console_options(ask)

    find = command("diagnose", _diagnose, "find the faults that explain what you observed")
    find.add_argument("file", metavar="FILE")
    find.add_argument(
        "observations", nargs="*", metavar="OBSERVATION",
        help='one observation each: "locomotive at m2, T1 reverse, lever 4 left: 4L Stop", or '
        '"train on Main: 4L.upper green, 4L.lower dark"; `T1 thrown reverse` is its command',
    )  # fmt: skip
    find.add_argument(
        "--results", metavar="CARD.csv",
        help="a completed test card, as `clearproof sheet FILE test-card --csv` writes it",
    )  # fmt: skip
    find.add_argument("--json", action="store_true", help="print the diagnosis as JSON")
    console_options(find)


def _ask(options: argparse.Namespace) -> int:
    from verifier.api import load, situation_of
    from verifier.reports import answers

    plan = load(options.file)
    situation = situation_of(plan, ", ".join(options.situation))
    ink = ink_of(options)
    say(answers.shown_lines(plan, situation, ink, why=options.why), ink)
    return 0


def _diagnose(options: argparse.Namespace) -> int:
    from verifier.api import diagnose, load
    from verifier.reports import diagnosis

    if not options.observations and options.results is None:
        print("Give your observations, or a completed test card: --results card.csv.",
              file=sys.stderr)  # fmt: skip
        return ExitCode.BAD_INPUT
    plan = load(options.file)
    with working(options.file) as progress:
        found = diagnose(plan, options.observations, options.results, progress)
    if options.json:
        import json

        print(json.dumps(diagnosis.diagnosis_json(found), indent=2))
    else:
        ink = ink_of(options)
        say(diagnosis.diagnosis_lines(found, ink), ink)
    return diagnosis.exit_code(found)
