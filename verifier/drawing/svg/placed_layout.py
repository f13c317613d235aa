"""The placed layout: track and everything beside it, each with its place on paper.

Input: a plan, the pieces to draw and what to leave room for. Output: a :class:`PlacedLayout`, which
no situation changes. Rows are those of the terminal drawing where they can be; track that
cannot be drawn without crossing other track is torn apart, both ends naming each other.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise

from verifier.drawing.label_placer import BELOW, grown
from verifier.drawing.layout import GridLayout, Rows, choose_rows, first_heights, lay_out, to_blame
from verifier.drawing.sketch import Sketch
from verifier.drawing.spacing import Sizes
from verifier.drawing.svg.labels import OFF, svg_labels
from verifier.drawing.svg.metrics import (
    DOWN,
    NAME_HIGH,
    SIGNAL_HIGH,
    SMALL_HIGH,
    STOCK_HIGH,
    Reserved,
    end_words,
    paper_sizes,
)
from verifier.drawing.svg.placer import (
    BY_THING,
    Box,
    Occupancy,
    PlacedSvgLabel,
    SvgLabel,
    around_all,
    below,
    place,
)
from verifier.drawing.svg.template import outline as path_outline
from verifier.drawing.svg.track_paths import LOOSE, TrackPaths
from verifier.drawing.svg.typeface import NAME, text_width
from verifier.drawing.tearing import Links, draw_torn
from verifier.drawing.terminal.charset import FINE
from verifier.drawing.terminal.metrics import Style, left_to_right, sizes
from verifier.drawing.terminal.panel import LONG_NAME
from verifier.drawing.trackside import Trackside, trackside
from verifier.drawing.view import View
from verifier.plan.model import Plan, Port

TERMINAL_WIDTH, WHOLE = 100, 60
MAX_GROWTH = 10
MARGIN = 26.0
MOST_IN_STRIP = 40
# Rows are chosen with the sizes that the terminal gives.
_STYLE = Style(FINE, False, False, 3, 4, 2, LONG_NAME)
WHERE = 260.0  # room for saying where a thing belongs that stands below the drawing


@dataclass(frozen=True, slots=True)
class PlacedLayout:
    """``put``: what stands beside the track, by kind and name. ``standing``: where stock
    stands on each block, and gates, by kind and name. ``frame`` is about everything."""

    plan: Plan
    pieces: tuple[str, ...]
    wanted: Reserved
    there: Trackside
    layout: GridLayout
    ways: TrackPaths
    put: Mapping[tuple[str, str], PlacedSvgLabel]
    standing: Mapping[tuple[str, str], Box]
    homeless: tuple[SvgLabel, ...]
    page: Occupancy
    frame: Box


def place_layout(
    plan: Plan, pieces: Sequence[str], wanted: Reserved, drawn: Sequence[str] = ()
) -> PlacedLayout:
    """Place these pieces. ``drawn``: all pieces of the drawing that they are a part of."""
    there = trackside(plan, pieces, drawn)
    placer = _Placer(plan, tuple(pieces), wanted, there)
    bare = View(plan, None, None)
    room = TERMINAL_WIDTH if len(pieces) <= WHOLE else 100 * len(pieces)

    def attempt(outline: Sketch) -> PlacedLayout | Links:
        result: PlacedLayout | Links = ()
        for close in (sizes(bare, outline, there, _STYLE), placer.sizes(outline)):
            rows, spaced = choose_rows(outline, close, room)
            if spaced and not spaced.clashes:
                result = placer.fit(outline, rows)
            else:
                result = to_blame(spaced.clashes if spaced else ())
            if isinstance(result, PlacedLayout):
                break
        return result

    # A signal stands beside level track.
    signaled = {signal.joint.a for signal in plan.signals.values()}
    slanted = {joint.a for joint in plan.track.joints} - signaled
    return draw_torn(plan.track, pieces, attempt, slanted)


def strips(
    plan: Plan, pieces: Sequence[str], wanted: Reserved, width: float
) -> tuple[PlacedLayout, ...]:
    """As many strips as it takes, left to right, each as long as ``width`` allows."""
    if len(pieces) <= WHOLE:
        whole = place_layout(plan, pieces, wanted)
        if whole.frame.width <= width:
            return (whole,)
    left = left_to_right(View(plan, None, None), pieces, _STYLE)
    every, made = tuple(left), []
    many = MOST_IN_STRIP
    while left:
        # Most strips hold about as much as the one before.
        many = min(len(left), many * 5 // 4 + 1)
        laid = place_layout(plan, left[:many], wanted, every)
        while laid.frame.width > width and many > 1:
            many = max(min(many - 1, int(many * width / laid.frame.width)), 1)
            laid = place_layout(plan, left[:many], wanted, every)
        made.append(laid)
        left = left[many:]
    return tuple(made)


@dataclass(frozen=True, slots=True)
class _Placer:
    """Places one set of pieces with what stands beside them."""

    plan: Plan
    pieces: tuple[str, ...]
    wanted: Reserved
    there: Trackside

    def sizes(self, outline: Sketch) -> Sizes:
        return paper_sizes(self.plan, outline, self.there, self.wanted)

    def fit(self, outline: Sketch, rows: Rows) -> PlacedLayout | Links:
        """The layout with strips on these rows, as far apart as needed; or the links that
        cannot be drawn that way."""
        room = self.sizes(outline)
        heights: Sequence[int] = _row_heights(outline, rows, self.wanted)
        best: PlacedLayout | None = None
        for _ in range(MAX_GROWTH):
            layout = lay_out(outline, room, rows, heights)
            if not isinstance(layout, GridLayout):
                if best is None:
                    return layout
                break
            made = self.place(layout, strict=True)
            if best is None or len(made.homeless) < len(best.homeless):
                best = made
            bands = {band for label in made.homeless for band in _bands(layout, label)}
            higher = grown(grown(heights, bands), bands)
            if higher == tuple(heights):
                break
            heights = higher
        assert best is not None
        return self.place(best.layout, strict=False) if best.homeless else best

    def place(self, layout: GridLayout, *, strict: bool) -> PlacedLayout:
        """Place everything beside the track of one layout. ``strict``: what finds no room at
        its track is left out and listed; otherwise it stands wherever there is room, or below
        the drawing."""
        ways = TrackPaths(layout)
        page = Occupancy()
        boxes = []
        for name, cell in layout.cells.items():
            if cell.node.kind in LOOSE:
                box = self._end_box(ways, name)
                if box.width:
                    page.take(box)
                    boxes.append(box)
            if cell.node.kind in ("cut", "torn"):
                page.draw(ways.loose_end(cell))
            elif name in self.plan.track.pieces:
                for end in self.plan.track.pieces[name].ends:
                    page.draw(path_outline(ways.way(Port(name, end))))
        labels, standing = svg_labels(self.plan, layout, ways, self.there, self.wanted)
        for box in standing.values():
            page.take(box)
        put, homeless = place(page, labels)
        if not strict:
            more, homeless = place(page, [label.untied() for label in homeless])
            put += more
        track = [point for lines in page.lines.values() for line in lines for point in line]
        taken = [*boxes, *standing.values(), *(one.box for one in put)]
        frame = around_all([*taken, *(Box(*point, 0, 0) for point in track)])
        if homeless and not strict:
            under = below(page, homeless, frame.x, frame.bottom)
            put += under
            homeless = []
            frame = around_all([frame, *(one.box.widened(WHERE) for one in under)])
        by_name = {(one.label.kind, one.label.name): one for one in put}
        return PlacedLayout(
            self.plan, self.pieces, self.wanted, self.there, layout, ways, by_name, standing,
            tuple(homeless), page, frame.grown(MARGIN),
        )  # fmt: skip

    def _end_box(self, ways: TrackPaths, name: str) -> Box:
        """The room of an end's words and its arrow."""
        cell = ways.layout.cells[name]
        width = text_width(end_words(self.plan, cell.node, self.there), NAME) + 14
        x, y = ways.hub(name)
        return Box(x if cell.node.left else x - width, y - 8, width, 16)


def _row_heights(outline: Sketch, rows: Rows, wanted: Reserved) -> tuple[int, ...]:
    """The first heights of the rows, with room for a signal between any two."""
    least = OFF + SIGNAL_HIGH + BY_THING + (SMALL_HIGH + STOCK_HIGH if wanted.told else NAME_HIGH)
    steps = (
        max(2 * (lower - upper), round(least / DOWN))
        for upper, lower in pairwise(first_heights(outline, rows))
    )
    return tuple(accumulate(steps, initial=0))


def _bands(layout: GridLayout, label: SvgLabel) -> Iterator[int]:
    """The bands between rows that must grow for a label without room, numbered as in
    :func:`verifier.drawing.label_placer.grown`."""
    row = layout.rows.index(round(label.anchor[1] / DOWN))
    for side in label.sides:
        yield row if side == BELOW else row - 1
