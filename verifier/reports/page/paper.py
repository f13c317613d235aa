"""Where a part of the report stands: in which file's part, how deep, and what may be linked to.

In: a report, and its number among those of one page. Out: ids that no other part has, headings
of the right depth, links from places in the user's file to the lines printed in the report.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from typing import Any

from verifier.language.source import Source, Span
from verifier.logic.expr import Expr
from verifier.plan.model import Plan, Route
from verifier.reports.page.markup import Child, Html, tag
from verifier.verdicts.report import Report


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the report, with what a table of contents needs of it."""

    id: str
    title: str
    html: Html


@dataclass(frozen=True, slots=True)
class Paper:
    """``depth`` is the level of the headings of its parts; ``prefix`` begins all its ids.
    ``pairs``: every two faults were considered; ``everything``: all findings are shown."""

    report: Report
    prefix: str
    depth: int
    sources: Mapping[str, str]
    pairs: bool = False
    everything: bool = False

    @property
    def plan(self) -> Plan:
        return self.report.plan

    def id(self, *parts: object) -> str:
        return "-".join((self.prefix, *(str(part) for part in parts)))

    def heading(self, text: Child, below: int = 0, **attributes: str) -> Html:
        """``below``: how many levels below that of the parts."""
        return tag(f"h{min(6, self.depth + below)}", text, **attributes)

    def section(self, name: str, title: str, *children: Child) -> "Part":
        """A part of the report under a heading of its own."""
        at = self.id(name)
        made = tag(
            "section",
            self.heading(title, id=f"{at}-title"),
            *children,
            id=at,
            class_=f"part {name}",
            aria_labelledby=f"{at}-title",
        )
        return Part(at, title, made)

    def place(self, span: Span) -> Html:
        """A place in a file, linked to the line where that file is printed."""
        number = self.sources.get(span.source.name)
        words = f"line {span.line}" if number == "1" else span.where
        if number is None:
            return tag("span", words, class_="place")
        return tag("a", words, href=f"#{self.line_id(number, span.line)}", class_="place")

    def line_id(self, source: str, line: int) -> str:
        return self.id(f"t{source}", line)


def paper_for(
    report: Report, number: int, depth: int, *, pairs: bool = False, everything: bool = False
) -> Paper:
    """The paper of the ``number``-th report of a page."""
    names = [source.name for source in sources(report.plan)]
    numbered = {name: str(i) for i, name in enumerate(names, start=1)}
    return Paper(report, f"f{number}", depth, numbered, pairs, everything)


def sources(plan: Plan) -> tuple[Source, ...]:
    """The file of a plan, then those it includes, each once."""
    found = {plan.source.name: plan.source}
    for span in _spans(plan):
        source = span.source
        if source.text and not source.name.startswith("("):  # not the built-in chart
            found.setdefault(source.name, source)
    return tuple(found.values())


def _spans(root: Any) -> Iterator[Span]:
    """Every place that some part of the plan was written at."""
    waiting, seen = [root], set[int]()
    while waiting:
        part = waiting.pop()
        if isinstance(part, Span):
            yield part
            if part.source.used is not None:
                waiting.append(part.source.used.span)
            continue
        if isinstance(part, str | int | Expr | Route) or id(part) in seen:
            continue
        seen.add(id(part))
        if isinstance(part, Mapping):
            waiting.extend(part.values())
        elif is_dataclass(part):
            waiting.extend(getattr(part, field.name) for field in fields(part))
        elif isinstance(part, Iterable):
            waiting.extend(part)
