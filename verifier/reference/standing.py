"""Where stock can stand: whether the trains that a file has can stand as a situation says."""

from collections.abc import Iterable, Iterator

from verifier.plan.model import Plan, Port
from verifier.plan.situation import Situation
from verifier.plan.wiring.derive_equipment import unseen_anywhere
from verifier.reference.equipment import EquipmentState
from verifier.reference.train_extents import TrainPosition, train_positions

# ------------------------------------------------------------------ possible situations


def can_be(plan: Plan, situation: Situation) -> bool:
    """Whether stock can stand as a situation says: trains of the lengths given fit over the
    spots they cover, a train whose middle draws no current has both ends on the tracks that
    the points lead to, and one on rails that are shorter reaches beyond them."""
    wires = EquipmentState(plan, situation)
    for block in plan.equipment.places:
        place = wires.place(block)
        if place is None:
            continue
        geometry = plan.equipment.geometry.get(block)
        if geometry is not None and place.covers not in train_positions(geometry):
            return False
        # Only the middle of a train can stand over feeders without drawing current.
        middle = not place.draws and bool(plan.wiring.feeders_of(block))
        anywhere = not middle or unseen_anywhere(block, plan.wiring)
        if not anywhere and not has_ends(plan, wires, block):
            return False
        dead = place.dead
        if dead and dead.reaches and not _occupied(plan, wires, dead.beyond):
            return False
    return True


def has_ends(plan: Plan, wires: EquipmentState, block: str) -> bool:
    """Whether some way through a block, as the points lie, has stock at both ends. Beyond an
    edge of the plan there may always be stock."""
    return any(
        _occupied(plan, wires, one) and _occupied(plan, wires, other)
        for one, other in _ways_through(plan, wires, block)
    )


def _occupied(plan: Plan, wires: EquipmentState, piece: str) -> bool:
    beyond = plan.track.pieces[piece]
    if beyond.block is None:
        return beyond.kind == "edge"
    return not wires.vacant(beyond.block)


def _ways_through(plan: Plan, wires: EquipmentState, block: str) -> Iterable[tuple[str, str]]:
    """The pieces before and after each way through a block, as the points lie."""
    for joint in plan.track.joints:
        for outer, inner in ((joint.a, joint.b), (joint.b, joint.a)):
            inside = plan.track.pieces[inner.piece].block == block
            if not inside or plan.track.pieces[outer.piece].block == block:
                continue
            for end in _walk(plan, wires, block, inner):
                yield outer.piece, end


def _walk(plan: Plan, wires: EquipmentState, block: str, start: Port) -> Iterator[str]:
    waiting, seen = [start], {start}
    while waiting:
        for move, _, port in plan.track.onward[waiting.pop()]:
            if move.position is not None and wires.lies(move.piece) != move.position:
                continue
            if plan.track.pieces[port.piece].block != block:
                yield port.piece
            elif port not in seen:
                seen.add(port)
                waiting.append(port)


def train_covering(plan: Plan, block: str, covers: tuple[int, ...]) -> TrainPosition | None:
    """A train that covers exactly these spots of a block; None if none does."""
    geometry = plan.equipment.geometry.get(block)
    return train_positions(geometry).get(covers) if geometry else None
