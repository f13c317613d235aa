"""Whether two transition systems are the same but for the names of what they speak of.

In: a system. Out: the same under names that depend on its shape alone, with the ways there
and back, so that what was proved of one is known of all like it.
"""

from collections.abc import Hashable, Iterator, Mapping
from dataclasses import dataclass

from verifier.logic.expr import Expr, atom, observables, substitute
from verifier.logic.system import System
from verifier.plan.facts import Observable


@dataclass(frozen=True, slots=True)
class Shape:
    """``key``: equal for systems that are the same but for names. ``there`` and ``back``: the
    names given to what the system speaks of."""

    key: Hashable
    there: Mapping[Observable, Observable]
    back: Mapping[Observable, Observable]

    def abstract(self, expr: Expr) -> Expr:
        return _renamed(expr, self.there)

    def concrete(self, expr: Expr) -> Expr:
        return _renamed(expr, self.back)


def shape(system: System) -> Shape:
    """The shape of a system. Things are numbered in the order in which they are met."""
    met: dict[Observable, None] = {}
    for state in system.states:
        met.setdefault(state)
        for expr in system.following[state].values():
            met.update(dict.fromkeys(observables(expr)))
    for expr in system.always:
        met.update(dict.fromkeys(observables(expr)))
    own = len(met)
    met.update(dict.fromkeys(system.inputs))
    there = {what: _numbered(what, i) for i, what in enumerate(met)}
    back = {number: what for what, number in there.items()}
    key = (
        tuple((there[w].kind, w.values, w.usual) for w in list(met)[:own]),
        tuple(_state_key(system, there)),
        tuple(_renamed(expr, there) for expr in system.always),
    )
    return Shape(key, there, back)


def _state_key(
    system: System, there: Mapping[Observable, Observable]
) -> Iterator[tuple[Observable, tuple[str, ...], tuple[Expr, ...]]]:
    for state in system.states:
        following = system.following[state]
        exprs = tuple(_renamed(following[value], there) for value in state.values)
        yield there[state], system.initial[state], exprs


def _numbered(what: Observable, number: int) -> Observable:
    return Observable(what.kind, f"{number}", what.values, what.usual)


def _renamed(expr: Expr, names: Mapping[Observable, Observable]) -> Expr:
    return substitute(expr, lambda part: atom(names[part.what], *part.values))
