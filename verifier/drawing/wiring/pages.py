"""What goes onto which page of the wiring diagram.

In: a plan and its harness. Out: pages: the power plan first, then one for each control point in
the order of building, then the rest. What does not fit on a page goes onto another of its name.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf

from verifier.drawing.wiring.boxes import Boxes, DeviceBox, Stack, height
from verifier.plan.devices import devices
from verifier.plan.model import Plan
from verifier.plan.signals.heads import signal_of
from verifier.sheets.buying.build_order import NO_STEP, build_steps
from verifier.sheets.ends import Device
from verifier.sheets.terminals import Harness

POWER = "Power plan"
# Rows on a page that is still readable on a sheet of letter paper, and between two stacks.
MOST_ROWS = 64
APART = 1


@dataclass(frozen=True, slots=True)
class PageContent:
    """``names``: what stands on it, by name. ``boxes`` have their rows on the page."""

    title: str
    names: frozenset[str]
    boxes: tuple[DeviceBox, ...]

    @property
    def is_power(self) -> bool:
        return self.title == POWER


def page_contents(plan: Plan, harness: Harness) -> tuple[PageContent, ...]:
    """Every page with something on it."""
    boxes = Boxes(plan, harness)
    power = [boxes.supply(name) for name in plan.wiring.supplies]
    buses = list(boxes.other_buses())
    below = sum(height(stack) + APART for stack in power)
    found = list(_paged(POWER, power, buses, buses_from=below))
    for title, names in _places(plan, harness):
        left = list(_left(boxes, plan, names))
        right = list(_right(boxes, harness, left, names))
        found += _paged(title, left, right)
    return tuple(_with_signals(page, plan) for page in found if page.boxes)


def _with_signals(page: PageContent, plan: Plan) -> PageContent:
    """With the names of the signals whose heads stand on it."""
    heads = {box.device.name for box in page.boxes if box.device.kind == "head"}
    signals = (signal_of(head, plan.signals) for head in heads)
    return replace(page, names=page.names.union(signals))


def _places(plan: Plan, harness: Harness) -> Iterator[tuple[str, frozenset[str]]]:
    """Title of each place, and what belongs there; relays belong to the first."""
    devices = {block.device.name: block.device for block in harness.blocks}
    relays = {name for name, device in devices.items() if device.kind == "relay"}
    placed: set[str] = set()
    for step in build_steps(plan):
        names = frozenset((*step.things, *relays)) - placed
        placed |= names
        yield step.title, names
    yield NO_STEP, frozenset((*devices, *plan.blocks, *plan.wiring.detectors)) - placed


def _left(boxes: Boxes, plan: Plan, names: frozenset[str]) -> Iterator[Stack]:
    """Levers and buttons; block by block in the order of the list, each with the points that lie on
    it."""
    for kind in ("lever", "button"):
        for device in _of_kind(boxes, kind):
            if device.name in names:
                yield boxes.panel(device)
    turnouts = [device for device in _of_kind(boxes, "turnout") if device.name in names]
    for district in (*plan.wiring.districts, None):
        for block in plan.blocks:
            if block in names and plan.wiring.district_of.get(block) == district:
                yield from boxes.track(block)
                for device in [d for d in turnouts if _block_of(plan, d.name) == block]:
                    turnouts.remove(device)
                    yield boxes.turnout(device.name)
    for device in _of_kind(boxes, "lock"):
        if device.name in names:
            yield boxes.panel(device)
    for device in turnouts:
        yield boxes.turnout(device.name)
    yield boxes.unheard([name for name in plan.wiring.drivers if name in names])


def _right(
    boxes: Boxes, harness: Harness, left: Iterable[Stack], names: frozenset[str]
) -> Iterator[Stack]:
    """Boards and relays, in the order of what comes from the left."""
    rows = _in_order(left)
    order = sorted(rows, key=lambda wire: rows[wire])
    listens = [d for kind in ("relay", "driver") for d in _of_kind(boxes, kind)]
    mine = [boxes.board(device, order) for device in listens if device.name in names]
    yield from sorted(mine, key=lambda stack: _middle(stack, rows))


def _middle(stack: Stack, rows: Mapping[int, int]) -> float:
    """How far down the middle of what a board hears is."""
    heard = [rows[pin.wire] for box in stack for pin in box.pins if pin.wire in rows]
    return sum(heard) / len(heard) if heard else inf


def _in_order(stacks: Iterable[Stack]) -> dict[int, int]:
    """By wire, how far down its end at the left is."""
    rows: dict[int, int] = {}
    top = 0
    for stack in stacks:
        for box in stack:
            rows |= {pin.wire: top + pin.row for pin in box.pins if pin.side == "right"}
        top += height(stack) + APART
    return rows


def _of_kind(boxes: Boxes, kind: str) -> list[Device]:
    return [block.device for block in boxes.harness.blocks if block.device.kind == kind]


def _block_of(plan: Plan, device: str) -> str | None:
    return next((d.block for d in devices(plan).values() if d.name == device), None)


def _paged(
    title: str, left: Sequence[Stack], right: Sequence[Stack], *, buses_from: int = 0
) -> Iterator[PageContent]:
    """As many pages as it takes; at the right, boxes begin at row ``buses_from`` of the first."""
    lefts = list(_filled(left, lambda stack: 0))
    rows = _in_order(left)

    def wanted(stack: Stack) -> int:
        """As far down as what it hears."""
        heard = [rows[p.wire] - p.row for box in stack for p in box.pins if p.wire in rows]
        return max(buses_from, sum(heard) // len(heard) if heard else 0)

    lowest = max((_bottom(boxes) for boxes in lefts), default=0)
    rights = list(_filled(right, wanted, MOST_ROWS if buses_from else lowest))
    for n in range(max(len(lefts), len(rights))):
        boxes = (*(lefts[n] if n < len(lefts) else ()), *(rights[n] if n < len(rights) else ()))
        names = frozenset(box.device.name for box in boxes)
        yield PageContent(title, names, boxes)


def _filled(
    stacks: Sequence[Stack], wanted: Callable[[Stack], int], most: int = MOST_ROWS
) -> Iterator[tuple[DeviceBox, ...]]:
    """Stacks below each other, each at the row where it is wanted or below that; no lower than
    row ``most`` where there is room for the rest of them above it."""
    row, page = 0, list[DeviceBox]()
    waiting = [stack for stack in stacks if stack]
    for n, stack in enumerate(waiting):
        if page and row + height(stack) > MOST_ROWS:
            yield tuple(page)
            row, page = 0, []
        below = sum(height(other) + APART for other in waiting[n:]) - APART
        row = max(row, min(wanted(stack), most - below))
        page += (box.down(row) for box in stack)
        row += height(stack) + APART
    if page:
        yield tuple(page)


def _bottom(boxes: Iterable[DeviceBox]) -> int:
    return max((box.bottom for box in boxes), default=0)
