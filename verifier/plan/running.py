"""The plan as histories see it: wiring reduced to the contacts of switch machines.

Over time, detectors and contacts report the truth, save that points without contacts report
what they were told.
"""

from dataclasses import replace

from verifier.plan import facts
from verifier.plan.equipment import NO_EQUIPMENT
from verifier.plan.facts import Observable
from verifier.plan.model import Joint, Plan
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


def memory(plan: Plan) -> tuple[Observable, ...]:
    """What relays, timers and directions of traffic are, in the order in which they act."""
    locking = plan.locking
    return tuple(
        facts.relay(name)
        if name in locking.relays
        else facts.timer(name)
        if name in locking.timers
        else facts.traffic(name)
        for name in locking.memory
    )
