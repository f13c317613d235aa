"""Routes that a file gives a name: which of those found from the track each is.

In: `route` statements and all routes. Out: by name, the route; errors are noted in the names.
"""

from collections.abc import Iterable, Sequence

from verifier.language.source import Span
from verifier.language.syntax import tree
from verifier.plan.model import Route
from verifier.plan.names import Declared, Names
from verifier.plan.track.routes import differing, via


def read_routes(
    statements: Iterable[tree.Statement], routes: Sequence[Route], names: Names
) -> dict[str, tuple[Route, Span]]:
    """The route each name stands for, and where it is declared."""
    found: dict[str, tuple[Route, Span]] = {}
    for s in tree.of_kind(statements, tree.Route):
        if route := _meant(s, routes, names):
            found[s.name.text] = route, s.span
    return found


def _meant(node: tree.Route, routes: Sequence[Route], names: Names) -> Route | None:
    known = (
        names.find(node.signal, "signal"),
        names.find(node.to, "signal", "edge", "bumper"),
    )
    ways = [_points(way, names) for way in node.via]
    if None in known or None in ways:
        return None
    signal, to = node.signal.text, node.to.text
    starting = [route for route in routes if route.signal == signal]
    if known[0] and _cut_short(known[0], names):
        return None
    leading = [route for route in starting if route.exit == to]
    if not leading:
        exits = list(dict.fromkeys(route.exit for route in starting))
        names.error("CP705", node.to.span, signal=signal, to=to, exits=exits)
        return None
    for way, points in zip(node.via, ways, strict=True):
        leading = _by_way_of(way, points or (), leading, node, names)
    if len(leading) > 1:
        choices = [via(differing(route, leading)) for route in leading]
        names.error(
            "CP706",
            node.span,
            "many" if len(choices) > 4 else "",
            count=len(leading),
            signal=signal,
            to=to,
            choices=choices[:4],
            more=len(choices) - 4,
        )
    return leading[0] if len(leading) == 1 else None


def _cut_short(signal: Declared, names: Names) -> bool:
    """Where a signal leads is not known: it has an error of its own, or its routes have."""
    at = signal.span
    return any(
        e.span.source.name == at.source.name and at.start <= e.span.start < signal.node.span.end
        for e in names.errors
    )


def _points(way: tree.RoutePoints, names: Names) -> tuple[str, ...] | None:
    """The points a way is over: those of both turnouts of a crossover."""
    declared = names.find(way.points, "turnout", "slip", "crossover")
    if declared is None:
        return None
    if isinstance(declared.node, tree.Crossover):
        return tuple(end.text for end in declared.node.ends)
    return (way.points.text,)


def _by_way_of(
    way: tree.RoutePoints,
    points: Iterable[str],
    leading: Sequence[Route],
    node: tree.Route,
    names: Names,
) -> list[Route]:
    wanted = [(name, way.position.text) for name in points]
    kept = [
        route for route in leading if set(wanted) <= {(n.points, n.position) for n in route.needs}
    ]
    if leading and not kept:
        over = {need.points for route in leading for need in route.needs}
        there = all(name in over for name, _ in wanted)
        said = f"{way.points.text} {way.position.text}" if there else way.points.text
        names.error(
            "CP707",
            way.span,
            "" if over else "no_points",
            signal=node.signal.text,
            to=node.to.text,
            said=said,
            ways=[via(route.needs) for route in leading[:4]],
        )
    return kept
