"""The report as one HTML file: whole in itself, readable without scripts, printable.

In: reports, the sheets of each, how the proof was asked for. Out: the text of the file. Nothing in
it is loaded from anywhere: its policy forbids it, and its one script is let in by its hash.
"""

import base64
import os
import platform
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from importlib import metadata, resources

from verifier import __version__
from verifier.drawing.svg.template import STYLE
from verifier.drawing.wiring.ink import STYLE as WIRING_STYLE
from verifier.language.writing import UnwritableError
from verifier.reports.page import parts
from verifier.reports.page.findings import findings
from verifier.reports.page.markup import Html, coded, joined, tag, trusted
from verifier.reports.page.paper import Paper, Part, paper_for
from verifier.reports.words import PROMISES_LEAD, outcome, promises_to_make, summary_words
from verifier.sheets.sheet import Sheet
from verifier.verdicts.grade_words import NO_SIGNAL_CLEARS, beside_counts, quiet_words, stamp
from verifier.verdicts.report import Report

CAUTION = (
    "For model railroads, not for railways that carry people. A proof holds for the rules and the "
    "wiring as written, on the assumptions printed with it; what you build is yours to test."
)


@dataclass(frozen=True, slots=True)
class FileReport:
    """One file of a report: what was found, and the sheets that go with it by name."""

    report: Report
    sheets: Mapping[str, Sheet]


def document(
    told: Sequence[FileReport], *, options: str, pairs: bool = False, everything: bool = False
) -> str:
    """The whole file. ``options``: how the proof was asked for, in the words of the command
    line."""
    single = len(told) == 1
    papers = [
        paper_for(one.report, n, 2 if single else 3, pairs=pairs, everything=everything)
        for n, one in enumerate(told, start=1)
    ]
    inside = [tuple(_parts(paper, one)) for paper, one in zip(papers, told, strict=True)]
    title = told[0].report.plan.title if single else f"{len(told)} junctions"
    body = [
        tag("a", "To the report", href="#report", class_="skip"),
        tag(
            "header",
            tag("p", CAUTION, class_="caution"),
            tag("h1", title),
            *(_outcome(one.report) for one in (told if single else ())),
            _made(told, options),
        ),
        _links(inside[0]) if single else _files(papers),
        tag(
            "main",
            *(_file(paper, its, single) for paper, its in zip(papers, inside, strict=True)),
            id="report",
        ),
    ]
    return f"<!doctype html>\n{_page(title, joined(body))}\n"


def _page(title: str, body: Html) -> Html:
    style = _file_text("report.css") + STYLE + WIRING_STYLE
    script = _file_text("report.js")
    policy = (
        f"default-src 'none'; style-src '{_hash(style)}'; script-src '{_hash(script)}'; "
        "base-uri 'none'; form-action 'none'"
    )
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", http_equiv="Content-Security-Policy", content=policy),
        tag("meta", name_="viewport", content="width=device-width, initial-scale=1"),
        tag("title", f"{title}: clearproof report"),
        tag("style", trusted(style)),
    )
    return tag("html", head, tag("body", body, tag("script", trusted(script))), lang="en")


def _file_text(name: str) -> str:
    return resources.files("verifier.reports.page").joinpath(name).read_text("utf-8")


def _hash(text: str) -> str:
    return "sha256-" + base64.b64encode(sha256(text.encode()).digest()).decode()


# ------------------------------------------------------------------ the beginning


def _outcome(report: Report) -> Html:
    """The grade, what it is short of, and how many verdicts there are of each kind. That no
    signal ever clears comes before all else."""
    said, over = summary_words(report)
    line = beside_counts(report)
    return joined(
        [
            tag("p", NO_SIGNAL_CLEARS, class_="caution bad") if report.nothing_clears else None,
            tag(
                "p",
                tag("strong", stamp(report), class_=f"stamp {outcome(report)}"),
                f" {said}{over}",
                class_="outcome",
            ),
            # The mark and the counts say the rest.
            tag("p", coded(f"{line[0].upper()}{line[1:]}."), class_="grade")
            if quiet_words(report)
            else None,
            _promises(report),
        ]
    )


def _promises(report: Report) -> Html | None:
    """What the crew could promise."""
    made = promises_to_make(report)
    if not made:
        return None
    lead = tag("p", coded(f"{PROMISES_LEAD} (`clearproof why` shows why):"))
    return tag("div", lead, tag("ul", *(tag("li", tag("code", each)) for each in made)))


def _made(told: Sequence[FileReport], options: str) -> Html:
    """What it was made of, by what, when and how."""
    rows = [
        *(
            (report.plan.source.name, f"SHA-256 {_digest(report)}")
            for report in (one.report for one in told)
        ),
        ("made", f"{today()} by clearproof {__version__}, Python {platform.python_version()}, "
                 f"z3 {metadata.version('z3-solver')}"),
        ("command", options),
    ]  # fmt: skip
    return tag(
        "table",
        tag("tbody", *(tag("tr", tag("th", name, scope="row"), tag("td", text))
                       for name, text in rows)),
        class_="made",
    )  # fmt: skip


def _digest(report: Report) -> str:
    return sha256(report.plan.source.text.encode()).hexdigest()


def today() -> str:
    """The day, or the one that builds are told to be made on (SOURCE_DATE_EPOCH).

    Raises :class:`UnwritableError` where that is no time."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    if not epoch:
        return datetime.now(UTC).date().isoformat()
    try:
        if not (epoch.isascii() and epoch.isdigit()):
            raise ValueError
        return datetime.fromtimestamp(int(epoch), UTC).date().isoformat()
    except (ValueError, OverflowError, OSError):
        raise UnwritableError(
            f"No report was written: SOURCE_DATE_EPOCH is `{epoch[:40]}`. Give it seconds since "
            "1970, such as 1700000000, or leave it unset."
        ) from None


def _links(inside: Sequence[Part]) -> Html:
    links = (tag("li", tag("a", part.title, href=f"#{part.id}")) for part in inside)
    return tag("nav", tag("ul", *links), aria_label="Parts of the report", class_="contents")


def _files(papers: Sequence[Paper]) -> Html:
    """Of several files, how each ended, and where to find it."""
    rows = (
        (
            tag("a", paper.plan.source.name, href=f"#{paper.prefix}"),
            tag("span", stamp(paper.report), class_=outcome(paper.report)),
            summary_words(paper.report)[0],
        )
        for paper in papers
    )
    table = parts.table(("file", "grade", "verdicts"), rows)
    return tag("nav", table, aria_label="Files", class_="contents")


def _parts(paper: Paper, told: FileReport) -> Iterator[Part]:
    """The parts about one file, verdicts and findings first."""
    for part in (
        parts.layout(paper),
        findings(paper),
        parts.verdicts(paper),
        parts.failures(paper),
        parts.rests_on(paper),
        parts.sheets(paper, told.sheets),
        parts.texts(paper),
    ):
        if part is not None:
            yield part


def _file(paper: Paper, inside: Sequence[Part], single: bool) -> Html:
    unmet = [
        tag("p", tag("strong", "NOT AS EXPECTED: ", class_="bad"), one.text, " ",
            paper.place(one.span))
        for one in paper.report.unmet
    ]  # fmt: skip
    told = joined([*unmet, *(part.html for part in inside)])
    if single:
        return told
    heading = tag("h2", paper.plan.title)
    return tag("section", heading, _outcome(paper.report), told, id=paper.prefix, class_="file")
