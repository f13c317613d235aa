"""Generated irregular stations: places with points, joined by tracks at random, with all locking.

    python -m tests.benchmarks.stations BLOCKS [SEED [DEFECT]]

For each block as many points, signal groups and relays as a station of 12 blocks, 7 groups of
points and signals and 15 relays. A *place* is trackwork between signals: two trees of turnouts,
throat to throat, or a crossover, worked as one block, some with a lead between a signal and the
points. Tracks join places (some twice: passing tracks), or end at an edge or a bumper.

The locking is right by construction. A relay for each group of signals stores a route; one at a
time is up in a place, and only over clear track. It is released by the train, or by a timer that
runs longer than trains need to stop. Points are locked while it is up and while a train is
detected. On a track between two places, trains run one way at a time: by a direction of traffic,
or because the relays of both ends exclude each other until the train has left the points.
Places differ in how routes are released and canceled and points are thrown, and in the order of
their statements.

A *defect* drops or alters one condition at one place, drawn from the seed.
"""

import argparse
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil
from random import Random
from typing import Literal, get_args

Side = Literal["left", "right"]
Defect = Literal[
    "no approach locking",
    "timer too short",
    "no detector locking",
    "no route locking",
    "released early",
    "route not exclusive",
    "exit not clear",
    "points not checked",
    "traffic not locked",
    "way not checked",
]
DEFECTS: tuple[Defect, ...] = get_args(Defect)

# Points and relays of the station that the sizes are taken from, of 12 blocks.
POINTS, RELAYS, BLOCKS = 7, 15, 12
OTHER: Mapping[Side, Side] = {"left": "right", "right": "left"}
# The way a train runs that comes in on this side.
ONWARD: Mapping[Side, str] = {"left": "East", "right": "West"}


class NotApplicable(ValueError):
    """The station drawn from this seed has no place for such a defect."""


@dataclass(slots=True)
class Port:
    """Where track leaves a place. ``end``: the piece as a track line names it; ``first``: the
    piece a train meets there; ``needs``: the points between this port and the middle."""

    name: str
    side: Side
    end: str
    first: str
    needs: Mapping[str, str]
    track: "Track | None" = None
    leaving_only: bool = False


@dataclass(frozen=True, slots=True)
class Route:
    """A way through a place, in one direction, and whether it diverges at facing points."""

    entry: Port
    exit: Port
    needs: Mapping[str, str]
    diverging: bool


@dataclass(slots=True)
class Place:
    """Trackwork between signals. ``points``: the turnouts by the name they are thrown under;
    ``groups``: the relay of each group of entrances, of which points or the relay let one clear."""

    number: int
    points: Mapping[str, tuple[str, ...]]
    ports: list[Port]
    routes: list[Route]
    joints: list[str]
    groups: dict[str, list[Port]] = field(default_factory=dict)
    lead: str | None = None
    remembers: bool = False
    by_button: bool = False

    @property
    def sections(self) -> tuple[str, ...]:
        """The blocks between its signals."""
        return (f"Switch-{self.number}", *((self.lead,) if self.lead else ()))

    def relays_to(self, port: Port) -> list[str]:
        """The relays that let trains out there."""
        return [
            relay
            for relay, entries in self.groups.items()
            if any(r.entry in entries and r.exit is port for r in self.routes)
        ]


@dataclass(slots=True)
class Track:
    """Plain track between two places, or from a place to an edge or a bumper."""

    name: str
    ends: dict[Side, tuple[Place, Port]]
    beyond: Literal["", "edge", "bumper"] = ""
    traffic: bool = False


@dataclass(frozen=True, slots=True)
class Size:
    """How much of everything there is in a station."""

    blocks: int
    places: int
    points: int
    relays: int
    crossovers: int
    leads: int
    leaving_only: int
    links: int

    @property
    def tracks(self) -> int:
        """All plain track but leads."""
        return self.blocks - self.places - self.leads


def size_of(blocks: int) -> Size:
    """The size of a station of so many blocks."""
    places = round(5 * blocks / 16)
    points = round(POINTS * blocks / BLOCKS)
    leads = blocks // 16
    tracks = blocks - places - leads
    relays = round(RELAYS * blocks / BLOCKS)
    # Each crossover has four relays, other places two, and each place up to two further ones.
    crossovers = max(1, ceil((relays - 4 * places) / 2), places // 5)
    ports = points + 2 * places + crossovers
    leaving_only = ceil(0.15 * ports)
    links = ports - leaving_only - tracks
    return Size(blocks, places, points, relays, crossovers, leads, leaving_only, links)


def station(blocks: int, seed: int = 0, defect: Defect | None = None) -> str:
    """The junction file of a station with so many blocks (8 or more).

    Raises NotApplicable where it has no place for the defect."""
    r = Random(f"station of {blocks}, {seed}")
    size = size_of(blocks)
    places, tracks = _laid_out(r, size)
    draw = Random(f"defect of {blocks}, {seed}")
    return _Writer(r, size, places, tracks, draw, defect).text(seed)


# ------------------------------------------------------------------ topology


def _laid_out(r: Random, size: Size) -> tuple[list[Place], list[Track]]:
    """Places and tracks; drawn again until they can be joined in the numbers wanted."""
    while True:
        places = _places(r, size)
        tracks = _joined(r, size, places)
        if tracks is not None:
            return places, tracks


def _places(r: Random, size: Size) -> list[Place]:
    trees = size.places - size.crossovers
    turnouts = [1] * trees
    for _ in range(size.points - size.crossovers - trees):
        turnouts[r.randrange(trees)] += 1
    kinds: list[int] = [*turnouts, *[0] * size.crossovers]
    r.shuffle(kinds)
    return [_trees(r, n, k) if k else _crossover(r, n) for n, k in enumerate(kinds, 1)]


def _crossover(r: Random, number: int) -> Place:
    """Two tracks side by side and a crossover between them; one train at a time."""
    name, one, other = f"K{number}", f"T{number}a", f"T{number}b"
    straight, across = {name: "normal"}, {name: "reverse"}
    ends = {
        "w1": ("left", f"{one} normal", one),
        "e1": ("right", f"{one} normal", one),
        "w2": ("left", f"normal {other}", other),
        "e2": ("right", f"normal {other}", other),
    }
    if r.random() < 0.5:  # the other hand: from the far track to the near one
        ends = {
            "w1": ("left", f"normal {one}", one),
            "e1": ("right", f"normal {one}", one),
            "w2": ("left", f"{other} normal", other),
            "e2": ("right", f"{other} normal", other),
        }
        crossing, joint = ("w2", "e1"), f"track {other} reverse = reverse {one}"
    else:
        crossing, joint = ("w1", "e2"), f"track {one} reverse = reverse {other}"
    ports = {
        name: Port(f"{number}-{name}", "left" if side == "left" else "right", end, first, {})
        for name, (side, end, first) in ends.items()
    }
    routes = []
    for (left, right), needs in (
        (("w1", "e1"), straight),
        (("w2", "e2"), straight),
        (crossing, across),
    ):
        for entry, out in ((left, right), (right, left)):
            routes.append(Route(ports[entry], ports[out], needs, needs is across))
    groups = {f"{ONWARD[p.side]}-{p.name}": [p] for p in ports.values()}
    return Place(number, {name: (one, other)}, list(ports.values()), routes, [joint], groups)


def _trees(r: Random, number: int, turnouts: int) -> Place:
    """Two trees of turnouts, joined at the points; one of them may be empty."""
    names = [f"T{number}{chr(ord('a') + i)}" for i in range(turnouts)]
    left = r.randint(0, turnouts)
    joints: list[str] = []
    ports: list[Port] = []
    roots: dict[Side, str | None] = {}
    sides: tuple[tuple[Side, list[str]], ...] = (("left", names[:left]), ("right", names[left:]))
    for side, own in sides:
        roots[side] = own[0] if own else None
        legs: list[tuple[str, dict[str, str]]] = []
        for name in own:
            needs: dict[str, str] = {}
            if legs:
                end, needs = legs.pop(r.randrange(len(legs)))
                point = _leg(name, "normal", side)
                joints.append(
                    f"track {end} = {point}" if side == "right" else f"track {point} = {end}"
                )
            for position in ("normal", "reverse"):
                legs.append((_leg(name, position, side), {**needs, name: position}))
        for i, (end, needs) in enumerate(legs, 1):
            first = next(reversed(needs))
            ports.append(Port(f"{number}-{side[0]}{i}", side, end, first, needs))
    west, east = roots["left"], roots["right"]
    if west and east:
        joints.append(f"track normal {west} = {east} normal")
    for side, other in (("left", east), ("right", west)):
        if roots[side] is None:
            assert other is not None
            end = f"{other} normal" if side == "left" else f"normal {other}"
            ports.append(Port(f"{number}-{side[0]}", side, end, other, {}))
    routes = [
        Route(entry, out, {**entry.needs, **out.needs}, "reverse" in out.needs.values())
        for entry in ports
        for out in ports
        if entry.side != out.side
    ]
    points = {name: (name,) for name in names}
    return Place(number, points, ports, routes, joints)


def _leg(name: str, position: str, side: Side) -> str:
    """A turnout whose legs are on this side, taken over one of them, as a track line names it."""
    return f"{name} {position}" if side == "right" else f"{position} {name}"


def _joined(r: Random, size: Size, places: list[Place]) -> list[Track] | None:
    """Tracks between places and to the ends of the plan. None: they did not come out."""
    free: dict[Side, list[tuple[Place, Port]]] = {
        side: [(place, port) for place in places for port in place.ports if port.side == side]
        for side in OTHER
    }
    links: list[Track] = []

    def join(west: tuple[Place, Port], east: tuple[Place, Port]) -> None:
        track = Track(f"Track-{len(links) + 1}", {"left": west, "right": east})
        west[1].track = east[1].track = track
        free["right"].remove(west)
        free["left"].remove(east)
        links.append(track)

    for place in places[1:]:
        east = r.choice([at for at in free["left"] if at[0] is place])
        join(r.choice([at for at in free["right"] if at[0].number < place.number]), east)
    while len(links) < size.links:
        pairs = [(w, e) for w in free["right"] for e in free["left"] if w[0].number < e[0].number]
        if not pairs:
            return None
        join(*r.choice(pairs))
    if len(links) > size.links:
        return None
    left_over = [*free["left"], *free["right"]]
    r.shuffle(left_over)
    if not _leaving(left_over, size.leaving_only):
        return None
    ends = [at for at in left_over if not at[1].leaving_only]
    return [*links, *_ends(r, ends)] if _with_leads(r, size, places) else None


def _leaving(left_over: list[tuple[Place, Port]], wanted: int) -> bool:
    """Make so many ports of trees leaving only; each side keeps an entrance."""
    for place, port in left_over:
        entrances = [p for p in place.ports if p.side == port.side and not p.leaving_only]
        if wanted and not place.groups and len(entrances) > 1:
            port.leaving_only = True
            wanted -= 1
    return not wanted


def _ends(r: Random, left_over: list[tuple[Place, Port]]) -> Iterator[Track]:
    """A track from each port to an edge or, one in four, a bumper; one edge at least."""
    for i, (place, port) in enumerate(left_over):
        bumper = i > 0 and r.random() < 0.25
        name = f"{'Stub' if bumper else 'Approach'}-{port.name}"
        side = OTHER[port.side]
        track = Track(name, {side: (place, port)}, "bumper" if bumper else "edge")
        port.track = track
        yield track


def _with_leads(r: Random, size: Size, places: list[Place]) -> bool:
    """Put a lead before the points of some places, on a side with one port."""
    fit = [
        (place, port)
        for place in places
        if not place.groups
        for port in place.ports
        if not port.needs and not port.leaving_only
    ]
    if len({place.number for place, _ in fit}) < size.leads:
        return False
    r.shuffle(fit)
    for place, port in fit:
        if size.leads > sum(p.lead is not None for p in places) and place.lead is None:
            place.lead = port.first = f"Lead-{place.number}"
    return True


# ------------------------------------------------------------------ text


@dataclass(slots=True)
class _Writer:
    """Writes a station. Where the defect fits, :meth:`_is_wrong` says so once."""

    r: Random
    size: Size
    places: list[Place]
    tracks: list[Track]
    draw: Random
    defect: Defect | None
    _wrong: object = None

    def text(self, seed: int) -> str:
        self._choose()
        self._wrong = self._where()
        title = f"A generated station of {self.size.blocks} blocks, seed {seed}"
        lines = [f'layout "{title}{f", {self.defect}" if self.defect else ""}"']
        lines += ["trains need 20 s to stop"]
        for track in self.tracks:
            lines += self._track(track)
        for place in self.places:
            lines += self._place(place)
        return "\n".join(lines) + "\n"

    def _choose(self) -> None:
        """Draw the styles, so that the number of relays comes out."""
        for place in self.places:
            for port in place.ports:
                group = f"{ONWARD[port.side]}-{place.number}"
                if f"{ONWARD[port.side]}-{port.name}" not in place.groups and (
                    not port.leaving_only
                ):
                    place.groups.setdefault(group, []).append(port)
        room = self.size.relays - sum(len(p.groups) for p in self.places)
        for place in self.places:
            place.remembers = place.lead is not None
        room -= sum(p.remembers for p in self.places)
        options = [(p, True) for p in self.places if not p.lead]
        options += [(p, False) for p in self.places]
        for place, remembers in self.r.sample(options, room):
            if remembers:
                place.remembers = True
            else:
                place.by_button = True
        by_traffic: dict[tuple[int, ...], bool] = {}
        for track in self.tracks:
            ends = [place for place, _ in track.ends.values()]
            # All tracks between two places alike: relays of theirs that exclude each other for
            # one of these tracks would guard the others as well.
            if not track.beyond:
                drawn = self.r.random() < 0.5 or not all(p.remembers for p in ends)
                track.traffic = by_traffic.setdefault(tuple(p.number for p in ends), drawn)

    def _where(self) -> object:
        """What the defect is at: a place, a track, a port or a route."""
        links = [t for t in self.tracks if not t.beyond]
        fits: dict[Defect, Sequence[object]] = {
            "no approach locking": self.places,
            "timer too short": self.places,
            "no detector locking": [p for p in self.places if not p.remembers],
            "no route locking": self.places,
            "released early": [p for p in self.places if p.lead],
            "route not exclusive": self.places,
            "exit not clear": [r for p in self.places for r in p.routes if not r.exit.leaving_only],
            "points not checked": [
                r for p in self.places for r in p.routes if not r.entry.leaving_only
            ],
            "traffic not locked": [t for t in links if t.traffic],
            "way not checked": [
                r
                for p in self.places
                for r in p.routes
                if r.exit.track in links and r.exit.track and r.exit.track.traffic
            ],
        }
        if self.defect is None:
            return None
        chosen = [
            at for at in fits[self.defect] if not (isinstance(at, Route) and at.entry.leaving_only)
        ]
        if not chosen:
            raise NotApplicable(self.defect)
        return self.draw.choice(chosen)

    def _is_wrong(self, defect: Defect, at: object) -> bool:
        return self.defect == defect and self._wrong is at

    # -------------------------------------------------------------- tracks

    def _track(self, track: Track) -> Iterator[str]:
        yield f"block {track.name}"
        if track.beyond:
            (_, port), *_ = track.ends.values()
            yield f"{track.beyond} End-{port.name}"
            end = f"End-{port.name}"
            if port.side == "left":
                yield f"track {end} = {track.name} | {_to_right(port)}"
            else:
                yield f"track {_to_left(port)} | {track.name} = {end}"
            return
        west, east = track.ends["left"], track.ends["right"]
        yield f"track {_to_left(west[1])} | {track.name} | {_to_right(east[1])}"
        if track.traffic:
            yield from self._traffic(track)

    def _traffic(self, track: Track) -> Iterator[str]:
        way = _way(track)
        if self.r.random() < 0.5:
            yield f"button {way}-right, {way}-left"
            turns = (f"{way}-right pressed", f"{way}-left pressed")
        else:
            yield f"lever {way}-lever positions rightward, leftward"
            turns = (f"{way}-lever rightward", f"{way}-lever leftward")
        blocks, relays = [track.name], []
        for place, port in track.ends.values():
            blocks += place.sections
            relays += place.relays_to(port)
        if self._is_wrong("traffic not locked", track):
            blocks = blocks[:1]
        self.r.shuffle(blocks)
        held = f"any of {', '.join(blocks)} occupied"
        if self._is_wrong("traffic not locked", track):
            held = f"{blocks[0]} occupied"
        else:
            held += f" or {_up(relays)}"
        yield f"traffic {way} on {track.name}"
        yield f"  rightward when {turns[0]} leftward when {turns[1]}"
        yield f"  locked while {held}"

    # -------------------------------------------------------------- places

    def _place(self, place: Place) -> Iterator[str]:
        n = place.number
        yield f"block {', '.join(place.sections)}"
        for name, turnouts in place.points.items():
            yield from self._points(place, name, turnouts)
        yield from place.joints
        for port in place.ports:
            yield from self._port(place, port)
        statements = [self._relay(place, relay) for relay in place.groups]
        if place.remembers:
            statements.append(
                f"relay Used-{n}\n"
                f"  picks when {_up(place.groups)} and {_any(place.sections, 'occupied')}\n"
                f"  sticks while {_up(place.groups)}"
            )
        if place.by_button:
            yield f"button Cancel-{n}"
            statements.append(
                f"relay Back-{n}\n"
                f"  picks when Cancel-{n} pressed and {_up(place.groups)}\n"
                f"  sticks while {_up(place.groups)}"
            )
        statements.append(self._timer(place))
        self.r.shuffle(statements)
        yield from statements
        for port in place.ports:
            if not port.leaving_only:
                yield from self._signal(place, port)

    def _points(self, place: Place, name: str, turnouts: Sequence[str]) -> Iterator[str]:
        free = _any(place.sections, "occupied")
        held = [free, _up(place.groups)]
        if self._is_wrong("no detector locking", place):
            held = held[1:]
        if self._is_wrong("no route locking", place):
            held = held[:1]
        style = self.r.choice(["lever", "buttons", "hand", "rule"])
        clauses = [f"locked while {' or '.join(held)}"]
        if style == "lever":
            yield f"lever {name}-lever positions normal, reverse"
            clauses = [f"thrown by {name}-lever", *clauses]
        elif style == "buttons":
            yield f"button {name}-normal, {name}-reverse"
            clauses = [f"thrown by {name}-normal, {name}-reverse", *clauses]
        elif style == "rule":
            yield f"lever {name}-knob positions straight, turn"
            clauses = [f"thrown reverse when {name}-knob turn", *clauses]
        else:
            clauses = [
                "thrown by hand",
                f"electric lock released when not ({' or '.join(held)})",
            ]
        if self.r.random() < 0.3:
            clauses.append("motor snap")
        for turnout in turnouts:
            yield "\n  ".join([f"turnout {turnout} in Switch-{place.number}", *clauses])
        if len(turnouts) > 1:
            yield f"crossover {name} is {', '.join(turnouts)}"

    def _port(self, place: Place, port: Port) -> Iterator[str]:
        """The lead before a port, and the edge of one that trains only leave by."""
        if port.first == place.lead:
            piece = f"{port.end}"
            yield (
                f"track {place.lead} | {piece}"
                if port.side == "left"
                else f"track {piece} | {place.lead}"
            )
        if port.leaving_only:
            yield f"edge End-{port.name} leaving only"
            end = f"End-{port.name}"
            yield (
                f"track {end} | {_to_right(port)}"
                if port.side == "left"
                else f"track {_to_left(port)} | {end}"
            )

    def _set_by(self, place: Place, relay: str) -> str:
        """What the operator does to set a route."""
        return f"{relay}-set pressed" if place.by_button else f"{relay}-lever set"

    def _relay(self, place: Place, relay: str) -> str:
        n = place.number
        asked = (
            f"button {relay}-set" if place.by_button else f"lever {relay}-lever positions off, set"
        )
        others = [other for other in place.groups if other != relay]
        if self._is_wrong("route not exclusive", place) and relay == list(place.groups)[-1]:
            others = []
        for track in self._tracks_out(place, relay):
            if not track.traffic:
                others += [
                    x
                    for p, port in track.ends.values()
                    if p is not place
                    for x in p.relays_to(port)
                ]
        others = list(dict.fromkeys(others))
        free = f"{', '.join(place.sections)} clear"
        when = [self._set_by(place, relay), f"not Time-{n} done", free]
        if others:
            when.append(f"{', '.join(others)} down")
        if self.r.random() < 0.5:
            when += [f"not {name} moving" for name in place.points]
        held = [f"not Time-{n} done"]
        if self._is_wrong("no approach locking", place):
            held = [f"Back-{n} down" if place.by_button else self._set_by(place, relay)]
        if place.remembers:
            through = f"Switch-{n} clear" if self._is_wrong("released early", place) else free
            held.append(f"not (Used-{n} up and {through})")
        else:
            held.append(free)
        self.r.shuffle(held)
        return (
            f"{asked}\nrelay {relay}\n"
            f"  picks when {' and '.join(when)}\n  sticks while {' and '.join(held)}"
        )

    def _tracks_out(self, place: Place, relay: str) -> Iterator[Track]:
        """The tracks between places onto which a relay lets trains."""
        for port in place.ports:
            if port.track and not port.track.beyond and relay in place.relays_to(port):
                yield port.track

    def _timer(self, place: Place) -> str:
        n = place.number
        if place.by_button:
            back = f"Back-{n} up"
        else:
            back = " or ".join(f"({relay} up and not {relay}-lever set)" for relay in place.groups)
            back = f"({back})"
        seconds = self.r.choice([30, 30, 40, 60])
        if self._is_wrong("timer too short", place):
            seconds = 5
        free = f"{', '.join(place.sections)} clear"
        return f"timer Time-{n} {seconds} s runs while {back} and {free}"

    # -------------------------------------------------------------- signals

    def _signal(self, place: Place, port: Port) -> Iterator[str]:
        routes = [r for r in place.routes if r.entry is port]
        relay = next(name for name, entries in place.groups.items() if port in entries)
        n = place.number
        let = [f"{relay} up"]
        let += (
            [f"Back-{n} down"] if place.by_button else [f"{relay}-lever set", f"not Time-{n} done"]
        )
        if place.remembers:
            let.append(f"Used-{n} down")
        yield f"condition {relay}-{port.name}-lets is {' and '.join(let)}"
        assert port.track is not None
        yield f"signal {port.name} at {port.track.name} | {port.first}"
        if any(route.diverging for route in routes):
            yield "  heads upper, lower"
        self.r.shuffle(routes)
        for route in routes:
            when = [f"{relay}-{port.name}-lets", *self._lined(route), *self._free(place, route)]
            aspect = "Diverging-Approach" if route.diverging else "Approach"
            yield f"  {aspect} when {' and '.join(when)}"
        yield "  Stop otherwise"

    def _lined(self, route: Route) -> list[str]:
        needs = [f"{name} {position}" for name, position in route.needs.items()]
        if self._is_wrong("points not checked", route):
            needs.pop(self.draw.randrange(len(needs)))
        return needs

    def _free(self, place: Place, route: Route) -> list[str]:
        """The track of a route and beyond is clear, and the way on it is this train's."""
        blocks = list(place.sections)
        track = route.exit.track
        if track is not None and not self._is_wrong("exit not clear", route):
            blocks.append(track.name)
        found = [f"{', '.join(blocks)} clear"]
        if track is not None and track.traffic and not self._is_wrong("way not checked", route):
            found.append(f"{_way(track)} {route.exit.side}ward")
        return found


def _way(track: Track) -> str:
    return track.name.replace("Track", "Way")


def _up(relays: Sequence[str] | Mapping[str, object]) -> str:
    return _any(list(relays), "up")


def _any(names: Sequence[str], state: str) -> str:
    return f"{names[0]} {state}" if len(names) == 1 else f"any of {', '.join(names)} {state}"


def _to_right(port: Port) -> str:
    """A port on the left of a place, as the last of a track line."""
    return port.end if port.first in port.end.split() else port.first


def _to_left(port: Port) -> str:
    """A port on the right of a place, as the first of a track line."""
    return port.end if port.first in port.end.split() else port.first


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("blocks", type=int)
    options.add_argument("seed", type=int, nargs="?", default=0)
    options.add_argument("defect", choices=DEFECTS, nargs="?")
    chosen = options.parse_args()
    print(station(chosen.blocks, chosen.seed, chosen.defect), end="")


if __name__ == "__main__":
    main()
