"""Where on its block stock stands at a moment of a history, worked out directly from the plan.

Part of the reference, beside :mod:`verifier.reference.step`. In: a running plan, what can be seen
of trains and points, and the place chosen for each block. Out: the place at which stock really
stands. A place that no train can take stands for the first that one can; the middle of a train
without its two ends stands for a place that draws current.
"""

from collections.abc import Collection, Mapping
from functools import lru_cache

from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.plan.wiring.derive_equipment import unseen_anywhere
from verifier.plan.wiring.equipment import StockPlace
from verifier.reference.equipment import EquipmentState
from verifier.reference.standing import has_ends
from verifier.reference.train_extents import train_positions

_STOCK = ("stock", "standing")


class Places:
    """The places of one running plan."""

    def __init__(self, plan: Plan):
        self._plan = plan
        self.inputs = tuple(what for what in plan.inputs if what.kind == "standing")
        self._possible = lru_cache(maxsize=None)(self._find_possible)

    def settled(
        self,
        given: Mapping[Observable, str],
        vacant: Collection[str] = (),
        spanned: Collection[str] = (),
    ) -> dict[Observable, str]:
        """The values of inputs as they are, ``given`` those chosen: stock on a block stands where
        it can. A block is vacant where ``given`` leaves its place out. Those that are ``vacant``
        all the same are reported occupied falsely. ``spanned``: the joints that trains stand
        across."""
        known = dict(given)
        for what in self.inputs:
            if what in known:
                possible = self._possible(what)
                names = [place.name for place in possible]
                known[what] = known[what] if known[what] in names else names[0]
        real = ((w, s) for w, s in known.items() if w.name not in vacant or w.kind not in _STOCK)
        wires = EquipmentState(self._plan, Situation.of(real))
        for what in self.inputs:
            if what not in known:
                continue
            place = self._place(what, known[what])
            if self._lacks_ends(what, place, wires) or _falls_short(place, spanned):
                known[what] = next(
                    p.name
                    for p in self._possible(what)
                    if p.draws and not p.dead and p.covers == place.covers
                )
        return known

    def _place(self, what: Observable, name: str) -> StockPlace:
        return next(p for p in self._plan.equipment.places[what.name] if p.name == name)

    def _lacks_ends(self, what: Observable, place: StockPlace, wires: EquipmentState) -> bool:
        if place.draws or not self._plan.wiring.feeders_of(what.name):
            return False
        anywhere = unseen_anywhere(what.name, self._plan.wiring)
        return not anywhere and not has_ends(self._plan, wires, what.name)

    def _find_possible(self, what: Observable) -> tuple[StockPlace, ...]:
        places = self._plan.equipment.places[what.name]
        geometry = self._plan.equipment.geometry.get(what.name)
        if geometry is not None:
            covered = train_positions(geometry)
            places = tuple(p for p in places if p.covers in covered) or places
        drawing = [place for place in places if place.draws]
        return (*drawing, *(place for place in places if not place.draws))


def _falls_short(place: StockPlace, spanned: Collection[str]) -> bool:
    """Whether a train on rails shorter than itself stands across no joint at their end."""
    dead = place.dead
    return dead is not None and dead.reaches and dead.joint not in spanned
