"""One picture of a set of pieces: every step from track to lines, and what to do where
it does not fit.

Input: the view of a plan, and names of pieces. Output: a :class:`Panel`, or None where
the pieces do not go into the width. Styles are tried from generous to tight; track that
cannot be drawn without crossing other track is torn apart, both ends naming each other.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from verifier.drawing.label_placer import grown
from verifier.drawing.layout import GridLayout, Rows, choose_rows, first_heights, lay_out, to_blame
from verifier.drawing.sketch import Sketch, sketch
from verifier.drawing.spacing import order
from verifier.drawing.tearing import Links, draw_torn
from verifier.drawing.terminal.charset import ink
from verifier.drawing.terminal.ink import ink_layout
from verifier.drawing.terminal.labels import text_labels
from verifier.drawing.terminal.metrics import Style, left_to_right, sizes
from verifier.drawing.terminal.placer import Placement, place_labels
from verifier.drawing.trackside import Trackside, trackside
from verifier.drawing.view import View

LONG_NAME, SHORT_NAME = 24, 12
COMFORTABLE = 3  # so many of the styles are easy on the eye
FAR_LEADER = 2  # a label farther than this from its thing is hard to follow
MOST_GROWTH = 8  # times that rows are moved apart for labels


@dataclass(frozen=True, slots=True)
class Panel:
    """``origin``: the column and row of the layout where the lines begin."""

    layout: GridLayout
    placement: Placement
    lines: tuple[str, ...]
    used: frozenset[str]
    origin: tuple[int, int]

    @property
    def width(self) -> int:
        return max(map(len, self.lines), default=0)


class PanelDrawer:
    """Draws sets of pieces of one plan, in one situation, no wider than ``width``."""

    def __init__(self, view: View, ascii_only: bool, width: int):
        self.view, self.width = view, width
        # Pieces that the same picture shows in some panel.
        self.drawn: tuple[str, ...] = ()
        self.ink = ink(ascii_only)
        self.styles = [
            Style(self.ink, True, True, 3, 4, 2, LONG_NAME),
            Style(self.ink, False, True, 3, 4, 2, LONG_NAME),
            Style(self.ink, False, False, 3, 4, 2, LONG_NAME),
            Style(self.ink, False, False, 2, 3, 1, LONG_NAME),
            Style(self.ink, False, False, 2, 3, 1, SHORT_NAME),
        ]

    def left_to_right(self, pieces: Sequence[str]) -> list[str]:
        """The pieces in the order in which they stand from left to right."""
        return left_to_right(self.view, pieces, self.styles[1])

    def comfortable(self, shown: Sequence[str]) -> Panel | None:
        """The pieces in one picture that is easy to read, None where that is too wide."""
        panel = self._panel(shown, self.styles[:COMFORTABLE])
        if panel is None or panel.width > self.width or panel.placement.crowded:
            return None
        far = any(len(put.leader) > FAR_LEADER for put in panel.placement.put)
        return None if far else panel

    def tight(self, shown: Sequence[str]) -> Panel | None:
        """The pieces in one picture, even if cramped; None where they are too wide."""
        panel = self._panel(shown, self.styles)
        return panel if panel and panel.width <= self.width else None

    def clipped(self, shown: Sequence[str]) -> Panel:
        """The pieces in one picture, cut off at the width."""
        panel = self._panel(shown, self.styles, must=True)
        assert panel is not None
        mark = self.ink.goes_on
        lines = tuple(
            line
            if len(line) <= self.width
            else (line[: max(self.width - len(mark), 0)] + mark)[: self.width]
            for line in panel.lines
        )
        return replace(panel, lines=lines)

    def _panel(
        self, shown: Sequence[str], styles: Sequence[Style], must: bool = False
    ) -> Panel | None:
        track = self.view.plan.track
        there = trackside(self.view.plan, shown, self.drawn)
        if not must and self._min_width(sketch(track, shown), there, styles[-1]) > self.width:
            return None

        def attempt(outline: Sketch) -> Panel | Links | None:
            close = sizes(self.view, outline, there, self.styles[COMFORTABLE - 1])
            rows, spaced = choose_rows(outline, close, self.width)
            if spaced and not spaced.clashes:
                return self._in_some_style(outline, rows, there, styles, must)
            return to_blame(spaced.clashes if spaced else ())

        return draw_torn(track, shown, attempt)

    def _min_width(self, outline: Sketch, there: Trackside, style: Style) -> int:
        """A drawing of all this in one piece is at least this wide."""
        room = sizes(self.view, outline, there, style)
        return max(x + size.width for x, size in zip(order(outline, room), room.nodes, strict=True))

    def _in_some_style(
        self, outline: Sketch, rows: Rows, there: Trackside, styles: Sequence[Style], must: bool
    ) -> Panel | Links | None:
        """The panel in the first style that fits with all its labels, or failing that with
        most of them; or the links that cannot be drawn; where nothing fits None, or if it
        ``must`` be the panel in the last style."""
        best: Panel | None = None
        for style in styles:
            last = must and style is styles[-1]
            fitted = self._fit(outline, rows, there, style, last and best is None)
            if isinstance(fitted, tuple):
                return fitted
            if fitted is None or (fitted.width > self.width and not last):
                continue
            if best is None or len(fitted.placement.homeless) < len(best.placement.homeless):
                best = fitted
            if not best.placement.homeless:
                break
        return best

    def _fit(
        self, outline: Sketch, rows: Rows, there: Trackside, style: Style, must: bool
    ) -> Panel | Links | None:
        room = sizes(self.view, outline, there, style)
        heights = first_heights(outline, rows)
        best: tuple[GridLayout, Placement] | None = None
        for _ in range(MOST_GROWTH):
            layout = lay_out(outline, room, rows, heights)
            if not isinstance(layout, GridLayout):
                return layout
            if layout.width > self.width and not must:
                break
            placement = place_labels(layout, text_labels(self.view, layout, there, style))
            if best is None or len(placement.homeless) < len(best[1].homeless):
                best = layout, placement
            higher = grown(heights, {band for _, band in placement.crowded})
            if higher == heights:
                break
            heights = higher
        if best is None:
            return None
        lines, used, origin = ink_layout(self.view, *best, there, style)
        return Panel(*best, lines, used, origin)
