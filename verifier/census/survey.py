"""The track walked from its pieces and joints: where trains can go, and how they meet.

In: the pieces, joints and signals of a plan. Nothing that the plan has worked out of them (routes,
conflicts, limits, ways onward) is read.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal

from verifier.plan.model import Piece, Plan, Port, Signal

TRACKWORK = ("turnout", "crossing", "slip")
LEGS = ("normal", "reverse")


_PLAIN = ("green", "yellow", "lunar", "white", "red", "dark")
_FLASHING = {f"flashing {color}": color for color in _PLAIN}


def steady(color: str) -> str:
    """The lamp that shows a color, flashing or not."""
    return _FLASHING.get(color, color)


@dataclass(frozen=True, slots=True)
class Step:
    """A train runs over a piece from one end to another. ``needs``: how its points must lie for
    that; ``chooses``: whether the points choose among several ways (they are met facing)."""

    piece: str
    enter: str
    leave: str
    needs: str | None
    chooses: bool


@dataclass(frozen=True, slots=True, eq=False)
class Trip:
    """Where a train goes from a signal: over ``steps``, to the next signal the same way or to an
    end of the track. ``crossed`` are all ends passed, that at the signal first, that at the end
    of the trip last."""

    signal: str
    steps: tuple[Step, ...]
    crossed: tuple[frozenset[Port], ...]
    ends_at: Literal["signal", "edge", "bumper"]
    end: str
    name: str = ""

    @property
    def points(self) -> tuple[Step, ...]:
        return tuple(step for step in self.steps if step.needs is not None)


# How two trips over one piece meet.
Meeting = Literal["head on", "from two sides", "across", "side by side"]


@dataclass(slots=True)
class Survey:
    """A plan, and what a walk over its track finds."""

    plan: Plan
    joined: Mapping[Port, Port] = field(init=False)
    posts: Mapping[Port, tuple[str, ...]] = field(init=False)
    trips: Mapping[str, tuple[Trip, ...]] = field(init=False)
    over: Mapping[str, tuple[Trip, ...]] = field(init=False)

    def __post_init__(self) -> None:
        track, signals = self.plan.track, self.plan.signals
        self.joined = {
            **{joint.a: joint.b for joint in track.joints},
            **{joint.b: joint.a for joint in track.joints},
        }
        posts: dict[Port, tuple[str, ...]] = {}
        for name, signal in signals.items():
            posts[signal.enters] = (*posts.get(signal.enters, ()), name)
        self.posts = posts
        self.trips = {name: _named(self._trips_from(signal)) for name, signal in signals.items()}
        over: dict[str, dict[Trip, None]] = defaultdict(dict)
        for trip in self.every_trip():
            for step in trip.steps:
                over[step.piece][trip] = None
        self.over = {piece: tuple(trips) for piece, trips in over.items()}

    # -------------------------------------------------------------- pieces

    def piece(self, name: str) -> Piece:
        return self.plan.track.pieces[name]

    def block_of(self, piece: str) -> str | None:
        return self.piece(piece).block

    def switches(self) -> Iterator[str]:
        """All pieces that have points."""
        return (n for n, p in self.plan.track.pieces.items() if p.kind in ("turnout", "slip"))

    def steps_from(self, port: Port) -> tuple[Step, ...]:
        """The ways over a piece from one of its ends."""
        piece = self.piece(port.piece)
        ways = [(there, lies) for here, there, lies in _ways(piece) if here == port.end]
        return tuple(Step(piece.name, port.end, to, lies, len(ways) > 1) for to, lies in ways)

    def steps_to(self, port: Port) -> tuple[Step, ...]:
        """The ways over a piece to one of its ends."""
        ends = self.piece(port.piece).ends
        ways = (step for end in ends for step in self.steps_from(Port(port.piece, end)))
        return tuple(step for step in ways if step.leave == port.end)

    def across(self, port: Port) -> Port:
        """The end of the next piece that meets an end."""
        return self.joined[port]

    # -------------------------------------------------------------- trips

    def every_trip(self) -> Iterator[Trip]:
        return (trip for trips in self.trips.values() for trip in trips)

    def trips_to(self, signal: Signal) -> Iterator[Trip]:
        """The trips of other signals that end where a signal stands."""
        there = self.posts[signal.enters]
        others = (trip for trip in self.every_trip() if trip.signal != signal.name)
        return (trip for trip in others if trip.ends_at == "signal" and trip.end in there)

    def _trips_from(self, signal: Signal) -> Iterator[Trip]:
        start = frozenset((signal.joint.a, signal.joint.b))
        yield from self._onward(signal.name, signal.enters, (), (start,))

    def _onward(
        self, signal: str, port: Port, steps: tuple[Step, ...], crossed: tuple[frozenset[Port], ...]
    ) -> Iterator[Trip]:
        # Plain track in a row is walked here, without a call for each piece.
        while True:
            if steps and port in self.posts:
                yield Trip(signal, steps, crossed, "signal", self.posts[port][0])
                return
            kind = self.piece(port.piece).kind
            if kind == "edge" or kind == "bumper":
                yield Trip(signal, steps, crossed, kind, port.piece)
                return
            ways = self.steps_from(port)
            if len(ways) != 1:
                break
            port, steps, crossed = self._taken(ways[0], steps, crossed)
        for way in ways:
            there, so_far, ends = self._taken(way, steps, crossed)
            yield from self._onward(signal, there, so_far, ends)

    def _taken(
        self, way: Step, steps: tuple[Step, ...], crossed: tuple[frozenset[Port], ...]
    ) -> tuple[Port, tuple[Step, ...], tuple[frozenset[Port], ...]]:
        out = Port(way.piece, way.leave)
        there = self.across(out)
        return there, (*steps, way), (*crossed, frozenset((out, there)))


def _ways(piece: Piece) -> Iterator[tuple[str, str, str | None]]:
    """From which end to which a train can run over a piece, and how its points then lie."""
    ways: list[tuple[str, str, str | None]] = []
    if piece.kind == "plain":
        ways = [("left", "right", None)]
    elif piece.kind == "turnout":
        ways = [("points", leg, leg) for leg in LEGS]
    elif piece.kind in ("crossing", "slip"):
        straight = "normal" if piece.kind == "slip" else None
        ways = [(f"{line}-left", f"{line}-right", straight) for line in ("along", "across")]
        ways += [(one, two, "reverse") for one, two in piece.slips if piece.kind == "slip"]
    for one, two, lies in ways:
        yield one, two, lies
        yield two, one, lies


def _named(trips: Iterator[Trip]) -> tuple[Trip, ...]:
    """Trips by name: where from, where to, and by which points where several go there."""
    found = tuple(trips)
    named = []
    for trip in found:
        rivals = [other for other in found if other.end == trip.end and other is not trip]
        name = f"{trip.signal} to {trip.end}"
        if rivals:
            lies = [(step.piece, step.needs) for step in trip.points]
            theirs = [{(step.piece, step.needs) for step in other.points} for other in rivals]
            apart = [f"{p} {way}" for p, way in lies if any((p, way) not in t for t in theirs)]
            name += f" via {', '.join(apart)}"
        named.append(Trip(trip.signal, trip.steps, trip.crossed, trip.ends_at, trip.end, name))
    return tuple(named)


def meetings(one: Trip, two: Trip) -> Mapping[Meeting, frozenset[str]]:
    """How two trips meet, and on which pieces. Trips that begin side by side and do nothing but
    part meet in that way alone."""
    found: dict[Meeting, set[str]] = {}
    theirs: dict[str, list[Step]] = defaultdict(list)
    for step in two.steps:
        theirs[step.piece].append(step)
    for mine in one.steps:
        for other in theirs.get(mine.piece, ()):
            found.setdefault(_meeting(mine, other), set()).add(mine.piece)
    if len(found) > 1:
        found.pop("side by side", None)
    return {how: frozenset(pieces) for how, pieces in found.items()}


def _meeting(one: Step, two: Step) -> Meeting:
    if one.enter == two.leave or two.enter == one.leave:
        return "head on"
    if one.enter == two.enter:
        return "side by side"
    return "from two sides" if one.leave == two.leave else "across"
