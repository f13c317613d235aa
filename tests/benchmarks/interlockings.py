"""Junction files of generated interlockings, with all locking.

In: places and the tracks that join them, with a style for each; a random source for what else may
differ. Out: the text of a junction file. :mod:`tests.benchmarks.stations` and
:mod:`tests.benchmarks.different_lines` say which places there are.

A *place* is trackwork between signals: two trees of turnouts, throat to throat, or a crossover,
worked as one block, some with a lead between a signal and the points. Tracks join places, or end
at an edge or a bumper.

The locking is right by construction. A relay for each group of signals stores a route; one at a
time is up in a place, and only over clear track. It is released by the train, or by a timer that
runs longer than trains need to stop. Points are locked while it is up and while a train is
detected. On a track between two places, trains run one way at a time: by a direction of traffic,
or because the relays of both ends exclude each other until the train has left the points.

A *defect* drops or alters one condition at one place, drawn from a random source of its own.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
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
    ``joints``: track lines within it; ``groups``: the entrances by the relay that lets trains in,
    of which the points let one clear; ``lead``: a block before the points.

    Its style: whether a relay ``remembers`` that a train has entered; whether routes are set and
    canceled ``by_button``, or by levers; the ``delays`` that its timer may have, in seconds;
    whether a signal ``clears`` where the next one proceeds; the ``heads`` of signals with
    diverging routes."""

    number: int
    points: Mapping[str, tuple[str, ...]]
    ports: list[Port]
    routes: list[Route]
    joints: list[str]
    groups: dict[str, list[Port]] = field(default_factory=dict)
    lead: str | None = None
    remembers: bool = False
    by_button: bool = False
    delays: tuple[int, ...] = (30, 30, 40, 60)
    clears: bool = False
    heads: tuple[str, ...] = ("upper", "lower")

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


# ------------------------------------------------------------------ trackwork


def crossover(r: Random, number: int) -> Place:
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


def trees(r: Random, number: int, left: int, turnouts: int) -> Place:
    """Two trees of so many turnouts, ``left`` of them on the left side, joined at the points. One
    of the trees may be empty."""
    names = [f"T{number}{chr(ord('a') + i)}" for i in range(turnouts)]
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


# ------------------------------------------------------------------ text


@dataclass(slots=True)
class Writer:
    """Writes a station. Where the defect fits, :meth:`_is_wrong` says so once."""

    r: Random
    places: list[Place]
    tracks: list[Track]
    draw: Random
    defect: Defect | None
    _wrong: object = None

    def text(self, title: str) -> str:
        """The junction file. Raises NotApplicable where there is no place for the defect."""
        self._wrong = self._where()
        lines = [f'layout "{title}{f", {self.defect}" if self.defect else ""}"']
        lines += ["trains need 20 s to stop", "built as one program"]
        for track in self.tracks:
            lines += self._track(track)
        for place in self.places:
            lines += self._place(place)
        return "\n".join(lines) + "\n"

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
                yield f"track {end} = {track.name} | {_outer(port)}"
            else:
                yield f"track {_outer(port)} | {track.name} = {end}"
            return
        west, east = track.ends["left"], track.ends["right"]
        yield f"track {_outer(west[1])} | {track.name} | {_outer(east[1])}"
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
        # A lock that sees a train on the lead would make good for a route released early.
        seen = place.sections[:1] if self._is_wrong("released early", place) else place.sections
        held = [_any(seen, "occupied"), _up(place.groups)]
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
            yield (
                f"track {place.lead} | {port.end}"
                if port.side == "left"
                else f"track {port.end} | {place.lead}"
            )
        if port.leaving_only:
            yield f"edge End-{port.name} leaving only"
            end = f"End-{port.name}"
            yield (
                f"track {end} | {_outer(port)}"
                if port.side == "left"
                else f"track {_outer(port)} | {end}"
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
        seconds = self.r.choice(place.delays)
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
            yield f"  heads {', '.join(place.heads)}"
        self.r.shuffle(routes)
        for route in routes:
            when = [f"{relay}-{port.name}-lets", *self._lined(route), *self._free(place, route)]
            way = "Diverging-" if route.diverging else ""
            if place.clears and (further := _proceeds_beyond(route)) is not None:
                yield f"  {way}Clear when {' and '.join([*when, *further])}"
                if not further:
                    continue
            yield f"  {way}Approach when {' and '.join(when)}"
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
    kind, number = track.name.split("-", 1)
    return f"{'' if kind == 'Track' else kind + '-'}Way-{number}"


def _proceeds_beyond(route: Route) -> list[str] | None:
    """What must hold for a route to clear beyond the next signal; None at a bumper."""
    track = route.exit.track
    if track is None or track.beyond == "edge":
        return []
    return None if track.beyond else [f"{track.ends[route.exit.side][1].name} proceeds"]


def _up(relays: Sequence[str] | Mapping[str, object]) -> str:
    return _any(list(relays), "up")


def _any(names: Sequence[str], state: str) -> str:
    return f"{names[0]} {state}" if len(names) == 1 else f"any of {', '.join(names)} {state}"


def _outer(port: Port) -> str:
    """The piece at a port, the lead or the points, as a track line names it."""
    return port.end if port.first in port.end.split() else port.first
