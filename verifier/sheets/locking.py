"""The locking sheet: every route, what it needs, and which routes conflict with it.

All of it comes from the track alone; no rule of the file is looked at. That makes it the
independent sheet to hold the rules against.
"""

from collections.abc import Iterator, Sequence

from verifier.plan.model import Entrance, Plan, Route
from verifier.properties.phrases import derails_run_over

_LETTER = {"normal": "N", "reverse": "R"}
_CONFLICT_WORDS = {
    "opposing": "opposing",
    "converging": "converging",
    "crossing": "crossing",
    "diverging": "same start",
}


def locking_sheet(plan: Plan) -> Iterator[str]:
    """The sheet as lines of text."""
    yield f"Locking sheet: {plan.title}"
    yield ""
    if not plan.routes:
        yield "No signals, so no routes."
        return
    numbers = {route.name: i for i, route in enumerate(plan.routes, start=1)}
    rows = [("no.", "signal", "to", "points", "blocks clear", "devices", "conflicts with")]
    for route in plan.routes:
        rows.append(
            (
                str(numbers[route.name]),
                route.signal,
                route.exit,
                " ".join(_points(route)) or "-",
                ", ".join(_block(block, plan) for block in route.blocks),
                ", ".join(_devices(route, plan)) or "-",
                " ".join(str(n) for n in _conflicting(route, plan, numbers)) or "-",
            )
        )
    yield from _table(rows)
    yield ""
    yield "Points: N normal, R reverse; (f) met facing, (t) trailing."
    if plan.conflicts:
        yield ""
        yield "Conflicting routes:"
        conflicts = [("", "routes", "how", "where")]
        for c in plan.conflicts:
            pair = f"{numbers[c.first.name]} and {numbers[c.second.name]}"
            names = f"{c.first.name} / {c.second.name}"
            conflicts.append((pair, names, _CONFLICT_WORDS[c.kind], c.place))
        yield from _table(conflicts)
    yield ""
    yield "Fouling (stock that stands there fouls these routes):"
    yield from _table([("stock on", "fouls"), *_fouling(plan, numbers)])
    if plan.limits:
        yield ""
        yield "Interlocking limits:"
        limits = [("at", "track", "ways in")]
        for limit in plan.limits:
            tracks = dict.fromkeys(plan.track.pieces[piece].title for piece in limit.pieces)
            ways = [_way_in(entrance) for entrance in limit.entrances]
            limits.append((limit.name, ", ".join(tracks), ", ".join(ways) or "-"))
        yield from _table(limits)


def _points(route: Route) -> Iterator[str]:
    for need in route.needs:
        yield f"{need.points} {_LETTER[need.position]}({'f' if need.facing else 't'})"


def _devices(route: Route, plan: Plan) -> Iterator[str]:
    for name in derails_run_over(route, plan):
        yield f"{name} non-derailing"
    for derail in plan.derails.values():
        if derail.guards in route.pieces and derail.name not in derails_run_over(route, plan):
            yield f"{derail.name} derailing"
    for gate in plan.gates.values():
        if gate.block in route.blocks:
            yield f"{gate.name} seated"


def _conflicting(route: Route, plan: Plan, numbers: dict[str, int]) -> list[int]:
    found = set()
    for c in plan.conflicts:
        if route.name in (c.first.name, c.second.name):
            other = c.second if c.first.name == route.name else c.first
            found.add(numbers[other.name])
    return sorted(found)


def _block(name: str, plan: Plan) -> str:
    return name if plan.blocks[name].detected else f"{name} (no detector)"


def _way_in(entrance: Entrance) -> str:
    if entrance.kind == "signal":
        return entrance.end
    return f"{entrance.end} ({f'derail {entrance.derail}' if entrance.derail else 'no signal'})"


def _fouling(plan: Plan, numbers: dict[str, int]) -> Iterator[tuple[str, str]]:
    """For each block, the routes that run over any of its track."""
    for block in plan.blocks:
        over = [str(numbers[r.name]) for r in plan.routes if block in r.blocks]
        yield block, " ".join(over) or "-"


def _table(rows: Sequence[Sequence[str]]) -> Iterator[str]:
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    for number, row in enumerate(rows):
        yield "  ".join(f"{cell:<{w}}" for cell, w in zip(row, widths, strict=True)).rstrip()
        if number == 0:
            yield "  ".join("-" * w for w in widths)
