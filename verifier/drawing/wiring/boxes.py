"""What stands on a page of the wiring diagram, before it has places: boxes with pins.

In: the harness of a layout. Out: *stacks* of boxes on a raster of rows, at the left what speaks
(bus and rails, detectors, contacts, movers), at the right what listens (boards, relays, heads).
A box is a part of a device: a bus is drawn beside each block that it feeds, with the terminals
that belong there. Every wire end is one pin, on one page.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import IntEnum
from typing import Literal

from verifier.plan.model import Plan
from verifier.properties.amounts import amps, volts
from verifier.sheets.ends import Device, End
from verifier.sheets.terminals import Harness, Terminal, Wire
from verifier.sheets.unlisted import not_listed

# What a board lights, or rings.
LIT = ("head", "indicator", "bell")

Side = Literal["left", "right"]


class Column(IntEnum):
    """From left to right: the bus; detectors, movers and supplies; rails, machines and fuses;
    boards, relays and buses that are fed; heads."""

    BUS, MIDDLE, RAIL, BOARD, HEAD = range(5)


@dataclass(frozen=True, slots=True)
class Pin:
    """A terminal in a row of its box; ``wire``: the one that ends at it."""

    terminal: Terminal
    wire: int
    row: int
    side: Side
    text: str


@dataclass(frozen=True, slots=True)
class DeviceBox:
    """A device, or a part of it. ``top``: the row of its title; ``rows``: how many there are with
    it. ``rings``: the rows in which wires pass through it, with what is written beside each.
    ``notes`` are written below the title, where there are no pins."""

    device: Device
    title: str
    column: Column
    top: int
    rows: int
    pins: tuple[Pin, ...]
    rings: tuple[tuple[int, str], ...] = ()
    notes: tuple[str, ...] = ()

    def down(self, by: int) -> "DeviceBox":
        """The same box so many rows further down."""
        return replace(
            self,
            top=self.top + by,
            pins=tuple(replace(pin, row=pin.row + by) for pin in self.pins),
            rings=tuple((row + by, words) for row, words in self.rings),
        )

    @property
    def bottom(self) -> int:
        return self.top + self.rows


Stack = tuple[DeviceBox, ...]  # boxes that keep their places to each other


def height(stack: Stack) -> int:
    return max((box.bottom for box in stack), default=0)


@dataclass(frozen=True, slots=True)
class _WireEnd:
    wire: Wire
    end: End
    terminal: Terminal


class Boxes:
    """The stacks of a layout. Each wire end is drawn by just one of the methods."""

    def __init__(self, plan: Plan, harness: Harness):
        self.plan, self.harness = plan, harness
        self._at: dict[Device, list[_WireEnd]] = {}
        for wire in harness.wires:
            for end, terminal in wire.ends:
                if terminal is not None:
                    self._at.setdefault(end.device, []).append(_WireEnd(wire, end, terminal))

    def ends(self, *devices: Device) -> list[_WireEnd]:
        return [one for device in devices for one in self._at.get(device, ())]

    # -------------------------------------------------------------- track

    def track(self, block: str) -> Iterator[Stack]:
        """Sub-buses and feeders of a block, with the detectors that they pass through."""
        wiring = self.plan.wiring
        sub_buses = [
            name for name, bus in wiring.sub_buses.items()
            if bus.feeders and wiring.feeders[bus.feeders[0]].block == block
        ]  # fmt: skip
        waiting = [detector.name for detector in wiring.detectors_of(block)]
        for target in (*(Device("sub-bus", name) for name in sub_buses), Device("block", block)):
            feeds = [
                one.wire for one in self.ends(target) if one.wire.conductor.end.device == target
            ]
            for through, its in _by_detector(feeds):
                own = through[0] if len(through) == 1 and through[0] in waiting else None
                if own is not None:
                    waiting.remove(own)
                yield self._feeds(target, through, its, own)
        for name in waiting:
            yield self._feeds(None, (name,), [], name)

    def _feeds(
        self,
        target: Device | None,
        through: tuple[str, ...],
        wires: Sequence[Wire],
        own: str | None,
    ) -> Stack:
        """Wires from one bus to one block or sub-bus: those that pass through a detector first.
        ``own``: the detector whose own terminals are drawn here."""
        boxes: list[DeviceBox] = []
        pins = self._detector_pins(own) if own else ()
        head = 1 + max((pin.row for pin in pins), default=-1)
        first = head + 1
        rows = {wire.number: first + n for n, wire in enumerate(wires)}
        rings = tuple(
            (rows[wire.number], _turns(dict(wire.conductor.through)))
            for wire in wires if wire.conductor.through
        )  # fmt: skip
        if through:
            top = 0 if own else head
            last = max((row for row, _ in rings), default=max((p.row for p in pins), default=top))
            title = " + ".join(through)
            boxes.append(
                DeviceBox(
                    Device("detector", through[0]), title, Column.MIDDLE, top, last + 1 - top,
                    pins, rings,
                )
            )  # fmt: skip
        if target is not None:
            source = wires[0].conductor.start.device
            sides: tuple[tuple[Device, Column, Side], ...] = (
                (source, Column.BUS, "right"), (target, Column.RAIL, "left"),
            )  # fmt: skip
            for device, column, side in sides:
                its = tuple(
                    _pin(one, rows[one.wire.number], side)
                    for one in self.ends(device)
                    if one.wire.number in rows
                )
                if its:
                    boxes.append(_box(device, device.title, column, head, its))
        return tuple(boxes)

    def _detector_pins(self, name: str) -> tuple[Pin, ...]:
        ends = self.ends(Device("detector", name))
        power = [one for one in ends if one.end.port in ("+", "-")]
        outputs = [one for one in ends if one.end.port not in ("+", "-")]
        return (*_pins(power, 1, "left"), *_pins(outputs, 1, "right"))

    # -------------------------------------------------------------- points, levers

    def turnout(self, name: str) -> Stack:
        """A turnout, derail or gate: what moves it, its machine and its contacts."""
        device = Device("turnout", name)
        ends = self.ends(device)
        throws = [one for one in ends if one.wire.conductor.function.role == "throw"]
        others = [one for one in ends if one not in throws and not _of_frog(one)]
        returns = [one for one in others if one.wire.conductor.function.role == "return"]
        contacts = [one for one in others if one not in returns]
        if not ends:
            return ()
        boxes = []
        below = 1 + len(throws)
        if throws:
            mover = throws[0].wire.conductor.start.device
            own = {one.wire.number for one in throws}
            powers = [
                one for one in self.ends(mover)
                if one.wire.conductor.serves == name and self._moves(one)
                and one.wire.number not in own
            ]  # fmt: skip
            starts = [one for one in self.ends(mover) if one.wire.number in own]
            pins = (*_pins(powers, 1, "left"), *_pins(starts, 1, "right"))
            boxes.append(_box(mover, mover.title, Column.MIDDLE, 0, pins))
            below = max(below, boxes[0].bottom)
        pins = (
            *_pins(throws, 1, "left"), *_pins(contacts, 1, "right"), *_pins(returns, below, "left"),
        )  # fmt: skip
        # Below what moves it and its return, with a row for the title of the contact of its frog.
        rows = (pin.row + (2 if pin.side == "left" else 1) for pin in pins)
        top = max([below, *rows, *(box.bottom + 1 for box in boxes)])
        pins += _pins([one for one in ends if _of_frog(one)], top, "left")
        boxes.append(_box(device, name, Column.RAIL, 0, pins))
        return (*boxes, *self._frog(name, top))

    def _frog(self, name: str, row: int) -> Iterator[DeviceBox]:
        """The contact that sets a live frog, and the rails that it takes power from."""
        contact = Device("frog contact", name)
        ends = self.ends(contact)
        taken = [one for one in ends if not _of_frog(one)]
        if not ends:
            return
        pins = (*_pins(taken, row, "left"),
                *_pins([one for one in ends if _of_frog(one)], row, "right"))  # fmt: skip
        yield _box(contact, contact.title, Column.MIDDLE, row - 1, pins)
        rails = taken[0].wire.conductor.start.device
        numbers = {one.wire.number for one in taken}
        starts = [one for one in self.ends(rails) if one.wire.number in numbers]
        yield _box(rails, rails.title, Column.BUS, row - 1, _pins(starts, row, "right"))

    def panel(self, device: Device) -> Stack:
        """A lever or button, or an electric lock that a board opens: its contacts or its coil.
        What a lever throws is drawn with that."""
        ends = [one for one in self.ends(device) if not self._moves(one)]
        starts = [one for one in ends if one.wire.conductor.function.role == "contact"]
        others = [one for one in ends if one not in starts]
        if not ends:
            return ()
        pins = (*_pins(others, 1, "left"), *_pins(starts, 1, "right"))
        return (_box(device, device.title, Column.RAIL, 0, pins),)

    def _moves(self, one: _WireEnd) -> bool:
        """Whether a wire is there for a machine: it is drawn beside that."""
        conductor = one.wire.conductor
        roles = ("throw", "power", "return")
        return conductor.serves in self.plan.wiring.machines and conductor.function.role in roles

    # -------------------------------------------------------------- what listens

    def board(self, device: Device, order: Sequence[int]) -> Stack:
        """A board, or relays, with the heads and indicators it lights. ``order``: the wires as they
        come from the left, from the top."""
        place = {wire: n for n, wire in enumerate(order)}
        ends = [one for one in self.ends(device) if not self._moves(one)]
        if not ends:
            return ()
        lamps = [one for one in ends if one.wire.conductor.end.device.kind in LIT]
        inputs = [one for one in ends if one not in lamps and one.end.port not in ("+", "-")]
        inputs.sort(key=lambda one: (place.get(one.wire.number, len(place)), one.terminal.number))
        power = [one for one in ends if one.end.port in ("+", "-")]
        pins = [*_pins(power, 1, "left"), *_pins(inputs, 1 + len(power), "left")]
        boxes: list[DeviceBox] = []
        row = 0
        for head in dict.fromkeys(one.wire.conductor.end.device for one in lamps):
            its = [one for one in lamps if one.wire.conductor.end.device == head]
            pins += _pins(its, row + 1, "right")
            numbers = {one.wire.number for one in its}
            there = [one for one in self.ends(head) if one.wire.number in numbers]
            # The wire that heads have in common goes on from the first of them.
            onward = [one for one in self.ends(head) if one.wire.number not in numbers]
            at_head = (*_pins(there, row + 1, "left"), *_pins(onward, row + 1, "right"))
            boxes.append(_box(head, head.title, Column.HEAD, row, at_head))
            row += len(its) + 1
        return (_box(device, device.title, Column.BOARD, 0, tuple(pins)), *boxes)

    # -------------------------------------------------------------- power

    def supply(self, name: str) -> Stack:
        """A supply with its fuse, and the bus that it feeds in the same rows."""
        given = self.plan.wiring.supplies[name]
        device, fuse = Device("supply", name), Device("fuse", name)
        inner = next((one.wire.number for one in self.ends(fuse) if one.end.port == "in"), None)
        ends = self.ends(device)
        inputs = [one for one in ends if one.wire.conductor.end == one.end and
                  one.wire.conductor.function.role == "booster feed"]  # fmt: skip
        outs = [one for one in ends if one not in inputs]
        to_fuse = [one for one in outs if one.wire.number == inner]
        rest = [one for one in outs if one.wire.number != inner]
        behind = [one for one in self.ends(fuse) if one.end.port != "in"]
        buses = list(dict.fromkeys(
            one.wire.conductor.end.device for one in (*behind, *rest)
            if one.wire.conductor.end.device.kind == "bus"
        ))  # fmt: skip
        first = buses[0] if buses else None

        def for_bus(one: _WireEnd) -> bool:
            return one.wire.conductor.end.device == first

        behind.sort(key=for_bus)  # last, so that they stand next to the returns
        rest.sort(key=lambda one: (one.end.port == "return", not for_bus(one)))
        what = [amps(given.amps)] if given.amps is not None else []
        what = [volts(given.volts), *what] if given.volts is not None else what
        title = f"{name} {', '.join(what)}".rstrip()
        pins = [*_pins(inputs, 1, "left"), *_pins(to_fuse, 1, "right")]
        boxes: list[DeviceBox] = []
        row = 1
        if behind or to_fuse:
            own = [one for one in self.ends(fuse) if one.wire.number == inner]
            fused = (*_pins(own, 1, "left"), *_pins(behind, 1, "right"))
            rating = f" {amps(given.fuse)}" if given.fuse is not None else ""
            boxes.append(_box(fuse, f"fuse {name}{rating}", Column.RAIL, 0, fused))
            row = boxes[0].bottom
        # Returns stand below the fuse, so that their wires pass it.
        pins += _pins(rest, row, "right")
        boxes.insert(0, _box(device, title, Column.MIDDLE, 0, tuple(pins)))
        if first is not None:
            rows = {pin.wire: pin.row for box in boxes for pin in box.pins if pin.side == "right"}
            at = [one for one in self.ends(first) if one.wire.conductor.end.device == first]
            fed = tuple(_pin(one, rows[one.wire.number], "left") for one in at
                        if one.wire.number in rows)  # fmt: skip
            top = min(pin.row for pin in fed) - 1
            boxes.append(_box(first, first.title, Column.BOARD, top, fed))
        return tuple(boxes)

    def other_buses(self) -> Iterator[Stack]:
        """Each bus that is not the first of its supply."""
        seen: set[str] = set()
        for name, district in self.plan.wiring.districts.items():
            if district.supply in seen:
                device = Device("bus", name)
                at = [one for one in self.ends(device) if one.wire.conductor.end.device == device]
                if at:
                    yield (_box(device, device.title, Column.BOARD, 0, _pins(at, 1, "left")),)
            seen.add(district.supply)

    def unheard(self, drivers: Collection[str]) -> Stack:
        """What rules of these boards test without a wire in the file."""
        notes = []
        for what, by in not_listed(self.plan).items():
            here = [driver for driver in by if driver in drivers]
            if here:
                notes.append(what.to(", ".join(here)))
        if not notes:
            return ()
        title = "How these are wired is not in the file:"
        device = Device("not given", title)
        return (DeviceBox(device, title, Column.RAIL, 0, 1 + len(notes), (), notes=tuple(notes)),)


def _by_detector(wires: Iterable[Wire]) -> Iterator[tuple[tuple[str, ...], list[Wire]]]:
    """The wires of each feeder by the detectors that it passes through and the bus that it comes
    from; of each group those of the cut rail first."""
    cut = {w.conductor.name: tuple(name for name, _ in w.conductor.through)
           for w in sorted(wires, key=lambda w: bool(w.conductor.through))}  # fmt: skip
    groups: dict[tuple[tuple[str, ...], Device], list[Wire]] = {}
    for wire in wires:
        key = cut[wire.conductor.name], wire.conductor.start.device
        groups.setdefault(key, []).append(wire)
    for (through, _), its in groups.items():
        yield through, sorted(its, key=lambda w: w.conductor.function.role == "track return")


def _of_frog(one: _WireEnd) -> bool:
    return one.wire.conductor.function.role == "frog"


def _turns(through: dict[str, int]) -> str:
    return ", ".join(f"{turns} turns" if turns > 1 else "1 turn" for turns in through.values())


def _pin(one: _WireEnd, row: int, side: Side) -> Pin:
    return Pin(one.terminal, one.wire.number, row, side, one.end.shown)


def _pins(ends: Sequence[_WireEnd], first: int, side: Side) -> tuple[Pin, ...]:
    return tuple(_pin(one, first + n, side) for n, one in enumerate(ends))


def _box(device: Device, title: str, column: Column, top: int, pins: tuple[Pin, ...]) -> DeviceBox:
    return DeviceBox(
        device, title, column, top, max((pin.row for pin in pins), default=top) + 1 - top, pins
    )
