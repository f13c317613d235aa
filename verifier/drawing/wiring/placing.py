"""Places for everything on a page of the wiring diagram: columns as wide as their words, lines
that do not cross, words that do not overlap.

In: the content of a page. Out: a :class:`PlacedPage`: boxes, pins, lines and stubs in CSS pixels.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from verifier.drawing.svg.placer import Box
from verifier.drawing.svg.typeface import text_width
from verifier.drawing.wiring.boxes import Column, DeviceBox, Pin
from verifier.drawing.wiring.pages import PageContent
from verifier.drawing.wiring.routing import Crossing, Point, lanes, uncrossed
from verifier.properties.amounts import amps
from verifier.sheets.terminals import Harness, Terminal, Wire
from verifier.sheets.wiring import gauge_words

ROW = 15.0
SMALL, BOLD, TITLE = 9.0, 10.0, 15.0
MARGIN, HEAD, FOOT = 16.0, 44.0, 62.0
_BOLDER = 1.12  # how much wider bold type comes out
_PAD, _LANE, _AIR = 5.0, 7.0, 8.0
PIN = 2.2  # radius
NARROWEST = 860.0


@dataclass(frozen=True, slots=True)
class Label:
    """Words in a box of their own."""

    words: str
    box: Box


@dataclass(frozen=True, slots=True)
class PlacedPin:
    pin: Pin
    at: Point


@dataclass(frozen=True, slots=True)
class PlacedBox:
    device_box: DeviceBox
    frame: Box
    title: Label
    pins: tuple[PlacedPin, ...]
    texts: tuple[Label, ...]
    rings: tuple[tuple[Point, Label], ...]


@dataclass(frozen=True, slots=True)
class PlacedWire:
    """A wire from pin to pin, or the piece of one (``far``: where its other end is) at a pin."""

    wire: Wire
    points: tuple[Point, ...]
    labels: tuple[Label, ...]
    far: str | None


@dataclass(frozen=True, slots=True)
class PlacedPage:
    content: PageContent
    boxes: tuple[PlacedBox, ...]
    wires: tuple[PlacedWire, ...]
    width: float
    height: float


def wire_words(wire: Wire) -> str:
    """What is written on a wire: its number, color and size, as in the list."""
    return " ".join(filter(None, (str(wire.number), wire.color, gauge_words(wire.conductor.run))))


class _Placer:
    def __init__(
        self,
        content: PageContent,
        harness: Harness,
        page_of: Mapping[Terminal, int],
        number: int,
    ):
        self.content, self.page_of, self.number = content, page_of, number
        self.wires = {wire.number: wire for wire in harness.wires}
        ends: dict[int, list[tuple[DeviceBox, Pin]]] = {}
        for box in content.boxes:
            for pin in box.pins:
                ends.setdefault(pin.wire, []).append((box, pin))
        self.whole = {w: two for w, two in ends.items() if len(two) == 2}
        self.routed: tuple[Crossing, ...] = ()
        self.lines = self._lines()

    # -------------------------------------------------------------- what is a line

    def _lines(self) -> dict[int, tuple[tuple[DeviceBox, Pin], tuple[DeviceBox, Pin]]]:
        """By wire, its left and right end, where it is drawn from end to end."""
        found, over = {}, []
        for number, two in self.whole.items():
            left, right = sorted(two, key=lambda one: one[0].column)
            faces = left[1].side == "right" and right[1].side == "left"
            if not faces:
                continue
            if right[0].column == Column.BOARD:
                over.append(Crossing(number, left[1].row, right[1].row))
                found[number] = (left, right)
            elif left[1].row == right[1].row:
                found[number] = (left, right)
        self.routed = uncrossed(over)
        kept = {one.wire for one in self.routed}
        return {
            number: ends for number, ends in found.items()
            if ends[1][0].column != Column.BOARD or number in kept
        }  # fmt: skip

    def stub_words(self, pin: Pin) -> str:
        """The wire, and where its other end is."""
        wire = self.wires[pin.wire]
        return f"{self._words(wire, pin)} to {self.far(pin)}"

    def _words(self, wire: Wire, pin: Pin) -> str:
        if wire.fuse is None or wire.start != pin.terminal:
            return wire_words(wire)
        return f"{wire_words(wire)}, fuse {amps(wire.fuse.rating)}"

    def far(self, pin: Pin) -> str:
        wire = self.wires[pin.wire]
        end, _ = wire.ends if wire.end == pin.terminal else wire.ends[::-1]
        if end[1] is None:
            return end[0].text
        page = self.page_of[end[1]]
        return str(end[1]) + (f", p. {page}" if page != self.number else "")

    # -------------------------------------------------------------- widths

    def placed(self) -> PlacedPage:
        wide = {column: self._column_width(column) for column in Column}
        lane_of = lanes(self.routed)
        used = max(lane_of.values(), default=-1) + 1
        x = self._columns(wide, used)
        boxes = tuple(self._box(box, x[box.column], wide[box.column]) for box in self.content.boxes)
        lane_at = x[Column.RAIL] + wide[Column.RAIL] + self._beside("right", Column.MIDDLE)
        wires = tuple(self._wires(boxes, lane_of, lane_at, x))
        right = max(
            [box.frame.x + box.frame.width for box in boxes]
            + [label.box.x + label.box.width for wire in wires for label in wire.labels]
        )
        bottom = max((box.bottom for box in self.content.boxes), default=0) * ROW
        return PlacedPage(
            self.content, boxes, wires, max(right + MARGIN, NARROWEST), HEAD + bottom + FOOT
        )

    def _column_width(self, column: Column) -> float:
        boxes = [box for box in self.content.boxes if box.column == column]
        return max((_box_width(box) for box in boxes), default=0.0)

    def _columns(self, wide: Mapping[Column, float], lanes_used: int) -> dict[Column, float]:
        """Where each column begins."""
        first = MARGIN
        flags = self._stubs("left", (Column.MIDDLE,))
        across = wide[Column.BUS] + self._between(Column.BUS)
        x = {Column.BUS: first, Column.MIDDLE: first + max(across, flags)}
        flags = self._stubs("left", (Column.RAIL,))
        across = wide[Column.MIDDLE] + self._between(Column.MIDDLE)
        x[Column.RAIL] = max(x[Column.MIDDLE] + across, first + flags)
        after = x[Column.RAIL] + wide[Column.RAIL] + self._beside("right", Column.MIDDLE)
        after += _LANE * lanes_used + self._beside("left", Column.BOARD)
        x[Column.BOARD] = after
        gap = max(self._between(Column.BOARD), self._stubs("left", (Column.HEAD,)))
        x[Column.HEAD] = after + wide[Column.BOARD] + gap
        return x

    def _between(self, column: Column) -> float:
        """Room for the words of the wires that begin at a column and end in the next ones."""
        words = [
            _wide(self._words(self.wires[number], left[1]))
            for number, (left, right) in self.lines.items()
            if left[0].column == column and right[0].column != Column.BOARD
        ]
        return max(words, default=0.0) + 2 * _AIR + 6

    def _stubs(self, side: str, columns: Iterable[Column]) -> float:
        words = [
            _wide(self.stub_words(pin))
            for box in self.content.boxes
            for pin in box.pins
            if self._hung_at(box, pin) in columns
            if pin.side == side and pin.wire not in self.lines
        ]
        return max(words, default=0.0) + 2 * _AIR + 6 if words else 0.0

    def _hung_at(self, box: DeviceBox, pin: Pin) -> Column:
        """The column beside which the words of a piece of wire stand: beyond the detector that it
        passes through."""
        passes = box.column == Column.RAIL and self.wires[pin.wire].conductor.through
        return Column.MIDDLE if passes and pin.side == "left" else box.column

    def _beside(self, side: str, column: Column) -> float:
        """Room beside the lanes for what is written there."""
        columns = (Column.MIDDLE, Column.RAIL) if side == "right" else (column,)
        words = [self._stubs(side, columns)]
        for number, (left, right) in self.lines.items():
            if right[0].column == Column.BOARD:
                wire = self.wires[number]
                text = self._words(wire, left[1]) if side == "right" else str(number)
                words.append(_wide(text) + 2 * _AIR + 6)
        return max(words)

    # -------------------------------------------------------------- boxes

    def _box(self, box: DeviceBox, x: float, width: float) -> PlacedBox:
        y = HEAD + box.top * ROW
        frame = Box(x, y, width, box.rows * ROW - 2)
        title = Label(box.title, Box(x + _PAD, y + 2, _bold(box.title), BOLD + 1))
        pins, texts = [], []
        for n, words in enumerate(box.notes, start=1):
            texts.append(Label(words, _text_box(x + _PAD, _mid(box.top + n), words)))
        for pin in box.pins:
            mid = _mid(pin.row)
            left = pin.side == "left"
            pins.append(PlacedPin(pin, (x if left else x + width, mid)))
            words = _pin_words(pin)
            at = x + _PAD if left else x + width - _PAD - _wide(words)
            texts.append(Label(words, _text_box(at, mid, words)))
        rings = []
        for row, words in box.rings:
            at = x + width - _PAD - _wide(words)
            rings.append(((x + 14, _mid(row)), Label(words, _text_box(at, _mid(row), words))))
        return PlacedBox(box, frame, title, tuple(pins), tuple(texts), tuple(rings))

    # -------------------------------------------------------------- wires

    def _wires(
        self,
        boxes: Iterable[PlacedBox],
        lane_of: Mapping[int, int],
        lane_at: float,
        x: Mapping[Column, float],
    ) -> Iterable[PlacedWire]:
        at = {one.pin.terminal: one.at for box in boxes for one in box.pins}
        for box in self.content.boxes:
            for pin in box.pins:
                if pin.wire not in self.lines:
                    yield self._stub(pin, at[pin.terminal], x[self._hung_at(box, pin)])
        for number, (left, right) in self.lines.items():
            wire = self.wires[number]
            start, end = at[left[1].terminal], at[right[1].terminal]
            points: tuple[Point, ...] = (start, end)
            words = self._words(wire, left[1])
            labels = [_label(start[0] + _AIR + 4, start[1], words)]
            if start[1] != end[1]:
                lane = lane_at + _LANE * lane_of[number]
                points = (start, (lane, start[1]), (lane, end[1]), end)
            if number in lane_of:
                labels.append(_label(end[0] - _AIR - 4 - _wide(str(number)), end[1], str(number)))
            yield PlacedWire(wire, points, tuple(labels), None)

    def _stub(self, pin: Pin, at: Point, column: float) -> PlacedWire:
        words = self.stub_words(pin)
        left = pin.side == "left"
        tip = (min(at[0], column) - _AIR if left else at[0] + _AIR, at[1])
        x = tip[0] - 3 - _wide(words) if left else tip[0] + 3
        return PlacedWire(
            self.wires[pin.wire], (at, tip), (_label(x, at[1], words),), self.far(pin)
        )


def place(contents: Iterable[PageContent], harness: Harness) -> tuple[PlacedPage, ...]:
    """Every page with places. Pages are counted from 1."""
    contents = tuple(contents)
    page_of = {
        pin.terminal: number
        for number, content in enumerate(contents, start=1)
        for box in content.boxes
        for pin in box.pins
    }
    return tuple(
        _Placer(content, harness, page_of, number).placed()
        for number, content in enumerate(contents, start=1)
    )


def _pin_words(pin: Pin) -> str:
    number = str(pin.terminal.number)
    parts = (number, pin.text) if pin.side == "left" else (pin.text, number)
    return " ".join(filter(None, parts))


def _box_width(box: DeviceBox) -> float:
    rows: dict[int, float] = {}
    for pin in box.pins:
        rows[pin.row] = rows.get(pin.row, 2 * _PAD) + _wide(_pin_words(pin)) + _PAD
    rings = [_wide(words) + 28 + 2 * _PAD for _, words in box.rings]
    notes = [_wide(words) + 2 * _PAD for words in box.notes]
    return max([_bold(box.title) + 2 * _PAD, *rows.values(), *rings, *notes])


def _mid(row: int) -> float:
    return HEAD + row * ROW + ROW / 2 - 1


def _wide(words: str) -> float:
    return text_width(words, SMALL)


def _bold(words: str) -> float:
    return text_width(words, BOLD) * _BOLDER


def _text_box(x: float, middle: float, words: str) -> Box:
    return Box(x, middle - SMALL / 2 - 1, _wide(words), SMALL + 2)


def _label(x: float, middle: float, words: str) -> Label:
    return Label(words, _text_box(x, middle, words))
