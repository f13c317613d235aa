"""The commands on what is seen: what signals show in a situation, what explains what they showed,
and where a log parts from the plan."""

import argparse
import re
import sys

from verifier.commands.console import (
    Command,
    console_options,
    ink_of,
    say,
    tell_aside,
    working,
)
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

    log = command(
        "replay", _replay, "follow the log of a built layout, and say where it parts from its plan"
    )
    log.add_argument("file", metavar="FILE")
    log.add_argument(
        "log", metavar="LOG",
        help="what detectors, contacts, levers and lamps reported: CSV with the columns time, "
        "what, state, or JSON lines; - reads standard input",
    )  # fmt: skip
    log.add_argument(
        "--tolerance", type=_seconds, metavar="SECONDS", default=1.0,
        help="how long a lamp or relay may take to follow (default 1)",
    )  # fmt: skip
    log.add_argument("--json", action="store_true", help="print the outcome as JSON")
    console_options(log)


def _replay(options: argparse.Namespace) -> int:
    from verifier.api import load
    from verifier.diagnosis.log_follower import CannotFollow, follow
    from verifier.diagnosis.log_reader import read_log
    from verifier.diagnosis.log_suspects import suspects_of
    from verifier.reports import log_replay

    plan = load(options.file)
    try:
        if options.log == "-":
            found = follow(plan, read_log(sys.stdin, "standard input", plan), options.tolerance)
        else:
            with open(options.log, encoding="utf-8", errors="replace") as lines:
                found = follow(plan, read_log(lines, options.log, plan), options.tolerance)
    except CannotFollow as why:
        tell_aside(f"The log cannot be followed: {why}.")
        return ExitCode.UNDECIDED
    except OSError as error:
        tell_aside(f"{options.log} cannot be read: {error.strerror}.")
        return ExitCode.BAD_INPUT
    suspects, more = suspects_of(plan, found.departure) if found.departure else ((), False)
    if options.json:
        import json

        print(json.dumps(log_replay.replay_json(found, suspects, more), indent=2))
    else:
        ink = ink_of(options)
        say(log_replay.replay_lines(found, suspects, more, ink), ink)
    return log_replay.exit_code(found)


def _seconds(text: str) -> float:
    if not re.fullmatch(r"[0-9]{1,4}(\.[0-9]{1,3})?", text):
        raise argparse.ArgumentTypeError(f"`{text}` is not a number of seconds, such as 0.5")
    return float(text)


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
        tell_aside("Give your observations, or a completed test card: --results card.csv.")
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
