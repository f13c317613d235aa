"""Questions that are equal up to names, so that one answer does for all of them.

In: expressions, and the observables that a question lists. Out: a key that two questions share only
if one becomes the other by renaming observables and their states, in the order in which the
expressions mention them, faults as faults. Twin stations of a line ask the same questions over and
over.
"""

from collections.abc import Hashable, Iterable, Mapping

from verifier.engines.smt.train_length_constraints import Room
from verifier.logic.expr import Atom, Const, Expr, Group
from verifier.plan.observables import Observable


class Form:
    """Expressions without names: their nodes in post-order, each by the positions of its parts, an
    atom by the positions of its observable and states."""

    def __init__(self, exprs: Iterable[Expr], rooms: Mapping[Observable, Room]):
        self._number: dict[Observable, int] = {}
        rows, roots = self._rows(list(exprs))
        states = tuple(
            # (Faults that are not asked about are sound, where all else is free.)
            (
                what.kind == "fault",
                len(what.values),
                what.values.index(what.usual),
                _room(what, rooms.get(what)),
            )
            for what in self._number
        )
        self.key: Hashable = (rows, roots, states)

    def numbers(self, some: Iterable[Observable]) -> tuple[int, ...]:
        """The numbers of observables that the expressions mention."""
        return tuple(self._number[what] for what in some)

    def _rows(self, exprs: list[Expr]) -> tuple[tuple[Hashable, ...], tuple[int, ...]]:
        places: dict[Expr, int] = {}
        rows: list[Hashable] = []
        stack = list(reversed(exprs))
        while stack:
            node = stack[-1]
            if node not in places:
                parts = node.parts if isinstance(node, Group) else ()
                waiting = [part for part in parts if part not in places]
                if waiting:
                    stack.extend(reversed(waiting))
                    continue
                places[node] = len(rows)
                rows.append(self._row(node, places))
            stack.pop()
        return tuple(rows), tuple(places[expr] for expr in exprs)

    def _row(self, node: Expr, places: Mapping[Expr, int]) -> Hashable:
        match node:
            case Atom(what=what, values=values):
                number = self._number.setdefault(what, len(self._number))
                return (number, *sorted(what.values.index(value) for value in values))
            case Group(parts=parts):
                return (node.word, *(places[part] for part in parts))
            case Const(value=value):
                return value
            case _:
                raise AssertionError(node)


def _room(what: Observable, room: Room | None) -> Hashable:
    """What it means in lengths to be in each of the states."""
    if room is None:
        return None
    return room.geometry, tuple(room.covers.get(value) for value in what.values)
