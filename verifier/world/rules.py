"""Rules as logic: conditions, and lists of lines of which the first that holds acts."""

from collections.abc import Callable, Mapping, Sequence

from verifier.logic.expr import FALSE, TRUE, Atom, Expr, atom, both, either, opposite
from verifier.plan.facts import All, AnyOne, Condition, Not, Says
from verifier.plan.model import Line

# What each named condition of the file means.
Named = Mapping[str, Expr]


def lower(condition: Condition, named: Named) -> Expr:
    """A condition as an expression; named conditions are written out."""
    match condition:
        case Says(what=what, values=values):
            if what.kind == "condition":
                inner = named[what.name]
                return inner if values == ("true",) else opposite(inner)
            return atom(what, *values)
        case All(parts=parts):
            return both(*(lower(part, named) for part in parts))
        case AnyOne(parts=parts):
            return either(*(lower(part, named) for part in parts))
        case Not(part=part):
            return opposite(lower(part, named))


def first_line(
    lines: Sequence[Line],
    wanted: Callable[[Line], bool],
    named: Named,
) -> Expr:
    """That the first line which holds is one of the ``wanted``."""
    result = FALSE
    for line in reversed(lines):
        when = TRUE if line.when is None else lower(line.when, named)
        result = either(when, result) if wanted(line) else both(opposite(when), result)
    return result


def line_meaning(act: Atom, lines: Sequence[Line], index: int, named: Named) -> Expr:
    """That line ``index`` acts (or idles)."""
    acts = first_line(lines, lambda line: line.index == index, named)
    return acts if act.values == ("acts",) else opposite(acts)
