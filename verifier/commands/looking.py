"""The commands that look at one situation, or at what was seen on the bench."""

import argparse
import sys

from verifier.commands.console import Command, console_options, ink_of, say, working
from verifier.verdicts.exit_codes import ExitCode


def add(command: Command) -> None:
    ask = command("ask", _ask, "what the signals show in a situation you name")
    ask.add_argument("file", metavar="FILE")
    ask.add_argument(
        "situation", nargs="*", metavar="FACT",
        help='such as "T1 reverse, train on Main, lever 4 left", where wiring is given also '
        '"train at m2, feeder m3 broken"; unmentioned track is vacant, unmentioned points lie '
        "normal",
    )  # fmt: skip
    ask.add_argument("--why", action="store_true", help="say why each signal shows what it shows")
    console_options(ask)

    find = command("diagnose", _diagnose, "what explains what you saw on the bench")
    find.add_argument("file", metavar="FILE")
    find.add_argument(
        "observations", nargs="*", metavar="OBSERVATION",
        help='one look each: "locomotive at m2, T1 reverse, lever 4 left: 4L Stop", or '
        '"train on Main: 4L.upper green, 4L.lower dark"; `T1 thrown reverse` is what it was told',
    )  # fmt: skip
    find.add_argument(
        "--results", metavar="CARD.csv",
        help="a test card filled in, as `clearproof sheet FILE test-card --csv` writes it",
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
        print("Say what you saw, or name a test card filled in: --results card.csv.",
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
