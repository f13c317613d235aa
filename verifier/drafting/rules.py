"""Rules and locks, from routes: what a signal must see before it clears, and what holds points.

A signal clears for a route when its lever is thrown, the points lie for it and its blocks are
clear, while no lever is thrown for a route that meets it, and while no train that came by such a
route can still come to it. Points are held under a train, ahead of one, and while a signal lets
trains over them. None of that needs memory: locks hold as long as track inside the limits is
occupied (route locking, 49 CFR 236.768, by detection).
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain

from verifier.drafting.apart import Apart
from verifier.drafting.aspects import AspectsOf, NeverShown
from verifier.drafting.buttons import Buttons
from verifier.drafting.levers import Named
from verifier.drafting.routing import Routing
from verifier.drafting.single import NO_STRETCHES, Stretch, Stretches
from verifier.drafting.wanted import Aspects, Panel, Release
from verifier.drafting.wiring import Wired
from verifier.drafting.words import all_of, any_of, dashed, free_name
from verifier.plan.model import Derail, Gate, Port, Route


@dataclass(frozen=True, slots=True)
class Rule:
    """One line of a signal: what it shows, and the conditions that are joined by `and`."""

    shows: str
    when: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Condition:
    """A condition with a name: what several lines of a signal have in common."""

    name: str
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SetRoute:
    """The relay of a route, or of an entrance: what picks it and what holds it, each joined by
    `and`."""

    relay: str
    picks: tuple[str, ...]
    sticks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Rules:
    """All that is written of one signal. ``relays``: those of its routes, with entrance-exit
    buttons. ``against``: signals whose trains may meet its own, and
    the track where; ``waits_for``: blocks beyond its routes from which such a train may come."""

    heads: bool
    conditions: tuple[Condition, ...]
    lines: tuple[Rule, ...]
    against: Mapping[str, tuple[str, ...]]
    waits_for: tuple[str, ...]
    relays: tuple[SetRoute, ...] = ()


@dataclass(frozen=True, slots=True)
class Drafting:
    """Routes, the names of their signals, and which aspects are wanted."""

    routing: Routing
    names: Mapping[str, Named]
    aspects: Aspects
    panel: Panel = "dispatcher"
    # Of what people throw under automatic signals: the key that holds these at Stop.
    keys: Mapping[str, str] = field(default_factory=dict)
    stretches: Stretches = NO_STRETCHES
    # With entrance-exit buttons: how routes are set.
    buttons: Buttons | None = None
    # Whether the file says how it is built.
    built: bool = False
    release: Release = "sectional"
    # By signal, with time locking: the timer that runs while it is at stop.
    times: Mapping[str, str] = field(default_factory=dict)
    # The wiring that is written, too.
    wired: Wired | None = None
    # What a proof has found that signals never show.
    never: frozenset[NeverShown] = frozenset()

    @property
    def made(self) -> set[str]:
        """The names of what it adds beside signals and their levers."""
        made = {*self.keys.values(), *self.times.values()}
        for stretch in self.stretches.all:
            made |= {stretch.lever, stretch.way}
        for one in self.buttons.sets.values() if self.buttons is not None else ():
            made |= {one.entrance, one.exit, one.relay, one.cancel, one.ready}
        return made | (self.wired.made if self.wired is not None else set())

    @property
    def automatic(self) -> bool:
        """Whether track and trains alone clear signals."""
        return self.panel == "automatic"

    @property
    def frame(self) -> bool:
        """Whether signal levers lock each other."""
        return self.panel == "levers"

    @property
    def apart(self) -> Apart:
        """What keeps trains apart whose routes meet."""
        return Apart(self.routing, self.names, self.panel, self.aspects, self.stretches, self.times)

    @property
    def shown(self) -> AspectsOf:
        """What signals show."""
        return AspectsOf(self.routing, self.names, self.aspects, self.never)

    # ---------------------------------------------------------------- signals

    def rules_of(self, key: str, taken: set[str]) -> Rules:
        """The rules of a signal. Names of conditions are added to ``taken``."""
        routes = self.routing.routes[key]
        conditions: list[Condition] = []
        lines: list[Rule] = []
        named = self.names[key]
        for route in routes:
            way = (
                *self._set(route),
                *self._keys_in(route),
                *self._agree(route),
                *self.routing.points(self.routing.needs[route.name]),
                *self._blocks(route),
                *self._devices(route),
                *self.apart.conditions(route),
                *self._called(route),
            )
            shown = self.shown.shown(route)
            lever = (f"{named.lever} {named.position}",) if named.lever else ()
            if len(shown) > 1 and len(way) > 1:
                name = free_name(self._condition_name(route), taken)
                conditions.append(Condition(name, way))
                way = (name,)
            lines += [Rule(aspect, (*lever, *way, *more)) for aspect, more in shown]
        meetings = [m for route in routes for m in self.routing.meetings.get(route.name, ())]
        return Rules(
            self.shown.has_two_heads(key),
            tuple(conditions),
            tuple(lines),
            self.apart.against(key, meetings),
            tuple(dict.fromkeys(b for m in meetings for b in m.upstream)),
            tuple(self._relays(key, routes)),
        )

    def _relays(self, key: str, routes: Iterable[Route]) -> Iterator[SetRoute]:
        if self.buttons is not None and (ready := self.buttons.readies(key)):
            relay, let_go, clear = ready
            yield SetRoute(relay, (let_go, clear), (clear,))
        for route in routes if self.buttons is not None else ():
            assert self.buttons is not None
            if route.name not in self.buttons.sets:
                continue
            blocks = self.routing.detected(route.blocks)
            yield SetRoute(
                self.buttons.sets[route.name].relay,
                (*self.buttons.picks(route), *self._blocks(route)),
                tuple(self.buttons.sticks(blocks, route)),
            )

    def _condition_name(self, route: Route) -> str:
        last = self.routing.plan.track.pieces[route.pieces[-1]].title
        return f"{self.names[route.signal].name}-to-{dashed(last)}"

    def _set(self, route: Route) -> Iterator[str]:
        """With buttons: that the relay of a route is up."""
        if self.buttons is not None and route.name in self.buttons.sets:
            yield f"{self.buttons.sets[route.name].relay} up"

    def _keys_in(self, route: Route) -> Iterator[str]:
        """The keys of the switches and derails that the route needs, each in its place."""
        ends = {e: c.name for c in self.routing.plan.crossovers.values() for e in c.ends}
        devices = (*self.routing.needs[route.name], *(d.name for d, _ in self._derails(route)))
        keys = dict.fromkeys(ends.get(name, name) for name in devices)
        held = [self.keys[name] for name in keys if name in self.keys]
        if held:
            yield f"{', '.join(held)} normal"

    def _called(self, route: Route) -> Iterator[str]:
        """On the way along single track: that a train comes, or the signal before lets one come.
        Else it would stay clear, and hold the direction of traffic for ever."""
        if self.stretches.on_the_way(route, self.routing):
            here = self.routing.block_of(self.routing.posts[route.signal].near.piece)
            before = [r for r in self.routing.all_routes if r.exit == route.signal]
            called = [f"{any_of(self._signals(before))} proceeds"] if before else []
            occupied = [f"{block} occupied" for block in self.routing.detected([here])]
            yield f"({' or '.join((*occupied, *called))})"

    def _agree(self, route: Route) -> Iterator[str]:
        """With wiring: that what the route runs over lies as it was told."""
        agrees = self.wired.agrees if self.wired is not None else {}
        devices = (*self.routing.needs[route.name], *(d.name for d, _ in self._derails(route)))
        relays = dict.fromkeys(agrees[name] for name in devices if name in agrees)
        if relays:
            yield f"{', '.join(relays)} up"

    def _blocks(self, route: Route) -> Iterator[str]:
        """The blocks of a route, then those from which a train may still come to it, clear."""
        meetings = self.routing.meetings.get(route.name, ())
        upstream = chain.from_iterable(m.upstream for m in meetings)
        blocks = self.routing.detected(chain(route.blocks, upstream))
        if blocks:
            yield f"{', '.join(blocks)} clear"

    def _devices(self, route: Route) -> Iterator[str]:
        """Derails and gates, as the route needs them."""
        plan = self.routing.plan
        for derail, position in self._derails(route):
            yield f"{derail.name} {position}"
        seated = [gate.name for gate in plan.gates.values() if gate.block in route.blocks]
        if seated:
            yield f"{', '.join(seated)} seated"

    def _derails(self, route: Route) -> Iterator[tuple[Derail, str]]:
        """The derails that the route needs, and how they must lie."""
        over = self.derails_on(route)
        for derail in self.routing.plan.derails.values():
            if derail.pipe is None and derail in over:
                yield derail, "non-derailing"
            elif derail.pipe is None and derail.guards in route.pieces:
                yield derail, "derailing"

    def derails_on(self, route: Route) -> list[Derail]:
        """The derails that a train on the route runs over."""
        joints = list(route.joints[:-1] if route.exit_kind == "signal" else route.joints)
        joints.append(self.routing.posts[route.signal].joint)
        ports: set[Port] = {port for joint in joints for port in (joint.a, joint.b)}
        return [d for d in self.routing.plan.derails.values() if d.port in ports]

    # ---------------------------------------------------------------- locks

    def points_lock(self, points: Iterable[str]) -> tuple[str, ...]:
        """What holds points, crossover ends together: joined by `or`, they are locked."""
        own = list(points)
        over = [(r, p) for r in self.routing.all_routes for p in own if p in r.pieces]
        blocks = self.routing.detected(
            chain(
                (self.routing.block_of(p) for p in own),
                chain.from_iterable(self._holding(route, p) for route, p in over),
            )
        )
        return tuple(self._held_while(blocks, [route for route, _ in over]))

    def reversing(self, points: Sequence[str]) -> list[str]:
        """With buttons: the relays of routes that need these points reverse."""
        return self.buttons.reversing(points) if self.buttons is not None else []

    def passing(self, derail: Derail) -> list[str]:
        """With buttons: the relays of routes that run over a derail."""
        if self.buttons is None:
            return []
        sets, routes = self.buttons.sets, self.buttons.all_routes
        return [sets[route.name].relay for route in routes if derail in self.derails_on(route)]

    def _holding(self, route: Route, points: str) -> tuple[str, ...]:
        """The blocks of a route on which a train holds points of it."""
        if self.release == "sectional":
            return self.routing.up_to(route, points)
        pieces = self.routing.plan.track.pieces
        last = [name for name in route.pieces if pieces[name].kind != "plain"][-1]
        return self.routing.up_to(route, last)

    def direction_lock(self, stretch: Stretch) -> tuple[str, ...]:
        """What holds a direction of traffic, joined by `or`: a train on its track or on its way
        there, and signals that let one come."""
        blocks = self.routing.detected(chain.from_iterable(r.blocks for r in stretch.routes))
        return tuple(self._held_while(blocks, stretch.routes))

    def derail_lock(self, derail: Derail) -> tuple[str, ...]:
        """What holds a derail: a train over the end where it stands, or on its way to what it
        guards, and signals past it."""
        beyond = self.routing.plan.track.joint_at[derail.port].other(derail.port).piece
        routes = [
            route
            for route in self.routing.all_routes
            if derail.guards in route.pieces or derail in self.derails_on(route)
        ]
        passing = [
            self.routing.up_to(r, derail.guards) for r in routes if derail.guards in r.pieces
        ]
        blocks = self.routing.detected(
            [self.routing.block_of(beyond), *chain.from_iterable(passing)]
        )
        return tuple(self._held_while(blocks, routes))

    def gate_release(self, gate: Gate) -> tuple[str, ...]:
        """When a gate may be opened: joined by `and`."""
        routes = [r for r in self.routing.all_routes if gate.block in r.blocks]
        blocks = self.routing.detected(
            chain([gate.block], *(r.blocks[: r.blocks.index(gate.block)] for r in routes))
        )
        signals, times = self._signals(routes), self._times(routes)
        clear = [f"{', '.join(blocks)} clear"] if blocks else []
        done = [f"{all_of(times)} done"] if times else []
        return (*clear, *([f"{', '.join(signals)} at stop"] if signals else []), *done)

    def _signals(self, routes: Iterable[Route]) -> list[str]:
        keys = dict.fromkeys(route.signal for route in routes)
        return [self.names[key].name for key in self.names if key in keys]

    def _times(self, routes: Iterable[Route]) -> list[str]:
        keys = {route.signal for route in routes}
        return [time for key, time in self.times.items() if key in keys]

    def _held_while(self, blocks: Sequence[str], routes: Sequence[Route]) -> Iterator[str]:
        if blocks:
            yield f"{any_of(blocks)} occupied"
        signals = self._signals(routes)
        if signals:
            yield f"not {all_of(signals)} at stop"
        if times := self._times(routes):
            yield f"not {all_of(times)} done"
