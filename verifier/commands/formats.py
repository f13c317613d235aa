"""In which formats ``prove`` reports, and where to: options, repairs and drawings for reports that
other programs read."""

import argparse
import json
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from verifier.commands.console import (
    OnlyOne,
    showable,
    tell_aside,
)
from verifier.verdicts.exit_codes import ExitCode

if TYPE_CHECKING:
    from verifier.reports.formats.cases import Edit, FileResult
    from verifier.verdicts.report import Report

# What a terminal shows, and the formats of reports for other programs.
TEXT = "text"
FORMATS = ("json", "sarif", "junit", "tap", "github", "gitlab", "markdown")


def _renderer(kind: str) -> "Callable[[Sequence[FileResult], ExitCode], str]":
    """What makes a report of the results of all files and the exit code."""
    from verifier.reports.formats import forges
    from verifier.reports.formats.junit import junit
    from verifier.reports.formats.markdown import markdown
    from verifier.reports.formats.sarif import sarif
    from verifier.reports.formats.tap import tap

    return {
        "json": _as_json, "sarif": sarif, "junit": junit, "tap": tap, "github": forges.github,
        "gitlab": forges.gitlab, "markdown": markdown,
    }[kind]  # fmt: skip


def _as_json(results: "Sequence[FileResult]", code: ExitCode) -> str:
    """The JSON report of one run."""
    from verifier.reports import machine

    return json.dumps(machine.document([r.document for r in results], code), indent=2) + "\n"


class _Format(argparse.Action):
    """``--output-format``: one more output."""

    def __call__(self, parser: Any, options: Any, value: Any, name: Any = None) -> None:
        options.outputs = [*options.outputs, (value, None)]


class _File(argparse.Action):
    """``-o``: the file for the output named before it."""

    def __call__(self, parser: Any, options: Any, value: Any, name: Any = None) -> None:
        if not options.outputs or options.outputs[-1][1] is not None:
            parser.error(f"write `--output-format FORMAT` before `{name} {value}`")
        options.outputs = [*options.outputs[:-1], (options.outputs[-1][0], value)]


def format_options(parser: argparse.ArgumentParser) -> None:
    """Add the options that choose formats, files and a baseline."""
    parser.set_defaults(outputs=[])
    parser.add_argument(
        "--output-format", action=_Format, choices=(TEXT, *FORMATS), dest="outputs",
        help="report for another program; may be given several times",
    )  # fmt: skip
    parser.add_argument(
        "-o", "--output-file", action=_File, metavar="FILE", dest="outputs",
        help="write the report in the format named before it into this file",
    )  # fmt: skip
    parser.add_argument("--json", action="store_true", help="the same as --output-format json")
    parser.add_argument(
        "--baseline", type=_baseline, default=frozenset(), metavar="FILE.json",
        help="an earlier JSON report: only what it does not say is broken fails",
    )  # fmt: skip


# Bytes of a report that is taken for a baseline.
MOST_IN_BASELINE = 500_000_000


def _baseline(name: str) -> frozenset[str]:
    """The findings that an earlier report knows. Raises ArgumentTypeError."""
    from verifier.language.files import UnreadableError, text_of
    from verifier.verdicts.baseline import known_in

    try:
        return known_in(json.loads(text_of(Path(name), MOST_IN_BASELINE)))
    except UnreadableError as error:
        raise argparse.ArgumentTypeError(error.about(name)) from None
    except (ValueError, RecursionError):
        raise argparse.ArgumentTypeError(
            f"{name} is not a report that `clearproof prove --json` wrote"
        ) from None


class Outputs:
    """Where to report in which format. ``console``: the format on standard output."""

    def __init__(self, options: argparse.Namespace):
        from verifier.language.writing import check_target

        wanted = [*options.outputs, *[("json", None)] * options.json]
        shown = list(dict.fromkeys(kind for kind, file in wanted if file is None))
        if len(shown) > 1:
            raise OnlyOne(f"{' and '.join(shown)} on standard output: give all but one a file (-o)")
        self.console = shown[0] if shown else TEXT
        self.files = tuple((kind, Path(file)) for kind, file in wanted if file is not None)
        report = [Path(options.report)] if options.report else []
        targets = [check_target(path) for path in (*(path for _, path in self.files), *report)]
        if len(set(targets)) < len(targets):
            raise OnlyOne("two reports into one file")

    @property
    def shows_text(self) -> bool:
        """Whether a terminal alone shows the text: in a file, color would be no help."""
        return self.console == TEXT and TEXT not in (kind for kind, _ in self.files)

    @property
    def kinds(self) -> frozenset[str]:
        return frozenset((self.console, *(kind for kind, _ in self.files)))

    def finish(self, results: "Sequence[FileResult]", code: ExitCode, text: Sequence[str]) -> None:
        """Write all reports; ``text``: the lines for a file of plain text."""
        from verifier.language.writing import write_files

        told = "".join(f"{line}\n" for line in text)
        written = write_files(
            (path, told if kind == TEXT else _renderer(kind)(results, code))
            for kind, path in self.files
        )
        for path in written:
            tell_aside(f"Report written: {path}")
        if self.console != TEXT:
            print(showable(_renderer(self.console)(results, code), sys.stdout), end="")


def repairs_of(report: "Report") -> "Mapping[int, tuple[Edit, ...]]":
    """For each verdict by number, the proved repairs that can be written into the file itself."""
    from verifier.reports.formats.cases import Edit
    from verifier.workbench.quick_fixes import rule_fix, wiring_fix

    plan = report.plan
    path = Path(plan.source.name)
    found: dict[int, tuple[Edit, ...]] = {}
    for number, verdict in enumerate(report.verdicts):
        finding = verdict.finding
        if finding is None:
            continue
        fixes = (rule_fix(plan, finding.mending, path), wiring_fix(plan, finding.rewiring, path))
        found[number] = tuple(
            Edit(
                fix.label, plan.source.position(fix.start), plan.source.position(fix.end), fix.text
            )
            for fix in fixes
            if fix is not None
        )
    return {number: edits for number, edits in found.items() if edits}


def drawings_of(report: "Report") -> Mapping[int, str]:
    """For each verdict that fails, by number, the drawing of its situation or last moment."""
    from verifier.reports.histories import last_picture
    from verifier.reports.ink import Ink
    from verifier.reports.lines import drawing
    from verifier.reports.scenes import situation_scene

    ink, plan = Ink(), report.plan
    found: dict[int, str] = {}
    for number, verdict in enumerate(report.verdicts):
        finding = verdict.finding
        if finding is None or not verdict.fails:
            continue
        if finding.story is not None:
            drawn = last_picture(finding.story, verdict.obligation, plan, ink)
        elif verdict.obligation.signals or finding.relevant:
            scene = situation_scene(finding, verdict.obligation, plan)
            drawn = drawing(plan, scene.seen, ink, scene.around, scene.telling)
        else:
            continue
        found[number] = "\n".join(line.rstrip() for line in drawn.lines)
    return found
