"""The other parts of the report: verdicts by property, failures, assumptions, sheets,
and the file itself.

In: a report on its paper. Out: markup.
"""

from collections.abc import Iterator, Mapping

from verifier.language.source import Source
from verifier.plan.signals.colors import ALL_COLORS, flashes, steady
from verifier.reports.failures import broken_words, failure_rows, pairs_words
from verifier.reports.page.markup import NOTHING, Child, Html, coded, joined, tag
from verifier.reports.page.paper import Paper, Part, sources
from verifier.reports.page.pictures import figure, plan_pictures, pose_pictures, wiring_pictures
from verifier.reports.words import (
    assumptions_of,
    by_property,
    checks_words,
    kind_words,
    sentence,
    set_aside,
    status_of,
    title_of,
)
from verifier.sheets.sheet import Sheet, Table
from verifier.verdicts.grade_words import headline
from verifier.verdicts.report import Verdict


def table(
    columns: tuple[str, ...], rows: "Iterator[tuple[Child, ...]]", *, label: str = ""
) -> Html:
    """A table whose head is printed again on each page."""
    return tag(
        "table",
        tag("caption", label) if label else None,
        tag("thead", tag("tr", *(tag("th", column, scope="col") for column in columns))),
        tag("tbody", *(tag("tr", *(tag("td", cell) for cell in row)) for row in rows)),
    )


def layout(paper: Paper) -> Part:
    return paper.section("layout", "The layout", *plan_pictures(paper.plan, paper.id("layout", "")))


# ------------------------------------------------------------------ verdicts


def verdicts(paper: Paper) -> Part:
    """One line for each property, and below it each of its checks."""
    groups = by_property(paper.report.verdicts)
    rows = [_property(paper, name, group) for name, group in groups.items()]
    nothing = tag("p", "Nothing to prove in this file.")
    return paper.section("verdicts", "What was proved", *(rows or [nothing]))


def _property(paper: Paper, name: str, group: list[Verdict]) -> Html:
    word, style = status_of(group)
    return tag(
        "details",
        tag(
            "summary",
            tag("span", word, class_=f"stamp {style}"),
            f" {title_of(name)} ",
            tag("span", f"{name}, {checks_words(group)}", class_="quiet"),
        ),
        tag("ul", *(_verdict(verdict) for verdict in group)),
        data_words=f"{name} {title_of(name)} " + " ".join(
            subject for verdict in group for subject in verdict.obligation.subjects
        ),
        class_="property",
    )  # fmt: skip


def _verdict(verdict: Verdict) -> Html:
    kind, style = kind_words(verdict)
    rests = ", ".join(f'"{title}"' for title in verdict.rests_on)
    return tag(
        "li",
        tag("span", kind, class_=style),
        f" {', '.join(verdict.obligation.subjects)}: ",
        tag("span", _claim(verdict), class_="quiet"),
        f" Rests on {rests}." if rests else None,
    )


def _claim(verdict: Verdict) -> str:
    """What was checked: that something never happens, or that it can."""
    trouble = sentence(verdict.obligation.trouble)
    return f"ruled out: {trouble}" if verdict.status == "proved" else trouble


# ------------------------------------------------------------------ failures, what it rests on


def failures(paper: Paper) -> Part | None:
    told = failure_rows(paper.report)
    if not told:
        return None
    rows = (
        (entry.broken, tag("span", entry.consequence, class_=entry.style), entry.row.why)
        for entry in told
    )
    harmless = pairs_words(paper.report, told, pairs=paper.pairs)
    return paper.section(
        "failures",
        "What each failure does",
        tag("p", f"{broken_words(told, pairs=paper.pairs)}, the worst first.", class_="quiet"),
        table(("broken", "what it does at worst", "how"), rows),
        tag("p", harmless) if harmless else None,
    )


def rests_on(paper: Paper) -> Part:
    waived = list(set_aside(paper.report))
    granted = (
        tag("li", coded(text), *((" ", paper.place(span)) if span else ()))
        for text, span in assumptions_of(paper.report)
    )
    return paper.section(
        "rests-on",
        "Assumptions",
        tag("ul", *granted),
        joined([tag("p", tag("b", "Waived by the file:")),
                tag("ul", *(tag("li", text) for text in waived))]) if waived else None,
    )  # fmt: skip


# ------------------------------------------------------------------ sheets


def sheets(paper: Paper, made: Mapping[str, Sheet]) -> Part | None:
    if not made:
        return None
    return paper.section(
        "sheets", "Sheets to build and test from", *(_sheet(paper, s) for s in made.values())
    )


# Beside plan, verdicts and failures.
_ON_THE_WALL = ("aspects",)


def _sheet(paper: Paper, sheet: Sheet) -> Html:
    drawn: Iterator[Html] = iter(())
    if sheet.picture is not None:
        prefix = paper.id("sheet", sheet.name, "")
        drawn = plan_pictures(paper.plan, prefix, sheet.picture)
    inside = (
        *(tag("p", coded(text), class_="caution") for text in sheet.cautions),
        tag("p", coded(f"Grade of the rules: {headline(paper.report)}."), class_="grade"),
        *(tag("p", coded(text)) for text in sheet.notes),
        *drawn,
        *(wiring_pictures(paper.plan) if sheet.wiring else ()),
        *(part for t in sheet.tables[:1] for part in _table(paper, t)),
        _poses(paper, sheet),
        *(part for t in sheet.tables[1:] for part in _table(paper, t)),
    )
    title = tag("summary", paper.heading(sheet.title, below=1))
    # What is folded is not printed: whoever wants a sheet on paper opens it first.
    return tag(
        "details", title, *inside, id=paper.id("sheet", sheet.name), class_="sheet",
        open=sheet.name in _ON_THE_WALL,
    )  # fmt: skip


def _poses(paper: Paper, sheet: Sheet) -> Html | None:
    """How the layout is to stand, and what it is then to show, one drawing after the other."""
    if not sheet.poses:
        return None
    prefix = paper.id("pose", "")
    drawn = pose_pictures(paper.plan, [pose.situation for pose in sheet.poses], prefix)
    made = (
        figure(one, pose.text, class_="frame") for one, pose in zip(drawn, sheet.poses, strict=True)
    )
    return tag("div", *made, class_="poses")


def _table(paper: Paper, made: Table) -> Iterator[Html]:
    yield paper.heading(made.title, below=2)
    head = tag("tr", *(tag("th", column, scope="col") for column in made.columns))
    body = []
    for row in made.rows:
        cells = []
        for column, cell in zip(made.columns, row, strict=True):
            lamps = _lamps(cell) if column in made.lamps else NOTHING
            right = "amount" if column in made.numeric else None
            cells.append(tag("td", lamps, coded(cell), class_=right))
        body.append(tag("tr", *cells))
    yield tag("div", tag("table", tag("thead", head), tag("tbody", *body)), class_="wide")
    for note in made.notes:
        yield tag("p", coded(note), class_="quiet")


def _lamps(colors: str) -> Html:
    """The lamps of a head or mast, each a circle with its letter."""
    return joined(
        tag(
            "span",
            "-" if steady(color) == "dark" else steady(color)[0].upper(),
            class_=f"lamp {steady(color)}" + (" flashing" if flashes(color) else ""),
            aria_hidden="true",
        )
        for color in colors.split(" over ")
        if color in ALL_COLORS
    )


# ------------------------------------------------------------------ the file


def texts(paper: Paper) -> Part:
    """The junction file, and what it includes, line by line."""
    return paper.section(
        "text",
        "The file",
        tag(
            "details",
            tag("summary", "Line by line"),
            *(part for source in sources(paper.plan) for part in _text(paper, source)),
        ),
    )


def _text(paper: Paper, source: Source) -> Iterator[Html]:
    number = paper.sources[source.name]
    yield paper.heading(source.name, below=1)
    yield tag(
        "ol",
        *(
            tag("li", tag("code", line or " "), id=paper.line_id(number, n))
            for n, line in enumerate(source.text.splitlines(), start=1)
        ),
        class_="text",
    )
