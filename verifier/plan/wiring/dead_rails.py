"""Rails that a live frog leaves dead, as places where stock may stand unseen.

In: the track and the wiring. Out: of each turnout with a live frog in a block, each leg whose rails
beyond the frog stock may stand on, so that it draws current only while the frog stands for that
leg.
"""

from collections.abc import Iterator

from verifier.plan.model import Joint, Port, Track
from verifier.plan.wiring.equipment import DeadRails
from verifier.plan.wiring.wiring_model import Machine, Number, Wiring


def dead_rails(block: str, track: Track, wiring: Wiring) -> Iterator[DeadRails]:
    """Every leg in a block on which stock may stand on just the rails beyond a live frog."""
    shortest = wiring.trains.shortest if wiring.trains is not None else Number(0)
    for machine in wiring.machines.values():
        frog = machine.live_frog
        if frog is None or track.pieces[machine.turnout].block != block:
            continue
        for leg in ("normal", "reverse"):
            joint = track.joint_at[Port(machine.turnout, leg)]
            beyond = joint.other(Port(machine.turnout, leg))
            most = dead_at_most(machine, leg, block, track, wiring)
            reaches = most is not None and most < shortest
            ends = dict.fromkeys(_ends(joint, beyond, block, track, {beyond}))
            # On these rails alone, no train ends at a bumper, or reaches onto rails of the block
            # that are live. Over which of several ends it reaches is left open.
            if reaches and len(ends) == 1:
                ((joint, beyond),) = ends
            if ends or not reaches:
                reaches = reaches and len(ends) == 1
                yield DeadRails(machine.turnout, leg, frog, joint.name, beyond.piece, reaches)


def _ends(
    joint: Joint, beyond: Port, block: str, track: Track, seen: set[Port]
) -> Iterator[tuple[Joint, Port]]:
    """Where the rails on from a joint leave a block, and what is beyond; none at a bumper, nor at
    gaps beyond which the block goes on."""
    piece = track.pieces[beyond.piece]
    if piece.block != block:
        if piece.kind != "bumper":
            yield joint, beyond
    elif joint.kind != "||":
        for _, further, port in track.onward[beyond]:
            if port not in seen:
                seen.add(port)
                yield from _ends(further, port, block, track, seen)


def dead_at_most(
    machine: Machine, leg: str, block: str, track: Track, wiring: Wiring
) -> Number | None:
    """How long the rails beyond a frog are at most, up to the gap of a leg; None where that is not
    in the file."""
    joint = track.joint_at[Port(machine.turnout, leg)]
    beyond = track.pieces[joint.other(Port(machine.turnout, leg)).piece]
    whole = wiring.lengths.get(block)
    if joint.kind != "||" and beyond.block is not None:
        return whole if beyond.block == block else None
    gap = machine.gaps.get(leg)
    known = [n for n in (gap, whole) if n is not None]
    return min(known, default=None)
