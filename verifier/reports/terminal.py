"""The terminal report: one line for each property, then each finding, drawn."""

from collections.abc import Iterator

from verifier.reports.failures import failure_lines
from verifier.reports.histories import history_lines
from verifier.reports.ink import Ink
from verifier.reports.lines import (
    cause_lines,
    drawing,
    indented,
    paragraph,
    place,
    remedy_lines,
)
from verifier.reports.scenes import situation_scene
from verifier.reports.words import (
    PROMISES_LEAD,
    assumptions_of,
    by_property,
    covered_words,
    follows_words,
    kind_words,
    mend_words,
    outcome,
    promises_to_make,
    routes_words,
    second_words,
    sentence,
    set_aside,
    share_words,
    situation_words,
    status_of,
    summary_words,
    title_of,
    told_findings,
    undecided_words,
    unfinished_words,
)
from verifier.verdicts.grade import Grade
from verifier.verdicts.grade_words import NO_SIGNAL_CLEARS, headline, kept_out_words
from verifier.verdicts.report import Finding, Report, Verdict

SHOWN_FINDINGS = 5


def report_lines(
    report: Report,
    ink: Ink,
    *,
    everything: bool = False,
    lessons: bool = False,
    pairs: bool = False,
    required: Grade | None = None,
) -> Iterator[str]:
    """The whole report of one file. ``lessons``: draw findings that the file expects too;
    ``everything``: draw all findings, however many; ``pairs``: every two faults were
    considered; ``required``: the grade asked for."""
    yield from head_lines(report, ink, required)
    yield from _property_table(report, ink)
    yield from failure_lines(report, ink, everything=everything, pairs=pairs)
    yield from _findings(report, ink, everything, lessons or everything)
    yield from _set_aside(report, ink)
    yield from assumed_lines(report, ink)
    for text in kept_out_words(report):
        yield from paragraph(f"{text[0].upper()}{text[1:]}.", ink)
    for unmet in report.unmet:
        yield ink.paint("NOT AS EXPECTED: ", "bad") + f"{unmet.text} ({unmet.span.where})"
    if report.second is not None:
        yield from paragraph(second_words(report.second), ink)
    yield _summary(report, ink)
    if made := promises_to_make(report):
        yield f"{PROMISES_LEAD} (`clearproof why` shows why):"
        yield from (f"   {promise}" for promise in made)
    if any(verdict.fails for verdict in report.verdicts):
        yield mend_words(report.plan.source.name)


def head_lines(report: Report, ink: Ink, required: Grade | None = None) -> Iterator[str]:
    """The title, and the grade with what it is short of. That no signal ever clears comes before
    all else."""
    yield ink.paint(report.plan.title, "strong") + ink.paint(
        f"   {report.plan.source.name}", "quiet"
    )
    if report.nothing_clears:
        yield from (ink.paint(line, "bad") for line in paragraph(NO_SIGNAL_CLEARS, ink))
    said = f"{headline(report, required)}."
    for line in paragraph(said[0].upper() + said[1:], ink):
        yield ink.paint(line, outcome(report))


def _summary(report: Report, ink: Ink) -> str:
    text, over = summary_words(report)
    return ink.paint(f"{report.grade.value}: {text}", outcome(report)) + over


# ------------------------------------------------------------------ one line a property


def _property_table(report: Report, ink: Ink) -> Iterator[str]:
    groups = by_property(report.verdicts)
    if not groups:
        yield "  Nothing to prove in this file."
        return
    wide = min(28, max(map(len, groups)))
    heading = f"  {'property':<{wide}}  {'verdict':<9}  {'checks':>9}  what is proved"
    yield ink.paint(heading, "quiet")
    for name, verdicts in groups.items():
        word, style = status_of(verdicts)
        label = name if len(name) <= wide else name[: wide - 1] + "…"
        line = f"  {label:<{wide}}  {ink.paint(f'{word:<9}', style)}  {share_words(verdicts):>9}"
        yield f"{line}  {ink.paint(title_of(name), 'quiet')}"


# ------------------------------------------------------------------ findings


def _findings(report: Report, ink: Ink, everything: bool, lessons: bool) -> Iterator[str]:
    wanted = told_findings(report, lessons=lessons, everything=everything)
    shown = wanted if everything else wanted[:SHOWN_FINDINGS]
    marks: set[str] = set()
    for number, verdict in enumerate(shown, start=1):
        if number > 1 or not report.failures:
            yield ""
        yield from finding_lines(number, verdict, report, ink, marks)
    if marks:
        from verifier.drawing.terminal.charset import legend

        yield ""
        yield from _quiet(f"In the drawings: {legend(ink.ascii_only, marks)}", ink)
    if len(shown) < len(wanted):
        yield ""
        yield f"  … and {len(wanted) - len(shown)} further; `--all` shows them all."
    if wanted:
        yield ""


def finding_lines(
    number: int, verdict: Verdict, report: Report, ink: Ink, marks: set[str]
) -> Iterator[str]:
    """One finding: sentence, drawing, situation, causes, mending. The marks that the drawing
    uses are added to ``marks``."""
    obligation = verdict.obligation
    kind, style = kind_words(verdict)
    yield (
        f"{number}. {ink.paint(kind, style)} {ink.paint(obligation.property, 'strong')}: "
        f"{', '.join(obligation.subjects)}"
    )
    if verdict.status == "undecided":
        yield from paragraph(undecided_words(verdict), ink)
        return
    yield from paragraph(sentence(obligation.trouble), ink)
    if others := follows_words(report, verdict):
        yield from paragraph(others, ink)
    if routes := routes_words(obligation):
        yield from paragraph(routes, ink)
    if verdict.finding is not None and verdict.finding.story is not None:
        yield from history_lines(verdict, verdict.finding, report.plan, ink, marks)
        return
    for span in () if verdict.finding and obligation.signals else obligation.spans[:2]:
        yield f"   {place(span)}"
    if verdict.finding is not None and (obligation.signals or verdict.finding.relevant):
        yield from _situation(verdict, verdict.finding, report, ink, marks)
    yield from remedy_lines(verdict, ink)


def _situation(
    verdict: Verdict, finding: Finding, report: Report, ink: Ink, marks: set[str]
) -> Iterator[str]:
    plan = report.plan
    yield ""
    scene = situation_scene(finding, verdict.obligation, plan)
    drawn = drawing(plan, scene.seen, ink, scene.around, scene.telling)
    marks |= drawn.used
    yield from indented(drawn)
    yield ""
    words = situation_words(plan, finding.situation, finding.relevant)
    yield from paragraph(f"Situation: {words}. {covered_words(finding, report)}", ink)
    if unfinished := unfinished_words(finding):
        yield from paragraph(unfinished, ink)
    if finding.causes:
        yield "   Why:"
    for cause in finding.causes:
        yield from cause_lines(cause, "     ", ink)


def _quiet(text: str, ink: Ink) -> Iterator[str]:
    return (ink.paint(line, "quiet") for line in paragraph(text, ink))


# ------------------------------------------------------------------ what it rests on


def _set_aside(report: Report, ink: Ink) -> Iterator[str]:
    waived = list(set_aside(report))
    if waived:
        yield "Waived:"
    for text in waived:
        yield from paragraph(text, ink)


def assumed_lines(report: Report, ink: Ink) -> Iterator[str]:
    """What the verdicts assume."""
    yield "Assumptions:"
    for text, span in assumptions_of(report):
        yield from paragraph(f"{text} ({place(span)})" if span else text, ink)
