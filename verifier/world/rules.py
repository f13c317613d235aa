"""Rules as logic: conditions, and lists of lines of which the first that holds acts."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from verifier.logic.expr import FALSE, TRUE, Atom, Expr, atom, conjunction, disjunction, negation
from verifier.plan.model import Line
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not, at_reader


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


def lower(condition: Condition, reader: Reader) -> Expr:
    """A condition as an expression; named conditions are written out."""
    match condition:
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
