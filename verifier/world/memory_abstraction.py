"""The memory abstraction: relays, timers, direction of traffic and commanded points alone.

In: the world of a plan. Out: the transition system of its memory, in which every report and every
signal is a free input; and the faults that can reach memory. With one of those present, this
system simulates the memory of the layout; every other fault leaves memory as it is without it.
"""

from collections.abc import Iterator, Mapping
from typing import get_args

from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import (
    Atom,
    Expr,
    atom,
    conjunction,
    constant,
    disjunction,
    substitute,
    support,
)
from verifier.logic.transition_system import System
from verifier.plan import observables
from verifier.plan.devices import devices
from verifier.plan.observables import Observable
from verifier.plan.signals.heads import signal_of
from verifier.world.circuits import Circuits
from verifier.world.fault_cone import FaultCone
from verifier.world.memory import Memory
from verifier.world.world import World

REMEMBERED = ("relay", "timer", "traffic", "thrown")
_COMMANDS = ("lever", "button", "derail", "gate")
_CHOICES = frozenset(get_args(observables.Choice))


def memory_alone(world: World) -> System:
    """The memory of a plan, with everything it depends on a free input and delays of any
    length. Assumptions are kept where they speak of memory and commands only."""
    plan = world.plan
    memory = Memory(plan, world.lower, lambda expr: expr, timed=False)
    following: dict[Observable, Mapping[str, Expr]] = {
        what: values for what, values in memory.following.items() if what.kind in REMEMBERED
    }
    own = (*REMEMBERED, *_COMMANDS)
    always = tuple(
        expr for expr in (world.lower(a.condition) for a in plan.assumptions)
        if all(what.kind in own for what in support(expr))
    )  # fmt: skip
    exprs = [*(expr for values in following.values() for expr in values.values()), *always]
    inputs = dict.fromkeys(w for e in exprs for w in support(e) if w not in following)
    starts = plan.locking.starts
    initial = {
        what: starts.of(what.name, what.values) if what.kind == "thrown" else (what.usual,)
        for what in following
    }
    return System(tuple(following), tuple(inputs), initial, following, always)


def at_rest(world: World) -> Iterator[Expr]:
    """That each relay, timer and direction of traffic keeps its state once every delay is over,
    as expressions over observables."""
    memory = Memory(world.plan, world.lower, lambda expr: expr, timed=False)

    def over(part: Atom) -> Expr:
        if part.what.kind == "expiry":
            return constant("yes" in part.values)
        # Whom one sees first does not matter where nothing changes.
        return constant(part.what.usual in part.values) if part.what.kind in _CHOICES else part

    for what, values in memory.following.items():
        if what.kind in ("relay", "timer", "traffic"):
            yield disjunction(
                *(
                    conjunction(atom(what, value), substitute(then, over))
                    for value, then in values.items()
                )
            )


def faults_reaching_memory(world: World) -> frozenset[Observable]:
    """The faults on which the state of memory, or the lie of points, can depend."""
    plan = world.plan
    faults = [fault.what for fault in plan.equipment.faults]
    reads = memory_alone(world).inputs
    circuits = Circuits(plan, faults)
    direct = [*(what for what in reads if what.kind in observables.REPORTED),
              *(device.lies for device in devices(plan).values())]  # fmt: skip
    reaching = {w for what in direct for expr in circuits.meanings(what) for w in support(expr)}
    signals = {signal_of(what.name, plan.signals) for what in reads
               if what.kind in ("aspect", "color")}  # fmt: skip
    if signals:
        cones = FaultCone(world)
        reaching |= {fault for fault in faults if _may_touch(cones, fault, signals)}
    return frozenset(reaching.intersection(faults))


def _may_touch(cones: FaultCone, fault: Observable, signals: set[str]) -> bool:
    try:
        return not signals.isdisjoint(cones.world((fault,)).touched or ())
    except InputError:  # with it the signals depend on each other in a circle
        return True
