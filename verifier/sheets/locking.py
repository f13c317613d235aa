"""The locking sheet: every route, what it needs, and which routes conflict with it.

All of it comes from the track alone, but for the locks between levers that the file gives; no rule
of the file is looked at. That makes it the independent sheet to hold the rules against.
"""

from collections.abc import Iterator

from verifier.drafting.draft import with_signals_placed
from verifier.language.diagnostics.diagnostic import InputError
from verifier.plan.model import Entrance, Plan, Route
from verifier.properties.phrases import derails_run_over
from verifier.sheets.condition_text import LETTER
from verifier.sheets.options import USUAL_OPTIONS, SheetOptions
from verifier.sheets.sheet import Sheet, Table

_DRAFTED = "The file has no signals: these are drafted, where `clearproof draft` places them."

_CONFLICT_WORDS = {
    "opposing": "opposing",
    "converging": "converging",
    "crossing": "crossing",
    "diverging": "same start",
}


def locking_sheet(plan: Plan, _: SheetOptions = USUAL_OPTIONS) -> Sheet:
    """Every route and what it needs, conflicts, fouling and interlocking limits."""
    title = f"Locking sheet: {plan.title}"
    notes: tuple[str, ...] = ()
    if not plan.signals:
        try:
            plan, notes = with_signals_placed(plan), (_DRAFTED,)
        except InputError as error:
            notes = ("No signals, so no routes.", *(d.message for d in error.diagnostics))
    if not plan.routes:
        frame = tuple(table for table in (_levers(plan),) if table.rows)
        return Sheet("locking", title, frame, notes or ("No signals, so no routes.",))
    numbers = {route.name: i for i, route in enumerate(plan.routes, start=1)}
    tables = (
        _levers(plan),
        _routes(plan, numbers),
        _conflicts(plan, numbers),
        _fouling(plan, numbers),
        _limits(plan),
    )
    return Sheet("locking", title, tuple(table for table in tables if table.rows), notes)


def _levers(plan: Plan) -> Table:
    """The locks of a mechanical frame, in the form of a locking sheet: each also works backward."""
    rows = tuple(
        (lock.lever, lock.position, name, position, lock.when or "-")
        for assumption in plan.assumptions
        if (lock := assumption.lock)
        for name, position in lock.holds
    )
    note = "While a lever stands so, it holds the other; while the other stands otherwise, it "
    note += "cannot be moved there."
    return Table(
        "Locking between levers", ("lever", "when", "locks", "in", "only while"), rows, (note,)
    )


def _routes(plan: Plan, numbers: dict[str, int]) -> Table:
    columns = ("no.", "signal", "to", "points", "blocks clear", "devices", "conflicts with")
    rows = tuple(
        (
            str(numbers[route.name]),
            route.signal,
            route.exit,
            " ".join(points_needed(route)) or "-",
            ", ".join(_block(block, plan) for block in route.blocks),
            ", ".join(_devices(route, plan)) or "-",
            " ".join(str(n) for n in _conflicting(route, plan, numbers)) or "-",
        )
        for route in plan.routes
    )
    return Table(
        "Routes", columns, rows, ("Points: N normal, R reverse; (f) met facing, (t) trailing.",)
    )


def _conflicts(plan: Plan, numbers: dict[str, int]) -> Table:
    rows = tuple(
        (
            f"{numbers[c.first.name]} and {numbers[c.second.name]}",
            f"{c.first.name} / {c.second.name}",
            _CONFLICT_WORDS[c.kind],
            c.place,
        )
        for c in plan.conflicts
    )
    return Table("Conflicting routes", ("no.", "routes", "how", "where"), rows)


def _limits(plan: Plan) -> Table:
    rows = []
    for limit in plan.limits:
        tracks = dict.fromkeys(plan.track.pieces[piece].title for piece in limit.pieces)
        ways = [_way_in(entrance) for entrance in limit.entrances]
        rows.append((limit.name, ", ".join(tracks), ", ".join(ways) or "-"))
    return Table("Interlocking limits", ("at", "track", "ways in"), tuple(rows))


def points_needed(route: Route) -> Iterator[str]:
    """The points of a route in the order met: `T1 N(f)`, met facing, or `T2 R(t)`, trailing."""
    for need in route.needs:
        yield f"{need.points} {LETTER[need.position]}({'f' if need.facing else 't'})"


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


def _fouling(plan: Plan, numbers: dict[str, int]) -> Table:
    """For each block, the routes that run over any of its track."""
    rows = []
    for block in plan.blocks:
        over = [str(numbers[r.name]) for r in plan.routes if block in r.blocks]
        rows.append((block, " ".join(over) or "-"))
    note = "Stock that stands on a block fouls these routes."
    return Table("Fouling", ("stock on", "fouls"), tuple(rows), (note,))
