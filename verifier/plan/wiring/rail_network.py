"""The rails of a block between its feeders as a network of resistances: data.

Nodes are numbers; resistances, in ohms, are intervals.
"""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, replace
from enum import Enum, auto


@dataclass(frozen=True, slots=True)
class Between:
    """An amount that lies somewhere between two others, both included; ``most`` may be without
    limit."""

    least: float
    most: float

    def times(self, factor: float) -> "Between":
        return Between(self.least * factor, self.most * factor if factor else 0.0)

    def plus(self, other: "Between") -> "Between":
        return Between(self.least + other.least, self.most + other.most)


ANYTHING = Between(0.0, 1.0)


@dataclass(frozen=True, slots=True)
class Stretch:
    """Rail from one node to another."""

    a: int
    b: int
    ohms: Between


@dataclass(frozen=True, slots=True)
class Tap:
    """A feeder, and the node at which it is joined to the rail."""

    feeder: str
    node: int
    ohms: Between


@dataclass(frozen=True, slots=True)
class RailCircuit:
    """One rail of a block. ``places``: by feeder, the nodes at which the share is least and most
    for stock that is nearer to it than to any other."""

    stretches: tuple[Stretch, ...]
    taps: tuple[Tap, ...]
    places: tuple[tuple[str, tuple[int, ...]], ...]

    def without(self, broken: Collection[str]) -> "RailCircuit":
        """The same with some feeders broken."""
        return replace(self, taps=tuple(t for t in self.taps if t.feeder not in broken))

    def as_seen_from(self, at: int) -> list[Stretch]:
        """Its stretches, for stock at a node, without those that lead nowhere, and with those in
        one line made one."""
        kept = {at, *(tap.node for tap in self.taps)}
        stretches = [s for s in self.stretches if s.a != s.b]
        while True:
            ends: dict[int, list[Stretch]] = defaultdict(list)
            for stretch in stretches:
                ends[stretch.a].append(stretch)
                ends[stretch.b].append(stretch)
            bare = next((n for n, those in ends.items() if n not in kept and len(those) < 3), None)
            if bare is None:
                return stretches
            gone = ends[bare]
            stretches = [s for s in stretches if s not in gone]
            if len(gone) == 2:
                a, b = (s.b if s.a == bare else s.a for s in gone)
                if a != b:
                    stretches.append(Stretch(a, b, gone[0].ohms.plus(gone[1].ohms)))


class Lacking(Enum):
    """What keeps the rails of a block from being known as a network."""

    DIODES = auto()
    BUS = auto()
    FUSE = auto()
    RAIL = auto()
    LENGTH = auto()
    PLACE = auto()
    WIRE = auto()
    POINTS = auto()
    INSIDE = auto()
    TRACKWORK = auto()


@dataclass(frozen=True, slots=True)
class Unknown:
    """What the file lacks, and of which feeder or turnout; of points, to which end of another
    turnout their distance is lacking."""

    lacking: Lacking
    subject: str
    beyond: tuple[str, str] = ("", "")
