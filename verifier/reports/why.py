"""`clearproof why`: what one verdict rests on.

In: a report and verdicts of it. Out: for what is proved over time, the facts that last, as
sentences; for what can come about, how; for what is broken, the finding; then all that is taken
for granted.
"""

from collections.abc import Iterator, Sequence
from textwrap import wrap

from verifier.findings.lasting import sentences
from verifier.findings.verdicts import Lasting, Report, Verdict
from verifier.plan.model import Plan
from verifier.reports.histories import event_lines
from verifier.reports.ink import Ink
from verifier.reports.lines import paragraph
from verifier.reports.terminal import assumed_lines, finding_lines
from verifier.reports.words import STATUS_WORDS, count, situation_words

# More facts than this tell nobody anything: they are counted.
SHOWN_SENTENCES = 40


def why_lines(
    report: Report, verdicts: Sequence[Verdict], ink: Ink, *, everything: bool = False
) -> Iterator[str]:
    """Why these verdicts are what they are. ``everything``: however many facts there are."""
    yield ink.paint(report.plan.title, "strong") + ink.paint(
        f"   {report.plan.source.name}", "quiet"
    )
    marks: set[str] = set()
    for number, verdict in enumerate(verdicts, start=1):
        yield ""
        if verdict.status in ("broken", "undecided"):
            yield from finding_lines(number, verdict, report, ink, marks)
            if verdict.lasting is not None:
                yield from _lasting(verdict.lasting, report.plan, ink, everything)
            yield from _uses(verdict, ink)
            continue
        style = "good" if verdict.status == "proved" else "unsure"
        obligation = verdict.obligation
        yield (
            f"{number}. {ink.paint(STATUS_WORDS[verdict.status], style)} "
            f"{ink.paint(obligation.property, 'strong')}: {', '.join(obligation.subjects)}"
        )
        yield from _reason(verdict, report, ink, everything)
    yield ""
    yield from assumed_lines(report, ink)


def _reason(verdict: Verdict, report: Report, ink: Ink, everything: bool) -> Iterator[str]:
    if verdict.status == "waived":
        yield from paragraph(f"The file sets it aside: {verdict.why}", ink)
        return
    if verdict.obligation.mode == "never":
        yield from paragraph(f"It never happens that {verdict.obligation.trouble}.", ink)
    if verdict.lasting is not None:
        yield from _lasting(verdict.lasting, report.plan, ink, everything)
    elif verdict.story is not None:
        yield "   It can come about, replayed step by step:"
        yield from event_lines(verdict.story, report.plan, ink)
    elif verdict.witness is not None:
        facts = situation_words(report.plan, verdict.witness, verdict.witness.facts)
        yield from paragraph(f"It is so in this situation, replayed: {facts}.", ink)
    elif verdict.covered:
        yield from paragraph(
            f"No single situation breaks it: all {count(verdict.covered)} of this plan were "
            "covered, whatever came before.", ink,
        )  # fmt: skip
    yield from _uses(verdict, ink)


def _uses(verdict: Verdict, ink: Ink) -> Iterator[str]:
    for title in verdict.rests_on:
        yield from paragraph(f'It uses the assumption "{title}".', ink)


def _lasting(lasting: Lasting, plan: Plan, ink: Ink, everything: bool) -> Iterator[str]:
    said = sentences(plan, lasting.clauses)
    if not said:
        yield from paragraph(
            "Nothing needs to be remembered for that: no single moment leaves room for it."
            if lasting.steps == 1
            else f"Nothing but {lasting.steps} moments in a row needs to be looked at.", ink,
        )  # fmt: skip
        return
    yield from paragraph(
        "It rests on this, which is so at the start and, taken together, from each moment to the "
        "next:", ink,
    )  # fmt: skip
    shown = said if everything else said[:SHOWN_SENTENCES]
    for sentence in shown:
        yield from wrap(
            f"- {sentence}", width=ink.width, initial_indent="     ", subsequent_indent="       ",
            break_long_words=False, break_on_hyphens=False,
        )  # fmt: skip
    if len(shown) < len(said):
        yield f"     … and {len(said) - len(shown)} further; `--all` shows them all."
    if lasting.steps > 1:
        yield from paragraph(
            f"With that, {lasting.steps - 1} moments free of it are never followed by one that is "
            f"not, and the first {lasting.steps - 1} moments of every history are free of it.", ink,
        )  # fmt: skip
