"""Truth tables: for each signal, what it shows for every combination of what its rules ask.

For those who build with relays or logic. In: a plan. Out: a sheet with one table for each signal;
rows that differ in nothing but what does not matter are one row, with ``-`` there. The rows of one
table exclude one another and leave nothing out.
"""

from collections.abc import Iterator, Mapping
from itertools import product

from verifier.logic.expr import FALSE, Expr, atom, both, constant, observables, substitute
from verifier.plan.aspects import Combination
from verifier.plan.facts import Observable
from verifier.plan.model import Plan, Signal
from verifier.sheets.sheet import Row, Sheet, Table
from verifier.world.reported import ReportedWorld

# A table of more rows is of no use on paper.
MOST_ROWS = 500
ANY = "-"


def truth_sheet(plan: Plan) -> Sheet:
    title = f"Truth tables: {plan.title}"
    if not plan.signals:
        return Sheet("truth-table", title, (), ("No signals, so no tables.",))
    world = ReportedWorld(plan)
    tables: list[Table] = []
    notes = [
        "One row holds in every case. What stands in it is what comes in: what detectors and "
        "contacts report, how levers stand, what is remembered. Where nothing is said (-), it does "
        "not matter.",
    ]
    for signal in plan.signals.values():
        rows = list(_some(_rows(world, signal)))
        asked = _asked(world, signal)
        if len(rows) > MOST_ROWS:
            notes.append(
                f"{signal.name} is left out: its table has more than {MOST_ROWS} rows, since its "
                f"rules ask {len(asked)} things. Give a relay to what several lines ask, or let a "
                "microcontroller run the rules (`clearproof export`)."
            )
            continue
        tables.append(_table(plan, signal, asked, rows))
    return Sheet("truth-table", title, tuple(tables), tuple(notes))


def _table(
    plan: Plan, signal: Signal, asked: tuple[Observable, ...], rows: list[tuple[Row, Combination]]
) -> Table:
    columns = ("row", *map(_heading, asked), "shows", *(head.name for head in signal.heads))
    told = []
    for number, (row, colours) in enumerate(rows, start=1):
        told.append((str(number), *row, plan.chart.reading(colours), *colours))
    lamps = frozenset(head.name for head in signal.heads)
    return Table(signal.name, columns, tuple(told), lamps=lamps)


def _heading(what: Observable) -> str:
    kind = {"block report": "block", "points report": "points", "derail report": "derail",
            "gate report": "gate"}.get(what.kind, what.kind)  # fmt: skip
    return f"{kind} {what.name}"


# ------------------------------------------------------------------ rows


def _shows(world: ReportedWorld, signal: Signal) -> "_Left":
    """When the heads show which colors, nothing being missing or out."""
    sound = set(world.faults)
    told: dict[Combination, Expr] = {}
    for colours in product(*(head.colour.values for head in signal.heads)):
        heads = zip(signal.heads, colours, strict=True)
        shown = both(*(world.expand(atom(head.colour, colour)) for head, colour in heads))
        told[colours] = substitute(
            shown,
            lambda part: constant("sound" in part.values) if part.what in sound else part,
        )
    return told


def _asked(world: ReportedWorld, signal: Signal) -> tuple[Observable, ...]:
    """All that the signal hangs on, in the order of the plan."""
    shows = _shows(world, signal)
    about = {what for expr in shows.values() for what in observables(expr)}
    return tuple(what for what in world.inputs if what in about)


def _rows(world: ReportedWorld, signal: Signal) -> Iterator[tuple[Row, Combination]]:
    asked = _asked(world, signal)
    for cells, colours in _split(_shows(world, signal)):
        yield tuple(cells.get(what, ANY) for what in asked), colours


# What a signal still may show, by the colors of its heads, once some things are known.
_Left = Mapping[Combination, Expr]


def _split(shows: _Left) -> Iterator[tuple[dict[Observable, str], Combination]]:
    """Rows for what is left to be asked: first what leaves least to be asked after it. States
    after which nothing differs are one row."""
    asked = _left_to_ask(shows)
    if not asked:
        for colours, expr in shows.items():
            if expr is not FALSE:
                yield {}, colours
        return
    each = {what: _after(what, shows) for what in asked}
    what = min(asked, key=lambda w: sum(len(_left_to_ask(then)) for _, then in each[w]))
    for values, then in sorted(each[what], key=lambda after: len(_left_to_ask(after[1]))):
        cell = ANY if len(values) == len(what.values) else " or ".join(values)
        for cells, colours in _split(then):
            yield {what: cell, **cells}, colours


def _left_to_ask(shows: _Left) -> tuple[Observable, ...]:
    return tuple(dict.fromkeys(what for expr in shows.values() for what in observables(expr)))


def _after(what: Observable, shows: _Left) -> list[tuple[list[str], _Left]]:
    """What is left once a thing is known, for each state of it that makes a difference."""
    after: dict[tuple[int, ...], tuple[list[str], _Left]] = {}
    for value in what.values:
        left: _Left = {told: _given(expr, what, value) for told, expr in shows.items()}
        # Equal expressions are one object.
        key = tuple(id(expr) for expr in left.values())
        after.setdefault(key, ([], left))[0].append(value)
    return list(after.values())


def _given(expr: Expr, what: Observable, value: str) -> Expr:
    return substitute(
        expr, lambda part: constant(value in part.values) if part.what == what else part
    )


def _some(rows: Iterator[tuple[Row, Combination]]) -> Iterator[tuple[Row, Combination]]:
    """As many as there may be, and one more."""
    for _, row in zip(range(MOST_ROWS + 1), rows, strict=False):
        yield row
