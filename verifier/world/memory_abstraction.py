"""The memory abstraction: relays, timers, direction of traffic and commanded points alone.

In: the world of a plan. Out: the transition system of its memory, in which every report and every
signal is a free input; the faults that can reach memory; and those that can reach whatever else
trains and people go by. With a fault that reaches memory present, this system simulates the memory
of the layout; every other fault leaves memory as it is without it.
"""

from collections.abc import Iterable, Iterator, Mapping
from typing import get_args

from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import (
    TRUE,
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
from verifier.plan.locking.crew_rules import led_to
from verifier.plan.locking.locking_model import power_of
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.signals.heads import signal_of
from verifier.world.acting import Fed
from verifier.world.circuits import Circuits
from verifier.world.fault_cone import FaultCone
from verifier.world.memory import Memory
from verifier.world.world import World

REMEMBERED = ("relay", "timer", "traffic", "thrown")
_COMMANDS = ("lever", "button", "derail", "gate")
_CHOICES = frozenset(get_args(observables.Choice))
_OF_SIGNALS = frozenset(("color", "aspect", *get_args(observables.Seen)))


def memory_alone(world: World) -> System:
    """The memory of a plan, with everything it depends on a free input and delays of any
    length. Assumptions are kept where they speak of memory and commands only."""
    plan = world.plan
    fed = _fed(plan)
    memory = Memory(plan, world.lower, lambda expr: expr, timed=False, fed=fed)
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


def _fed(plan: Plan) -> Fed | None:
    """That each relay, timer and direction of traffic has power, over faults as inputs; None where
    the file does not say what powers any of them."""
    powers = {name: power_of(name, plan.locking) for name in plan.locking.memory}
    if not any(powers.values()):
        return None
    circuits = Circuits(plan, [fault.what for fault in plan.equipment.faults])

    def fed(name: str) -> Expr:
        power = powers.get(name)
        return TRUE if power is None else circuits.fed(power.wire, power.supply)

    return fed


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
    lying = (device.lies for device in devices(world.plan).values())
    moving = {fault.what for fault in world.plan.equipment.faults if fault.moves_points}
    return _reaching(world, [*memory_alone(world).inputs, *lying], ()) | moving


def faults_reaching_histories(world: World) -> frozenset[Observable]:
    """The same, and those on which it can depend where trains may come in at an edge, which
    moments the assumptions allow, and what the crew's promises forbid.

    In a history with any other fault, which makes no signal show more than without it, trains do
    nothing that they could not do without it."""
    plan = world.plan
    conditions = [*plan.locking.running.entering.values(),
                  *(assumption.condition for assumption in plan.assumptions)]  # fmt: skip
    reads = (what for c in conditions for what in support(world.lower(c)))
    more = _reaching(world, reads, _signals_heeded(plan))
    return faults_reaching_memory(world) | more


def _signals_heeded(plan: Plan) -> Iterator[str]:
    """The signals that hold somebody back while they let trains go: the neighbor beyond an edge
    that they lead to, and crews that promised to throw nothing under them."""
    entering = plan.locking.running.entering
    for route in plan.routes:
        if route.exit_kind == "edge" and route.exit not in entering:
            yield route.signal
    seen = devices(plan)
    for promise in plan.locking.promises:
        if promise.rule in ("under clear signals", "before a train can stop"):
            for name in promise.about:
                led = led_to(seen[name], plan.routes, plan.signals)
                yield from (route.signal for route, _ in led)


def _reaching(
    world: World, reads: Iterable[Observable], heeded: Iterable[str]
) -> frozenset[Observable]:
    """The faults on which it can depend what is read, or what signals let trains do."""
    plan = world.plan
    faults = [fault.what for fault in plan.equipment.faults]
    circuits = Circuits(plan, faults)
    direct, signals, reaching = set[Observable](), set(heeded), set[Observable]()
    for what in reads:
        if what.kind in observables.REPORTED or what.kind in observables.LYING:
            direct.add(what)
        elif what.kind == "fault":
            reaching.add(what)
        elif what.kind in _OF_SIGNALS:
            signals.add(signal_of(what.name, plan.signals))
    reaching |= {w for what in direct for expr in circuits.meanings(what) for w in support(expr)}
    if signals:
        cones = FaultCone(world)
        reaching |= {fault for fault in faults if _may_touch(cones, fault, signals)}
    return frozenset(reaching.intersection(faults))


def _may_touch(cones: FaultCone, fault: Observable, signals: set[str]) -> bool:
    try:
        return not signals.isdisjoint(cones.world((fault,)).touched or ())
    except InputError:  # with it the signals depend on each other in a circle
        return True
