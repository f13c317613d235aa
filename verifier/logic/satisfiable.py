"""Whether a small expression can hold at all: a search without a solver.

For questions so small, and so many, that asking a solver would take longer. It errs to one side:
where the search gets too long, the expression is taken to be satisfiable. Once it has few
observables left, all their valuations are tried at once, each of them a bit of one integer.
"""

from collections.abc import Mapping, Sequence
from functools import lru_cache

from verifier.logic.expr import (
    FALSE,
    TRUE,
    And,
    Atom,
    Expr,
    constant,
    fold,
    nodes,
    substitute,
    support,
)
from verifier.plan.observables import Observable

# So many expressions are looked at before the search is given up.
MOST_LOOKED_AT = 400
# As many answers are kept: the same is asked of each system of a plan, and after each edit.
KEPT = 10_000
# All valuations are tried at once where so many bits say which one it is.
FEW_BITS = 13
_EVERY = (1 << (1 << FEW_BITS)) - 1
# The valuations, by number, in which each bit of their number is set.
_SET = tuple(
    _EVERY // ((1 << (2 << bit)) - 1) * (((1 << (1 << bit)) - 1) << (1 << bit))
    for bit in range(FEW_BITS)
)


@lru_cache(maxsize=KEPT)
def may_hold(expr: Expr, most: int = MOST_LOOKED_AT) -> bool:
    """Whether some valuation satisfies an expression. ``most``: after so many expressions the
    answer is yes. No is said only of what no valuation satisfies."""
    waiting, seen = [expr], set[Expr]()
    while waiting:
        asked = waiting.pop()
        if asked is TRUE:
            return True
        if asked is FALSE or asked in seen:
            continue
        seen.add(asked)
        if len(seen) > most:
            return True
        cases = _numbered(support(asked))
        if cases is None:
            waiting += _cases(asked)
        elif _satisfying(asked, cases):
            return True
    return False


def _numbered(whats: Sequence[Observable]) -> Mapping[tuple[Observable, str], int] | None:
    """The valuations in which each observable has each of its values; None where there are too
    many. (Some are there twice.)"""
    if sum((len(what.values) - 1).bit_length() for what in whats) > FEW_BITS:
        return None
    found: dict[tuple[Observable, str], int] = {}
    first = 0
    for what in whats:
        bits = range(first, first + (len(what.values) - 1).bit_length())
        left = _EVERY
        for number, value in enumerate(what.values[1:], 1):
            cases = _EVERY
            for bit in bits:
                cases &= _SET[bit] if number >> (bit - first) & 1 else _EVERY ^ _SET[bit]
            found[what, value] = cases
            left ^= cases
        found[what, what.values[0]] = left
        first = bits.stop
    return found


def _satisfying(expr: Expr, cases: Mapping[tuple[Observable, str], int]) -> int:
    """The valuations that satisfy an expression, which is no constant."""

    def step(node: Expr, parts: Sequence[int]) -> int:
        if isinstance(node, Atom):
            return sum(cases[node.what, value] for value in node.values)
        found = parts[0]
        for part in parts[1:]:
            found = found & part if isinstance(node, And) else found | part
        return found

    return fold(expr, step)


def _cases(expr: Expr) -> list[Expr]:
    """Expressions of which one can hold if and only if this one can: it for each value of one of
    its observables; for the best value alone where one is in all atoms, since negations are
    atoms."""
    atoms: dict[Observable, list[Atom]] = {}
    for node in nodes(expr):
        if isinstance(node, Atom):
            atoms.setdefault(node.what, []).append(node)
    for what, some in atoms.items():
        best = next((v for v in what.values if all(v in part.values for part in some)), None)
        if best is not None:
            return [_given(expr, what, best)]
    what = max(atoms, key=lambda w: len(atoms[w]))
    return [_given(expr, what, value) for value in what.values]


def _given(expr: Expr, what: Observable, value: str) -> Expr:
    return substitute(
        expr, lambda part: constant(value in part.values) if part.what == what else part
    )
