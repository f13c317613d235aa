"""Rules as logic: conditions, and lists of lines of which the first that holds acts."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from verifier.logic.expr import FALSE, TRUE, Atom, Expr, atom, conjunction, disjunction, negation
from verifier.plan.model import Line
from verifier.plan.observables import (
    All,
    AnyOne,
    Assumed,
    AtMost,
    Counted,
    Fact,
    Not,
    at_reader,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Reader:
    """Who reads the rules: a driver, by its inputs, or nobody in particular (empty name).
    ``named`` is what each named condition of the file then means."""

    name: str
    named: Mapping[str, Expr]
    # What lines have been read to ask for, by the identity of their conditions.
    _read: dict[int, Expr] = field(default_factory=dict, repr=False, compare=False)

    def asks(self, line: Line) -> Expr:
        """When a line holds."""
        if line.when is None:
            return TRUE
        known = self._read.get(id(line.when))
        if known is None:
            known = self._read[id(line.when)] = lower(line.when, self)
        return known


def lower(condition: Assumed, reader: Reader) -> Expr:
    """A condition as an expression; named conditions are written out."""
    match condition:
        case AtMost(most=most, counted=counted):
            return at_most(most, [_changes(each, reader) for each in counted])
        case Fact(what=what, values=values):
            if what.kind == "condition":
                inner = reader.named[what.name]
                return inner if values == ("true",) else negation(inner)
            return atom(at_reader(what, reader.name), *values)
        case All(parts=parts):
            return conjunction(*(lower(part, reader) for part in parts))
        case AnyOne(parts=parts):
            return disjunction(*(lower(part, reader) for part in parts))
        case Not(part=part):
            return negation(lower(part, reader))


# Whether something is counted at all, and by how much each of some conditions changes the count.
Change = tuple[Expr, Sequence[tuple[Expr, int]]]


def _changes(counted: Counted, reader: Reader) -> Change:
    less = [(lower(part, reader), -1) for part in counted.less]
    more = [(lower(part, reader), 1) for part in counted.more]
    return lower(counted.what, reader), [(TRUE, 1), *less, *more]


def at_most(most: int, changes: Sequence[Change]) -> Expr:
    """That a count is at most ``most``: a diagram with a row for each condition and, in each row,
    a column for each count so far that leaves it open how the count ends."""
    rows: list[tuple[Expr, int, int]] = []  # a condition, its change, how many rows to skip without
    for when, parts in changes:
        rows.append((when, 0, len(parts)))
        rows += [(part, by, 0) for part, by in parts]
    # By row: the least and the most that the count may still change by.
    down, up = [0] * (len(rows) + 1), [0] * (len(rows) + 1)
    for i in reversed(range(len(rows))):
        _, by, skipped = rows[i]
        past = i + 1 + skipped
        down[i] = min(down[i + 1] + min(by, 0), down[past])
        up[i] = max(up[i + 1] + max(by, 0), up[past])
    counts = range(-len(rows), len(rows) + 1)
    below: list[dict[int, Expr]] = [{} for _ in range(len(rows) + 1)]

    def ends(row: int, count: int) -> Expr:
        if count + up[row] <= most:
            return TRUE
        if count + down[row] > most:
            return FALSE
        return below[row][count]

    for i in reversed(range(len(rows))):
        when, by, skipped = rows[i]
        for count in counts:
            if count + down[i] <= most < count + up[i]:
                holds, fails = ends(i + 1, count + by), ends(i + 1 + skipped, count)
                below[i][count] = disjunction(
                    conjunction(when, holds), conjunction(negation(when), fails)
                )
    return ends(0, 0)


def first_line(
    lines: Sequence[Line],
    wanted: Callable[[Line], bool],
    reader: Reader,
) -> Expr:
    """That the first line which holds is one of the ``wanted``."""
    result = FALSE
    for line in reversed(lines):
        when = reader.asks(line)
        result = disjunction(when, result) if wanted(line) else conjunction(negation(when), result)
    return result


def line_meaning(act: Atom, lines: Sequence[Line], index: int, reader: Reader) -> Expr:
    """That line ``index`` acts (or idles)."""
    acts = first_line(lines, lambda line: line.index == index, reader)
    return acts if act.values == ("acts",) else negation(acts)
