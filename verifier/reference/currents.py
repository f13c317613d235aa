"""Whether a detector surely detects its share of the current of stock, worked out exactly.

Part of the reference, the twin of :mod:`verifier.plan.wiring.rail_shares`. In: the rails of a block
as a network of resistances, each an interval. Out: whether the share of some feeders is surely
enough for a detector, surely not, or neither.

The supply is taken apart into the ends of the feeders that count and those of all others. All nodes
but these two and that of the stock are removed one by one: whatever meets at a node is replaced by
the conductances that this leaves between its neighbors (star to mesh). The two left say how the
current divides. Fractions, so that nothing is rounded.
"""

from collections.abc import Collection, Iterator, Mapping
from fractions import Fraction
from functools import lru_cache
from itertools import combinations, product
from math import inf
from typing import Literal

from verifier.plan.wiring.equipment import Division, Spot
from verifier.plan.wiring.rail_network import RailCircuit, Stretch

# Where current comes from: past the detector, and through it.
COUNTED, OTHERS = -1, -2
# The bounds in the plan are rounded outward by so much, and so is what is enough.
MARGIN = Fraction(1, 10**9)

Node = int
Mesh = dict[Node, dict[Node, Fraction]]  # conductances


def detects(division: Division, spot: Spot) -> Literal["surely", "never", "perhaps"]:
    """Whether the detector detects stock nearest to a feeder, with some feeders broken."""
    if spot not in division.known or not isinstance(division.circuit, RailCircuit):
        return "perhaps"
    least, most = bounds(division.circuit, division.through, *spot)
    if division.weakest is not None and (least - MARGIN) * (1 - MARGIN) * division.weakest >= 1:
        return "surely"
    if division.strongest is not None and (most + MARGIN) * (1 + MARGIN) * division.strongest < 1:
        return "never"
    return "perhaps"


@lru_cache(maxsize=1000)
def bounds(
    circuit: RailCircuit, through: tuple[str, ...], nearest: str, broken: tuple[str, ...]
) -> tuple[Fraction, Fraction]:
    """The least and the most share of the feeders through a detector."""
    whole = circuit.without(broken)
    nodes = next(nodes for feeder, nodes in circuit.places if feeder == nearest)
    # Where no feeder reaches stock, it draws nothing, and any share may be told of it.
    lowest = (min(_shares(whole, {*through}, at, True), default=Fraction(0)) for at in nodes)
    highest = (max(_shares(whole, {*through}, at, False), default=Fraction(1)) for at in nodes)
    return min(lowest), max(highest)


def _shares(
    circuit: RailCircuit, counted: Collection[str], at: Node, lowest: bool
) -> Iterator[Fraction]:
    """The shares at the corners among which the lowest, or highest, one is."""
    stretches = circuit.as_seen_from(at)
    ends = [_ends(stretch, stretches, circuit, counted, at, lowest) for stretch in stretches]
    for ohms in product(*ends):
        mesh: Mesh = {COUNTED: {}, OTHERS: {}}
        joined: dict[Node, Node] = {}
        for stretch, resistance in zip(stretches, ohms, strict=True):
            if resistance == 0:
                joined[_root(stretch.a, joined)] = _root(stretch.b, joined)
        for stretch, resistance in zip(stretches, ohms, strict=True):
            _connect(mesh, _root(stretch.a, joined), _root(stretch.b, joined), resistance)
        for tap in circuit.taps:
            counts = tap.feeder in counted
            resistance = tap.ohms.most if counts == lowest else tap.ohms.least
            source = COUNTED if counts else OTHERS
            _connect(mesh, _root(tap.node, joined), source, resistance)
        yield from _share(mesh, _root(at, joined))


def _ends(
    stretch: Stretch,
    stretches: Collection[Stretch],
    circuit: RailCircuit,
    counted: Collection[str],
    at: Node,
    lowest: bool,
) -> tuple[float, ...]:
    """Resistances of a stretch among which the share is lowest, or highest: what feeders bring
    that have no other way shrinks as it grows."""
    near, left = {at}, [s for s in stretches if s is not stretch]
    for _ in left:
        near |= {n for s in left if s.a in near or s.b in near for n in (s.a, s.b)}
    beyond = {tap.feeder in counted for tap in circuit.taps if tap.node not in near}
    if beyond == {lowest}:
        return (stretch.ohms.most,)
    return (stretch.ohms.least,) if beyond == {not lowest} else (
        stretch.ohms.least, stretch.ohms.most
    )  # fmt: skip


def _root(node: Node, joined: Mapping[Node, Node]) -> Node:
    while joined.get(node, node) != node:
        node = joined[node]
    return node


def _connect(mesh: Mesh, one: Node, other: Node, ohms: float) -> None:
    if one != other and 0 < ohms < inf:
        _conduct(mesh, one, other, 1 / Fraction(ohms))


def _conduct(mesh: Mesh, one: Node, other: Node, siemens: Fraction) -> None:
    for here, there in ((one, other), (other, one)):
        beside = mesh.setdefault(here, {})
        beside[there] = beside.get(there, Fraction(0)) + siemens


def _share(mesh: Mesh, at: Node) -> Iterator[Fraction]:
    """The share of the current at a node that comes from what counts; none where no feeder
    reaches it."""
    for node in [n for n in mesh if n not in (at, COUNTED, OTHERS)]:
        beside = mesh.pop(node)
        for other in beside:
            del mesh[other][node]
        total = sum(beside.values())
        for (one, first), (other, second) in combinations(beside.items(), 2):
            _conduct(mesh, one, other, first * second / total)
    beside = mesh.get(at, {})
    counted, others = (beside.get(end, Fraction(0)) for end in (COUNTED, OTHERS))
    if counted + others:
        yield counted / (counted + others)
