"""Memory facts where something is broken or the rules of a signal were changed.

Relays, timers and direction of traffic depend on what is reported and on what signals show. The
facts proved of them before a change (:attr:`verifier.world.world.World.memory_facts`) do not hold
for the plan with the change in it, nor for a layout with a fault that they can hear of. In: the
world of a plan. Out: the same with the facts that hold in it; whether they rule out a trouble.

A fault that memory does not hear of leaves what was shown as it is. Until it first does harm (a
more favorable aspect counts as harm) trains are let go where they would be without it, so each
history up to there is one of the sound layout.
"""

from collections.abc import Callable, Collection, Iterable
from functools import cached_property
from time import monotonic

from verifier.decide.histories import HistoryProver
from verifier.engines.results import Impossible
from verifier.engines.smt.situations import SituationCheck
from verifier.engines.temporal import houdini
from verifier.logic.expr import Expr, atom, conjunction, disjunction, support
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.wiring.faults import Fault
from verifier.properties.catalog import obligations
from verifier.world.memory_abstraction import faults_reaching_memory, memory_alone
from verifier.world.world import World

# Seconds for all that is to be shown of the memory of one changed plan, and for each question.
IN_ALL, EACH = 20.0, 5.0


class Recollection:
    """What is known of one plan's memory. ``sound``: its world, with the memory facts proved
    while nothing is broken."""

    def __init__(self, sound: World, timeout: float | None):
        self._sound = sound
        self._timeout = timeout

    @cached_property
    def whatever_is_reported(self) -> tuple[Expr, ...]:
        """The memory facts that hold whatever is broken."""
        sound = self._sound
        system = memory_alone(sound)
        clauses = houdini.lasting(
            system, deadline=monotonic() + (IN_ALL if self._timeout is None else self._timeout),
            hints=sound.memory_facts,
        )  # fmt: skip
        known = set(sound.plan.inputs)
        return tuple(c for c in clauses if known.issuperset(support(c)))

    def with_broken(self, world: World, faults: Collection[Observable]) -> World:
        """A world of these rules, wired this way or another, with what is known of its memory
        while any of ``faults`` may be at work."""
        sound = world.sound or world
        if not world.plan.locking.over_time or faults_reaching_memory(sound).isdisjoint(faults):
            return world
        return world.with_memory_facts(self.whatever_is_reported)

    def parted(self, faults: Iterable[Fault]) -> list[tuple[World, list[Fault]]]:
        """Faults, those together with which as much is known, each lot with its world."""
        if not self._sound.plan.locking.over_time:
            return [(self._sound, list(faults))]
        heard = faults_reaching_memory(self._sound)
        lots: dict[bool, list[Fault]] = {}
        for fault in faults:
            lots.setdefault(fault.what in heard, []).append(fault)
        return [(self.with_broken(self._sound, [f.what for f in lot]), lot)
                for lot in lots.values()]  # fmt: skip


def hears_the_truth(world: World, timeout: float | None) -> bool:
    """Whether detectors that memory hears, by itself or through signals, report what is so while
    nothing is broken. What was shown of memory in histories rests on that."""
    heard = memory_alone(world).inputs
    through_signals = any(what.kind in ("aspect", "color") for what in heard)
    blocks = [
        block.name for block in world.plan.blocks.values()
        if block.detected and (through_signals or observables.block_report(block.name) in heard)
    ]  # fmt: skip
    differ = disjunction(*(
        conjunction(atom(observables.block_report(block), report), atom(observables.stock(block),
        stock)) for block in blocks for report, stock in (("clear", "occupied"), ("occupied",
        "vacant"))
    ))  # fmt: skip
    check = SituationCheck.of(world.with_memory_facts(()), timeout)
    return isinstance(check.find(world.expand(differ)), Impossible)


def is_ruled_out(world: World, goal: Expr, timeout: float | None) -> bool:
    """Whether no allowed situation makes ``goal`` true: whatever memory holds, or else by what
    this plan's own memory was shown never to come to, in the time there is for that.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    if _is_impossible(world, (), goal, timeout):
        return True
    if not world.memory_facts:
        return False
    if world.sound is not None:
        known = Recollection(world.sound, timeout).with_broken(world.sound, world.faults)
        if known is not world.sound:
            return _is_impossible(world, known.memory_facts, goal, timeout)
    return _is_impossible(world, memory_facts(world.plan, timeout), goal, timeout)


def memory_facts(plan: Plan, timeout: float | None) -> tuple[Expr, ...]:
    """The memory facts of a plan, proved afresh; none where they are not found in time."""
    histories = HistoryProver(plan, EACH if timeout is None else min(timeout, EACH), _stopwatch())
    try:
        if histories.ruling_out() != ():
            return ()
        asked = obligations(plan, World(plan).lower)
        histories.decide(o for o in asked if o.over == "histories" and o.mode == "never")
    except _OutOfTime:
        return ()
    return histories.memory_facts()


class _OutOfTime(Exception):
    pass


def _stopwatch() -> Callable[[], None]:
    end = monotonic() + IN_ALL

    def look() -> None:
        if monotonic() > end:
            raise _OutOfTime

    return look


def _is_impossible(
    world: World, facts: tuple[Expr, ...], goal: Expr, timeout: float | None
) -> bool:
    check = SituationCheck.of(world.with_memory_facts(facts), timeout)
    return isinstance(check.find(goal), Impossible)
