"""What keeps routes that meet apart, where points let both be lined at once: how the panel's levers
are thrown, or, of automatic signals, the order of the signals and the trains that wait at them.

Automatic signals have an order: those at points and crossings first, else as the track is drawn. A
signal clears while the
earlier ones that meet it are at stop. It gives way to a train that waits at a later one, unless a
train waits at its own, so that no train waits for one that never comes.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from verifier.drafting.levers import Named
from verifier.drafting.routing import Meeting, Routing
from verifier.drafting.single import Stretches
from verifier.drafting.wanted import Aspects, Panel
from verifier.drafting.words import all_of
from verifier.language.listing import listing
from verifier.plan.model import Route

Lie = Mapping[str, str]
_OTHER = {"normal": "reverse", "reverse": "normal"}


@dataclass(frozen=True, slots=True)
class Apart:
    """The routes, and the signals with what clears them, by ``panel``. ``aspects``: those
    wanted; ``stretches``: single track with a lever for its direction. Levers of a frame whose
    signals always meet lock each other."""

    routing: Routing
    names: Mapping[str, Named]
    panel: Panel
    aspects: Aspects
    stretches: Stretches
    # By signal, with time locking: the timer that runs while it is at stop.
    times: Mapping[str, str] = field(default_factory=dict)

    def conditions(self, route: Route) -> Iterator[str]:
        """What a signal asks before it clears for a route, so that no other one lets a train meet
        it there: joined by `and`."""
        if self.panel == "automatic":
            yield from self._after_earlier(route)
            yield from self._giving_way(route)
            return
        yield from self.stretches.allow(route)
        if self.panel == "buttons":
            yield from self._after_written(route)
        else:
            yield from self._by_levers(route)
        if self.times:
            yield from self._after_their_time(route)

    def against(self, key: str, meetings: Sequence[Meeting]) -> Mapping[str, tuple[str, ...]]:
        """The signals that are kept apart from one by its conditions, and the track where."""
        found: dict[str, list[str]] = defaultdict(list)
        for meeting in meetings:
            other = meeting.other.signal
            if meeting.both_lined and self._is_apart(key, other):
                found[self.names[other].name] += meeting.at
        return {name: tuple(dict.fromkeys(at)) for name, at in found.items()}

    def _is_apart(self, key: str, other: str) -> bool:
        if self.panel == "automatic":
            return self._asks(key, other)
        return self.panel == "buttons" or self.names[other].lever != self.names[key].lever

    def asked_at_stop(self) -> Iterator[tuple[str, str]]:
        """Each signal that clears only while another one, which follows, is at stop."""
        posts = self.routing.posts
        for route in self.routing.all_routes:
            for other in (m.other.signal for m in self._met(route)):
                automatic = self.panel == "automatic" and self._asks(route.signal, other)
                if not posts[route.signal].written and (automatic or posts[other].written):
                    yield route.signal, other

    # ---------------------------------------------------------------- automatic signals

    def _asks(self, key: str, other: str) -> bool:
        """Whether a signal asks for another one at stop: an earlier one, or one of the file."""
        posts, order = self.routing.posts, list(self.routing.posts)
        if posts[other].written:
            return True
        return (self._on_plain_track(other), order.index(other)) < (
            self._on_plain_track(key), order.index(key),
        )  # fmt: skip

    def _on_plain_track(self, key: str) -> bool:
        pieces, post = self.routing.plan.track.pieces, self.routing.posts[key]
        return pieces[post.center].kind == "plain"

    def _after_earlier(self, route: Route) -> Iterator[str]:
        wants: dict[str, list[Lie]] = defaultdict(list)
        for meeting in self._met(route):
            if self._asks(route.signal, meeting.other.signal):
                wants[meeting.other.signal].append(self._besides(route, meeting.other))
        yield from self._unless_lined(
            route, wants, lambda keys: f"{', '.join(self.names[key].name for key in keys)} at stop"
        )

    def _unless_lined(
        self, route: Route, wants: Mapping[str, list[Lie]], say: Callable[[Sequence[str]], str]
    ) -> Iterator[str]:
        """What is to be said of signals, or of each only while points let it be met."""
        free = [key for key, lies in wants.items() if self._any_way(route, key, lies)]
        if free:
            yield say(free)
        for key, lies in wants.items():
            if key not in free:
                for lie in least(lies):
                    lined = " or ".join(self._otherwise(lie))
                    yield f"({say([key])} or {lined})"

    def _any_way(self, route: Route, key: str, lies: Sequence[Lie]) -> bool:
        """Whether a signal meets a route however the points lie that the route leaves open."""
        others = [r for r in self.routing.routes[key] if self.routing.agree(route, r)]
        return not all(lies) or len(lies) == len(others)

    def _otherwise(self, lie: Lie) -> Iterator[str]:
        return self.routing.points({points: _OTHER[at] for points, at in lie.items()}, apart=True)

    def _giving_way(self, route: Route) -> Iterator[str]:
        """A train that comes to a later signal goes first, unless one waits at this signal."""
        own = self._before(route.signal)
        coming: dict[tuple[str, ...], dict[str, None]] = {(): {}}
        for meeting in self._met(route):
            other = meeting.other.signal
            if not self._asks(route.signal, other):
                coming[()] |= dict.fromkeys(self._before(other))
                # On a circle a train may come to both: it does not keep the first one at stop.
                mine = {b for _, those in self._called(route.signal, other) for b in those}
                for unless, blocks in self._called(other, route.signal):
                    coming.setdefault(unless, {}).update(
                        (block, None) for block in blocks if unless or block not in mine
                    )
        met = self.routing.meetings.get(route.name, ())
        here = {*own, *route.blocks, *(block for m in met for block in m.upstream)}
        for unless, found in coming.items():
            blocks = [b for b in found if b not in here and not (unless and b in coming[()])]
            if blocks:
                first = [f"{own[0]} occupied"] if own else []
                parts = (*first, *unless, f"{', '.join(blocks)} clear")
                yield f"({' or '.join(parts)})" if parts[1:] else parts[0]

    def _called(self, key: str, not_by: str) -> Iterator[tuple[tuple[str, ...], Sequence[str]]]:
        """The blocks from which a train comes to a signal past the one before, which can then tell
        of it; with the points that lead it to ``not_by`` instead."""
        if self.aspects == 2:
            return
        for before, routes in self.routing.routes.items():
            leading = [r for r in routes if r.exit_kind == "signal" and r.exit == key]
            elsewhere = [r for r in routes if r.exit_kind == "signal" and r.exit == not_by]
            if before not in (key, not_by):
                for route in leading:
                    needs = self.routing.needs[route.name]
                    others = [self.routing.needs[r.name] for r in elsewhere]
                    apart = {
                        p: at for p, at in needs.items() if any(o.get(p, at) != at for o in others)
                    }
                    blocks = (*route.blocks, *self._before(before))
                    yield tuple(self._otherwise(apart)), self.routing.detected(blocks)

    def _before(self, key: str) -> tuple[str, ...]:
        """The block before a signal, where a train waits at it, if a detector watches it."""
        block = self.routing.plan.track.pieces[self.routing.posts[key].near.piece].block
        return self.routing.detected([block] if block else [])

    def _met(self, route: Route) -> Iterator[Meeting]:
        return (m for m in self.routing.meetings.get(route.name, ()) if m.both_lined)

    def _besides(self, route: Route, other: Route) -> Lie:
        """How points must lie for another route that this one leaves open."""
        needs = self.routing.needs[route.name]
        return {p: at for p, at in self.routing.needs[other.name].items() if needs.get(p) != at}

    def _after_their_time(self, route: Route) -> Iterator[str]:
        """No train that saw a signal clear may still pass it and meet the route."""
        wants: dict[str, list[Lie]] = defaultdict(list)
        for meeting in self._met(route):
            wants[meeting.other.signal].append(self._besides(route, meeting.other))
        yield from self._unless_lined(
            route, wants, lambda keys: f"{all_of([self.times[key] for key in keys])} done"
        )

    # ---------------------------------------------------------------- buttons

    def _after_written(self, route: Route) -> Iterator[str]:
        """The file's own signals that meet a route are at stop: relays keep the others apart."""
        others = dict.fromkeys(m.other.signal for m in self._met(route))
        written = [self.names[key].name for key in others if self.routing.posts[key].written]
        if written:
            yield f"{', '.join(written)} at stop"

    # ---------------------------------------------------------------- levers

    def _by_levers(self, route: Route) -> Iterator[str]:
        """No lever is thrown for a route that meets this one while points let both be lined."""
        own = self.names[route.signal]
        against: dict[Named, list[Lie]] = defaultdict(list)
        frame_locks = self.frame_locks() if self.panel == "levers" else {}
        for meeting in self._met(route):
            if self.stretches.between(route, meeting.other):
                continue
            named = self.names[meeting.other.signal]
            locked = named.lever in frame_locks.get(own.lever, ())
            if not locked and (not named.lever or named.lever != own.lever):
                key = Named("", named.lever, named.position) if named.lever else named
                against[key].append(self._besides(route, meeting.other))
        held: dict[str, set[str]] = defaultdict(set)
        parts = []
        for named, wants in against.items():
            if not named.lever:
                parts.append(f"{named.name} at stop")
                continue
            if any(not want for want in wants) or self._whenever(route, named, len(wants)):
                held[named.lever].add(named.position)
                continue
            for want in least(wants):
                # That points lie otherwise, not that they do not lie so: a contact may fail.
                lined = self._otherwise(want)
                parts.append(f"({' or '.join((f'not {named.lever} {named.position}', *lined))})")
        yield from _held(held, self._positions())
        yield from parts

    def frame_locks(self) -> Mapping[str, tuple[str, ...]]:
        """For each lever of a frame the others that it locks normal when reversed: those with no
        route that can be used together with one of its own. Both ways."""
        by_lever: dict[str, list[Route]] = defaultdict(list)
        for key, named in self.names.items():
            if named.lever:
                by_lever[named.lever] += self.routing.routes[key]
        return {
            lever: tuple(
                other
                for other, theirs in by_lever.items()
                if other != lever and self._exclude(routes, theirs)
            )
            for lever, routes in by_lever.items()
        }

    def _exclude(self, routes: Sequence[Route], others: Sequence[Route]) -> bool:
        """Whether some of these routes meet, and none of them can be used together."""
        lined = [(r, o) for r in routes for o in others if self.routing.agree(r, o)]
        return bool(lined) and all(self._locked_out(r, o) for r, o in lined)

    def _locked_out(self, route: Route, other: Route) -> bool:
        """Whether two routes meet, and no lever for single track keeps them apart."""
        meets = any(m.other is other for m in self._met(route))
        return meets and not self.stretches.between(route, other)

    def _whenever(self, route: Route, named: Named, number: int) -> bool:
        """Whether every route that a lever's position clears, and points allow, meets this one."""
        those = [
            other
            for key, its in self.names.items()
            if (its.lever, its.position) == (named.lever, named.position)
            for other in self.routing.routes[key]
            if self.routing.agree(route, other)
        ]
        return len(those) == number

    def _positions(self) -> Mapping[str, set[str]]:
        found: dict[str, set[str]] = defaultdict(set)
        for named in self.names.values():
            found[named.lever].add(named.position)
        return found


def least(wants: Iterable[Lie]) -> Iterator[Lie]:
    """The demands without those that follow from another."""
    kept: list[Lie] = []
    for want in sorted(wants, key=len):
        if not any(other.items() <= want.items() for other in kept):
            kept.append(want)
            yield want


def _held(held: Mapping[str, set[str]], positions: Mapping[str, set[str]]) -> Iterator[str]:
    """Levers that must not be thrown one way, or not at all."""
    normal = [lever for lever, at in held.items() if at >= positions[lever]]
    if normal:
        yield f"{', '.join(normal)} normal"
    for lever, at in held.items():
        if lever not in normal:
            yield f"not {lever} {listing(sorted(at), 'or')}"
