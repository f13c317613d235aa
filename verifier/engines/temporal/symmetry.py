"""Symmetry: whether two transition systems are equal up to the names of their observables.

In: a system. Out: a key, equal for isomorphic systems, with the renaming to canonical names and
back, so that what was proved of one holds for all of the same shape.

A bug here could make a wrong "proved": two systems may have equal keys only if renaming the
observables turns one into the other.
"""

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from verifier.logic.expr import Atom, Const, Expr, Group, atom, substitute
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

# As many are kept: windows overlap, and after an edit most are as before.
TABLES = 2_000


@dataclass(frozen=True, slots=True)
class Form:
    """Expressions without names: their support in order of first occurrence, and a number,
    equal for expressions that are equal up to renaming."""

    support: tuple[Observable, ...]
    number: int


@dataclass(frozen=True, slots=True)
class Shape:
    """``key``: equal for isomorphic systems. ``there`` and ``back``: the renaming to canonical
    observables, and its inverse."""

    key: Hashable
    there: Mapping[Observable, Observable]
    back: Mapping[Observable, Observable]

    def abstract(self, expr: Expr) -> Expr:
        """The expression under canonical names."""
        return _renamed(expr, self.there)

    def concrete(self, expr: Expr) -> Expr:
        """The expression under the system's own names."""
        return _renamed(expr, self.back)

    def question(self, form: Form) -> Hashable:
        """A key of a property, equal for corresponding properties of systems of one shape."""
        return form.number, tuple(self.there[what] for what in form.support)


@dataclass(frozen=True, slots=True)
class Shapes:
    """Computes shapes; keys are comparable within one instance. Forms are cached."""

    _forms: dict[tuple[Expr, ...], Form] = field(default_factory=dict)
    _numbers: dict[Hashable, int] = field(default_factory=dict)

    def form(self, *exprs: Expr) -> Form:
        known = self._forms.get(exprs)
        if known is None:
            support, table = _table(exprs)
            number = self._numbers.setdefault(table, len(self._numbers))
            known = self._forms[exprs] = Form(support, number)
        return known

    def of(self, system: System) -> Shape:
        """The shape of a system. Observables are numbered in order of first occurrence."""
        forms = [self.form(*system.following[state].values()) for state in system.states]
        always = [self.form(expr) for expr in system.always]
        met: dict[Observable, None] = {}
        for state, form in zip(system.states, forms, strict=True):
            met.setdefault(state)
            met.update(dict.fromkeys(form.support))
        for form in always:
            met.update(dict.fromkeys(form.support))
        own = len(met)
        met.update(dict.fromkeys(system.inputs))
        number = {what: i for i, what in enumerate(met)}
        there = {what: _numbered(what, i) for what, i in number.items()}

        def named(form: Form) -> tuple[int, ...]:
            return form.number, *(number[what] for what in form.support)

        key = (
            tuple((w.kind, w.values, w.usual) for w in list(met)[:own]),
            tuple(
                (number[state], system.initial[state], tuple(system.following[state]), named(form))
                for state, form in zip(system.states, forms, strict=True)
            ),
            tuple(named(form) for form in always),
            tuple(tuple(number[what] for what in group) for group in system.alike),
        )
        return Shape(key, there, {given: what for what, given in there.items()})


@lru_cache(maxsize=TABLES)
def _table(exprs: tuple[Expr, ...]) -> tuple[tuple[Observable, ...], Hashable]:
    """The support of the expressions, and their nodes in post-order, each by the positions of
    its parts."""
    support: dict[Observable, int] = {}
    places: dict[Expr, int] = {}
    rows: list[Hashable] = []
    stack = list(reversed(exprs))
    while stack:
        node = stack[-1]
        if node not in places:
            row: Hashable
            match node:
                case Atom(what=what, values=values):
                    row = ("is", support.setdefault(what, len(support)), values)
                case Group(parts=parts):
                    waiting = [part for part in parts if part not in places]
                    if waiting:
                        stack.extend(reversed(waiting))
                        continue
                    row = (node.word, *(places[part] for part in parts))
                case Const(value=value):
                    row = ("constant", value)
                case _:
                    raise AssertionError(node)
            places[node] = len(rows)
            rows.append(row)
        stack.pop()
    return tuple(support), (tuple(rows), tuple(places[expr] for expr in exprs))


def _numbered(what: Observable, number: int) -> Observable:
    return Observable(what.kind, f"{number}", what.values, what.usual)


def _renamed(expr: Expr, names: Mapping[Observable, Observable]) -> Expr:
    return substitute(expr, lambda part: atom(names[part.what], *part.values))
