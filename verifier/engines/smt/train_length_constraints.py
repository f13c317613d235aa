"""Where trains may stand over spots, for the solver: lengths are real numbers.

In: a plan. Out: for each block with spots, what it means in lengths that stock stands in
one way or another. :mod:`verifier.reference.train_extents` finds the same by critical positions.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction

import z3

from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.wiring.equipment import Geometry


@dataclass(frozen=True, slots=True)
class Room:
    """The lengths of one block, and the spots covered in each state of its stock."""

    geometry: Geometry
    covers: Mapping[str, tuple[int, ...]]


def rooms(plan: Plan) -> dict[Observable, Room]:
    """By the observable that says where stock stands."""
    found = {}
    for what in plan.inputs:
        geometry = plan.equipment.geometry.get(what.name) if what.kind == "standing" else None
        if geometry is not None:
            places = plan.equipment.places[what.name]
            found[what] = Room(geometry, {place.name: place.covers for place in places})
    return found


def standing_is_possible(
    what: Observable, room: Room, bit: Callable[[Observable, str], z3.BoolRef]
) -> list[z3.BoolRef]:
    """That some train of an allowed length covers just the spots that the state says."""
    context = bit(what, what.usual).ctx
    start = z3.Real(f"start on {what.name}", context)
    length = z3.Real(f"length on {what.name}", context)
    geometry = room.geometry

    def real(number: Fraction) -> z3.RatNumRef:
        return z3.Q(number.numerator, number.denominator, context)

    terms = [length >= real(geometry.shortest), start < real(geometry.length), start + length > 0]
    if geometry.longest is not None:
        terms.append(length <= real(geometry.longest))
    covered = [z3.And(start <= real(spot), real(spot) <= start + length) for spot in geometry.spots]
    for state, covers in room.covers.items():
        ways = [way for way in geometry.each_way if set(covers) <= set(way)]
        just_these = [
            z3.And([*(covered[i] if i in covers else z3.Not(covered[i]) for i in way),
                    z3.BoolVal(True, context)])
            for way in ways
        ]  # fmt: skip
        some_way = z3.Or([*just_these, z3.BoolVal(False, context)])
        terms.append(z3.Implies(bit(what, state), some_way))
    return terms
