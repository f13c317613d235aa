"""Addresses: for each signal on a packet bus, the number and the packet for all it may show.

In: a plan. Out: a sheet, to set decoders by and to hold a listener's record against.
"""

from collections.abc import Iterator
from itertools import product

from verifier.plan.model import Plan, Signal
from verifier.plan.observables import UNLISTED
from verifier.plan.signals.packet_model import Address, packet
from verifier.properties.packets import sent
from verifier.sheets.options import USUAL_OPTIONS, SheetOptions
from verifier.sheets.sheet import Row, Sheet, Table

_COLUMNS = ("address", "of", "shows", "number", "packet", "error byte")
_NOTES = (
    "Packets are the signal (extended accessory) packets of NMRA S-9.2.1, as bytes in hexadecimal; "
    "the error byte is the exclusive-or of the others. The standard says no more of numbers than "
    "that 0 is absolute stop: set each decoder by this sheet.",
    "Addresses are counted from 1, the first of the four that share the first two bytes being the "
    "first to be used (from memory). If yours counts otherwise, go by the bytes.",
)


def address_sheet(plan: Plan, _: SheetOptions = USUAL_OPTIONS) -> Sheet:
    title = f"Addresses of signals: {plan.title}"
    if not plan.packets.addresses:
        note = "The file gives no addresses: `address 12 is 4L` gives a signal one."
        return Sheet("addresses", title, (), (note,))
    rows = tuple(
        row
        for address in sorted(plan.packets.addresses, key=_number)
        for row in _rows(plan, address)
    )
    table = Table("By address", _COLUMNS, rows, (), frozenset({"address", "number"}))
    return Sheet("addresses", title, (table,), _NOTES)


def _number(address: Address) -> int:
    return address.number


def _rows(plan: Plan, address: Address) -> Iterator[Row]:
    """What may be shown there, the lowest number first."""
    what, numbers = sent(plan, address)
    signal = plan.signals.get(address.of)
    shown_there = what.values if signal is None else _commanded(signal, plan)
    known = [
        (numbers[value], value)
        for value in what.values
        if value in numbers and value in shown_there
    ]
    for number, shown in sorted(known):
        *data, check = (f"{byte:02X}" for byte in packet(address.number, number))
        told = "any other colors" if shown == UNLISTED else shown
        yield str(address.number), address.of, told, str(number), " ".join(data), check


def _commanded(signal: Signal, plan: Plan) -> set[str]:
    """The aspects that a signal may be commanded to show, by its rules or its drivers."""
    chart, heads = plan.chart_of(signal), signal.heads
    if signal.by_head:
        return {chart.reading(colors) for colors in product(*(h.color.values for h in heads))}
    driver = plan.wiring.driver_of(heads[0].name)
    all_heads = (driver.when_missing, driver.when_out, "dark") if driver else ()
    return {line.shows for line in signal.lines} | {
        chart.reading((color,) * len(heads)) for color in all_heads if color
    }
