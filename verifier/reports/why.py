"""`clearproof why`: what one verdict rests on.

In: a report and verdicts of it. Out: for what is proved over time, the facts that last, as
sentences; for what can come about, how; for what is broken, the finding; then all that is taken
for granted.
"""

from collections.abc import Iterator, Sequence
from textwrap import wrap

from verifier.explain.invariant_text import sentences
from verifier.plan.model import Plan
from verifier.reports.histories import event_lines
from verifier.reports.ink import Ink
from verifier.reports.lines import paragraph
from verifier.reports.reasons import reason_sentences, uses_sentences
from verifier.reports.terminal import assumed_lines, finding_lines, head_lines
from verifier.reports.words import STATUS_WORDS
from verifier.verdicts.report import InductiveProof, Report, Verdict

# More facts than this tell nobody anything: they are counted.
SHOWN_SENTENCES = 40


def why_lines(
    report: Report, verdicts: Sequence[Verdict], ink: Ink, *, everything: bool = False
) -> Iterator[str]:
    """Why these verdicts are what they are. ``everything``: however many facts there are."""
    yield from head_lines(report, ink)
    marks: set[str] = set()
    for number, verdict in enumerate(verdicts, start=1):
        yield ""
        if verdict.status in ("broken", "undecided"):
            yield from finding_lines(number, verdict, report, ink, marks)
            if verdict.lasting is not None:
                yield from _lasting(verdict.lasting, report.plan, ink, everything)
            yield from _uses(verdict, report.plan, ink)
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
    for text in reason_sentences(verdict, report.plan):
        yield from paragraph(text, ink)
    if verdict.status == "waived":
        return
    if verdict.lasting is not None:
        yield from _lasting(verdict.lasting, report.plan, ink, everything)
    elif verdict.story is not None:
        yield from event_lines(verdict.story, report.plan, ink)
    yield from _uses(verdict, report.plan, ink)


def _uses(verdict: Verdict, plan: Plan, ink: Ink) -> Iterator[str]:
    for text in uses_sentences(verdict, plan):
        yield from paragraph(text, ink)


def _lasting(lasting: InductiveProof, plan: Plan, ink: Ink, everything: bool) -> Iterator[str]:
    facts = sentences(plan, lasting.clauses)
    if not facts:
        yield from paragraph("The proof needs no invariant: no single moment allows it.", ink)
        return
    yield from paragraph(
        "The proof rests on these facts. They hold at the start, and together they carry over from "
        "each moment to the next:",
        ink,
    )
    shown = facts if everything else facts[:SHOWN_SENTENCES]
    for sentence in shown:
        yield from wrap(
            f"- {sentence}", width=ink.width, initial_indent="     ", subsequent_indent="       ",
            break_long_words=False, break_on_hyphens=False,
        )  # fmt: skip
    if len(shown) < len(facts):
        yield f"     … and {len(facts) - len(shown)} further; `--all` shows them all."
