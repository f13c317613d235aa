"""Numbered wires and terminals, terminal blocks and cables: what the wiring list, the wiring
diagram and the labels all print.

In: a plan, and the colors of wire at hand. Out: a :class:`Harness`. Every wire end has a terminal
of its own, so that no screw takes two wires; terminals at one port are joined by a jumper.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from verifier.language.source import Span
from verifier.plan.model import Plan
from verifier.plan.signals.heads import signal_of
from verifier.plan.wiring.faults import FaultKind, fault_name
from verifier.plan.wiring.wiring_model import Fuse
from verifier.sheets.conductors import Conductor, Role, conductors
from verifier.sheets.ends import Device, End
from verifier.sheets.wire_colors import Colors, assign_colors, functions_of

# Ports that come first on every device.
_FIRST = ("+", "-")
# Wires of these run by themselves: what flows in them is strong, and it changes quickly.
_ALONE: frozenset[Role] = frozenset(("track power", "track return", "booster feed", "frog"))
# Of a pair these have the fuse.
_HOT: frozenset[Role] = frozenset(("track power", "power"))
# Where rails begin there is no terminal block: the wire is soldered on.
SOLDERED = "block"


@dataclass(frozen=True, slots=True, order=True)
class Terminal:
    """One terminal of a device; those of each device are numbered from 1."""

    device: Device
    number: int

    def __str__(self) -> str:
        return f"{self.device.title}:{self.number}"


@dataclass(frozen=True, slots=True)
class Wire:
    """A conductor with its number. ``start`` and ``end`` are None where the file does not say what
    it comes from or goes to; ``cable``: the number of the cable it may lie in; ``fuse``: one of its
    own, where it begins."""

    number: int
    conductor: Conductor
    color: str
    start: Terminal | None
    end: Terminal | None
    cable: int | None
    fuse: Fuse | None = None

    @property
    def ends(self) -> tuple[tuple[End, Terminal | None], ...]:
        return (self.conductor.start, self.start), (self.conductor.end, self.end)


@dataclass(frozen=True, slots=True)
class TerminalBlock:
    """The terminals of a device, port by port: what stands there, and the terminals."""

    device: Device
    ports: tuple[tuple[str, tuple[Terminal, ...]], ...]

    @property
    def terminals(self) -> int:
        return sum(len(found) for _, found in self.ports)


@dataclass(frozen=True, slots=True)
class Cable:
    """Wires that run from one place to another side by side, proposed as one cable."""

    number: int
    between: tuple[str, str]
    wires: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Harness:
    """All wires of a layout in the order of the wiring list."""

    wires: tuple[Wire, ...]
    blocks: tuple[TerminalBlock, ...]
    cables: tuple[Cable, ...]
    colors: Colors


def harness(plan: Plan, given: Sequence[tuple[str, Span]] | None = None) -> Harness:
    """Every wire numbered, colored and brought to its terminals. ``given``: the colors at hand.

    Raises :class:`InputError` where colors run out."""
    found = conductors(plan)
    colors = assign_colors(functions_of(found), given, plan.source)
    at = _terminals(found)
    cables = tuple(_cables(plan, found))
    fuses = _fuses(plan)
    lies_in = {number: cable.number for cable in cables for number in cable.wires}
    wires = tuple(
        Wire(
            number, each, colors[each.function],
            at.get((number, "start")), at.get((number, "end")), lies_in.get(number),
            fuses.get(each.name) if each.function.role in _HOT else None,
        )
        for number, each in enumerate(found, start=1)
    )  # fmt: skip
    return Harness(wires, tuple(_blocks(wires)), cables, colors)


def _fuses(plan: Plan) -> Mapping[str, Fuse]:
    """The fuses of single wires, by the name of the wire."""
    wiring = plan.wiring
    kinds = (
        (FaultKind.BUS, wiring.districts), (FaultKind.SUB_BUS, wiring.sub_buses),
        (FaultKind.FEEDER, wiring.feeders), (FaultKind.POWER_WIRE, wiring.drivers),
    )  # fmt: skip
    return {
        fault_name(kind, name): each.fuse
        for kind, those in kinds
        for name, each in those.items()
        if each.fuse is not None
    }


_Place = tuple[int, str]  # the number of a wire, and which of its ends


def _terminals(found: Iterable[Conductor]) -> Mapping[_Place, Terminal]:
    """The terminal of each wire end. Power comes first on a device, then port by port in the order
    of the list; lamps in the order of their heads, each with its common."""
    ports: dict[Device, dict[str, list[_Place]]] = {}
    for number, each in enumerate(found, start=1):
        for which, end in (("start", each.start), ("end", each.end)):
            if end.device.kind == "not given":
                continue
            lamp = each.function.role == "lamp common" and which == "start"
            port = f"{end.port} {number}" if lamp else end.port
            ports.setdefault(end.device, {}).setdefault(port, []).append((number, which))
    at: dict[_Place, Terminal] = {}
    for device, its in ports.items():
        ordered = sorted(its, key=lambda port: port not in _FIRST)
        places = (place for port in ordered for place in its[port])
        at |= {place: Terminal(device, n) for n, place in enumerate(places, start=1)}
    return at


def _blocks(wires: Iterable[Wire]) -> Iterator[TerminalBlock]:
    found: dict[Device, dict[str, list[tuple[str, Terminal]]]] = {}
    for wire in wires:
        for end, terminal in wire.ends:
            if terminal is not None:
                ports = found.setdefault(end.device, {})
                ports.setdefault(end.port, []).append((end.shown, terminal))
    for device, ports in found.items():
        yield TerminalBlock(
            device,
            tuple((its[0][0], tuple(sorted(t for _, t in its))) for its in ports.values()),
        )


def _cables(plan: Plan, found: Iterable[Conductor]) -> Iterator[Cable]:
    """Two wires or more that run between the same two places."""
    together: dict[tuple[str, str], list[int]] = {}
    for number, each in enumerate(found, start=1):
        places = (_place(each.start, each, plan), _place(each.end, each, plan))
        if each.function.role in _ALONE or "" in places:
            continue
        one, other = places
        way = (other, one) if (other, one) in together else (one, other)
        together.setdefault(way, []).append(number)
    several = (
        (way, wires) for way, wires in together.items() if len(wires) > 1 and way[0] != way[1]
    )
    for number, (way, wires) in enumerate(several, start=1):
        yield Cable(number, way, tuple(wires))


def _place(end: End, wire: Conductor, plan: Plan) -> str:
    """Where a device stands, as far as cables go: detectors of a district side by side, heads on
    their mast, a fuse at its supply; empty where the file does not say."""
    device = end.device
    match device.kind:
        case "not given":
            return ""
        case "detector":
            district = plan.wiring.district_of.get(plan.wiring.detectors[device.name].block)
            return f"detectors of {district}" if district else device.name
        case "head":
            return f"signal {signal_of(device.name, plan.signals)}"
        case "indicator" | "bell":
            return "the panel"
        case "fuse":
            return device.name
        case _:
            return device.title
