"""Findings in the report: a sentence, pictures, the chain of causes, what mends it.

In: verdicts. Out: markup. The words are those of the terminal (:mod:`verifier.reports.words`).
"""

from collections.abc import Iterator

from verifier.reports.page.markup import Html, coded, joined, tag
from verifier.reports.page.paper import Paper, Part
from verifier.reports.page.pictures import (
    Numbers,
    figure,
    history_pictures,
    situation_picture,
)
from verifier.reports.remedies import remedies
from verifier.reports.words import (
    covered_words,
    follows_words,
    kind_words,
    routes_words,
    sentence,
    situation_words,
    story_words,
    told_findings,
    undecided_words,
    unfinished_words,
)
from verifier.verdicts.causes import Cause
from verifier.verdicts.report import Finding, History, Verdict

# Findings beyond these are told without a drawing, unless everything is asked for.
DRAWN = 40


def findings(paper: Paper) -> Part | None:
    """What is broken, then what the file expects to be, then what is undecided."""
    told = told_findings(paper.report, lessons=True, everything=paper.everything)
    if not told:
        return None
    drawn = len(told) if paper.everything else DRAWN
    parts = [
        finding(paper, number, verdict, drawn=number <= drawn)
        for number, verdict in enumerate(told, start=1)
    ]
    note = f"The first {drawn} are drawn; with `--all` all of them are."
    return paper.section(
        "findings",
        "What was found",
        tag("p", coded(note), class_="quiet") if len(told) > drawn else None,
        *parts,
    )


def finding(paper: Paper, number: int, verdict: Verdict, *, drawn: bool) -> Html:
    obligation = verdict.obligation
    kind, style = kind_words(verdict)
    subjects = ", ".join(obligation.subjects)
    return tag(
        "article",
        paper.heading(
            joined(
                [
                    f"{number}. ",
                    tag("span", kind, class_=f"stamp {style}"),
                    f" {obligation.property}: {subjects}",
                ]
            ),
            below=1,
        ),
        *_body(paper, number, verdict, drawn),
        id=paper.id("finding", number),
        class_=f"finding is-{style}",
        data_words=f"{obligation.property} {subjects}",
    )


def _body(paper: Paper, number: int, verdict: Verdict, drawn: bool) -> Iterator[Html | None]:
    obligation, found = verdict.obligation, verdict.finding
    if verdict.status == "undecided":
        yield tag("p", undecided_words(verdict))
        return
    yield tag("p", sentence(obligation.trouble), class_="trouble")
    if others := follows_words(paper.report, verdict):
        yield tag("p", others)
    if routes := routes_words(obligation):
        yield tag("p", routes)
    how = _how(paper, number, verdict, drawn)
    if obligation.advice and found is not None:
        # On a wall a note is its sentence; the rest is printed once it is opened.
        yield tag("details", tag("summary", "How it comes about"), *how, class_="of-note")
    else:
        yield from how


def _how(paper: Paper, number: int, verdict: Verdict, drawn: bool) -> Iterator[Html | None]:
    """The history or the situation, and what would mend it."""
    found = verdict.finding
    if found is not None and found.story is not None:
        yield from _history(paper, number, verdict, found, found.story, drawn)
    else:
        yield from _situation(paper, number, verdict, drawn)
    for remedy in remedies(verdict):
        yield tag("p", coded(remedy.lead), class_="remedy")
        if remedy.steps:
            yield tag(
                "ul",
                *(tag("li", coded(step.text), ", ", paper.place(step.span))
                  for step in remedy.steps),
                class_="remedy",
            )  # fmt: skip


def _situation(paper: Paper, number: int, verdict: Verdict, drawn: bool) -> Iterator[Html | None]:
    obligation, found, plan = verdict.obligation, verdict.finding, paper.plan
    if not (found and obligation.signals) and obligation.spans:
        spans = obligation.spans[:2]
        yield tag("p", joined(part for span in spans for part in (paper.place(span), " ")))
    if found is None or not (obligation.signals or found.relevant):
        return
    numbers = Numbers(plan, found.causes)
    words = situation_words(plan, found.situation, found.relevant)
    caption = f"{words}. {covered_words(found, paper.report)}"
    if drawn:
        made = situation_picture(found, obligation, plan, numbers, paper.id("d", number, ""))
        yield figure(made, tag("b", "Situation: "), caption)
    else:
        yield tag("p", tag("b", "Situation: "), caption)
    if unfinished := unfinished_words(found):
        yield tag("p", unfinished, class_="quiet")
    yield from causes(paper, found, "Why", numbers)


def _history(
    paper: Paper, number: int, verdict: Verdict, found: Finding, story: History, drawn: bool
) -> Iterator[Html | None]:
    yield tag("p", story_words(story) + ":")
    yield tag(
        "ol",
        *(
            tag(
                "li",
                coded(event.text),
                *((" ", paper.place(event.span)) if event.span else ()),
                data_moment=event.moment,
            )
            for event in story.events
        ),
        class_="events",
    )
    if drawn:
        yield tag("div", *_frames(paper, number, verdict, story), class_="strip")
    if unfinished := unfinished_words(found):
        yield tag("p", unfinished, class_="quiet")
    yield from causes(paper, found, "Why it was allowed", None)


def _frames(paper: Paper, number: int, verdict: Verdict, story: History) -> Iterator[Html]:
    """One drawing for each moment at which something happens, below it what."""
    prefix = paper.id("d", number, "")
    for frame in history_pictures(story, verdict.obligation, paper.plan, prefix):
        events = [tag("li", coded(event.text), value=n) for n, event in frame.events.items()]
        yield figure(
            frame.picture,
            tag("ol", *events) if events else "how it begins",
            class_="frame",
            data_moment=str(frame.moment),
        )


def causes(paper: Paper, found: Finding, title: str, numbers: Numbers | None) -> Iterator[Html]:
    if found.causes:
        yield tag(
            "div",
            tag("p", tag("b", f"{title}:")),
            tag("ul", *(_cause(paper, cause, numbers) for cause in found.causes)),
            class_="causes",
        )


def _cause(paper: Paper, cause: Cause, numbers: Numbers | None) -> Html:
    number = numbers.of(cause) if numbers else None
    rule = cause.span.first_line if cause.span else ""
    return tag(
        "li",
        tag("span", str(number), class_="number") if number else None,
        coded(cause.text),
        *((" ", paper.place(cause.span)) if cause.span else ()),
        *((": ", tag("code", rule)) if cause.because and rule else ()),
        tag("ul", *(_cause(paper, inner, numbers) for inner in cause.because))
        if cause.because
        else None,
    )
