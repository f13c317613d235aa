"""The command that draws a plan as SVG."""

import argparse
import sys
from pathlib import Path

from verifier.commands.console import Command, say, showable
from verifier.verdicts.exit_codes import ExitCode

# Strips narrower than this would show little but their ends.
_NARROWEST = 300


def add(command: Command) -> None:
    draw = command("draw", _draw, "draw the track as SVG, in a situation if you give one")
    draw.add_argument("file", metavar="FILE")
    draw.add_argument(
        "situation", nargs="*", metavar="FACT",
        help='as in `clearproof ask`: "T1 reverse, train on Main"; without facts, the bare plan',
    )  # fmt: skip
    draw.add_argument(
        "-o", "--output", metavar="FILE.svg", help="write to this file; default: print"
    )
    draw.add_argument("--gaps", action="store_true", help="show the names of the gaps")
    draw.add_argument("--feeders", action="store_true", help="show the feeders of each block")
    draw.add_argument("--detectors", action="store_true", help="show the detectors")
    draw.add_argument(
        "--strips", type=_width, metavar="PX",
        help="cut the drawing into strips of at most PX pixels: FILE-1.svg, FILE-2.svg, …",
    )  # fmt: skip


def _width(text: str) -> int:
    if not text.isascii() or not text.isdigit() or int(text) < _NARROWEST:
        raise argparse.ArgumentTypeError(f"`{text}` is not a width of {_NARROWEST} pixels or more")
    return int(text)


def _draw(options: argparse.Namespace) -> int:
    from verifier.api import load, situation_of
    from verifier.drawing.overlay import Overlay
    from verifier.drawing.svg.picture import pages, picture
    from verifier.language.writing import write_file
    from verifier.reference.evaluator import evaluate

    plan = load(options.file)
    facts = ", ".join(options.situation)
    seen = evaluate(plan, situation_of(plan, facts)) if facts else None
    overlay = Overlay(options.gaps, options.feeders, options.detectors)
    if options.strips is None:
        made = [picture(plan, seen, overlay=overlay)]
    elif options.output is None:
        print("Strips are written to files: add -o FILE.svg.", file=sys.stderr)
        return ExitCode.BAD_INPUT
    else:
        made = [*pages(plan, seen, width=options.strips, overlay=overlay)]
    if options.output is None:
        print(showable(made[0].svg, sys.stdout), end="")
        return ExitCode.AS_EXPECTED
    path = Path(options.output)
    for number, one in enumerate(made, start=1):
        place = path if len(made) == 1 else path.with_stem(f"{path.stem}-{number}")
        write_file(place, one.svg)
        say([f"Wrote {place}: {one.text}."])
    return ExitCode.AS_EXPECTED
