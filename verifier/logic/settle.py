"""Semantic support: which observables an expression really depends on.

Signals may refer to one another all the way round an oval, as long as each aspect is determined
without going round. An aspect is determined once it is the same for every aspect of the signals
it reads; the evaluator applies the same principle with code of its own.
"""

from collections.abc import Iterable

from verifier.logic.expr import (
    FALSE,
    TRUE,
    Atom,
    Expr,
    Group,
    atom,
    conjunction,
    disjunction,
    negation,
    nodes,
    substitute,
)
from verifier.plan.observables import Observable

# Beyond this many visited nodes the observable is kept. That is safe: a superfluous one can
# report a circular dependency that is not there, never hide one.
MAX_WORK = 200_000


def settle(expr: Expr, open_ones: Iterable[Observable]) -> Expr:
    """An equivalent expression with no more of ``open_ones`` in its support than needed.

    An observable that makes no difference disappears; one in several atoms is split only by the
    distinctions that matter."""
    if asks_once(expr):
        return expr
    for what in open_ones:
        classes: list[tuple[Expr, list[str]]] = []
        for asked in told_apart(expr, what):
            then = given(expr, what, asked[0])
            for known, values in classes:
                if same(known, then):
                    values += asked
                    break
            else:
                classes.append((then, list(asked)))
        if len(classes) == 1:
            expr = classes[0][0]
        elif _ways_asked(expr, what) > 1:
            expr = disjunction(
                *(conjunction(atom(what, *values), then) for then, values in classes)
            )
    return expr


def asks_once(expr: Expr) -> bool:
    """Whether no observable and no node occurs twice: then all of the support matters."""
    asked: set[Observable] = set()
    used: set[Expr] = set()
    for node in nodes(expr):
        if isinstance(node, Atom):
            if node.what in asked:
                return False
            asked.add(node.what)
        if isinstance(node, Group):
            if not used.isdisjoint(node.parts):
                return False
            used.update(node.parts)
    return True


def told_apart(expr: Expr, what: Observable) -> list[tuple[str, ...]]:
    """The states of an observable, grouped by what the atoms of the expression distinguish."""
    asked = [n for n in nodes(expr) if isinstance(n, Atom) and n.what == what]
    groups: dict[tuple[bool, ...], list[str]] = {}
    for value in what.values:
        groups.setdefault(tuple(value in a.values for a in asked), []).append(value)
    return [tuple(values) for values in groups.values()]


def _ways_asked(expr: Expr, what: Observable) -> int:
    """The number of different atoms of an observable, complements counted once."""
    asked = [n for n in nodes(expr) if isinstance(n, Atom) and n.what == what]
    return len({frozenset((node, negation(node))) for node in asked})


def given(expr: Expr, what: Observable, value: str) -> Expr:
    """The cofactor of the expression for ``what`` in state ``value``."""

    def replace(a: Atom) -> Expr:
        if a.what != what:
            return a
        return TRUE if value in a.values else FALSE

    return substitute(expr, replace)


def same(one: Expr, two: Expr) -> bool:
    """True when two expressions are equivalent; False when they are not, or when that takes more
    than MAX_WORK to decide."""
    return compared(one, two)[0]


def compared(one: Expr, two: Expr, most: int = MAX_WORK) -> tuple[bool, int]:
    """The same, and the number of nodes visited: more than ``most`` when it was given up."""
    if one is two:
        return True, 0
    return _always(
        conjunction(disjunction(negation(one), two), disjunction(one, negation(two))), most
    )


def is_always_true(expr: Expr) -> bool:
    """True when the expression is valid; False when it is not, or when that takes more than
    MAX_WORK to decide."""
    return _always(expr, MAX_WORK)[0]


def _always(expr: Expr, most: int) -> tuple[bool, int]:
    known: dict[Expr, bool] = {TRUE: True, FALSE: False}
    work = 0
    stack: list[tuple[Expr, list[Expr]]] = [(expr, [])]
    while stack:
        node, waiting = stack[-1]
        if node in known:
            stack.pop()
            continue
        if not waiting:
            asked = list(nodes(node))
            what = next(n.what for n in asked if isinstance(n, Atom))
            apart = told_apart(node, what)
            work += len(asked) * len(apart)
            if work > most:
                return False, work
            waiting += [given(node, what, values[0]) for values in apart]
        unsettled = next((w for w in waiting if w not in known), None)
        if any(known.get(w) is False for w in waiting):
            known[node] = False
        elif unsettled is None:
            known[node] = True
        else:
            stack.append((unsettled, []))
            continue
        stack.pop()
    return known[expr], work
