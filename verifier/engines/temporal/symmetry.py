"""Whether two transition systems are the same but for the names of what they speak of.

In: a system. Out: the same under names that depend on its shape alone, with the ways there
and back, so that what was proved of one is known of all like it.

A bug here could make a wrong "proved": two systems have equal keys only if one is the other with
other names.
"""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field

from verifier.logic.expr import Atom, Const, Expr, Group, atom, substitute
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable


@dataclass(frozen=True, slots=True)
class Form:
    """Some expressions without their names: what they speak of, in the order in which it is
    met, and the number of their form, equal for expressions that are the same but for that."""

    speaks: tuple[Observable, ...]
    number: int


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

    def question(self, form: Form) -> Hashable:
        """The same for the same question about systems of one shape."""
        return form.number, tuple(self.there[what] for what in form.speaks)


@dataclass(frozen=True, slots=True)
class Shapes:
    """Tells shapes apart, for as long as it is kept. What it has seen of an expression it does
    not look at again."""

    _forms: dict[tuple[Expr, ...], Form] = field(default_factory=dict)
    _numbers: dict[Hashable, int] = field(default_factory=dict)

    def form(self, *exprs: Expr) -> Form:
        known = self._forms.get(exprs)
        if known is None:
            speaks, table = _table(exprs)
            number = self._numbers.setdefault(table, len(self._numbers))
            known = self._forms[exprs] = Form(speaks, number)
        return known

    def of(self, system: System) -> Shape:
        """The shape of a system. Things are numbered in the order in which they are met."""
        forms = [self.form(*system.following[state].values()) for state in system.states]
        always = [self.form(expr) for expr in system.always]
        met: dict[Observable, None] = {}
        for state, form in zip(system.states, forms, strict=True):
            met.setdefault(state)
            met.update(dict.fromkeys(form.speaks))
        for form in always:
            met.update(dict.fromkeys(form.speaks))
        own = len(met)
        met.update(dict.fromkeys(system.inputs))
        number = {what: i for i, what in enumerate(met)}
        there = {what: _numbered(what, i) for what, i in number.items()}

        def named(form: Form) -> tuple[int, ...]:
            return form.number, *(number[what] for what in form.speaks)

        key = (
            tuple((w.kind, w.values, w.usual) for w in list(met)[:own]),
            tuple(
                (number[state], system.initial[state], tuple(system.following[state]), named(form))
                for state, form in zip(system.states, forms, strict=True)
            ),
            tuple(named(form) for form in always),
        )
        return Shape(key, there, {given: what for what, given in there.items()})


def _table(exprs: Sequence[Expr]) -> tuple[tuple[Observable, ...], Hashable]:
    """What the expressions speak of, and all their nodes in the order in which they are met
    from below, each by the places of its parts."""
    speaks: dict[Observable, int] = {}
    places: dict[Expr, int] = {}
    rows: list[Hashable] = []
    stack = list(reversed(exprs))
    while stack:
        node = stack[-1]
        if node not in places:
            row: Hashable
            match node:
                case Atom(what=what, values=values):
                    row = ("is", speaks.setdefault(what, len(speaks)), values)
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
    return tuple(speaks), (tuple(rows), tuple(places[expr] for expr in exprs))


def _numbered(what: Observable, number: int) -> Observable:
    return Observable(what.kind, f"{number}", what.values, what.usual)


def _renamed(expr: Expr, names: Mapping[Observable, Observable]) -> Expr:
    return substitute(expr, lambda part: atom(names[part.what], *part.values))
