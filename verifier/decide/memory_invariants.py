"""Memory facts where a fault may be present or the rules of a signal were changed.

Relays, timers and direction of traffic depend on what is reported and on what signals show. The
facts proved of them before a change (:attr:`verifier.world.world.World.memory_facts`) do not hold
for the plan with the change in it, nor with a fault that can reach memory. In: the world of a plan.
Out: the same with the facts that hold in it; whether they rule out a situation.

A fault that does not reach memory leaves the facts valid. Until its first harm (a more favorable
aspect counts as harm) signals proceed only where they would without it, so each history up to there
is one of the sound layout.
"""

from collections.abc import Collection, Iterable
from functools import cached_property
from time import monotonic

from verifier.decide.histories import HistoryProver
from verifier.engines import stopping
from verifier.engines.proof_store import NO_STORE, ProofStore
from verifier.engines.results import Impossible
from verifier.engines.smt.situations import SituationCheck
from verifier.engines.stopping import checkpoint
from verifier.engines.temporal import houdini
from verifier.logic.expr import Expr, atom, conjunction, disjunction, support
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.wiring.faults import Fault
from verifier.world.memory_abstraction import faults_reaching_memory, memory_alone
from verifier.world.world import World


class MemoryInvariants:
    """The memory facts of one plan with faults. ``sound``: its world, with the memory facts
    proved while nothing is broken; ``store``: what earlier proofs found."""

    def __init__(self, sound: World, timeout: float | None, store: ProofStore = NO_STORE):
        self._sound = sound
        self._timeout = timeout
        self._store = store

    @cached_property
    def reaching(self) -> frozenset[Observable]:
        """The faults that locks, or what throws points, may hear of."""
        return faults_reaching_memory(self._sound)

    @cached_property
    def whatever_is_reported(self) -> tuple[Expr, ...]:
        """The memory facts that hold with any reports, and so with any faults."""
        sound = self._sound
        end = None if self._timeout is None else monotonic() + self._timeout
        alone, hints = memory_alone(sound), sound.memory_facts
        clauses = self._store.answer(
            ("short clauses", alone.content, hints),
            lambda: houdini.inductive_clauses(alone, deadline=end, hints=hints),
            lambda _: end is None and stopping.deadline() is None,
        )
        known = set(sound.plan.inputs)
        return tuple(c for c in clauses if known.issuperset(support(c)))

    def with_faults(self, world: World, faults: Collection[Observable]) -> World:
        """A world of these rules, wired this way or another, with the memory facts that hold
        while any of ``faults`` may be present."""
        sound = world.sound or world
        if not world.plan.locking.over_time:
            return world
        reaching = self.reaching if sound is self._sound else faults_reaching_memory(sound)
        if reaching.isdisjoint(faults):
            return world
        return world.with_memory_facts(self.whatever_is_reported)

    def partition(self, faults: Iterable[Fault]) -> list[tuple[World, list[Fault]]]:
        """Faults grouped by the memory facts that hold with them, each group with its world."""
        if not self._sound.plan.locking.over_time:
            return [(self._sound, list(faults))]
        groups: dict[bool, list[Fault]] = {}
        for fault in faults:
            groups.setdefault(fault.what in self.reaching, []).append(fault)
        return [(self.with_faults(self._sound, [f.what for f in group]), group)
                for group in groups.values()]  # fmt: skip


def memory_reads_the_truth(world: World, timeout: float | None) -> bool:
    """Whether the detectors that memory reads, itself or through signals, report the truth while
    nothing is broken. Memory facts proved on histories rest on that."""
    read = memory_alone(world).inputs
    through_signals = any(what.kind in ("aspect", "color") for what in read)
    differ = disjunction(*(
        conjunction(
            atom(observables.block_report(name), report), atom(observables.stock(name), stock)
        )
        for name, block in world.plan.blocks.items()
        if block.detected and (through_signals or observables.block_report(name) in read)
        for report, stock in (("clear", "occupied"), ("occupied", "vacant"))
    ))  # fmt: skip
    return _is_impossible(world, (), world.expand(differ), timeout)


def is_ruled_out(world: World, goal: Expr, timeout: float | None) -> bool:
    """Whether no allowed situation makes ``goal`` true: in any state of memory, or else in those
    that are not excluded by memory facts of this plan, proved within the time limit.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    if _is_impossible(world, (), goal, timeout):
        return True
    if not world.memory_facts:
        return False
    if world.sound is not None:
        known = MemoryInvariants(world.sound, timeout).with_faults(world.sound, world.faults)
        if known is not world.sound:
            return _is_impossible(world, known.memory_facts, goal, timeout)
    return _is_impossible(world, memory_facts(world.plan, timeout), goal, timeout)


def memory_facts(plan: Plan, timeout: float | None) -> tuple[Expr, ...]:
    """The memory facts of a plan, proved afresh; none where they are not found in time."""
    checkpoint()
    histories = HistoryProver(plan, timeout, checkpoint)
    return histories.memory_facts() if histories.contradiction() == () else ()


def _is_impossible(
    world: World, facts: tuple[Expr, ...], goal: Expr, timeout: float | None
) -> bool:
    check = SituationCheck.of(world.with_memory_facts(facts), timeout)
    return isinstance(check.find(goal), Impossible)
