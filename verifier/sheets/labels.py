"""Labels for wires, terminals and cables, with the numbers of the wiring list.

In: a plan, and the colors of wire at hand. Out: a sheet; :mod:`verifier.reports.labels` lays the
same labels out to print and cut.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from verifier.plan.model import Plan
from verifier.sheets.options import SheetOptions
from verifier.sheets.sheet import Sheet, Table
from verifier.sheets.terminals import SOLDERED, Cable, Harness, Wire, harness
from verifier.sheets.wiring import NO_WIRING


@dataclass(frozen=True, slots=True)
class WireLabel:
    """What is put around one end of a wire: its number, the terminal ``here``, and the one at its
    other end (``there``)."""

    number: int
    here: str
    there: str

    def __str__(self) -> str:
        return f"{self.number} {self.here} ({self.there})"


@dataclass(frozen=True, slots=True)
class StripLabel:
    """What is put along a terminal block: the name of its device, and by terminal the number with
    what is there."""

    title: str
    terminals: tuple[tuple[int, str], ...]


def wire_labels(wired: Harness) -> Iterator[tuple[WireLabel, WireLabel]]:
    """For each wire the label of its start and that of its end."""
    for wire in wired.wires:
        start, end = (str(terminal or end) for end, terminal in wire.ends)
        yield WireLabel(wire.number, start, end), WireLabel(wire.number, end, start)


def strip_labels(wired: Harness) -> Iterator[StripLabel]:
    """For each device with a terminal block. To rails wires are soldered."""
    for block in wired.blocks:
        if block.device.kind != SOLDERED:
            numbered = [(t.number, shown) for shown, found in block.ports for t in found]
            yield StripLabel(block.device.title, tuple(sorted(numbered)))


def cable_label(cable: Cable) -> str:
    """What is put around both ends of a cable."""
    return f"cable {cable.number}: {cable.between[0]} to {cable.between[1]}"


def label_sheet(plan: Plan, asked: SheetOptions) -> Sheet:
    """Every label, one wire after another. Raises :class:`InputError` where colors run out."""
    title = f"Labels: {plan.title}"
    wired = harness(plan, asked.colors)
    if not wired.wires:
        return Sheet("labels", title, (), (NO_WIRING,))
    wires = tuple(
        (str(wire.number), _kind(wire), str(start), str(end))
        for wire, (start, end) in zip(wired.wires, wire_labels(wired), strict=True)
    )
    strips = tuple(
        (strip.title, str(number), shown)
        for strip in strip_labels(wired)
        for number, shown in strip.terminals
    )
    tables = (
        Table("Wires", ("wire", "color", "label at its start", "label at its end"), wires,
              ("First the number of the wire, then the terminal it goes to at this end, and in "
               "parentheses the one at its other end.",), frozenset(("wire",))),
        Table("Terminal blocks", ("at", "terminal", "label"), strips,
              numeric=frozenset(("terminal",))),
        Table("Cables", ("cable", "label at both ends"),
              tuple((str(cable.number), cable_label(cable)) for cable in wired.cables),
              numeric=frozenset(("cable",))),
    )  # fmt: skip
    notes = (
        "`clearproof sheet FILE labels -o labels.html` lays them out to print and cut. Numbers are "
        "those of the wiring list and the wiring diagram of the same file: print all of them "
        "again when the file changes.",
    )
    return Sheet("labels", title, tuple(table for table in tables if table.rows), notes)


def _kind(wire: Wire) -> str:
    return f"{wire.color}, {wire.conductor.function.role}"
