"""Where track lies on paper: the line of every end of every piece, in CSS pixels.

Input: a layout. Output: points. Whatever follows track in an SVG drawing, rail, hatching or
the place of a signal, asks here.
"""

from collections.abc import Sequence
from itertools import pairwise

from verifier.drawing.layout import Bend, GridCell, GridLayout, JointMark
from verifier.drawing.sketch import LEFT, RIGHT
from verifier.drawing.svg.metrics import ACROSS, DOWN
from verifier.drawing.svg.placer import Point
from verifier.plan.model import Joint, Port

# Rail from the last joint to where an end of the plan is drawn.
STUB = 14.0
LOOSE = ("edge", "bumper", "cut", "torn")


def on_paper(x: float, y: float) -> Point:
    return x * ACROSS, y * DOWN


class TrackPaths:
    """The ways of one layout."""

    def __init__(self, layout: GridLayout):
        self.layout = layout
        self._bend_of = {bend.joint: bend for bend in layout.bends if bend.joint}
        self._mark_of: dict[Port, JointMark] = {p: m for m in layout.marks for p in m.near}
        # The mark before a torn or cut end, by the port beyond it.
        self._before: dict[Port, JointMark] = {
            port: mark for mark in layout.marks for port in {mark.left, mark.right} - mark.near
        }

    def hub(self, name: str) -> Point:
        """The middle of a piece: its frog or diamond; for an end, where the rail stops."""
        cell = self.layout.cells[name]
        if cell.node.kind in LOOSE:
            x, y = on_paper(cell.left, cell.y) if cell.node.left else on_paper(cell.right, cell.y)
            return (x + STUB if cell.node.left else x - STUB), y
        return on_paper(cell.hub, cell.y)

    def bend_at(self, joint: Joint) -> Bend | None:
        """The bend that a joint lies in, None where it lies on a row."""
        return self._bend_of.get(joint)

    def place(self, mark: JointMark) -> tuple[Point, Point]:
        """Where a joint is, and which way its track runs there."""
        if bend := self._bend_of.get(mark.joint):
            return on_paper(bend.x, (bend.top + bend.bottom) / 2), (0, 1)
        return on_paper(mark.x, mark.y), (1, 0)

    def way(self, port: Port) -> tuple[Point, ...]:
        """From the middle of a piece to the joint at one of its ends."""
        if port in self.layout.undrawn or port.piece not in self.layout.cells:
            return ()
        cell = self.layout.cells[port.piece]
        found = [self.hub(port.piece)]
        y = cell.y
        if slant := self.layout.slants.get(port):
            if slant.to_leg:
                half = (slant.x + slant.to_x) / 2, (slant.y + slant.to_y) / 2
                return found[0], on_paper(*half)
            y = slant.to_y
            found.append(on_paper(slant.to_x, y))
        mark = self._mark_of.get(port)
        if mark is None:
            return tuple(found)
        if bend := self._bend_of.get(mark.joint):
            return (*found, on_paper(bend.x, y), on_paper(bend.x, (bend.top + bend.bottom) / 2))
        if mark.y != y:
            found += self._round(cell, port, y, mark)
        found.append(on_paper(mark.x, mark.y))
        return tuple(dict.fromkeys(found))

    def _round(self, cell: GridCell, port: Port, y: int, mark: JointMark) -> list[Point]:
        """Round the bend that leads from one row to another."""
        side = RIGHT if cell.node.right == port else LEFT
        for bend in self.layout.bends:
            if {bend.top, bend.bottom} == {y, mark.y} and bend.side == side:
                return [on_paper(bend.x, y), on_paper(bend.x, mark.y)]
        raise AssertionError(f"{port} leads nowhere")

    def loose_end(self, cell: GridCell) -> tuple[Point, ...]:
        """The rail of a torn or cut end: from where it stops to its joint."""
        port = cell.node.left or cell.node.right
        assert port is not None
        mark = self._before[port]
        return self.hub(cell.node.name), on_paper(mark.x, mark.y)

    def reach(self, name: str) -> tuple[float, float]:
        """From where to where a piece reaches along its row."""
        cell = self.layout.cells[name]
        return cell.left * ACROSS, cell.right * ACROSS


def height_at(way: Sequence[Point], x: float, otherwise: float) -> float:
    """How high a track is at a place; ``otherwise`` where it is not there."""
    for (x1, y1), (x2, y2) in pairwise(way):
        if x1 != x2 and min(x1, x2) <= x <= max(x1, x2):
            return y1 + (y2 - y1) * (x - x1) / (x2 - x1)
    return otherwise
