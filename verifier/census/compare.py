"""The census beside what is asked: what is missing, what is too much, what says something else.

In: a plan and its obligations. Out: the differences in words, none where the two agree. A
difference is a bug of ours, whichever of the two is wrong.
"""

from builtins import property as computed
from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Protocol

from verifier.census.census import Counted, Mode, census, harms
from verifier.census.faults import may_move_points
from verifier.census.says import Over
from verifier.census.survey import Survey
from verifier.logic.expr import (
    FALSE,
    And,
    Atom,
    Const,
    Expr,
    Group,
    conjunction,
    constant,
    disjunction,
    fold,
    negation,
    substitute,
    support,
)
from verifier.plan.model import Plan
from verifier.plan.observables import Observable

# So many cases are looked at before two formulas count as the same, if none tells them apart.
MOST_CASES = 20_000


class Asked(Protocol):
    """What the census needs to know of an obligation."""

    @computed
    def property(self) -> str: ...
    @computed
    def subjects(self) -> tuple[str, ...]: ...
    @computed
    def formula(self) -> Expr: ...
    @computed
    def signals(self) -> tuple[str, ...]: ...
    @computed
    def over(self) -> Over: ...
    @computed
    def mode(self) -> Mode: ...
    @computed
    def advice(self) -> bool: ...


Key = tuple[str, tuple[str, ...]]


def differences(plan: Plan, asked: Iterable[Asked], only: Collection[str] = ()) -> tuple[str, ...]:
    """How the obligations of a plan differ from the census, each in one line; nothing where they
    are the same. ``only``: the properties to compare (all, when empty)."""
    of_part = (o for o in asked if not only or o.property in only)
    counted = (c for c in census(plan) if not only or c.property in only)
    return tuple(_differences(counted, of_part))


def differences_with_faults(
    plan: Plan, asked: Iterable[Asked], moving: Mapping[str, Expr]
) -> tuple[str, ...]:
    """The same of what must not come of a fault, and of which faults points may move; of each of
    these, when points lie as without it."""
    found = list(_differences(harms(plan), asked))
    may_move = may_move_points(Survey(plan))
    found += [f"{name}: is said to leave points alone" for name in may_move if name not in moving]
    found += [f"{name}: is said to move points" for name in moving if name not in may_move]
    found += [
        f"{name}: points are said to lie as without it otherwise"
        for name, lie in moving.items()
        if name in may_move and told_apart(may_move[name], lie) is not None
    ]
    return tuple(found)


def _differences(census: Iterable[Counted], asked: Iterable[Asked]) -> Iterator[str]:
    made: dict[Key, Asked] = {}
    for obligation in asked:
        key = (obligation.property, obligation.subjects)
        if key in made:
            yield f"{_named(key)}: is asked twice"
        made.setdefault(key, obligation)
    counted: dict[Key, Counted] = {}
    for entry in census:
        key = (entry.property, entry.must.subjects)
        if key in counted:
            yield f"{_named(key)}: is counted twice"
        counted.setdefault(key, entry)
        if key not in made:
            yield f"{_named(key)}: must be asked, and is not"
    for key, obligation in made.items():
        if key not in counted:
            yield f"{_named(key)}: is asked, and must not be"
        else:
            yield from (f"{_named(key)}: {why}" for why in _apart(counted[key], obligation))


def _named(key: Key) -> str:
    return f"{key[0]}: {', '.join(key[1])}"


def _apart(counted: Counted, made: Asked) -> Iterator[str]:
    must = counted.must
    if counted.over != made.over or counted.mode != made.mode:
        yield (
            f"is asked as {made.mode} over {made.over}, "
            f"and must be as {counted.mode} over {counted.over}"
        )
    if must.note != made.advice:
        yield "must be a note" if must.note else "must not be a mere note"
    if set(must.at) != set(made.signals):
        yield f"is about the signals {made.signals}, and must be about {must.at}"
    case = told_apart(must.formula, made.formula)
    if case is not None:
        states = ", ".join(f"{what.kind} {what.name} {state}" for what, state in case.items())
        verdict = "counts" if _holds(made.formula, case) else "does not count"
        yield f"this {verdict} by the obligation alone: {states or 'everything'}"


def _holds(formula: Expr, case: Mapping[Observable, str]) -> bool:
    left = substitute(formula, lambda a: constant(case.get(a.what, a.what.usual) in a.values))
    return left is not FALSE


# ------------------------------------------------------------------ formulas


def told_apart(one: Expr, two: Expr) -> Mapping[Observable, str] | None:
    """A case in which just one of two formulas holds; None where there is none.

    Formulas that differ in the order of their parts alone are not looked into."""
    if one is two:
        return None
    known: dict[Expr, object] = {}
    if fold(one, _shape, known) == fold(two, _shape, known):
        return None
    differ = disjunction(
        conjunction(one, negation(two)),
        conjunction(negation(one), two),
    )
    return _case(differ)


def _shape(node: Expr, parts: tuple[object, ...]) -> object:
    match node:
        case Const(value=value):
            return value
        case Atom(what=what, values=values):
            return what, values
        case Group():
            return isinstance(node, And), frozenset(parts)
    raise AssertionError(node)


def _case(formula: Expr) -> Mapping[Observable, str] | None:
    """A case in which a formula holds, by trying the states of one observable after another."""
    waiting: list[tuple[Expr, dict[Observable, str]]] = [(formula, {})]
    seen: set[Expr] = set()
    while waiting and len(seen) < MOST_CASES:
        left, case = waiting.pop()
        if isinstance(left, Const):
            if left.value:
                return case
            continue
        if left in seen:
            continue
        seen.add(left)
        what = support(left)[0]
        for state in what.values:

            def put(part: Atom, what: Observable = what, state: str = state) -> Expr:
                if part.what != what:
                    return part
                return constant(state in part.values)

            waiting.append((substitute(left, put), {**case, what: state}))
    return None
