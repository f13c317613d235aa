"""The terminal report: one line for each property, then each finding, drawn."""

from collections.abc import Iterator, Sequence
from textwrap import wrap

from verifier.drawing.text import legend
from verifier.engines.order import count_situations
from verifier.findings.verdicts import Finding, Report, Verdict
from verifier.properties.catalogue import BY_NAME, FAILURES
from verifier.reports.failures import failure_lines
from verifier.reports.histories import history_lines
from verifier.reports.ink import Ink
from verifier.reports.lines import cause_lines, drawing, indented, paragraph, place
from verifier.reports.words import (
    STATUS_WORDS,
    count,
    covered_words,
    situation_words,
    tallies,
    tally_words,
)

SHOWN_FINDINGS = 5


def report_lines(
    report: Report,
    ink: Ink,
    *,
    everything: bool = False,
    lessons: bool = False,
    pairs: bool = False,
) -> Iterator[str]:
    """The whole report of one file. ``lessons``: findings that the file expects are drawn
    too; ``everything``: these and all others, however many; ``pairs``: every two faults
    were looked at."""
    yield ink.paint(report.plan.title, "strong") + ink.paint(
        f"   {report.plan.source.name}", "quiet"
    )
    yield from _property_table(report, ink)
    yield from failure_lines(report, ink, everything=everything, pairs=pairs)
    yield from _findings(report, ink, everything, lessons or everything)
    yield from _set_aside(report, ink)
    yield from assumed_lines(report, ink)
    for unmet in report.unmet:
        yield ink.paint("NOT AS EXPECTED: ", "bad") + f"{unmet.text} ({unmet.span.where})"
    yield _summary(report, ink)


def _summary(report: Report, ink: Ink) -> str:
    numbers = tallies(report.verdicts)
    style = "good"
    if numbers["broken"] or report.unmet:
        style = "bad"
    elif numbers["undecided"] or report.interrupted:
        style = "unsure"
    text = tally_words(report.verdicts)
    if report.interrupted:
        return ink.paint(f"{text} (interrupted)", style) + "."
    covered = count(count_situations(report.plan.inputs))
    histories = " and all histories" if report.plan.locking.asked else ""
    return f"{ink.paint(text, style)}, over all {covered} situations{histories} of this plan."


# ------------------------------------------------------------------ one line a property


def _property_table(report: Report, ink: Ink) -> Iterator[str]:
    groups: dict[str, list[Verdict]] = {}
    for verdict in report.verdicts:
        groups.setdefault(verdict.obligation.property, []).append(verdict)
    if not groups:
        yield "  Nothing in this file raises the question."
        return
    wide = min(28, max(map(len, groups)))
    heading = f"  {'property':<{wide}}  {'verdict':<9}  {'asked':>9}  what is proved"
    yield ink.paint(heading, "quiet")
    for name, verdicts in groups.items():
        word, style = _status_of(verdicts)
        entry = BY_NAME.get(name)
        title = entry.title if entry else "your own property"
        label = name if len(name) <= wide else name[: wide - 1] + "…"
        line = f"  {label:<{wide}}  {ink.paint(f'{word:<9}', style)}  {_share(verdicts):>9}"
        yield f"{line}  {ink.paint(title, 'quiet')}"


def _status_of(verdicts: Sequence[Verdict]) -> tuple[str, str]:
    """The worst status of a property's verdicts, and how to paint it."""
    if any(v.fails for v in verdicts):
        return "BROKEN", "bad"
    if any(v.status == "undecided" and not v.obligation.advice for v in verdicts):
        return "undecided", "unsure"
    if any(v.status == "broken" and v.expected for v in verdicts):
        return "expected", "good"
    if any(v.status in ("broken", "undecided") for v in verdicts):
        return "advice", "unsure"
    if all(v.status == "waived" for v in verdicts):
        return "waived", "unsure"
    return "proved", "good"


def _share(verdicts: Sequence[Verdict]) -> str:
    """``3`` when all are alike, else how many are not proved: ``2 of 7``."""
    odd = sum(1 for v in verdicts if v.status != "proved")
    return f"{odd} of {len(verdicts)}" if odd and odd < len(verdicts) else str(len(verdicts))


# ------------------------------------------------------------------ findings


def _findings(report: Report, ink: Ink, everything: bool, lessons: bool) -> Iterator[str]:
    wanted = [v for v in report.verdicts if v.status == "broken" and not v.expected]
    if lessons:
        wanted += [v for v in report.verdicts if v.status == "broken" and v.expected]
    wanted += [v for v in report.verdicts if v.status == "undecided" and not report.interrupted]
    if not everything:
        # The failure table tells what is advice only.
        wanted = [v for v in wanted if not _told_in_the_table(v)]
    shown = wanted if everything else wanted[:SHOWN_FINDINGS]
    marks: set[str] = set()
    for number, verdict in enumerate(shown, start=1):
        if number > 1 or not report.failures:
            yield ""
        yield from finding_lines(number, verdict, report, ink, marks)
    if marks:
        yield ""
        yield from _quiet(f"In the drawings: {legend(ink.ascii_only, marks)}", ink)
    if len(shown) < len(wanted):
        yield ""
        yield f"  … and {len(wanted) - len(shown)} further; `--all` shows them all."
    if wanted:
        yield ""


def _told_in_the_table(verdict: Verdict) -> bool:
    return verdict.obligation.advice and verdict.obligation.property in FAILURES


def finding_lines(
    number: int, verdict: Verdict, report: Report, ink: Ink, marks: set[str]
) -> Iterator[str]:
    """One finding: sentence, drawing, situation, causes, mending. The marks that the drawing
    uses are added to ``marks``."""
    obligation = verdict.obligation
    kind = "advice" if obligation.advice else STATUS_WORDS[verdict.status]
    style = "unsure" if obligation.advice or verdict.status == "undecided" else "bad"
    if verdict.expected:
        kind, style = "as expected,", "good"
    yield (
        f"{number}. {ink.paint(kind, style)} {ink.paint(obligation.property, 'strong')}: "
        f"{', '.join(obligation.subjects)}"
    )
    if verdict.status == "undecided":
        yield from paragraph(f"Not decided: {verdict.why}.", ink)
        return
    yield from paragraph(_sentence(obligation.trouble), ink)
    if len(obligation.routes) == 2 and obligation.mode == "never":
        one, two = obligation.routes
        yield from paragraph(
            f"Routes: {one.name}, and {two.name}; they meet at {obligation.place}.", ink
        )
    if verdict.finding is not None and verdict.finding.story is not None:
        yield from history_lines(verdict, verdict.finding, report.plan, ink, marks)
        return
    for span in () if verdict.finding and obligation.signals else obligation.spans[:2]:
        yield f"   {place(span)}"
    if verdict.finding is not None and (obligation.signals or verdict.finding.relevant):
        yield from _situation(verdict, verdict.finding, report, ink, marks)
    elif verdict.finding is not None and verdict.finding.rewiring:
        yield from _rewiring(verdict.finding, ink)
    elif obligation.hint:
        yield from paragraph(f"To mend it: {_in_a_row(obligation.hint)}", ink)


def _situation(
    verdict: Verdict, finding: Finding, report: Report, ink: Ink, marks: set[str]
) -> Iterator[str]:
    plan = report.plan
    yield ""
    shown = [plan.signals[name] for name in verdict.obligation.signals]
    telling = [*finding.relevant, *(signal.aspect for signal in shown)]
    stand_at = [p.piece for s in shown for p in (s.enters, s.joint.other(s.enters))]
    around = list(dict.fromkeys([*stand_at, *verdict.obligation.pieces]))
    drawn = drawing(plan, finding.situation, ink, around, telling)
    marks |= drawn.used
    yield from indented(drawn)
    yield ""
    words = situation_words(plan, finding.situation, finding.relevant)
    yield from paragraph(f"Situation: {words}. {covered_words(finding, report)}", ink)
    if not finding.smallest:
        yield from paragraph("(Time ran out before it was made as small as can be.)", ink)
    if finding.causes:
        yield "   Why:"
    for cause in finding.causes:
        yield from cause_lines(cause, "     ", ink)
    if finding.mending:
        together = ", all of these together" if len(finding.mending) > 1 else ""
        yield (
            f"   To mend it{together} (proved: it can then not happen, and the signals keep all "
            "aspects and routes):"
        )
        for addition in finding.mending:
            yield (
                f"     add `and {addition.condition}` to `{addition.shows} when …` of "
                f"{addition.owner}, {place(addition.span)}"
            )
    elif verdict.obligation.hint and not finding.rewiring:
        yield from paragraph(f"To mend it: {_in_a_row(verdict.obligation.hint)}", ink)
    yield from _rewiring(finding, ink)
    yield from _in_modules(finding, ink)
    if verdict.obligation.property == "opposing-proceeds" and len(finding.causes) == 2:
        both = ", ".join(verdict.obligation.subjects)
        yield from paragraph(
            "Or, where a dispatcher gives trains their authority before they move, set it aside: "
            f'`waive opposing-proceeds for {both} because "…"`.',
            ink,
        )


def _in_modules(finding: Finding, ink: Ink) -> Iterator[str]:
    """What a change of a module's text comes to."""
    places = [*(a.span for a in finding.mending), *(step.span for step in finding.rewiring)]
    used = list(dict.fromkeys((u.module, u.name) for span in places for u in span.uses))
    if used:
        said = " and ".join(f"{name} of module {module}" for module, name in used)
        yield from paragraph(
            f"This was proved for the use {said} alone. The text of a module stands for all its "
            "uses: prove the file again once it is changed. Inside a module its own things go "
            "without the name of the use, and what lies outside has to be a parameter.",
            ink,
        )


def _rewiring(finding: Finding, ink: Ink) -> Iterator[str]:
    """Changes of the wiring, beside those of the rules where there are such."""
    if finding.rewiring:
        begin = "Or change" if finding.mending else "To mend it, change"
        together = ", all of these together" if len(finding.rewiring) > 1 else ""
        yield f"   {begin} the wiring{together} (proved):"
    for step in finding.rewiring:
        yield from wrap(
            f"{step.text}, {place(step.span)}",
            width=ink.width,
            initial_indent="     ",
            subsequent_indent="       ",
            break_long_words=False,
            break_on_hyphens=False,
        )


def _quiet(text: str, ink: Ink) -> Iterator[str]:
    return (ink.paint(line, "quiet") for line in paragraph(text, ink))


def _in_a_row(text: str) -> str:
    """A sentence that goes on after a colon."""
    return text[0].lower() + text[1:]


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:] + "." if text[0].islower() and " " in text else text + "."


# ------------------------------------------------------------------ what it rests on


def _set_aside(report: Report, ink: Ink) -> Iterator[str]:
    waived: dict[str, list[str]] = {}
    for verdict in report.verdicts:
        if verdict.status == "waived":
            about = f"{verdict.obligation.property} for {', '.join(verdict.obligation.subjects)}"
            about += " (proved anyway: no longer needed)" if verdict.needless else ""
            waived.setdefault(verdict.why, []).append(about)
    if waived:
        yield "Waived:"
        for reason, abouts in waived.items():
            yield from paragraph(f"{'; '.join(abouts)}: {reason}", ink)


def assumed_lines(report: Report, ink: Ink) -> Iterator[str]:
    """All that the verdicts take for granted."""
    yield "Assumed:"
    for assumption in report.plan.assumptions:
        yield from paragraph(
            f'"{assumption.title}": {assumption.text} ({assumption.span.where})', ink
        )
    for text in report.assumed:
        yield from paragraph(text, ink)
