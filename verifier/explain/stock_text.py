"""Where stock stands, in words.

In: a block whose wiring tells places apart, and the place. Out: `train at m1 on Main`, `a
train of 600 mm on Main from 150 mm to 750 mm, over no spot`.
"""

from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.wiring.derive_equipment import unseen_anywhere
from verifier.plan.wiring.equipment import StockPlace
from verifier.plan.wiring.spots import over_words, spots_passed
from verifier.plan.wiring.wiring_model import SpotPlace
from verifier.properties.amounts import length
from verifier.reference.standing import train_covering
from verifier.reference.train_extents import TrainPosition

_A_TRAIN = "a train"


def place_of(plan: Plan, what: Observable, state: str) -> StockPlace | None:
    """The place that a state of where stock stands names; None for vacant."""
    places = plan.equipment.places.get(what.name, ())
    return next((place for place in places if place.name == state), None)


def stock_words(plan: Plan, block: str, place: StockPlace) -> str:
    """``train at m1 on Main``."""
    subject, where = _stock(plan, block, place)
    return f"{'train' if subject == _A_TRAIN else subject} {where}"


def stock_stands(plan: Plan, block: str, place: StockPlace) -> str:
    """``a train stands at m1 on Main``."""
    subject, where = _stock(plan, block, place)
    return f"{subject} stands {where}"


def _stock(plan: Plan, block: str, place: StockPlace) -> tuple[str, str]:
    """What stands on a block, and where."""
    over = f", {place.over}" if place.over else ""
    at = f"at {place.feeder} " if place.feeder and _sensed(plan, block) else ""
    over = f" {place.dead.name}{over}" if place.dead else over
    unseen = _draws_nothing(plan, block, place)
    stands = train_covering(plan, block, place.covers)
    if stands is not None:
        subject, where = _train(plan, block, place.covers, stands)
        drawing = ", drawing no current" if unseen else ""
        return subject, f"{at}on {block}{where}{drawing}{over}"
    if unseen:
        return _unseen_stock(plan, block), f"on {block}{over}"
    return _A_TRAIN, f"{at}on {block}{over}"


def _sensed(plan: Plan, block: str) -> bool:
    """Whether it matters where stock draws its current: not for spot detectors alone."""
    detectors = plan.wiring.detectors_of(block)
    return not detectors or any(d.kind == "current-sensing" for d in detectors)


def _draws_nothing(plan: Plan, block: str, place: StockPlace) -> bool:
    """Whether the stock is one that a current-sensing detector does not see. (Where there
    is none but spot detectors, it does not matter what it draws.)"""
    return not place.draws and _sensed(plan, block)


def _unseen_stock(plan: Plan, block: str) -> str:
    trains = plan.wiring.trains
    if not unseen_anywhere(block, plan.wiring):
        return "the middle of a train, which draws no current,"
    if trains is not None and trains.detectable == "locomotive":
        return "stock that draws no current"
    return "stock that draws too little current"


def _train(
    plan: Plan, block: str, covers: tuple[int, ...], stands: TrainPosition
) -> tuple[str, str]:
    """A train and where it stands: ``a train of 600 mm`` and `` from 150 mm to 750 mm``."""
    across, unit = plan.equipment.geometry[block].length, plan.wiring.units.track
    first, last = stands.start, stands.start + stands.length
    if not stands.length:
        return "stock", f" at {length(first, unit)}"
    train = f"a train of {length(stands.length, unit)}"
    way = way_of(plan, block, covers, stands)
    if first < 0 and last > across:
        return train, f"{way}, longer than the block"
    if first < 0:
        return train, f" up to {length(last, unit)}{way}, the rest of it beyond the left end"
    if last > across:
        return train, f" from {length(first, unit)}{way}, the rest of it beyond the right end"
    return train, f" from {length(first, unit)} to {length(last, unit)}{way}"


def way_of(plan: Plan, block: str, covers: tuple[int, ...], stands: TrainPosition) -> str:
    """Over which legs a train stands: `` over reverse T1``; empty where its distances alone tell
    that it covers these spots."""
    across, end = plan.equipment.geometry[block].length, stands.start + stands.length
    spots = sorted({spot for d in plan.wiring.detectors_of(block) for spot in d.spots})
    ways = spots_passed(spots, block, across, plan.track)
    there = [
        way.legs for way, passed in ways
        if covers == tuple(i for i in passed if stands.start <= spots[i].at <= end)
    ]  # fmt: skip
    if len(there) == len(ways):
        return ""
    return over_words(SpotPlace(stands.start, tuple(sorted(frozenset.intersection(*there)))))
