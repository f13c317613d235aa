"""How current divides between the feeders of a block: nodal analysis with intervals.

In: the rails of a block between its feeders, as a network: nodes, the rail between them and the
feeders at them, each with its resistance as an interval. Out: the least and the most of the current
of stock at some node that flows through some of the feeders, as a share of 1. Resistances in ohms.

The supply end of all feeders is one node. Stock draws through all feeders. By reciprocity the share
of some of them is the voltage where it stands with the supply end of these held at 1 V, of the
others at 0 V, and no stock.

The bounds are exact but for rounding, by two facts:

- The share is a linear fraction in each single resistance, so that it is monotone in it. Over a box
  of resistances it is least and most at corners of the box.
- Feeders carry current toward stock only. More resistance in a counted feeder takes from the
  share, in any other it adds to it. More resistance in rail that is the only way to some feeders
  takes from these: where all of them are counted it lowers the share, where none is it raises it.
  Only where they are of both kinds, and on a way round, are both ends tried.

Between two nodes the voltage is monotone along the rail, and constant where no feeder is beyond, so
that over a stretch it is least and most at its ends.

A rail joint may be open (resistance without limit). If no feeder reaches stock, it draws nothing.
"""

from collections.abc import Collection, Sequence
from itertools import product
from math import inf

from verifier.plan.wiring.rail_network import Between, RailCircuit, Stretch

# More combinations of ends than this are not tried.
MAX_CORNERS = 256
# What floats may be off by, generously.
ROUNDING = 1e-9


Wires = Sequence[tuple[int, int, float]]  # from node to node, with so many ohms
Feeds = Sequence[tuple[int, float, bool]]  # at a node, with so many ohms; whether it counts


def share(wires: Wires, feeds: Feeds, at: int) -> float | None:
    """The share of the counted feeders in the current drawn at a node; None where no feeder
    reaches it."""
    near = _one_node(wires, at)
    open_ = [(near(a), near(b), 1 / ohms) for a, b, ohms in wires if 0 < ohms < inf]
    reached, grew = {near(at)}, True
    while grew:
        more = {n for a, b, _ in open_ if (a in reached) != (b in reached) for n in (a, b)}
        grew = not more <= reached
        reached |= more
    held = [(near(n), 1 / ohms, on) for n, ohms, on in feeds if near(n) in reached and ohms < inf]
    if not held:
        return None
    row_of = {node: i for i, node in enumerate(sorted(reached - {near(at)}))}
    row_of[near(at)] = len(row_of)  # the last one, so that its voltage is found first
    rows = [[0.0] * (len(row_of) + 1) for _ in row_of]
    for a, b, siemens in open_:
        if a in reached and a != b:
            for one, other in ((row_of[a], row_of[b]), (row_of[b], row_of[a])):
                rows[one][one] += siemens
                rows[one][other] -= siemens
    for node, siemens, on in held:
        rows[row_of[node]][row_of[node]] += siemens
        rows[row_of[node]][-1] += siemens * on
    return _last_unknown(rows)


def _one_node(wires: Wires, at: int) -> "_Joined":
    joined = _Joined()
    for a, b, ohms in wires:
        if ohms == 0:
            joined.join(a, b)
    return joined


class _Joined:
    """Nodes that rail without resistance makes one."""

    def __init__(self) -> None:
        self._root: dict[int, int] = {}

    def __call__(self, node: int) -> int:
        while node in self._root:
            node = self._root[node]
        return node

    def join(self, a: int, b: int) -> None:
        if self(a) != self(b):
            self._root[self(a)] = self(b)


def _last_unknown(rows: list[list[float]]) -> float:
    """The last unknown of linear equations with a dominant diagonal."""
    size = len(rows)
    for i in range(size):
        for row in rows[i + 1 :]:
            if row[i]:
                factor = row[i] / rows[i][i]
                for j in range(i, size + 1):
                    row[j] -= factor * rows[i][j]
    return rows[-1][-1] / rows[-1][-2]


# ------------------------------------------------------------------ intervals


def share_at(circuit: RailCircuit, counted: Collection[str], at: int) -> Between | None:
    """The least and the most share of the counted feeders for stock at a node; None where that
    would take too long to find."""
    lowest, highest = (_corners(circuit, counted, at, lowest=lowest) for lowest in (True, False))
    if lowest is None or highest is None:
        return None
    return Between(
        max(0.0, min(lowest, default=0.0) - ROUNDING),
        min(1.0, max(highest, default=1.0) + ROUNDING),
    )


def _corners(
    circuit: RailCircuit, counted: Collection[str], at: int, *, lowest: bool
) -> list[float] | None:
    """The shares at the corners among which the lowest, or highest, one is; None: too many."""
    stretches = circuit.as_seen_from(at)
    feeds = [
        (t.node, t.ohms.most if (t.feeder in counted) == lowest else t.ohms.least,
         t.feeder in counted)
        for t in circuit.taps
    ]  # fmt: skip
    ends: list[tuple[float, ...]] = []
    corners = 1
    for number, stretch in enumerate(stretches):
        least, most = stretch.ohms.least, stretch.ohms.most
        kinds = _beyond([s for i, s in enumerate(stretches) if i != number], feeds, at)
        if kinds is not None and len(kinds) == 1:
            ends.append((most if kinds == {lowest} else least,))
        else:
            ends.append((least, most))
        corners *= len(ends[-1])
    if corners > MAX_CORNERS:
        return None
    wires = ([(s.a, s.b, o) for s, o in zip(stretches, ohms, strict=True)]
             for ohms in product(*ends))  # fmt: skip
    return [found for each in wires if (found := share(each, feeds, at)) is not None]


def _beyond(others: Sequence[Stretch], feeds: Feeds, at: int) -> set[bool] | None:
    """Whether the feeders count that only one stretch leads to from a node, given all the others;
    None where it is no only way."""
    reached, grew = {at}, True
    while grew:
        more = {n for s in others if (s.a in reached) != (s.b in reached) for n in (s.a, s.b)}
        grew = not more <= reached
        reached |= more
    beyond = {on for node, _, on in feeds if node not in reached}
    return beyond or None


def share_near(circuit: RailCircuit, counted: Collection[str], nearest: str) -> Between | None:
    """The same for stock anywhere nearer to a feeder than to any other."""
    found = [share_at(circuit, counted, node) for node in dict(circuit.places)[nearest]]
    known = [share for share in found if share is not None]
    if len(known) < len(found):
        return None
    return Between(min(f.least for f in known), max(f.most for f in known))
