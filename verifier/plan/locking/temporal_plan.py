"""The plan over time: how points lie is kept from moment to moment.

All else is reported through the wiring of the file, as in single situations.
"""

from collections.abc import Iterator
from dataclasses import replace

from verifier.plan.model import Move, Plan, Port
from verifier.plan.track.build_track import moves_over
from verifier.plan.wiring.derive_equipment import derive_equipment, inputs_with


def running_plan(plan: Plan) -> Plan:
    """The same layout with points whose position is a state."""
    if plan.wiring.points_kept:
        return plan
    machines = {name: replace(m, lever=None) for name, m in plan.wiring.machines.items()}
    given = plan.unwired_inputs or plan.inputs
    commanded = [m.told for m in machines.values() if m.contacts == ()]
    wiring = replace(plan.wiring, machines=machines, points_kept=True)
    equipment = derive_equipment(
        wiring, plan.track, plan.blocks, plan.signals, plan.conditions, plan.locking,
        plan.indicators,
    )  # fmt: skip
    inputs = inputs_with(given, wiring, equipment)
    return replace(
        plan,
        wiring=wiring,
        equipment=equipment,
        inputs=(*inputs, *(what for what in commanded if what not in inputs)),
        unwired_inputs=given,
    )


def approach(plan: Plan, signal: str) -> Iterator[Move]:
    """How a train comes up to a signal: over plain track, the nearest first, back to the next
    signal that governs the same way or to trackwork; over the trackwork itself where the signal
    stands right behind it."""
    facing = {s.enters for s in plan.signals.values()}
    out = _before(plan, signal)
    if plan.track.pieces[out.piece].kind != "plain":
        yield from _coming_out(plan, out)
    passed: set[Port] = set()
    while plan.track.pieces[out.piece].kind == "plain" and out not in passed:
        passed.add(out)
        (move,) = _coming_out(plan, out)
        yield move
        enter = Port(move.piece, move.enter)
        if enter in facing:
            return
        out = plan.track.joint_at[enter].other(enter)


def comes_in_at(plan: Plan, signal: str) -> str | None:
    """The edge that a signal stands at, where trains come in past it: such a train comes up to
    the signal unseen."""
    before = plan.track.pieces[_before(plan, signal).piece]
    return before.name if before.kind == "edge" and before.direction != "leaving" else None


def _before(plan: Plan, signal: str) -> Port:
    """The end by which a train that passes a signal leaves the piece before it."""
    enters = plan.signals[signal].enters
    return plan.track.joint_at[enters].other(enters)


def _coming_out(plan: Plan, out: Port) -> list[Move]:
    return [move for move in moves_over(plan.track.pieces[out.piece]) if move.leave == out.end]
