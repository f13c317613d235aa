"""The command that writes what follows from the track: signals, rules, panel and locks."""

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from verifier.commands.console import (
    Command,
    say,
    say_aside,
    tell_aside,
    within_option,
    working,
)
from verifier.language.listing import several
from verifier.verdicts.exit_codes import ExitCode

if TYPE_CHECKING:
    from verifier.verdicts.report import Report

# So much of what stands in the way of a draft is told.
_SHOWN = 10


def add(command: Command) -> None:
    draft = command("draft", _draft, "write signals, rules, panel and locks from the track, proved")
    draft.add_argument("file", metavar="FILE", help="a junction file, of track alone if you like")
    draft.add_argument("-o", "--output", metavar="OUT", help="a new file; default: print")
    draft.add_argument(
        "--aspects", choices=("two", "three", "four", "route", "speed"),
        default="three",
        help="two: proceed or stop; three: also whether the next signal is at stop "
        "(default); four: also whether the one behind it is; route: also whether it leads over a "
        "diverging route; speed: medium speed there, told one signal ahead",
    )  # fmt: skip
    draft.add_argument(
        "--panel", choices=("dispatcher", "buttons", "levers", "automatic"),
        default="dispatcher",
        help="what clears signals. dispatcher: a lever for each way through a place (default); "
        "buttons: one at each signal and one where its route ends, which throw the switches, too; "
        "levers: a frame, whose levers lock each other; "
        "automatic: track and trains alone, with switches thrown by hand",
    )  # fmt: skip
    draft.add_argument(
        "--switches", choices=("lever", "hand"),
        help="lever: locked machines (default with a panel); hand: thrown by hand, kept safe by "
        "crew promises",
    )  # fmt: skip
    draft.add_argument(
        "--single-track", choices=("signals", "lever", "traffic", "apb"), default="signals",
        help="what keeps opposing trains apart. signals: each checks the levers of those at the "
        "other end (default); lever: one lever for both ways; traffic: a direction of traffic, "
        "locked while a train or a signal uses it; apb (absolute permissive block): that, with "
        "signals on the way, so that trains may follow each other",
    )  # fmt: skip
    draft.add_argument(
        "--release", choices=("sectional", "route", "time"), default="sectional",
        help="when locked switches are free again. sectional: each as soon as the train is past it "
        "(default); route: all of a route when the train is past the last one; time: the same, and "
        "not before any train that could no longer stop would have come",
    )  # fmt: skip
    draft.add_argument(
        "--wiring", action="store_true",
        help="write the wiring, too: feeders, detectors, contacts, machines, boards, supplies",
    )  # fmt: skip
    within_option(draft, "writing and proving it")


def _contradictions(options: argparse.Namespace) -> Iterator[str]:
    """Which two options do not go together, and what to do."""
    from verifier.drafting.wanted import Wanted

    if options.panel == "automatic" and options.switches == "lever":
        yield (
            "--panel automatic and --switches lever contradict each other: without a panel there "
            "is no lever to throw a switch. Leave out one of them."
        )
    yield from Wanted(
        by_hand=options.switches == "hand",
        panel=options.panel,
        single_track=options.single_track,
        release=options.release,
    ).contradictions


def _draft(options: argparse.Namespace) -> int:
    from verifier.api import draft_file
    from verifier.drafting.wanted import ASPECTS
    from verifier.language.writing import UnwritableError, check_target, write_file
    from verifier.verdicts.grade import Grade

    if contradictions := [*_contradictions(options)]:
        say_aside(contradictions)
        return ExitCode.BAD_INPUT
    if options.output is not None:
        path = Path(options.output)
        if path.exists():
            raise UnwritableError(f"{path} exists already; nothing was written. Give another name.")
        check_target(path)
    with working(options.file) as progress:
        text, report = draft_file(
            options.file,
            ASPECTS[options.aspects],
            by_hand=options.switches == "hand",
            panel=options.panel,
            single_track=options.single_track,
            release=options.release,
            wiring=options.wiring,
            within=options.within,
            progress=progress,
        )
    if report.grade is not Grade.OPERATION:
        say_aside(_in_the_way(options.file, report, options.within))
        return report.exit_code or ExitCode.UNDECIDED
    if options.output is None:
        say(text.splitlines())
        tell_aside(_summary(report))
    else:
        write_file(path, text, new=True)
        say([f"Wrote {path}. {_summary(report)}"])
    return ExitCode.AS_EXPECTED


def _summary(report: "Report") -> str:
    plan = report.plan
    proved = sum(verdict.status == "proved" for verdict in report.verdicts)
    return (
        f"Drafted and proved in operation: {several(len(plan.signals), 'signal')}, "
        f"{several(len(plan.routes), 'route')}, "
        f"{several(proved, 'check')} proved. Read it before you build."
    )


def _in_the_way(file: str, report: "Report", within: float | None) -> Iterator[str]:
    """Why a draft is not shown."""
    from verifier.verdicts.grade import ShortfallKind
    from verifier.verdicts.grade_words import NO_TRAINS

    yield f"No draft of {file}: what was written for it is not proved, so it is not shown."
    bad = [v for v in report.verdicts if v.status != "proved" and not v.obligation.advice]
    for verdict in bad[:_SHOWN]:
        why = verdict.obligation.trouble if verdict.status == "broken" else verdict.why
        yield f"  {verdict.obligation.key}: {why}"
    if len(bad) > _SHOWN:
        yield f"  ... and {len(bad) - _SHOWN} more."
    if any(shortfall.kind is ShortfallKind.NO_TRAINS for shortfall in report.shortfalls):
        yield f"  {NO_TRAINS}"
    if within and bad and all(verdict.status == "undecided" for verdict in bad):
        yield "Nothing was found to be wrong, but time ran out."
        yield f"Give it more than {within:g} s, or leave out --within."
    else:
        yield "Look at the track there; or write that part yourself, and draft the rest."
