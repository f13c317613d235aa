"""Entrance-exit buttons: one at each signal, one where each of its routes ends. The two of them
pick the relay of the route, which throws the points; it drops when a train comes in. A second
relay, of the entrance, lets a press set a route once: it drops when a train comes in, too, and
picks again only after the button was let go."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from verifier.drafting.levers import Named
from verifier.drafting.routing import Routing
from verifier.drafting.single import Stretches
from verifier.drafting.words import any_of, dashed, free_name
from verifier.plan.model import Route


@dataclass(frozen=True, slots=True)
class Set:
    """How a route is set: the buttons pressed together, its relay, and the button that takes all
    routes of its control point back. ``ready``: the relay of its entrance; empty where no detector
    watches the first block."""

    entrance: str
    exit: str
    relay: str
    cancel: str
    ready: str


@dataclass(frozen=True, slots=True)
class Buttons:
    """How each route is set, by its name."""

    routing: Routing
    stretches: Stretches
    sets: Mapping[str, Set]

    @property
    def all_routes(self) -> Iterator[Route]:
        """The routes that are set so."""
        return (route for route in self.routing.all_routes if route.name in self.sets)

    def picks(self, route: Route) -> Iterator[str]:
        """What picks a route's relay: joined by `and`. Its own two buttons and no other route's,
        since relays that pick at once do not see each other."""
        own = self.sets[route.name]
        yield f"{own.entrance} pressed and {own.exit} pressed"
        if own.ready:
            yield f"{own.ready} up"
        others = [other for other in self.all_routes if self._excludes(route, other)]
        beside = [self.sets[o.name].exit for o in others if o.signal == route.signal]
        elsewhere = [self.sets[o.name].entrance for o in others if o.signal != route.signal]
        pressed = list(dict.fromkeys((*beside, *elsewhere)))
        if pressed:
            yield f"not {any_of(pressed)} pressed"
            yield f"{', '.join(self.sets[other.name].relay for other in others)} down"

    def readies(self, key: str) -> tuple[str, str, str] | None:
        """The relay of a signal's entrance, what picks it, and what it sticks on."""
        for route in self.routing.routes[key]:
            own = self.sets.get(route.name)
            if own is not None and own.ready:
                block = self.routing.block_of(self.routing.posts[key].enters.piece)
                return own.ready, f"not {own.entrance} pressed", f"{block} clear"
        return None

    def sticks(self, blocks: Sequence[str], route: Route) -> Iterator[str]:
        """What holds it: joined by `and`. A train that comes in drops it."""
        if blocks:
            yield f"{', '.join(blocks)} clear"
        yield f"not {self.sets[route.name].cancel} pressed"

    def reversing(self, points: Sequence[str]) -> list[str]:
        """The relays of routes for which points are thrown reverse."""
        needs = self.routing.needs
        return [
            self.sets[route.name].relay
            for route in self.all_routes
            if any(needs[route.name].get(p) == "reverse" for p in points)
        ]

    def _excludes(self, route: Route, other: Route) -> bool:
        if other.name == route.name or self.stretches.between(route, other):
            return False
        meets = any(m.other is other for m in self.routing.meetings.get(route.name, ()))
        return other.signal == route.signal or meets or not self.routing.agree(route, other)


def buttons_for(
    routing: Routing, names: Mapping[str, Named], stretches: Stretches, taken: set[str]
) -> Buttons:
    """Buttons and relays for all routes of signals that the file does not have yet. Their names
    are added to ``taken``."""
    sets: dict[str, Set] = {}
    cancels: dict[str, str] = {}
    exits: dict[tuple[str, int], str] = {}
    for key, routes in routing.routes.items():
        post = routing.posts[key]
        if post.written or not routes or stretches.on_the_way(routes[0], routing):
            continue
        signal = names[key].name
        entrance = free_name(f"{signal}-entrance", taken)
        first = routing.detected([routing.block_of(post.enters.piece)])
        ready = free_name(f"{signal}-ready", taken) if first else ""
        if post.center not in cancels:
            cancels[post.center] = free_name(f"{dashed(post.center)}-cancel", taken)
        ends = [routing.plan.track.pieces[route.pieces[-1]].title for route in routes]
        for i, (route, end) in enumerate(zip(routes, ends, strict=True)):
            # Where two routes of a signal end on one track, each has a button there.
            way = (end, ends[:i].count(end))
            if way not in exits:
                exits[way] = free_name(f"{dashed(end)}-exit", taken)
            relay = free_name(f"{signal}-to-{dashed(end)}-route", taken)
            sets[route.name] = Set(entrance, exits[way], relay, cancels[post.center], ready)
    return Buttons(routing, stretches, sets)
