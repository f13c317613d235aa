"""Truth tables: what each signal shows, whether points may be thrown and what each memory comes
to, for every combination of what their rules ask.

For those who build with relays or logic. In: a plan. Out: a sheet with one table for each signal;
rows that differ in nothing but what does not matter are one row, with ``-`` there. The rows of one
table exclude one another and leave nothing out.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import product

from verifier.logic.expr import (
    FALSE,
    Atom,
    Expr,
    atom,
    conjunction,
    constant,
    negation,
    substitute,
    support,
)
from verifier.plan.devices import devices
from verifier.plan.model import Plan, Signal
from verifier.plan.observables import Observable
from verifier.sheets.options import USUAL_OPTIONS, SheetOptions
from verifier.sheets.sheet import Row, Sheet, Table
from verifier.world.report_abstraction import ReportedWorld

# A table of more rows is of no use on paper.
MOST_ROWS = 500
ANY = "-"


_HOW_RELAYS_ACT = (
    "Relays, timers and directions of traffic may act in any order. The table of each gives its "
    "next state from the states of the others as it sees them: as they were, or after they have "
    "acted."
)
_HOW_A_PROGRAM_ACTS = (
    "Relays, timers and directions of traffic act one after another in the order of the file; "
    "their tables give the next state of each from the previous state of all."
)


def truth_sheet(plan: Plan, _: SheetOptions = USUAL_OPTIONS) -> Sheet:
    title = f"Truth tables: {plan.title}"
    if not plan.signals:
        return Sheet("truth-table", title, (), ("No signals, so no tables.",))
    tables: list[Table] = []
    notes = [
        "Exactly one row applies in every case. Its cells are the inputs: what detectors and "
        "contacts report, how levers stand, the state of relays, timers and traffic. A dash (-) "
        "means that this input does not matter.",
    ]
    if plan.locking.memory:
        notes.append(_HOW_RELAYS_ACT if plan.locking.building.of_relays else _HOW_A_PROGRAM_ACTS)
    for asking in _to_ask(plan, ReportedWorld(plan)):
        rows = list(_some(_rows(asking)))
        if len(rows) > MOST_ROWS:
            notes.append(
                f"{asking.title} is left out: its table has more than {MOST_ROWS} rows, since its "
                f"rules depend on {len(asking.asked)} inputs. Give a relay to what several lines "
                "test, or let a microcontroller run the rules (`clearproof export`)."
            )
            continue
        told = ((str(n), *row, *outcome) for n, (row, outcome) in enumerate(rows, start=1))
        columns = ("row", *map(_heading, asking.asked), *asking.columns)
        tables.append(Table(asking.title, columns, tuple(told), lamps=asking.lamps))
    return Sheet("truth-table", title, tuple(tables), tuple(notes))


# What may come out, by what stands in the last columns, once some things are known.
_Left = Mapping[tuple[str, ...], Expr]


@dataclass(frozen=True, slots=True)
class _Asking:
    """One table to be made: what it is of, what it asks in which order, and its last columns."""

    title: str
    asked: tuple[Observable, ...]
    columns: tuple[str, ...]
    comes_out: _Left
    lamps: frozenset[str] = frozenset()


def _to_ask(plan: Plan, world: ReportedWorld) -> Iterator[_Asking]:
    """Signals, then whether points may be thrown, then what is remembered. Nothing is missing or
    out."""
    sound, memory = set(world.faults), world.memory()

    def usual(part: Atom) -> Expr:
        """Nothing is broken, and each sees the others as the columns say."""
        known = part.what in sound or part.what.kind in ("sees", "sees by signals")
        return constant(part.what.usual in part.values) if known else part

    def asking(title: str, columns: tuple[str, ...], found: _Left) -> _Asking:
        left = {told: substitute(expr, usual) for told, expr in found.items()}
        about = _left_to_ask(left)
        others = sorted((w for w in about if w not in world.inputs), key=lambda w: w.name)
        asked = (*(w for w in world.inputs if w in about), *others)
        return _Asking(title, asked, columns, left)

    for signal in plan.signals.values():
        heads = tuple(head.name for head in signal.heads)
        made = asking(signal.name, ("shows", *heads), _shows(world, signal, plan))
        yield replace(made, lamps=frozenset(heads))
    for name, throw in plan.locking.throws.items():
        if throw.locked is not None:
            locked = memory.is_locked(name)
            told: _Left = {("no",): locked, ("yes",): negation(locked)}
            yield asking(devices(plan)[name].control, ("may be thrown",), told)
    for what in plan.inputs:
        if what.kind in ("relay", "timer", "traffic"):
            following = memory.following[what]
            found: _Left = {(value,): following[value] for value in what.values}
            yield asking(f"{what.kind} {what.name}", ("becomes",), found)


def _shows(world: ReportedWorld, signal: Signal, plan: Plan) -> _Left:
    """When the heads show which colors, after the aspect that they are."""
    told: dict[tuple[str, ...], Expr] = {}
    for colors in product(*(head.color.values for head in signal.heads)):
        heads = zip(signal.heads, colors, strict=True)
        shown = conjunction(*(world.expand(atom(head.color, color)) for head, color in heads))
        told[plan.chart_of(signal).reading(colors), *colors] = shown
    return told


def _heading(what: Observable) -> str:
    if what.kind == "expiry":
        return f"delay of {what.name} over"
    kind = {"block report": "block", "points report": "points", "derail report": "derail",
            "gate report": "gate"}.get(what.kind, what.kind)  # fmt: skip
    return f"{kind} {what.name}"


# ------------------------------------------------------------------ rows


# What comes in, and what comes out.
_RowMade = tuple[Row, tuple[str, ...]]


def _rows(asking: _Asking) -> Iterator[_RowMade]:
    for cells, told in _split(asking.comes_out):
        yield tuple(cells.get(what, ANY) for what in asking.asked), told


def _split(shows: _Left) -> Iterator[tuple[dict[Observable, str], tuple[str, ...]]]:
    """Rows for what is left to be asked: first what leaves least to be asked after it. States
    after which nothing differs are one row."""
    asked = _left_to_ask(shows)
    if not asked:
        for told, expr in shows.items():
            if expr is not FALSE:
                yield {}, told
        return
    each = {what: _after(what, shows) for what in asked}
    what = min(asked, key=lambda w: sum(len(_left_to_ask(then)) for _, then in each[w]))
    for values, then in sorted(each[what], key=lambda after: len(_left_to_ask(after[1]))):
        cell = ANY if len(values) == len(what.values) else " or ".join(values)
        for cells, told in _split(then):
            yield {what: cell, **cells}, told


def _left_to_ask(shows: _Left) -> tuple[Observable, ...]:
    return tuple(dict.fromkeys(what for expr in shows.values() for what in support(expr)))


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


def _some(rows: Iterator[_RowMade]) -> Iterator[_RowMade]:
    """As many as there may be, and one more."""
    for _, row in zip(range(MOST_ROWS + 1), rows, strict=False):
        yield row
