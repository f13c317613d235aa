"""Where on its block stock stands at a moment of a history, as far as the wiring distinguishes.

In: a running plan. Out: what the place of stock means over trains, points and the place chosen for
each moment. Places that no train of the lengths given can take are left out; one that is chosen all
the same stands for the first of the others. Twin of :mod:`verifier.reference.places`.
"""

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from itertools import pairwise

from verifier.logic.expr import FALSE, TRUE, Atom, Expr, atom, conjunction, disjunction, negation
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.wiring.derive_equipment import unseen_anywhere
from verifier.plan.wiring.equipment import Geometry, StockPlace
from verifier.world.train_constraints import ends_beyond


class Standing:
    """The places of one running plan. ``now`` turns an expression over stock and points into one
    over states."""

    def __init__(self, plan: Plan, now: Callable[[Expr], Expr]):
        self._plan = plan
        self._now = now
        self._places = {
            what: _possible(plan, what.name) for what in plan.inputs if what.kind == "standing"
        }
        self._choosing: dict[Observable, Mapping[str, Expr]] = {}

    def meaning(self, part: Atom, there: Expr) -> Expr:
        """That stock stands on a block in one of some ways; ``there``: that any does."""
        chosen = self._chosen(part.what)
        ways = disjunction(*(when for name, when in chosen.items() if name in part.values))
        if all(name in part.values for name in chosen):
            ways = TRUE
        somewhere = conjunction(there, ways)
        if part.what.usual in part.values:
            return disjunction(negation(there), somewhere)
        return somewhere

    def _chosen(self, what: Observable) -> Mapping[str, Expr]:
        """For each place, when it is the one that is chosen; for exactly one of them at a time."""
        if what not in self._choosing:
            possible = self._places[what]
            names = {place.name: place for place in possible}
            others = [value for value in what.values if value not in names]
            found = {
                place.name: atom(what, place.name, *(others if place is possible[0] else ()))
                for place in possible
            }
            self._choosing[what] = self._where_they_can(what.name, possible, found)
        return self._choosing[what]

    def _where_they_can(
        self, block: str, possible: list[StockPlace], chosen: dict[str, Expr]
    ) -> Mapping[str, Expr]:
        """What stands where it cannot, does so at another place, where it draws current."""
        found = dict(chosen)
        for place in possible:
            can = self._can_stand(block, place)
            if can is not TRUE:
                other = next(
                    p for p in possible if p.draws and not p.dead and p.covers == place.covers
                )
                found[place.name] = conjunction(chosen[place.name], can)
                found[other.name] = disjunction(
                    found[other.name], conjunction(chosen[place.name], negation(can))
                )
        return {name: when for name, when in found.items() if when is not FALSE}

    def _can_stand(self, block: str, place: StockPlace) -> Expr:
        """The middle of a train that draws nothing has its ends beyond; a train on rails that are
        shorter stands across the joint where they end."""
        if place.dead is not None:
            joint = observables.across(place.dead.joint)
            return atom(joint, "spanned") if place.dead.reaches else TRUE
        middle = not place.draws and bool(self._plan.wiring.feeders_of(block))
        if not middle or unseen_anywhere(block, self._plan.wiring):
            return TRUE
        return self._now(ends_beyond(self._plan, block))


def _possible(plan: Plan, block: str) -> list[StockPlace]:
    """The places that some train can take, those first at which it draws current."""
    places = plan.equipment.places[block]
    geometry = plan.equipment.geometry.get(block)
    fits = [p for p in places if geometry is None or _fits(geometry, p.covers)]
    return sorted(fits or places, key=lambda place: not place.draws)


def _fits(room: Geometry, covers: tuple[int, ...]) -> bool:
    """Whether some train covers just these spots, on some way through the block."""
    return any(_fits_on(room, way, covers) for way in room.each_way)


def _fits_on(room: Geometry, way: Sequence[int], covers: tuple[int, ...]) -> bool:
    """The same on one way: at least from the first of these spots to the last, and short of the
    spots on either side."""
    spots, longest = [room.spots[i] for i in way], room.longest
    if covers:
        if not set(covers) <= set(way):
            return False
        first, last = way.index(covers[0]), way.index(covers[-1])
        if tuple(way[first : last + 1]) != covers:
            return False
        if longest is not None and spots[last] - spots[first] > longest:
            return False
        inner = spots[first : last + 1]
        if any(spots.count(at) > inner.count(at) for at in inner):
            return False
        if first == 0 or last + 1 == len(spots):
            return True
        return room.shortest < spots[last + 1] - spots[first - 1]
    marks = (None, *spots, None)
    return any(_between(room, one, two) for one, two in pairwise(marks))


def _between(room: Geometry, before: Fraction | None, beyond: Fraction | None) -> bool:
    """Whether some train stands on the block between two spots; None: the block's end, which it
    may reach over."""
    if before is None:
        return beyond is None or beyond > 0
    if beyond is None:
        return before < room.length
    return room.shortest < beyond - before
