"""Routes of a plan whose signals are only placed: which may be used, and which meet each other."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from verifier.drafting.placing import Post
from verifier.language.diagnostics.diagnostic import InputError
from verifier.plan.model import Plan, Route
from verifier.plan.names import Names
from verifier.plan.track.conflicts import find_conflicts
from verifier.plan.track.routes import find_routes


@dataclass(frozen=True, slots=True)
class Meeting:
    """A route that meets another one: the blocks of the ``other`` from which a train on it may
    still come to the track that both use (``upstream``), and whether points let both be lined."""

    other: Route
    upstream: tuple[str, ...]
    at: tuple[str, ...]
    both_lined: bool


@dataclass(frozen=True, slots=True)
class Routing:
    """Signals by key, with their places, and the routes for which they may clear.

    ``needs``: how points must lie for each route, both ends of a crossover included."""

    plan: Plan
    posts: Mapping[str, Post]
    routes: Mapping[str, tuple[Route, ...]]
    needs: Mapping[str, Mapping[str, str]]
    meetings: Mapping[str, tuple[Meeting, ...]]

    @property
    def all_routes(self) -> Iterator[Route]:
        return (route for routes in self.routes.values() for route in routes)

    def detected(self, blocks: Iterable[str]) -> tuple[str, ...]:
        """Those of the blocks that a detector watches, each once."""
        return tuple(dict.fromkeys(b for b in blocks if self.plan.blocks[b].detected))

    def block_of(self, piece: str) -> str:
        return self.plan.track.pieces[piece].block or ""

    def up_to(self, route: Route, piece: str) -> tuple[str, ...]:
        """The blocks of a route from its signal up to a piece of it, that one included."""
        return self.detected(
            self.block_of(name) for name in route.pieces[: route.pieces.index(piece) + 1]
        )

    def points(self, needs: Mapping[str, str], *, apart: bool = False) -> Iterator[str]:
        """`T1, K1 normal`, `T3 reverse`, in the order of the file: crossovers by their names.
        ``apart``: each of them alone."""
        ends = {e: c.name for c in self.plan.crossovers.values() for e in c.ends}
        lie = {
            ends.get(name, name): needs[name] for name in self.plan.track.pieces if name in needs
        }
        for position, names in groupby(lie, lambda name: lie[name]):
            if apart:
                yield from (f"{name} {position}" for name in names)
            else:
                yield f"{', '.join(names)} {position}"

    def agree(self, one: Route, two: Route) -> bool:
        """Whether points let both routes be lined at once."""
        other = self.needs[two.name]
        return all(
            other.get(p, position) == position for p, position in self.needs[one.name].items()
        )


def routes_from(plan: Plan, posts: Mapping[str, Post]) -> Routing:
    """The routes between signals, by the key of their signal. Those that lead out where trains
    only come in are left out: no signal may clear for them.

    Raises :class:`InputError` where track leads a train back to where it was, past no signal."""
    names = Names()
    where = {key: (post.enters, post.joint.span) for key, post in posts.items()}
    found = find_routes(where, plan.track, names)
    if names.errors:
        raise InputError(names.errors)
    ends = {end: crossover for crossover in plan.crossovers.values() for end in crossover.ends}
    routes: dict[str, list[Route]] = {key: [] for key in posts}
    needs: dict[str, dict[str, str]] = {}
    for route in found:
        if route.exit_kind == "edge" and plan.track.pieces[route.exit].direction == "entering":
            continue
        routes[route.signal].append(route)
        needs[route.name] = {
            points: need.position
            for need in route.needs
            for points in (ends[need.points].ends if need.points in ends else (need.points,))
        }
    usable = [route for those in routes.values() for route in those]
    routing = Routing(plan, posts, {key: tuple(those) for key, those in routes.items()}, needs, {})
    meetings: dict[str, list[Meeting]] = defaultdict(list)
    for conflict in find_conflicts(usable, plan.track.pieces):
        one, two = conflict.first, conflict.second
        if one.signal != two.signal:
            meetings[one.name].append(_meeting(one, two, conflict.pieces, routing))
            meetings[two.name].append(_meeting(two, one, conflict.pieces, routing))
    return Routing(
        plan, posts, routing.routes, needs, {name: tuple(m) for name, m in meetings.items()}
    )


def _meeting(route: Route, other: Route, shared: Sequence[str], routing: Routing) -> Meeting:
    """How ``other`` meets ``route``. Points that lie differently for the two are locked by a train
    that has not passed them: then only the blocks after them count."""
    needs = routing.needs[route.name]
    last = max(i for i, piece in enumerate(other.pieces) if piece in shared)
    first, held = 0, ""
    for i, piece in enumerate(other.pieces[:last]):
        position = routing.needs[other.name].get(piece)
        if position is not None and needs.get(piece, position) != position:
            first, held = i + 1, routing.block_of(piece)
    upstream = routing.detected(routing.block_of(piece) for piece in other.pieces[first:last])
    return Meeting(
        other,
        tuple(b for b in upstream if b not in route.blocks and b != held),
        tuple(dict.fromkeys(routing.plan.track.pieces[piece].title for piece in shared)),
        routing.agree(route, other),
    )
