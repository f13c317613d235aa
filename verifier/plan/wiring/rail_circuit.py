"""The rails of a block as a network of resistances, through its points.

In: the track and the wiring. Out: the :class:`RailCircuit` of one rail of a block between its
feeders; or what keeps it from being known.

Of a turnout either stock rail leads to one of its legs without a break. Rails to the other leg are
joined by point blades, jumpers and the rails beyond the frog; which leg that is differs from rail
to rail, and with the hand of the turnout. So of each leg the worse is taken. Unless the jumpers are
in the file (`bonded`), they and the blades may conduct well, badly or not at all, whichever way the
points lie. All of a turnout between its points and the places where these rails are joined again
(at most its fouling point) is a network with three ends. Any such network is equal to a star, and
within it no share is below, or above, those at all three ends and at the middle of the star.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf
from typing import Literal

from verifier.plan.model import Port, Track
from verifier.plan.track.turning import comes_back_turned
from verifier.plan.wiring.electrical_constants import ohms_per_meter
from verifier.plan.wiring.rail_network import (
    Between,
    Lacking,
    RailCircuit,
    Stretch,
    Tap,
    Unknown,
)
from verifier.plan.wiring.rail_places import Chain, chains_of, is_plain, placed
from verifier.plan.wiring.wiring_model import Feeder, Number, Rail, Run, Wiring

# Copper at 20 °C, and by how much it may differ: from the cold to 75 °C, where it has about a fifth
# more, and the tolerance of the wire (common practice, no source).
COPPER_LEAST, COPPER_MOST = 0.9, 1.25
# How many jumpers lie one behind the other at most: from a stock rail to the closure rail, and
# around the frog (common practice, no source).
JUMPERS_IN_LINE = 2


def rail_circuit(block: str, wiring: Wiring, track: Track) -> RailCircuit | Unknown:
    """The network of one rail of a block, or what keeps it from being known."""
    lacking = next(_lacking(block, wiring, track), None)
    if lacking is not None:
        return lacking
    rail = wiring.rails[block]
    if is_plain(block, track):
        feeders = wiring.feeders_of(block)
        network = _Network(rail)
        network.add_line([(f.at or Number(0), f.name) for f in feeders], None, None, cut=False)
    else:
        built = _with_points(block, rail, wiring, track)
        if isinstance(built, Unknown):
            return built
        network = built
    return network.circuit(wiring.feeders_of(block))


def _lacking(block: str, wiring: Wiring, track: Track) -> Iterator[Unknown]:
    feeders = wiring.feeders_of(block)
    names = {feeder.name for feeder in feeders}
    for detector in wiring.detectors.values():  # diodes hold some of the voltage back
        if names.intersection(detector.through) and detector.by not in (None, "coil"):
            yield Unknown(Lacking.DIODES, detector.name)
    # Of feeders from several places along the bus, nothing is known.
    if len({wiring.sub_bus_of(name) for name in names}) > 1:
        yield Unknown(Lacking.BUS, block)
    # A fuse has some of the resistance of a foot of wire, a resettable one many times as much
    # (common practice, no source). One of a sub-bus that all of them come from is common to all.
    yield from (Unknown(Lacking.FUSE, f.name) for f in feeders if f.fuse is not None)
    kinds = {piece.kind for piece in track.pieces.values() if piece.block == block}
    joints = [j for j in track.joints if block == track.pieces[j.a.piece].block
              == track.pieces[j.b.piece].block]  # fmt: skip
    plain = is_plain(block, track)
    if not plain and (not kinds <= {"plain", "turnout"} or comes_back_turned(joints, track)
                      or "turnout" not in kinds):  # fmt: skip
        yield Unknown(Lacking.TRACKWORK, block)
    if block not in wiring.rails:
        yield Unknown(Lacking.RAIL, block)
    if plain and block not in wiring.lengths:
        yield Unknown(Lacking.LENGTH, block)
    yield from (Unknown(Lacking.PLACE, f.name) for f in feeders if f.at is None)
    yield from (Unknown(Lacking.WIRE, f.name) for f in feeders if f.run is None)


# ------------------------------------------------------------------ through points


def _with_points(block: str, rail: Rail, wiring: Wiring, track: Track) -> "_Network | Unknown":
    chains = chains_of(block, track, wiring)
    unknown = next((c for c in chains if c.b is not None and c.length is None), None)
    if unknown is not None and unknown.b is not None:
        return Unknown(Lacking.POINTS, unknown.b.piece, (unknown.a.piece, unknown.a.end))
    on = {chain.a: placed(chain, wiring) for chain in chains}
    turnouts = {port.piece for chain in chains for port in (chain.a, chain.b) if port}
    inside = {name: _inside(name, chains, on, wiring) for name in turnouts}
    network = _Network(rail)
    for name in sorted(turnouts):
        network.add_turnout(name, inside[name], wiring)
    for chain in chains:
        begin, end = _from_points(chain.a, inside), None
        spots = on[chain.a]
        if chain.b is not None:
            end = (chain.length or Number(0)) - _from_points(chain.b, inside)
            if end < max([begin, *(at for at, _ in spots)]):
                return Unknown(Lacking.INSIDE, chain.b.piece)
        if any(at < begin for at, _ in spots):
            return Unknown(Lacking.INSIDE, chain.a.piece)
        last = None if chain.b is None or end is None else (end, network.end_of(chain.b))
        network.add_line(spots, (begin, network.end_of(chain.a)), last, cut=chain.cut)
    return network


def _from_points(port: Port, inside: "dict[str, Number]") -> Number:
    return Number(0) if port.end == "points" else inside[port.piece]


def _inside(
    name: str,
    chains: Sequence[Chain],
    on: "dict[Port, list[tuple[Number, str]]]",
    wiring: Wiring,
) -> Number:
    """How far beyond its points the rails of a turnout are joined at most: up to its fouling point;
    where the file does not give that, up to the next feeder or halfway to the next turnout."""
    machine = wiring.machines.get(name)
    if machine is not None and machine.fouling is not None:
        return machine.fouling
    limits: list[Number] = []
    for chain in chains:
        spots = on[chain.a]
        for port, ends in ((chain.a, spots), (chain.b, spots[::-1])):
            if port is None or port.piece != name or port.end == "points":
                continue
            whole = chain.length or Number(0)
            if ends:
                at = ends[0][0]
                limits.append(at if port == chain.a else whole - at)
            elif chain.b is not None:
                limits.append(whole / 2)
    return min(limits, default=Number(0))


# ------------------------------------------------------------------ the network


# Rail that stock may stand on: along it, along it with a gap somewhere, or within a turnout.
Kind = Literal["along", "gap", "within"]


@dataclass(frozen=True, slots=True)
class _Piece:
    a: int
    b: int
    length: Number
    kind: Kind


@dataclass(frozen=True, slots=True)
class _Ends:
    """The nodes of a turnout: its three ends, and the middle of the star."""

    points: int
    normal: int
    reverse: int
    middle: int

    def of(self, end: str) -> int:
        return {"points": self.points, "normal": self.normal, "reverse": self.reverse}[end]

    @property
    def all(self) -> tuple[int, ...]:
        return self.points, self.normal, self.reverse, self.middle


class _Network:
    """Nodes, rail between them, and the feeders at them, while they are put together."""

    def __init__(self, rail: Rail) -> None:
        most = float(rail.most) if rail.soldered else inf
        self._meter = Between(float(rail.least), most)
        self._count = 0
        self._pieces: list[_Piece] = []
        self._star: list[Stretch] = []
        self._at: dict[str, int] = {}
        self._turnouts: dict[str, _Ends] = {}

    def _node(self) -> int:
        self._count += 1
        return self._count - 1

    def end_of(self, port: Port) -> int:
        return self._turnouts[port.piece].of(port.end)

    def add_turnout(self, name: str, inside: Number, wiring: Wiring) -> None:
        ends = _Ends(self._node(), self._node(), self._node(), self._node())
        self._turnouts[name] = ends
        rails = Between(0.0, self._meter.times(float(inside)).most)
        machine = wiring.machines.get(name)
        link = Between(0.0, inf)
        if machine is not None and machine.bond is not None:
            link = Between(0.0, copper(machine.bond).most * JUMPERS_IN_LINE)
        self._star.append(Stretch(ends.points, ends.middle, rails))
        for leg in (ends.normal, ends.reverse):
            self._star.append(Stretch(ends.middle, leg, rails.plus(link)))
            self._pieces.append(_Piece(ends.points, leg, inside, "within"))

    def add_line(
        self,
        feeders: Sequence[tuple[Number, str]],
        begin: tuple[Number, int] | None,
        end: tuple[Number, int] | None,
        *,
        cut: bool,
    ) -> None:
        """Rail with feeders at some distances; ``begin`` and ``end``: the nodes that it leads to.
        ``cut``: there is a gap in it, which a train may bridge."""
        marks = [] if begin is None else [begin]
        last: tuple[Number, int] | None = begin
        for at, name in sorted(feeders):
            if last is None or last[0] != at:
                last = at, self._node()
                marks.append(last)
            self._at[name] = last[1]
        if end is not None:
            marks.append(end)
        kind: Kind = "gap" if cut else "along"
        for (here, a), (there, b) in pairwise(marks):
            self._pieces.append(_Piece(a, b, there - here, kind))

    def circuit(self, feeders: Sequence[Feeder]) -> RailCircuit:
        away = {f.name: self._distances(self._at[f.name]) for f in feeders}
        places: dict[str, set[int]] = {f.name: {self._at[f.name]} for f in feeders}
        stretches = list(self._star)
        for piece in self._pieces:
            marks = _boundaries(piece, away)
            nodes = [piece.a, *(self._node() for _ in marks[1:-1]), piece.b]
            for i, (first, last) in enumerate(pairwise(marks)):
                nearest = _nearest(piece, away, (first + last) / 2)
                where: tuple[int, ...] = (nodes[i], nodes[i + 1])
                if piece.kind == "within":
                    where = next(t.all for t in self._turnouts.values() if piece.a in t.all)
                else:
                    ohms = self._meter.times(float(last - first))
                    gap = Between(0.0, inf if piece.kind == "gap" else 0.0)
                    stretches.append(Stretch(nodes[i], nodes[i + 1], ohms.plus(gap)))
                for name in nearest:
                    places[name].update(where)
        taps = tuple(
            Tap(f.name, self._at[f.name], copper(f.run)) for f in feeders if f.run is not None
        )
        found = tuple((name, tuple(sorted(nodes))) for name, nodes in places.items())
        return RailCircuit(tuple(stretches), taps, found)

    def _distances(self, start: int) -> dict[int, Number]:
        """How far each node is from one, along the rails."""
        found: dict[int, Number] = {start: Number(0)}
        grew = True
        while grew:
            grew = False
            for piece in self._pieces:
                for here, there in ((piece.a, piece.b), (piece.b, piece.a)):
                    if here in found:
                        way = found[here] + piece.length
                        if there not in found or way < found[there]:
                            found[there], grew = way, True
        return found


Away = dict[str, dict[int, Number]]


def _boundaries(piece: _Piece, away: Away) -> list[Number]:
    """Where along a piece the nearest feeder may change, its ends among these."""
    marks = {Number(0), piece.length}
    for one in away.values():
        for other in away.values():
            if piece.a in one and piece.b in other:
                at = (other[piece.b] + piece.length - one[piece.a]) / 2
                if 0 < at < piece.length:
                    marks.add(at)
    kept = sorted(marks)
    if len(kept) < 2:
        return [Number(0), Number(0)]
    near = [_nearest(piece, away, (a + b) / 2) for a, b in pairwise(kept)]
    inner = [at for at, (one, other) in zip(kept[1:-1], pairwise(near), strict=True)
             if one != other]  # fmt: skip
    return [kept[0], *inner, kept[-1]]


def _nearest(piece: _Piece, away: Away, at: Number) -> frozenset[str]:
    """The feeders that are nearest to a place on a piece."""
    far = {
        name: min(to[piece.a] + at, to[piece.b] + piece.length - at)
        for name, to in away.items()
        if piece.a in to and piece.b in to
    }
    least = min(far.values(), default=None)
    return frozenset(name for name, distance in far.items() if distance == least)


def copper(run: Run) -> Between:
    """The resistance of one of the two wires of a run: one rail takes one."""
    ohms = float(run.length) * ohms_per_meter(run.gauge)
    return Between(ohms * COPPER_LEAST, ohms * COPPER_MOST)
