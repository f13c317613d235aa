"""The plan as histories see it: wiring reduced to the contacts of switch machines.

Over time, detectors and contacts report the truth, save that points without contacts report
what they were told.
"""

from collections.abc import Iterator
from dataclasses import replace

from verifier.plan import facts
from verifier.plan.equipment import NO_EQUIPMENT
from verifier.plan.model import Joint, Plan, Port
from verifier.plan.wiring import Wiring


def running_plan(plan: Plan) -> Plan:
    """The same layout without supplies, feeders, detectors and drivers."""
    machines = {
        name: replace(m, motor=None, lever=None, supply=None)
        for name, m in plan.wiring.machines.items()
        if m.contacts is not None
    }
    inputs = plan.unwired_inputs or plan.inputs
    told = [facts.thrown(name) for name, m in machines.items() if m.contacts == ()]
    return replace(
        plan,
        wiring=Wiring(machines=machines),
        equipment=NO_EQUIPMENT,
        inputs=(*inputs, *(what for what in told if what not in inputs)),
        unwired_inputs=inputs,
    )


def joint_name(joint: Joint) -> str:
    """A name for a joint, of the two ends that meet there."""
    return " to ".join(f"{port.piece} {port.end}" for port in (joint.a, joint.b))


def approach(plan: Plan, signal: str) -> Iterator[Port]:
    """The plain track on which a train comes up to a signal, the nearest first, back to the
    next signal that governs the same way or to trackwork: each by the end by which a train
    comes in that heads for the signal."""
    facing = {s.enters for s in plan.signals.values()}
    enters = plan.signals[signal].enters
    out = plan.track.joint_at[enters].other(enters)
    passed: set[Port] = set()
    while plan.track.pieces[out.piece].kind == "plain" and out not in passed:
        passed.add(out)
        enter = Port(out.piece, "right" if out.end == "left" else "left")
        yield enter
        if enter in facing:
            return
        out = plan.track.joint_at[enter].other(enter)
