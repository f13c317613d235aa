"""What trains are like, as far as it limits where stock can stand.

In: a plan. Out: expressions that hold in every situation there can be.
"""

from collections.abc import Iterator

from verifier.logic.expr import TRUE, Expr, atom, conjunction, disjunction, negation
from verifier.plan import observables
from verifier.plan.model import Plan, Port
from verifier.plan.wiring.derive_equipment import unseen_anywhere


def train_constraints(plan: Plan) -> Iterator[Expr]:
    """The middle of a train that draws nothing has its two ends on the tracks to which the
    points lead. A train on rails that are shorter reaches beyond them."""
    for what in plan.inputs:
        if what.kind != "standing":
            continue
        for place in plan.equipment.places[what.name]:
            if place.dead is not None and place.dead.reaches:
                reached = _has_stock(place.dead.beyond, plan)
                yield disjunction(negation(atom(what, place.name)), reached)
        if unseen_anywhere(what.name, plan.wiring):
            continue
        if not plan.wiring.feeders_of(what.name):
            continue
        middles = [place.name for place in plan.equipment.places[what.name] if not place.draws]
        if middles:
            yield disjunction(negation(atom(what, *middles)), ends_beyond(plan, what.name))


def ends_beyond(plan: Plan, block: str) -> Expr:
    """That stock stands on both sides of a block, on tracks to which the points lead."""
    ways = []
    for joint in plan.track.joints:
        for outer, inner in ((joint.a, joint.b), (joint.b, joint.a)):
            if plan.track.pieces[inner.piece].block == block != _block(outer, plan):
                before = _occupied(outer, plan)
                ways += [conjunction(before, way) for way in _onward(inner, block, plan, (inner,))]
    return disjunction(*ways)


def _onward(port: Port, block: str, plan: Plan, passed: tuple[Port, ...]) -> Iterator[Expr]:
    """Each way on from a place in the block: the points it needs, and stock beyond."""
    for move, _, leads_to in plan.track.onward[port]:
        needs = TRUE
        if move.position is not None:
            needs = atom(observables.points(move.piece), move.position)
        if _block(leads_to, plan) != block:
            yield conjunction(needs, _occupied(leads_to, plan))
        elif leads_to not in passed:
            for way in _onward(leads_to, block, plan, (*passed, leads_to)):
                yield conjunction(needs, way)


def _block(port: Port, plan: Plan) -> str | None:
    return plan.track.pieces[port.piece].block


def _occupied(port: Port, plan: Plan) -> Expr:
    return _has_stock(port.piece, plan)


def _has_stock(name: str, plan: Plan) -> Expr:
    piece = plan.track.pieces[name]
    if piece.block is None:
        return TRUE if piece.kind == "edge" else negation(TRUE)
    return atom(observables.stock(piece.block), "occupied")
