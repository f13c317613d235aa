"""Whether a small expression can hold at all: a search without a solver.

For questions so small, and so many, that asking a solver would take longer. It errs to one side:
where the search gets too long, the expression is taken to be satisfiable.
"""

from functools import lru_cache

from verifier.logic.expr import FALSE, TRUE, Atom, Expr, constant, nodes, substitute
from verifier.plan.observables import Observable

# So many expressions are looked at before the search is given up.
MOST_LOOKED_AT = 400
# As many answers are kept: the same is asked of each system of a plan, and after each edit.
KEPT = 10_000


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
        waiting += _cases(asked)
    return False


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
