"""What must be true of every drawing, whatever it draws: used on samples and tangles."""

import re
from collections import Counter
from itertools import combinations

from verifier.drawing.layout import GridLayout
from verifier.drawing.terminal.panel import Panel
from verifier.drawing.terminal.picture import TextPicture
from verifier.plan.model import Plan, Port


def check_picture(picture: TextPicture, plan: Plan, width: int, ascii_only: bool) -> None:
    """All the checks below; for a picture of the whole plan."""
    check_lines(picture, width, ascii_only)
    for panel in picture.panels:
        check_labels(panel, width)
        check_no_track_touches(panel.layout)
        check_track_is_the_plans(panel.layout, plan)
    check_each_piece_once(picture, plan)
    check_each_signal_once(picture, plan)


def check_lines(picture: TextPicture, width: int, ascii_only: bool) -> None:
    assert picture.lines
    for line in picture.lines:
        assert len(line) <= width
        assert line == line.rstrip()
        assert "\t" not in line
        assert line.isascii() or not ascii_only


def at(panel: Panel, x: int, y: int, length: int = 1) -> str:
    """The characters at a place of the layout."""
    left, top = panel.origin
    line = panel.lines[y - top] if 0 <= y - top < len(panel.lines) else ""
    return line[x - left : x - left + length].ljust(length)


def row_text(panel: Panel, name: str) -> str:
    """What is drawn on the row of a piece from its left end to its right."""
    cell = panel.layout.cells[name]
    return at(panel, cell.left, cell.y, cell.right - cell.left)


def check_labels(panel: Panel, width: int) -> None:
    """Every label is legible: whole, on nothing else, beside what it is for."""
    clipped = any(len(line) == width for line in panel.lines)
    spots: Counter[tuple[int, int]] = Counter()
    for put in panel.placement.put:
        if not clipped:
            assert at(panel, put.x, put.y, len(put.text)) == put.text
        spots.update((x, put.y) for x in range(put.x, put.x + len(put.text)))
        spots.update(put.leader)
        assert put.y != put.label.anchor[1]
        nearest = min(abs(x - put.label.anchor[0]) for x in range(put.x, put.x + len(put.text)))
        assert nearest <= 2
    assert not spots or max(spots.values()) == 1
    assert not spots.keys() & track_spots(panel.layout).keys()


def track_spots(layout: GridLayout) -> Counter[tuple[int, int]]:
    """How often each place is taken by track; a leg's own hub counts for its piece only."""
    spots: Counter[tuple[int, int]] = Counter()
    for rail in layout.rails:
        spots.update((x, rail.y) for x in range(rail.left, rail.right + 1))
    for slant in layout.slants.values():
        if slant.to_leg is None or slant.leg < slant.to_leg:
            steps = abs(slant.to_y - slant.y)
            spots.update(
                (slant.x + slant.side * step, slant.y + slant.down * step)
                for step in range(1, steps)
            )
    for bend in layout.bends:
        spots.update((bend.x, y) for y in range(bend.top + 1, bend.bottom))
    return spots


def check_no_track_touches(layout: GridLayout) -> None:
    """No two pieces of track share a place, and legs do not slip through one another."""
    spots = track_spots(layout)
    assert not spots or max(spots.values()) == 1
    crossings: set[tuple[int, int]] = set()
    for slant in layout.slants.values():
        if slant.to_leg is not None and slant.leg > slant.to_leg:
            continue
        for step in range(abs(slant.to_y - slant.y)):
            x, y = slant.x + slant.side * step, slant.y + slant.down * step
            between = (2 * x + slant.side, 2 * y + slant.down)
            assert between not in crossings
            crossings.add(between)
    rails = [(rail, set(range(rail.left, rail.right + 1))) for rail in layout.rails]
    for (one, columns), (other, others) in combinations(rails, 2):
        assert one.y != other.y or not columns & others


def check_track_is_the_plans(layout: GridLayout, plan: Plan) -> None:
    """Whoever follows the drawing with a finger goes the ways of the plan's track."""
    joined: set[frozenset[Port]] = set()
    torn: Counter[frozenset[Port]] = Counter()
    for mark in layout.marks:
        ends = frozenset({mark.left, mark.right})
        (joined.add(ends) if mark.near == ends else torn.update([ends]))
        for port in mark.near:
            assert _leads_to(layout, port, mark.x, mark.y), f"{port} is not at its joint"
    for slant in layout.slants.values():
        if slant.to_leg:
            joined.add(frozenset({slant.leg, slant.to_leg}))
    for port, beyond in layout.undrawn.items():
        torn.update([frozenset({port, beyond})])
    shown = {name for name in layout.cells if name in plan.track.pieces}
    for joint in plan.track.joints:
        ends = frozenset({joint.a, joint.b})
        inside = sum(port.piece in shown for port in ends)
        if inside == 2:
            assert (ends in joined) != (torn[ends] == 2), f"{joint} is not drawn right"
        elif inside == 1:
            assert torn[ends] == 1
        else:
            assert ends not in joined and not torn[ends]


def _leads_to(layout: GridLayout, port: Port, x: int, y: int) -> bool:
    """Whether a port's own track runs to a place on a row: along its row, or by its leg."""
    if port in layout.slants:
        slant = layout.slants[port]
        return slant.to_y == y and _same_rail(layout, slant.to_x, x, y)
    cell = layout.cells[port.piece]
    if cell.y != y:
        # Round a bend: both strips end at it.
        return any(
            {bend.top, bend.bottom} == {cell.y, y} and _same_rail(layout, bend.x, x, y)
            for bend in layout.bends
        )
    if any({bend.top, bend.bottom} >= {y} for bend in layout.bends):
        return True
    right = cell.node.right == port
    beside = cell.right <= x if right else x < cell.left
    low, high = (cell.right, x) if right else (x + 1, cell.left)
    between = any(
        other.y == y and other.left < high and low < other.right
        for other in layout.cells.values()
        if other is not cell
    )
    return beside and not between and _same_rail(layout, cell.hub, x, y)


def _same_rail(layout: GridLayout, one: int, other: int, y: int) -> bool:
    return any(
        rail.y == y and rail.left <= min(one, other) and max(one, other) <= rail.right
        for rail in layout.rails
    )


def check_each_piece_once(picture: TextPicture, plan: Plan) -> None:
    drawn = Counter(
        name for panel in picture.panels for name in panel.layout.cells if name in plan.track.pieces
    )
    assert drawn == Counter(plan.track.pieces.keys())


def check_each_signal_once(picture: TextPicture, plan: Plan) -> None:
    told = Counter(
        put.label.name
        for panel in picture.panels
        for put in panel.placement.put
        if put.label.name in plan.signals
    )
    told.update(
        label.name
        for panel in picture.panels
        for label in panel.placement.homeless
        if label.name in plan.signals
    )
    assert told == Counter(plan.signals.keys())


def words(lines: list[str] | tuple[str, ...]) -> Counter[str]:
    """How often each name or word stands in a drawing."""
    return Counter(word for line in lines for word in re.findall(r"[\w.-]*\w", line))
