"""The aspect sheet: for each signal what it shows when, line by line as the rules are tried.

In: the checked plan. Out: a table for each signal, its conditions sorted into columns, named
conditions opened up. Nothing a rule asks for is left out: alternatives are rows of their own, and
what has too many of them stands in words.
"""

from collections.abc import Iterator, Sequence
from itertools import product

from verifier.plan.model import Head, Line, Plan, Route, Signal
from verifier.plan.observables import UNLISTED
from verifier.plan.signals.aspects import Aspect, Combination
from verifier.properties.wiring import heads_of
from verifier.sheets.condition_text import COLUMNS, Column, column_of, column_words, condition_words
from verifier.sheets.dnf import Case, Requirement, cases
from verifier.sheets.heads import shapes
from verifier.sheets.locking import points_needed
from verifier.sheets.options import USUAL_OPTIONS, SheetOptions
from verifier.sheets.sheet import Row, Sheet, Table

_NOTES = (
    "Each signal's lines are tried from the top, and the first that holds is shown; 2a and 2b are "
    "alternatives for line 2. All conditions of a row must hold.",
    "Points: N normal, R reverse, as reported; (f) met facing, (t) trailing.",
)
_COLORS = "colors"


def aspect_sheet(plan: Plan, _: SheetOptions = USUAL_OPTIONS) -> Sheet:
    """What every signal shows when."""
    title = f"Aspect sheet: {plan.title}"
    if not plan.signals:
        return Sheet("aspects", title, (), ("No signals, so no aspects.",))
    used = tuple(_columns_used(plan))
    tables = tuple(
        table for signal in plan.signals.values() for table in _tables(signal, used, plan)
    )
    return Sheet("aspects", title, tables, (*_NOTES, *shapes(head for _, head in heads_of(plan))))


def _tables(signal: Signal, used: Sequence[Column], plan: Plan) -> Iterator[Table]:
    title = f"{signal.name} at {_post(signal, plan)}"
    notes = tuple(_notes(signal, plan))
    if not signal.by_head:
        yield _by_aspect(signal, title, notes, used, plan)
        return
    for head in signal.heads:
        yield _by_color(head, used, plan)
    yield _read_as(signal, title, notes, plan)


# ------------------------------------------------------------------ rules that show aspects


def _by_aspect(signal: Signal, title: str, notes: Row, used: Sequence[Column], plan: Plan) -> Table:
    further = _has_words(signal.lines, plan)
    columns = ("line", "shows", _COLORS, *used, *_FURTHER[:further], "tells the engineer", "toward")
    rows = []
    for line in signal.lines:
        aspect = plan.chart.get(line.shows)
        colors = signal.colors(line.shows, plan.chart)
        for number, case in _numbered(line, plan):
            facts = case.facts if case else ()
            rows.append(
                (
                    number,
                    line.shows,
                    " over ".join(colors),
                    *_asked(case, used, further, plan),
                    aspect.indication.text if aspect else "-",
                    _toward(signal, aspect, facts, plan) if case or line.when is None else "-",
                )
            )
    return Table(title, columns, tuple(rows), notes, lamps=frozenset({_COLORS}))


def _toward(signal: Signal, aspect: Aspect | None, facts: Sequence[Requirement], plan: Plan) -> str:
    """Where the routes lead that points reported so leave open; none for a stop."""
    if aspect is None or not aspect.permits:
        return "-"
    asked = {f.what.name: f.values for f in facts if f.what.kind == "points report"}
    open_ = [
        route.exit
        for route in plan.routes_of(signal.name)
        if all(need.position in asked.get(need.points, (need.position,)) for need in route.needs)
    ]
    return ", ".join(dict.fromkeys(open_)) or "no route"


# ------------------------------------------------------------------ rules head by head


def _by_color(head: Head, used: Sequence[Column], plan: Plan) -> Table:
    further = _has_words(head.lines, plan)
    columns = ("line", "shows", *used, *_FURTHER[:further])
    rows = tuple(
        (number, line.shows, *_asked(case, used, further, plan))
        for line in head.lines
        for number, case in _numbered(line, plan)
    )
    return Table(f"Head {head.name}", columns, rows, lamps=frozenset({"shows"}))


def _read_as(signal: Signal, title: str, notes: Row, plan: Plan) -> Table:
    """What the colors of all heads together are taken for."""
    shown = [tuple(dict.fromkeys(line.shows for line in head.lines)) for head in signal.heads]
    rows = tuple(_reading(colors, signal, plan) for colors in product(*shown))
    columns = (_COLORS, "read as", "tells the engineer")
    return Table(f"{title}, its heads together", columns, rows, notes, lamps=frozenset({_COLORS}))


def _reading(colors: Combination, signal: Signal, plan: Plan) -> Row:
    name = plan.chart_of(signal).reading(colors)
    aspect = plan.chart.get(name)
    said = aspect.indication.text if aspect else "treated as the most restrictive aspect"
    return " over ".join(colors), name if aspect else UNLISTED, said


# ------------------------------------------------------------------ conditions in columns

_FURTHER = ("and also",)


def _numbered(line: Line, plan: Plan) -> Iterator[tuple[str, Case | None]]:
    """The cases of a line with their numbers; None for `otherwise`, and for what never holds."""
    number = str(line.index + 1)
    if line.when is None:
        yield f"{number}, otherwise", None
        return
    found = cases(line.when, plan.conditions)
    if not found:
        yield f"{number}, never: it contradicts itself", None
        return
    if len(found) == 1:
        yield number, found[0]
        return
    yield from ((f"{number}{chr(ord('a') + i)}", case) for i, case in enumerate(found))


def _asked(case: Case | None, used: Sequence[Column], further: int, plan: Plan) -> Iterator[str]:
    """The cells of the columns used, and of what stands in words."""
    facts = case.facts if case else ()
    yield from (column_words(column, facts, plan) for column in used)
    if further:
        parts = case.further if case else ()
        yield " and ".join(condition_words(part, wanted, plan) for part, wanted in parts) or "-"


def _has_words(lines: Sequence[Line], plan: Plan) -> int:
    """1 where some condition has too many cases to list, else 0."""
    whens = [line.when for line in lines if line.when is not None]
    return int(any(case.further for when in whens for case in cases(when, plan.conditions)))


def _columns_used(plan: Plan) -> Iterator[Column]:
    """The columns that any signal needs."""
    found = {
        column_of(fact)
        for signal in plan.signals.values()
        for when in signal.conditions
        for case in cases(when, plan.conditions)
        for fact in case.facts
    }
    return (column for column in COLUMNS if column in found)


# ------------------------------------------------------------------ what else is to be known


def _post(signal: Signal, plan: Plan) -> str:
    """`Single | T1`, in the direction of the train."""
    before = plan.track.pieces[signal.joint.other(signal.enters).piece].title
    gap = f"{signal.joint.kind}({signal.joint.gap})" if signal.joint.gap else signal.joint.kind
    return f"{before} {gap} {plan.track.pieces[signal.enters.piece].title}"


def _notes(signal: Signal, plan: Plan) -> Iterator[str]:
    routes = [_route(route) for route in plan.routes_of(signal.name)]
    yield f"Governs: {'; '.join(routes)}." if routes else "Governs no route."
    if signal.plate:
        yield f"Carries a {signal.plate}."
    if signal.lit is not None:
        yield f"Dark while {signal.lit.what.name} is clear."
    drivers = dict.fromkeys(plan.wiring.driver_of(head.name) for head in signal.heads)
    for driver in filter(None, drivers):
        if driver.when_missing:
            yield f"Driver {driver.name}: with an input missing, {driver.when_missing}."
        if driver.when_out:
            yield f"Driver {driver.name}: with a lamp out, {driver.when_out}."


def _route(route: Route) -> str:
    over = " ".join(points_needed(route))
    return f"to {route.exit} over {over}" if over else f"to {route.exit}"
