"""Histories for people: one numbered line for each event, a drawing of the last moment, and why
it was allowed."""

from collections.abc import Iterator
from textwrap import wrap
from typing import TYPE_CHECKING

from verifier.plan.model import Plan
from verifier.properties.obligation import Obligation
from verifier.reports.ink import Ink
from verifier.reports.lines import cause_lines, drawing, indented, paragraph, remedy_lines
from verifier.reports.scenes import last_scene
from verifier.reports.words import story_words, unfinished_words
from verifier.verdicts.report import Finding, History, HistoryEvent, Verdict

if TYPE_CHECKING:
    from verifier.drawing.terminal.picture import TextPicture


def history_lines(
    verdict: Verdict, finding: Finding, plan: Plan, ink: Ink, marks: set[str]
) -> Iterator[str]:
    """A broken history: the events, the picture, the causes, what to do."""
    obligation, story = verdict.obligation, finding.story
    assert story is not None
    yield ""
    yield from event_lines(story, plan, ink)
    yield ""
    drawn = last_picture(story, obligation, plan, ink)
    marks |= drawn.used
    yield from indented(drawn)
    yield ""
    if unfinished := unfinished_words(finding):
        yield from paragraph(unfinished, ink)
    if finding.causes:
        yield "   Why it was allowed:"
    for cause in finding.causes:
        yield from cause_lines(cause, "     ", ink)
    yield from remedy_lines(verdict, ink)


def event_lines(story: History, plan: Plan, ink: Ink) -> Iterator[str]:
    """``  3. 4L clears to Approach``, each with its line of the file."""
    count = len(story.events)
    yield f"   {story_words(story)}:"
    wide = len(str(count))
    for number, event in enumerate(story.events, start=1):
        lead = f"   {number:>{wide + 2}}. "
        yield from _event(event, lead, plan, ink, last=number == count)


def _event(event: HistoryEvent, lead: str, plan: Plan, ink: Ink, *, last: bool) -> Iterator[str]:
    where = "" if event.span is None or last else f"   {event.span.seen_from(plan.source)}"
    first, *rest = wrap(
        event.text, width=ink.width - len(where), initial_indent=lead,
        subsequent_indent=" " * len(lead), break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip
    yield first + ("" if rest else ink.paint(where, "quiet"))
    for line in rest:
        yield line + (ink.paint(where, "quiet") if line is rest[-1] else "")


def last_picture(story: History, obligation: Obligation, plan: Plan, ink: Ink) -> "TextPicture":
    """The track at the last moment."""
    scene = last_scene(story, obligation, plan)
    return drawing(scene.plan, scene.seen, ink, scene.around, scene.telling)
