"""The placed layout: track and everything beside it, each with its place on paper.

Input: a plan, the pieces to draw and what to leave room for. Output: a :class:`PlacedLayout`, which
no situation changes. Rows are those of the terminal drawing where they can be; track that
cannot be drawn without crossing other track is torn apart, both ends naming each other.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from verifier.drawing.charset import FINE
from verifier.drawing.furniture import OFF, svg_labels
from verifier.drawing.layout import GridLayout, Rows, choose_rows, first_heights, lay_out, to_blame
from verifier.drawing.panel import LONG_NAME, tear
from verifier.drawing.sketch import Sketch, sketch
from verifier.drawing.svg_metrics import (
    DOWN,
    NAME_HIGH,
    SIGNAL_HIGH,
    SMALL_HIGH,
    STOCK_HIGH,
    Reserved,
    end_words,
    paper_sizes,
)
from verifier.drawing.svg_placer import (
    BELOW,
    BY_THING,
    Box,
    Occupancy,
    PlacedSvgLabel,
    SvgLabel,
    around_all,
    below,
    place,
)
from verifier.drawing.template import outline
from verifier.drawing.text_metrics import Style, Things, left_to_right, sizes, things
from verifier.drawing.text_placer import grown
from verifier.drawing.track_paths import LOOSE, TrackPaths
from verifier.drawing.typeface import NAME, text_width
from verifier.drawing.view import View
from verifier.plan.model import Plan, Port

TERMINAL_WIDTH, WHOLE = 100, 60
MOST_GROWTH = 10
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
    there: Things
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
    """Place these pieces. ``drawn``: pieces that neighboring drawings show."""
    there = things(plan, pieces, drawn)
    bare = View(plan, None, None)
    room = TERMINAL_WIDTH if len(pieces) <= WHOLE else 100 * len(pieces)
    torn: set[Port] = set()
    undrawn: set[Port] = set()
    # A signal stands beside level track.
    signaled = {signal.joint.a for signal in plan.signals.values()}
    unsignaled = {joint.a for joint in plan.track.joints} - signaled
    while True:
        sketched = sketch(plan.track, pieces, torn, undrawn, unsignaled)
        result: GridLayout | PlacedLayout | tuple[int, ...] = ()
        for close in (
            sizes(bare, sketched, there, _STYLE),
            paper_sizes(plan, sketched, there, wanted),
        ):
            rows, spaced = choose_rows(sketched, close, room)
            if spaced and not spaced.clashes:
                result = _fit(plan, pieces, wanted, there, sketched, rows)
            else:
                result = to_blame(spaced.clashes if spaced else ())
            if isinstance(result, PlacedLayout):
                return result
        assert isinstance(result, tuple)
        tear(sketched, result, torn, undrawn)


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


def _fit(
    plan: Plan, pieces: Sequence[str], wanted: Reserved, there: Things, sketched: Sketch, rows: Rows
) -> PlacedLayout | tuple[int, ...]:
    """The layout with strips on these rows, as far apart as needed; or the links that cannot
    be drawn that way."""
    room = paper_sizes(plan, sketched, there, wanted)
    heights: Sequence[int] = _apart(sketched, rows, wanted)
    best: PlacedLayout | None = None
    for _ in range(MOST_GROWTH):
        layout = lay_out(sketched, room, rows, heights)
        if not isinstance(layout, GridLayout):
            if best is None:
                return layout
            break
        made = _place_once(plan, pieces, wanted, there, layout, strict=True)
        if best is None or len(made.homeless) < len(best.homeless):
            best = made
        bands = {band for tag in made.homeless for band in _bands(layout, tag)}
        higher = grown(grown(heights, bands), bands)
        if higher == tuple(heights):
            break
        heights = higher
    assert best is not None
    if best.homeless:
        return _place_once(plan, pieces, wanted, there, best.layout, strict=False)
    return best


def _apart(sketched: Sketch, rows: Rows, wanted: Reserved) -> tuple[int, ...]:
    """How far apart rows stand at first."""
    least = OFF + SIGNAL_HIGH + BY_THING + (SMALL_HIGH + STOCK_HIGH if wanted.told else NAME_HIGH)
    heights = [0]
    close = first_heights(sketched, rows)
    for upper, lower in pairwise(close):
        heights.append(heights[-1] + max(2 * (lower - upper), round(least / DOWN)))
    return tuple(heights)


def _bands(layout: GridLayout, tag: SvgLabel) -> Iterator[int]:
    """The bands between rows that must grow for a thing that found no room: by the number of
    the row above, as in :func:`verifier.drawing.text_placer.grown`."""
    row = layout.rows.index(round(tag.anchor[1] / DOWN))
    for side in tag.sides:
        yield row if side == BELOW else row - 1


def _place_once(
    plan: Plan,
    pieces: Sequence[str],
    wanted: Reserved,
    there: Things,
    layout: GridLayout,
    *,
    strict: bool,
) -> PlacedLayout:
    """Place everything beside the track of one layout. ``strict``: what finds no room at its
    track is left out and listed; else it stands wherever there is room, or below the drawing."""
    ways = TrackPaths(layout)
    page = Occupancy()
    boxes = []
    for name, cell in layout.cells.items():
        if cell.node.kind in LOOSE:
            box = _end_box(plan, there, ways, name)
            if box.width:
                page.take(box)
                boxes.append(box)
        if cell.node.kind in ("cut", "torn"):
            page.draw(ways.loose_end(cell))
        elif name in plan.track.pieces:
            for end in plan.track.pieces[name].ends:
                page.draw(outline(ways.way(Port(name, end))))
    tags, standing = svg_labels(plan, layout, ways, there, wanted)
    for box in standing.values():
        page.take(box)
    put, homeless = place(page, tags)
    if not strict:
        more, homeless = place(page, [tag.untied() for tag in homeless])
        put = (*put, *more)
    track = [point for lines in page.lines.values() for line in lines for point in line]
    taken = [*boxes, *standing.values(), *(one.box for one in put)]
    frame = around_all([*taken, *(Box(*point, 0, 0) for point in track)])
    if homeless and not strict:
        under = below(page, homeless, frame.x, frame.bottom)
        put, homeless = (*put, *under), ()
        frame = around_all([frame, *(one.box.widened(WHERE) for one in under)])
    by_name = {(one.tag.kind, one.tag.name): one for one in put}
    return PlacedLayout(
        plan, tuple(pieces), wanted, there, layout, ways, by_name, standing, homeless, page,
        frame.grown(MARGIN),
    )  # fmt: skip


def _end_box(plan: Plan, there: Things, ways: TrackPaths, name: str) -> Box:
    """The room of an end's words and its arrow."""
    cell = ways.layout.cells[name]
    words = end_words(plan, cell.node, there)
    width = text_width(words, NAME) + 14
    x, y = ways.hub(name)
    return Box(x if cell.node.left else x - width, y - 8, width, 16)
