"""Parts that terminal reports are made of: drawings, paragraphs, chains of causes, remedies."""

from collections.abc import Collection, Iterator, Sequence
from textwrap import wrap
from typing import TYPE_CHECKING

from verifier.language.source import Span
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.reference.evaluator import Seen
from verifier.reports.ink import Ink
from verifier.reports.remedies import remedies
from verifier.verdicts.causes import Cause
from verifier.verdicts.report import Verdict

if TYPE_CHECKING:
    from verifier.drawing.terminal.picture import TextPicture


def drawing(
    plan: Plan,
    seen: Seen,
    ink: Ink,
    focus: Sequence[str] = (),
    relevant: Collection[Observable] | None = None,
) -> "TextPicture":
    """The track as it is seen, to be indented."""
    from verifier.drawing.terminal.picture import picture

    return picture(
        plan,
        seen,
        focus=focus,
        ascii_only=ink.ascii_only,
        relevant=relevant,
        width=ink.width - 3,
    )


def indented(drawn: "TextPicture") -> Iterator[str]:
    return (f"   {line}".rstrip() for line in drawn.lines)


def cause_lines(cause: Cause, indent: str, ink: Ink, above: Span | None = None) -> Iterator[str]:
    """A chain of causes, each with its place unless that is on the line of the one
    ``above``."""
    where = ""
    if cause.span and not (above and above.where == cause.span.where):
        where = f"   {place(cause.span)}"
        where += f": `{cause.span.first_line}`" if cause.because else ""
    yield f"{indent}{cause.text}{ink.paint(where, 'quiet')}"
    for inner in cause.because:
        yield from cause_lines(inner, indent + "  ", ink, cause.span or above)


def place(span: Span) -> str:
    return span.where


def paragraph(text: str, ink: Ink) -> Iterator[str]:
    yield from wrap(
        text,
        width=ink.width,
        initial_indent="   ",
        subsequent_indent="   ",
        break_long_words=False,
        break_on_hyphens=False,
    )


def remedy_lines(verdict: Verdict, ink: Ink) -> Iterator[str]:
    """What mends it, each step with its place."""
    for remedy in remedies(verdict):
        yield from paragraph(remedy.lead, ink)
        for step in remedy.steps:
            yield from wrap(
                f"{step.text}, {place(step.span)}",
                width=ink.width,
                initial_indent="     ",
                subsequent_indent="       ",
                break_long_words=False,
                break_on_hyphens=False,
            )
