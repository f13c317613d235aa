"""What an expression needs to know: which of its observables it can do without.

Signals may depend on one another all the way round an oval, as long as what each shows is
settled without going round. What a signal shows is settled as soon as it comes out the
same however the ones it reads may turn out; the enumerator evaluates rules by the same
principle, with code of its own.
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

# Beyond this many nodes looked at a question is left open and the observable kept. That is
# safe: one kept for nothing can make a circle appear that is not there, never hide one.
MAX_WORK = 200_000


def settle(expr: Expr, open_ones: Iterable[Observable]) -> Expr:
    """An equal expression that asks no more of ``open_ones`` than it must.

    An observable whose state makes no difference disappears; one that is asked in several
    ways is asked only for the distinctions that matter."""
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
    """Whether nothing is asked for twice: then everything that is asked for matters."""
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
    """The states of an observable, those together that no atom of the expression tells
    apart."""
    asked = [n for n in nodes(expr) if isinstance(n, Atom) and n.what == what]
    groups: dict[tuple[bool, ...], list[str]] = {}
    for value in what.values:
        groups.setdefault(tuple(value in a.values for a in asked), []).append(value)
    return [tuple(values) for values in groups.values()]


def _ways_asked(expr: Expr, what: Observable) -> int:
    """In how many ways an expression asks for an observable, opposites counted once."""
    asked = [n for n in nodes(expr) if isinstance(n, Atom) and n.what == what]
    return len({frozenset((node, negation(node))) for node in asked})


def given(expr: Expr, what: Observable, value: str) -> Expr:
    """The expression once ``what`` is known to be in state ``value``."""

    def replace(a: Atom) -> Expr:
        if a.what != what:
            return a
        return TRUE if value in a.values else FALSE

    return substitute(expr, replace)


def same(one: Expr, two: Expr) -> bool:
    """True when two expressions always agree; False when they do not, or when the
    question is too large to settle here."""
    return compared(one, two)[0]


def compared(one: Expr, two: Expr, most: int = MAX_WORK) -> tuple[bool, int]:
    """The same, and how much work it took: more than ``most`` when the question is too
    large."""
    if one is two:
        return True, 0
    return _always(
        conjunction(disjunction(negation(one), two), disjunction(one, negation(two))), most
    )


def is_always_true(expr: Expr) -> bool:
    """True when the expression holds whatever its observables are; False when it does
    not, or when the question is too large to settle here."""
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
