"""The five-route tram interlocking as explicit states: W2 of the notes on published
interlockings.

F. Zeyda, J. Ouy, S. Foster, A. Cavalcanti, "Formalised Cosimulation Models", CoSim-CPS 2017
[V-abs]; track, routes, points and signals read in the proof scripts `Topology.thy`,
`Railways_Spec.thy` and `Railways_Impl.thy` of the public Isabelle/UTP project [V].

One cycle: detectors see where trains stand; relays are set in the order 1, 2, 4, 3, 5, then
released; points follow the relays; signals follow relays and points; then trains move.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cache
from itertools import product

PATHS = {
    "V1Q1": (3, 4, 5), "V1Q2": (3, 4, 12, 8, 9, 10, 1), "Q2V2": (1, 10, 9, 8, 7, 6),
    "V1Q3": (3, 4, 12, 8, 9, 11, 2), "Q3V2": (2, 11, 9, 8, 7, 6),
}  # fmt: skip
RELAY = {"V1Q1": 1, "V1Q2": 2, "Q2V2": 3, "V1Q3": 4, "Q3V2": 5}
SETTING_ORDER = ("V1Q1", "V1Q2", "V1Q3", "Q2V2", "Q3V2")
OFF, DERAILED = 0, -1
SECTIONS = range(1, 14)
DETECTED = range(1, 12)

# What lets a relay be set: commands given, commands not given, relays off, sections clear.
SETTING = {
    "V1Q1": "+4 -3 r2 r4 c4 c5",
    "V1Q2": "+3 -4 r1 r3 r4 r5 c4 c8 c9 c10 c1",
    "Q2V2": "+1 r2 r4 r5 c10 c9 c8 c7 c6",
    "V1Q3": "+3 -4 r1 r2 r3 r5 c4 c8 c9 c11 c2",
    "Q3V2": "+2 r2 r3 r4 c11 c9 c8 c7 c6",
}
MISTAKES = [(route, test) for route, tests in SETTING.items() for test in tests.split()]
# [R] of the notes: those that can be told from the rules as they are.
KILLED = {("V1Q2", "r5"), ("Q2V2", "r2"), ("Q2V2", "r4"), ("Q2V2", "r5"), ("Q3V2", "r2"),
          ("Q3V2", "r4")}  # fmt: skip

# Where a train goes next: from a section, in a direction, with points lying straight (True) or
# diverging. "VQ" and "QV" are the two directions.
NEXT: dict[tuple[str, int], tuple[int, int | None, int]] = {
    # (direction, section): (next if the points lie straight, the points, next if they diverge)
    ("VQ", 3): (4, 1, DERAILED), ("VQ", 4): (5, 3, 12), ("VQ", 12): (DERAILED, 2, 8),
    ("VQ", 8): (9, None, 9), ("VQ", 9): (10, 5, 11), ("VQ", 10): (1, None, 1),
    ("VQ", 11): (2, None, 2), ("VQ", 5): (OFF, None, OFF), ("VQ", 1): (OFF, None, OFF),
    ("VQ", 2): (OFF, None, OFF), ("VQ", 6): (7, 4, 13), ("VQ", 7): (8, 2, DERAILED),
    ("VQ", 13): (DERAILED, 1, 4),
    ("QV", 1): (10, None, 10), ("QV", 2): (11, None, 11), ("QV", 10): (9, 5, DERAILED),
    ("QV", 11): (DERAILED, 5, 9), ("QV", 9): (8, None, 8), ("QV", 8): (7, 2, 12),
    ("QV", 7): (6, 4, DERAILED), ("QV", 6): (OFF, None, OFF), ("QV", 3): (OFF, None, OFF),
    ("QV", 12): (DERAILED, 3, 4), ("QV", 4): (3, 1, 13), ("QV", 13): (DERAILED, 4, 6),
    ("QV", 5): (4, 3, DERAILED),
}  # fmt: skip
SIGNAL_AT = {("QV", 1): 1, ("QV", 2): 2, ("VQ", 3): 3}
# The sections on either side of each set of points.
AROUND = {1: ((3, 4), (13, 4)), 2: ((7, 8), (12, 8)), 3: ((4, 5), (4, 12)), 4: ((6, 7), (6, 13)),
          5: ((9, 10), (9, 11))}  # fmt: skip
ENTRANCES = {3: "VQ", 1: "QV", 2: "QV"}
COMMANDS = [frozenset(i for i in range(1, 5) if n >> i & 1) for n in range(0, 32, 2)]

Relays = frozenset[int]


def direction(route: str) -> str:
    return "VQ" if route.startswith("V") else "QV"


@dataclass(frozen=True)
class Tram:
    """``without``: a test of a setting rule that is left out. ``signal_sees``: what of the route
    must be clear for its signal to show proceed: nothing ("points"), the first section beyond
    the signal ("first"), or all of it, undetected sections included ("all"). ``inverted``: trains
    wait at green."""

    without: tuple[str, str] | None = None
    signal_sees: str = "points"
    inverted: bool = False

    def tests(self, route: str) -> Iterator[str]:
        return (t for t in SETTING[route].split() if (route, t) != self.without)

    def scan(self, relays: Relays, occupied: Iterable[int], commands: Iterable[int]) -> Relays:
        """Relays set, then released."""
        up, there, given = set(relays), set(occupied), set(commands)
        for route in SETTING_ORDER:
            if all(self._passes(t, up, there, given) for t in self.tests(route)):
                up.add(RELAY[route])
        for route, path in PATHS.items():
            if path[-1] in there:
                up.discard(RELAY[route])
        return frozenset(up)

    @staticmethod
    def _passes(test: str, up: set[int], there: set[int], given: set[int]) -> bool:
        kind, number = test[0], int(test[1:])
        return {"+": number in given, "-": number not in given, "r": number not in up,
                "c": number not in there}[kind]  # fmt: skip

    @staticmethod
    def straight(relays: Relays) -> frozenset[int]:
        """The points that lie straight."""
        lying = {1, 4}
        lying |= {2} if relays & {3, 5} else set()
        lying |= {3} if 1 in relays else set()
        lying |= {5} if relays & {2, 3} else set()
        return frozenset(lying)

    def green(self, relays: Relays, occupied: Iterable[int]) -> frozenset[int]:
        """Signals at green."""
        straight, there = self.straight(relays), set(occupied)
        needs = {  # route: signal, points that must lie straight, and those that must not
            "V1Q1": (3, {1, 3}, set()), "V1Q2": (3, {1, 5}, {3, 2}), "Q2V2": (1, {5, 2, 4}, set()),
            "V1Q3": (3, {1}, {3, 2, 5}), "Q3V2": (2, {2, 4}, {5}),
        }  # fmt: skip
        shown = set()
        for route, (signal, lie, turned) in needs.items():
            seen = {"points": (), "first": PATHS[route][1:2], "all": PATHS[route][1:]}
            clear = there.isdisjoint(seen[self.signal_sees])
            if RELAY[route] in relays and lie <= straight and not turned & straight and clear:
                shown.add(signal)
        return frozenset(shown)

    def next_of(self, way: str, at: int, relays: Relays, green: frozenset[int]) -> int:
        """Where a train goes on to; where it stands if it has to wait."""
        signal = SIGNAL_AT.get((way, at))
        if signal is not None and (signal in green) == self.inverted:
            return at
        ahead, points, turned = NEXT[way, at]
        return ahead if points is None or points in self.straight(relays) else turned


@cache
def scans(tram: Tram, relays: Relays, there: frozenset[int]) -> frozenset[Relays]:
    """The relays after a cycle, whatever commands are given."""
    seen = there.intersection(DETECTED)
    return frozenset(tram.scan(relays, seen, given) for given in COMMANDS)


# ------------------------------------------------------------------ two trains with a journey

Closed = tuple[tuple[tuple[int, ...], ...], Relays]


@dataclass(frozen=True)
class Journeys:
    """Trains that each make one journey. A train is the sections it stands on, front first:
    ``length`` of them once all of it is there. Every train may move or stay in each cycle."""

    routes: tuple[str, ...]
    tram: Tram = field(default_factory=Tram)
    length: int = 1

    @property
    def start(self) -> Closed:
        return tuple((PATHS[r][0],) for r in self.routes), frozenset()

    def successors(self, state: Closed) -> Iterator[Closed]:
        trains, relays = state
        there = {s for train in trains for s in train}
        for then in scans(self.tram, relays, frozenset(there)):
            green = self.tram.green(then, there)
            ways = [
                {train, self._moved(train, direction(route), then, green)}
                for route, train in zip(self.routes, trains, strict=True)
            ]
            for moved in product(*ways):
                yield moved, then

    def _moved(
        self, train: tuple[int, ...], way: str, relays: Relays, green: frozenset[int]
    ) -> tuple[int, ...]:
        if not train:
            return train
        at = train[0]
        if at in (OFF, DERAILED):
            return train if at == DERAILED else self._drawn(train)
        to = self.tram.next_of(way, at, relays, green)
        return train if to == at else self._cut((to, *train))

    def _cut(self, train: tuple[int, ...]) -> tuple[int, ...]:
        cut = train[: self.length]
        return () if set(cut) == {OFF} else cut

    def _drawn(self, train: tuple[int, ...]) -> tuple[int, ...]:
        """The front is gone; the rest follows."""
        return self._cut((OFF, *train))

    def wrong(self, state: Closed) -> str:
        trains, _relays = state
        if any(DERAILED in train for train in trains):
            return "derails"
        there = [s for train in trains for s in train if s != OFF]
        return "collision" if len(set(there)) < len(there) else ""

    def moves_under(self, state: Closed) -> Iterator[tuple[str, int]]:
        """The trains and points such that the points may move under the train next."""
        trains, relays = state
        there = {s for train in trains for s in train}
        lying = self.tram.straight(relays)
        for then in scans(self.tram, relays, frozenset(there)):
            for points in lying ^ self.tram.straight(then):
                for route, train in zip(self.routes, trains, strict=True):
                    if any(set(pair) <= set(train) for pair in AROUND[points]):
                        yield route, points


# ------------------------------------------------------------------ trains that keep coming

Open = tuple[frozenset[tuple[int, str]], Relays]


@dataclass(frozen=True)
class Arrivals:
    """Trains of one section's length that arrive at the three entrances while there are fewer
    than ``most``; in each cycle one arrives, or moves, or nothing happens."""

    most: int
    tram: Tram = field(default_factory=Tram)

    start: Open = (frozenset(), frozenset())

    def successors(self, state: Open) -> Iterator[Open]:
        for then, trains in self._steps(state):
            places = [at for at, _ in trains]
            if len(set(places)) == len(places) and DERAILED not in places:
                yield frozenset(t for t in trains if t[0] != OFF), then

    def _steps(self, state: Open) -> Iterator[tuple[Relays, list[tuple[int, str]]]]:
        """All that may be after a cycle, wrong or not."""
        trains, relays = state
        there = {at for at, _ in trains}
        for then in scans(self.tram, relays, frozenset(there)):
            green = self.tram.green(then, there)
            yield then, list(trains)
            for at, way in trains:
                to = self.tram.next_of(way, at, then, green)
                yield then, [*(trains - {(at, way)}), (to, way)]
            for at, way in ENTRANCES.items():
                kept_out = {1: 2, 2: 4}.get(at)
                if len(trains) < self.most and at not in there and kept_out not in then:
                    yield then, [*trains, (at, way)]

    def wrong(self, state: Open) -> str:
        """What may go wrong in the next cycle."""
        for _, trains in self._steps(state):
            places = [at for at, _ in trains]
            if DERAILED in places:
                return "derails"
            if len(set(places)) < len(places):
                return "collision"
        return ""
