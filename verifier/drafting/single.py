"""Single track between two control points, and the one direction that trains may run there."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from verifier.drafting.routing import Routing
from verifier.drafting.wanted import SingleTrack
from verifier.drafting.words import dashed, free_name
from verifier.plan.model import Route

Pieces = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Stretch:
    """Single track from one control point to the next: the routes that lead onto it, as the track
    is drawn, and the ``lever`` that says which of them may be used. ``way``: the direction of
    traffic that the lever asks for, which may be locked; empty where the lever is heard itself."""

    pieces: Pieces
    rightward: tuple[Route, ...]
    leftward: tuple[Route, ...]
    lever: str
    way: str

    @property
    def routes(self) -> tuple[Route, ...]:
        """All routes that lead onto it."""
        return (*self.rightward, *self.leftward)

    def allows(self, route: Route) -> str:
        """That trains may run the way a route leads."""
        side = "right" if route in self.rightward else "left"
        return f"{self.way} {side}ward" if self.way else f"{self.lever} {side}"


@dataclass(frozen=True, slots=True)
class Stretches:
    """All single track of a plan that has one lever; by the name of each route onto it."""

    by_route: Mapping[str, Stretch]
    # Pieces of track with signals on the way, which clear for a train that comes to them only.
    single: frozenset[str] = frozenset()

    def on_the_way(self, route: Route, routing: Routing) -> bool:
        """Whether a route begins at a signal on the way along single track."""
        post = routing.posts[route.signal]
        return not post.written and self.single.issuperset((post.near.piece, post.enters.piece))

    @property
    def all(self) -> tuple[Stretch, ...]:
        """Each of them once."""
        return tuple({stretch.lever: stretch for stretch in self.by_route.values()}.values())

    def allow(self, route: Route) -> Iterator[str]:
        """What a route onto single track asks of it."""
        if route.name in self.by_route:
            yield self.by_route[route.name].allows(route)

    def between(self, route: Route, other: Route) -> bool:
        """Whether the direction on single track keeps these two apart."""
        stretch = self.by_route.get(route.name)
        if stretch is None or stretch is not self.by_route.get(other.name):
            return False
        return (route in stretch.rightward) != (other in stretch.rightward)


NO_STRETCHES = Stretches({})


def pieces_of(stretches: Stretches) -> frozenset[str]:
    """All pieces of single track."""
    return frozenset(piece for stretch in stretches.all for piece in stretch.pieces)


def single_tracks(
    routing: Routing, wanted: SingleTrack, taken: set[str], single: Collection[str] = ()
) -> Stretches:
    """The single track of a plan, with names for levers that are added to ``taken``. Track that
    one of the file's own signals leads onto is left to it. ``single``: pieces of it with signals on
    the way."""
    if wanted == "signals":
        return NO_STRETCHES
    found: dict[Pieces, list[Route]] = defaultdict(list)
    for route in routing.all_routes:
        for meeting in routing.meetings.get(route.name, ()):
            pieces = _shared(route, meeting.other)
            if pieces and _is_single(route, meeting.other, routing):
                ways = found[pieces if routing.posts[route.signal].rightward else pieces[::-1]]
                if route not in ways:
                    ways.append(route)
    if single:
        found = _with_signals_on_the_way(routing, single)
    by_route: dict[str, Stretch] = {}
    for pieces, routes in found.items():
        if any(routing.posts[route.signal].written for route in routes):
            continue
        name = routing.plan.track.pieces[pieces[0]].title
        right = tuple(r for r in routes if routing.posts[r.signal].rightward)
        left = tuple(r for r in routes if not routing.posts[r.signal].rightward)
        way = free_name(f"{dashed(name)}-way", taken) if wanted in ("traffic", "apb") else ""
        stretch = Stretch(pieces, right, left, free_name(f"{dashed(name)}-traffic", taken), way)
        by_route |= {route.name: stretch for route in routes}
    return Stretches(by_route, frozenset(single))


def _with_signals_on_the_way(
    routing: Routing, single: Collection[str]
) -> dict[Pieces, list[Route]]:
    """The routes onto and along single track, by its pieces as drawn."""
    found: dict[Pieces, list[Route]] = {}
    for pieces in _lines(routing, single):
        found[pieces] = [r for r in routing.all_routes if not set(pieces).isdisjoint(r.pieces)]
    return found


def _lines(routing: Routing, single: Collection[str]) -> Iterator[Pieces]:
    """Single track from one control point to the next, as it is drawn."""
    joined: dict[str, set[str]] = {piece: {piece} for piece in single}
    for joint in routing.plan.track.joints:
        one, two = joint.a.piece, joint.b.piece
        if one in joined and two in joined:
            joined[one] |= joined[two]
            joined |= dict.fromkeys(joined[one], joined[one])
    for line in dict.fromkeys(map(frozenset, joined.values())):
        yield tuple(piece for piece in routing.plan.track.pieces if piece in line)


def _shared(route: Route, other: Route) -> Pieces:
    """The track on which two routes end head on, in the order of the first; empty where they meet
    otherwise."""
    if route.exit_kind != "signal" or other.exit_kind != "signal":
        return ()
    for length in range(min(len(route.pieces), len(other.pieces)), 0, -1):
        if route.pieces[-length:] == other.pieces[-length:][::-1]:
            return route.pieces[-length:]
    return ()


def _is_single(route: Route, other: Route, routing: Routing) -> bool:
    """Whether the two come from different control points, and this is the only track between
    these on either side."""
    posts = routing.posts
    one, two = posts[route.signal], posts[other.signal]
    if one.rightward == two.rightward or one.center == two.center:
        return False
    ends = posts[route.exit], posts[other.exit]
    if ends[0].center != two.center or ends[1].center != one.center:
        return False
    return all(
        sum(p.center == end.center and p.rightward == end.rightward for p in posts.values()) == 1
        for end in ends
    )
