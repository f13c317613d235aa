"""Draw the wiring of a plan: pages as SVG, one below the other, or a document to print.

In: a plan, and the colors of wire at hand. Out: pages. Drawn by our own hand: a library for
electrical drawings draws circuits, one for graphs lets lines cross; what is wanted here is a
raster of rows in which most wires are straight, and words that never overlap.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from verifier.drawing.wiring.ink import STYLE, inked
from verifier.drawing.wiring.pages import page_contents
from verifier.drawing.wiring.placing import place
from verifier.language.source import Span
from verifier.plan.model import Plan
from verifier.sheets.terminals import harness


@dataclass(frozen=True, slots=True)
class WiringPage:
    """One page. ``names``: what stands on it, by name; ``width`` and ``height`` in CSS pixels."""

    title: str
    is_power: bool
    names: frozenset[str]
    opening: str
    content: str
    width: int
    height: int

    @property
    def svg(self) -> str:
        """The whole element with its style sheet, to be written to a file."""
        return f"{self.opening}<style>{STYLE}</style>{self.content}"

    @property
    def unstyled(self) -> str:
        """The element for a page that has :data:`STYLE` in its own style sheet."""
        return f"{self.opening}{self.content}"


def wiring_pages(
    plan: Plan, given: Sequence[tuple[str, Span]] | None = None
) -> tuple[WiringPage, ...]:
    """The power plan, then a page for each control point; none where the file has no wiring.

    Raises :class:`InputError` where the colors at hand run out."""
    wired = harness(plan, given)
    pages = place(page_contents(plan, wired), wired)
    return tuple(
        WiringPage(
            page.content.title, page.content.is_power, page.content.names,
            *inked(page, plan.title or plan.source.name, (n, len(pages))),
            round(page.width), round(page.height),
        )
        for n, page in enumerate(pages, start=1)
    )  # fmt: skip


def below_each_other(pages: Sequence[WiringPage]) -> str:
    """All pages in one SVG element."""
    if len(pages) == 1:
        return pages[0].svg
    wide, high = max(page.width for page in pages), sum(page.height for page in pages)
    top, body = 0, []
    for page in pages:
        body.append(f'<g transform="translate(0 {top})">{page.svg}</g>\n')
        top += page.height
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}" width="{wide}" '
        f'height="{high}">\n{"".join(body)}</svg>\n'
    )


# Letter and A4 alike: 10.2 by 7.6 inches are within the margins of both.
PRINTED = (
    "@page{size:landscape;margin:10mm}"
    "@media print{.page{break-after:page;break-inside:avoid}"
    ".page:last-child{break-after:auto}"
    ".page svg{width:100%;height:auto;max-height:7.4in}}"
)


def printable(pages: Sequence[WiringPage], title: str) -> str:
    """An HTML document with each page on a sheet of paper of its own."""
    body = "".join(f'<div class="page">{page.svg}</div>\n' for page in pages)
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f"<title>{escape(title)}: wiring</title><style>body{{margin:0;background:#fff}}"
        f".page{{overflow-x:auto}}{PRINTED}</style></head><body>\n{body}</body></html>\n"
    )
