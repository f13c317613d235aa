"""What signals show for a route, by what the next one shows: proceed or stop, the next signal too,
the second one too; or what route or speed the next one asks for."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from verifier.drafting.levers import Named
from verifier.drafting.routing import Routing
from verifier.drafting.wanted import Aspects
from verifier.plan.model import Route

CLEAR = "proceed"
APPROACH = "proceed prepared to stop at next signal"
SECOND = "proceed prepared to stop at second signal"
NEXT_DIVERGES = "proceed prepared to take diverging route at next signal"
NEXT_MEDIUM = "proceed prepared to pass next signal at medium speed"
DIVERGING = "proceed diverging"
DIVERGING_APPROACH = "proceed diverging prepared to stop"
TELLS_ROUTE = (DIVERGING, DIVERGING_APPROACH)
MEDIUM = "proceed at medium speed"
MEDIUM_APPROACH = "proceed at medium speed prepared to stop"
RESTRICTING = "proceed at restricted speed"

# By indication: what an aspect is called where the file has none, and its colors. Common practice,
# no source.
_NEW = {
    SECOND: (
        "Advance-Approach",
        "flashing yellow or flashing yellow over red or flashing yellow over red over red",
    ),
    NEXT_DIVERGES: ("Approach-Diverging", "yellow over yellow or yellow over yellow over red"),
    NEXT_MEDIUM: ("Approach-Medium", "yellow over green or yellow over green over red"),
    MEDIUM: ("Medium-Clear", "red over green or red over green over red"),
    MEDIUM_APPROACH: ("Medium-Approach", "red over yellow or red over yellow over red"),
}
_BUILT_IN = {
    CLEAR: "Clear",
    APPROACH: "Approach",
    DIVERGING: "Diverging-Clear",
    DIVERGING_APPROACH: "Diverging-Approach",
    RESTRICTING: "Restricting",
}
_AHEAD = {"route": NEXT_DIVERGES, "speed": NEXT_MEDIUM}

Shown = tuple[str, tuple[str, ...]]
NeverShown = tuple[str, str]


@dataclass(frozen=True, slots=True)
class AspectsOf:
    """The aspects of all signals of a draft."""

    routing: Routing
    names: Mapping[str, Named]
    wanted: Aspects
    # Signals and aspects that they were found never to show.
    never: frozenset[NeverShown] = frozenset()

    def shown(self, route: Route) -> list[Shown]:
        """The aspects for a route, the most favorable first, and what more each needs."""
        return [(self.name(meaning), more) for meaning, more in self._meant(route)]

    def has_two_heads(self, key: str) -> bool:
        """Whether a signal shows an aspect that takes two heads."""
        routes = self.routing.routes[key]
        ahead = {NEXT_DIVERGES, NEXT_MEDIUM}
        return any(
            route.diverging or not ahead.isdisjoint(meaning for meaning, _ in self._meant(route))
            for route in routes
        )

    def added(self) -> Iterator[str]:
        """The statements of aspects that are shown and that the chart of the file lacks."""
        meant = {what for route in self.routing.all_routes for what, _ in self._meant(route)}
        for meaning, (name, colors) in _NEW.items():
            if meaning in meant and self._own(meaning) is None:
                yield f"aspect {name} {colors} {meaning}"

    def name(self, meaning: str) -> str:
        """What the aspect with an indication is called: in the file, or by the draft."""
        own = self._own(meaning)
        return own or (_NEW[meaning][0] if meaning in _NEW else _BUILT_IN[meaning])

    def proceeds(self, key: str) -> bool:
        """Whether a signal ever shows better than Restricting. One that the file has: by its
        lines."""
        post, plan = self.routing.posts[key], self.routing.plan
        if post.written:
            shown = {line.shows for line in plan.signals[post.written].lines}
            return any(a.proceeds for a in plan.chart.aspects if a.name in shown)
        return any(self._detected(route) for route in self.routing.routes[key])

    def _own(self, meaning: str) -> str | None:
        chart = self.routing.plan.chart.aspects
        return next((a.name for a in chart if a.indication.text == meaning), None)

    def _detected(self, route: Route) -> bool:
        return len(self.routing.detected(route.blocks)) == len(route.blocks)

    def _pair(self, route: Route) -> tuple[str, str]:
        """What a route is called where the next signal proceeds, and where it may not."""
        if not route.diverging:
            return CLEAR, APPROACH
        return (MEDIUM, MEDIUM_APPROACH) if self.wanted == "speed" else TELLS_ROUTE

    def _meant(self, route: Route) -> list[Shown]:
        possible = self._possible(route)
        return [one for one in possible if self._shows(route, one[0])] or possible[-1:]

    def _shows(self, route: Route, meaning: str) -> bool:
        return (self.names[route.signal].name, self.name(meaning)) not in self.never

    def _possible(self, route: Route) -> list[Shown]:
        """What may be shown as far as routes alone tell."""
        if not self._detected(route):
            return [(RESTRICTING, ())]
        clear, approach = self._pair(route)
        if route.exit_kind == "edge":
            return [(clear, ())]
        alone = route.exit_kind == "bumper" or self.wanted == 2
        if alone or not (self.proceeds(route.exit) and self._goes_on(route)):
            return [(approach, ())]
        goes = (f"{self.names[route.exit].name} proceeds",)
        if self.wanted == 4 and not route.diverging:
            return [*self._with_second(route, goes), (approach, ())]
        if self.wanted in _AHEAD and not route.diverging:
            return [*self._with_next(route, goes), (approach, ())]
        return [(clear, goes), (approach, ())]

    def _with_second(self, route: Route, goes: tuple[str, ...]) -> Iterator[Shown]:
        """Clear where the next signal shows better than its kind of Approach, else the aspect that
        tells of the second signal; each only where the next one can show that."""
        onward = [self._alone(other) for other in self._onward(route) if self._detected(other)]
        stops = dict.fromkeys(approach for _, approach in onward if approach)
        if not onward or any(clear for clear, _ in onward):
            yield CLEAR, (*goes, *self._shows_none(route, stops))
        if stops:
            yield SECOND, goes

    def _with_next(self, route: Route, goes: tuple[str, ...]) -> Iterator[Shown]:
        """Clear where the next signal leads straight on, else the aspect that tells of its route or
        speed; each only where the next one can show that."""
        onward = [other for other in self._onward(route) if self._detected(other)]
        # Only diverging routes are looked into: straight ones go on, round a circle for ever.
        diverging = [other for other in onward if other.diverging]
        meant = {what: None for other in diverging for what, _ in self._meant(other)}
        written = self.routing.posts[route.exit].written
        if written or not onward or any(not other.diverging for other in onward):
            yield CLEAR, (*goes, *self._shows_none(route, map(self.name, meant)))
        if meant:
            yield _AHEAD[str(self.wanted)], goes

    def _shows_none(self, route: Route, aspects: Iterator[str] | dict[str, None]) -> Iterator[str]:
        next_one = self.names[route.exit].name
        return (f"not {next_one} shows {aspect}" for aspect in aspects)

    def _alone(self, route: Route) -> tuple[bool, str]:
        """Whether a signal can show better than Approach for a route, and as what it can show that;
        empty where it never does."""
        goes_on = route.exit_kind == "edge" or (
            route.exit_kind == "signal" and self.proceeds(route.exit) and self._goes_on(route)
        )
        clear, approach = self._pair(route)
        goes_on = goes_on and self._shows(route, clear)
        return goes_on, "" if route.exit_kind == "edge" else self.name(approach)

    def _goes_on(self, route: Route) -> bool:
        """Whether the signal at the end of a route may clear together with it. A signal
        that the file has already is taken to."""
        return bool(self.routing.posts[route.exit].written) or any(self._onward(route))

    def _onward(self, route: Route) -> Iterator[Route]:
        """The routes of the signal at its end that may be clear together with a route."""
        met = {m.other.name for m in self.routing.meetings.get(route.name, ()) if m.both_lined}
        for other in self.routing.routes[route.exit]:
            if self.routing.agree(route, other) and other.name not in met:
                yield other
