"""The command that draws a plan, or its wiring, as SVG."""

import argparse
import sys
from pathlib import Path

from verifier.commands.console import (
    Command,
    say,
    showable,
    tell_aside,
)
from verifier.language.listing import several
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
    draw.add_argument(
        "--wiring", action="store_true",
        help="draw the wiring: the power plan and a page for each control point; -o FILE.html "
        "makes a document to print, each page on a sheet of its own",
    )  # fmt: skip
    draw.add_argument(
        "--place", metavar="NAME",
        help="wiring: only the pages with this signal, turnout, block, board …",
    )  # fmt: skip
    draw.add_argument("--power", action="store_true", help="wiring: only the power plan")
    draw.add_argument(
        "--wire-colors", "--wire-colours", metavar="COLORS-OR-FILE",
        help="wiring: the colors of wire you have, as for the wiring list",
    )  # fmt: skip


def _width(text: str) -> int:
    if not text.isascii() or not text.isdigit() or int(text) < _NARROWEST:
        raise argparse.ArgumentTypeError(f"`{text}` is not a width of {_NARROWEST} pixels or more")
    return int(text)


def _draw(options: argparse.Namespace) -> int:
    from verifier.api import load, situation_of
    from verifier.drawing.overlay import Overlay
    from verifier.drawing.svg.picture import pages, picture
    from verifier.language.writing import check_target, write_files
    from verifier.reference.evaluator import evaluate

    unfit = _misplaced(options)
    if unfit:
        tell_aside(unfit)
        return ExitCode.BAD_INPUT
    if options.wiring:
        return _draw_wiring(options)
    plan = load(options.file)
    facts = ", ".join(options.situation)
    seen = evaluate(plan, situation_of(plan, facts)) if facts else None
    overlay = Overlay(options.gaps, options.feeders, options.detectors)
    if options.strips is None:
        made = [picture(plan, seen, overlay=overlay)]
    elif options.output is None:
        tell_aside("Strips are written to files: add -o FILE.svg.")
        return ExitCode.BAD_INPUT
    else:
        made = [*pages(plan, seen, width=options.strips, overlay=overlay)]
    if options.output is None:
        print(showable(made[0].svg, sys.stdout), end="")
        return ExitCode.AS_EXPECTED
    path = Path(options.output)
    check_target(path)
    places = [path.with_stem(f"{path.stem}-{i}") for i in range(1, len(made) + 1)]
    if len(made) == 1:
        places = [path]
    write_files((place, one.svg) for place, one in zip(places, made, strict=True))
    say(f"Wrote {place}: {one.text}." for place, one in zip(places, made, strict=True))
    return ExitCode.AS_EXPECTED


def _misplaced(options: argparse.Namespace) -> str:
    """The message for options that do not go together; else empty."""
    if not options.wiring:
        given = (options.place, options.power, options.wire_colors)
        names = ("--place", "--power", "--wire-colors")
        for name, value in zip(names, given, strict=True):
            if value:
                return f"{name} is for the wiring diagram: add --wiring."
        return ""
    if options.situation or options.strips or options.gaps:
        return "The wiring diagram shows no situation: leave out facts, --strips and --gaps."
    if options.feeders or options.detectors:
        return "The wiring diagram has all feeders and detectors: leave --feeders, --detectors out."
    if options.power and options.place:
        return "--power and --place choose different pages: leave one of them out."
    return ""


def _draw_wiring(options: argparse.Namespace) -> int:
    from verifier.api import load, unknown_word
    from verifier.commands.sheet_options import listed_colors
    from verifier.drawing.wiring.picture import below_each_other, printable, wiring_pages
    from verifier.language.writing import write_file

    plan = load(options.file)
    pages = wiring_pages(plan, listed_colors(options.wire_colors))
    if not pages:
        tell_aside(
            f"{options.file} says nothing of its wiring: see grammar/reference.md, `Wiring`."
        )
        return ExitCode.BAD_INPUT
    if options.power:
        pages = tuple(page for page in pages if page.is_power)
    if options.place:
        known = sorted({name for page in pages for name in page.names})
        pages = tuple(p for p in pages if options.place in p.names and not p.is_power)
        if not pages:
            raise unknown_word(
                options.place, known, "place of the wiring", "`clearproof draw FILE --wiring`"
            )
    whole = options.output is not None and Path(options.output).suffix.lower() in (".html", ".htm")
    text = printable(pages, plan.title) if whole else below_each_other(pages)
    if options.output is None:
        print(showable(text, sys.stdout), end="")
        return ExitCode.AS_EXPECTED
    write_file(Path(options.output), text)
    titles = "; ".join(page.title for page in pages)
    say([f"Wrote {options.output}: {several(len(pages), 'page')}: {titles}."])
    return ExitCode.AS_EXPECTED
