"""Every single fault by itself: what it makes of each harm, each signal and each lock.

In: a sound world and its faults. Out: the effect of each. Faults with cones close to each other are
checked together, in a world that differs from the sound one only there.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from verifier.decide.fault_effects import CIRCLE, FaultEffect, already_comes_about, assumed
from verifier.engines.proof_store import ProofStore
from verifier.engines.results import Exists
from verifier.engines.smt.situations import SituationCheck
from verifier.engines.smt.train_length_constraints import rooms
from verifier.engines.stopping import checkpoint
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import Expr, atom, conjunction, disjunction, negation, support
from verifier.plan import observables
from verifier.plan.locking.locking_model import power_of
from verifier.plan.model import Plan, Signal
from verifier.plan.observables import Condition, Observable
from verifier.plan.signals.heads import signal_of
from verifier.plan.wiring.faults import Fault
from verifier.properties.failures import as_judged, counts_against, held, more_restrictive
from verifier.properties.obligation import Obligation
from verifier.world.circuits import Circuits
from verifier.world.fault_cone import FaultCone
from verifier.world.world import World, check_circles

# How many faults are checked together: with fewer the same questions are repeated, with more
# each is large (measured on generated lines).
FAULTS_AT_A_TIME = 40
# A fault that touches more than this many things (a lost supply) is checked by itself.
FAR_REACHING = 10


class SingleFaults:
    """Single faults, with all of which the same memory facts hold (those of ``sound``)."""

    def __init__(
        self,
        sound: World,
        faults: Iterable[Fault],
        timeout: float | None,
        harms: Sequence[Obligation],
        unproved: frozenset[str],
        store: ProofStore,
    ):
        self.plan: Plan = sound.plan
        self._sound = sound
        self._timeout = timeout
        self._store = store
        self._faults = {fault.what: fault for fault in faults}
        self._harms = harms
        self._harms_by_name = _by_name(harms, self.plan)
        self._unproved = unproved
        self._cones = FaultCone(sound)
        everything = World(self.plan, sound, self._faults)
        self._assumed = assumed(sound)
        assumptions, always = self._assumed
        self._shared = SituationCheck(
            everything.inputs, assumptions, timeout, always, rooms(self.plan), store
        )

    def failures(
        self, step: Callable[[], None], *, harms_alone: bool = False
    ) -> Iterator[FaultEffect]:
        """The effect of each of these faults, or only what harm it does."""
        for group in self._groups():
            step()
            yield from self._of_group(group, harms_alone)

    def _of_group(self, group: Sequence[Observable], harms_alone: bool) -> Iterator[FaultEffect]:
        """The effect of each fault of a group. A cycle of signals that cannot be resolved with
        several faults possible may be resolved with one."""
        try:
            world = self._cones.world(group)
            touched = world.touched or ()
            signals = [s for name, s in self.plan.signals.items() if name in touched]
            check_circles(world, signals)
            # Where the assumptions depend on the fault, situations become possible that were
            # ruled out, for signals outside its cone too.
            shared = assumed(world) == self._assumed
            engine = (
                self._shared
                if shared
                else SituationCheck.of(world, self._timeout, store=self._store)
            )
            effects = {
                what: FaultEffect(self._faults[what], world, engine, self._unproved)
                for what in group
            }
            numbers = {n for name in touched for n in self._harms_by_name.get(name, ())}
            near = [self._harms[n] for n in sorted(numbers)] if shared else self._harms
            for harm in near:
                checkpoint()
                self._find_harm(harm, effects)
            if not harms_alone:
                self._find_nuisance(signals, effects)
        except InputError:
            if len(group) > 1:
                for what in group:
                    yield from self._of_group((what,), harms_alone)
                return
            world = World(self.plan, self._sound, group)
            effects = {w: FaultEffect(self._faults[w], world, self._shared, unknown=CIRCLE)
                       for w in group}  # fmt: skip
        yield from effects.values()

    def _find_nuisance(
        self, signals: Sequence[Signal], group: Mapping[Observable, FaultEffect]
    ) -> None:
        """What they restrict or hold, and what they show."""
        for signal in signals:
            checkpoint()
            self._find_restricted(signal, group)
        for words, condition, name in held(self.plan):
            checkpoint()
            self._find_held(words, condition, name, group)
        for signal in signals:
            checkpoint()
            self._find_shown(group, [
                atom(observables.lens(head.name, head.color.values), color)
                for head in signal.heads
                for color in dict.fromkeys((*head.color.values, "dark"))
            ])  # fmt: skip
        on_panel = (indicator.what for indicator in self.plan.indicators.values())
        self._find_shown(group, [atom(what, state) for what in on_panel for state in what.values])

    def _groups(self) -> Iterable[tuple[Observable, ...]]:
        groups: dict[frozenset[str], list[Observable]] = {}
        for what in self._faults:
            groups.setdefault(self._cones.directly(what), []).append(what)
        place = self._cones.places()
        order = sorted(groups, key=lambda names: min((place.get(n, 0) for n in names), default=0))
        together: list[Observable] = []
        for names in order:
            alone = len(names) > FAR_REACHING
            if together and (alone or len(together) + len(groups[names]) > FAULTS_AT_A_TIME):
                yield tuple(together)
                together = []
            together += groups[names]
            if alone:
                yield tuple(together)
                together = []
        if together:
            yield tuple(together)

    def _find_harm(self, harm: Obligation, group: Mapping[Observable, FaultEffect]) -> None:
        first = next(iter(group.values()))
        goal = first.world.expand(harm.formula)
        if first.engine is self._shared and goal is self._sound.expand(harm.formula):
            return
        holds = harm.key not in self._unproved
        if not holds:
            goal = conjunction(goal, negation(already_comes_about(self._sound, harm)))
        asked = [w for w, e in group.items() if counts_against(harm, e.fault, holds=holds)]
        judged = as_judged(harm, [self._faults[what] for what in asked], self.plan)
        if judged is not harm.formula:
            goal = conjunction(goal, first.world.expand(judged))
        found, reason = first.engine.faults_with(goal, asked)
        for (what,) in found:
            alone = as_judged(harm, [self._faults[what]], self.plan)
            group[what].harms.append(replace(harm, formula=alone))
        for what in asked if reason else ():
            group[what].unknown = reason

    def _find_restricted(self, signal: Signal, group: Mapping[Observable, FaultEffect]) -> None:
        first = next(iter(group.values()))
        goal = first.world.expand(more_restrictive(signal, self.plan))
        open_ones = [what for what, effect in group.items() if not effect.restricts]
        # A time limit does not matter here: that a fault is a nuisance is no safety claim.
        found, _ = first.engine.faults_with(goal, open_ones)
        for (what,) in found:
            group[what].restricts = True

    def _find_held(
        self, words: str, opens: Condition, name: str, group: Mapping[Observable, FaultEffect]
    ) -> None:
        """With which faults something is held, whatever else is so."""
        first = next(iter(group.values()))
        goal = first.world.expand(first.world.lower(opens))
        power = power_of(name, self.plan.locking)
        if power is not None:
            circuits = Circuits(self.plan, first.world.faults)
            goal = conjunction(goal, circuits.fed(power.wire, power.supply))
        near = first.engine.cone(goal)[0]
        asked = [what for what in group if what in near]
        found, late = first.engine.faults_with(goal, asked)
        if not late and isinstance(first.engine.find(goal), Exists):
            opening = {what for (what,) in found}
            for what in asked:
                if what not in opening:
                    group[what].holds.append(words)

    def _find_shown(self, group: Mapping[Observable, FaultEffect], shown: Iterable[Expr]) -> None:
        """With which of the faults that do nothing else one of these is not as without."""
        first = next(iter(group.values()))
        open_ones = [what for what, effect in group.items() if effect.silent]
        if not open_ones:
            return
        differs = []
        for lit in shown:
            now, usual = first.world.expand(lit), self._sound.expand(lit)
            if now is not usual:
                differs.append(conjunction(now, negation(usual)))
        # Given up for lack of time, a fault counts as silent: more pairs are then looked at.
        found, _ = first.engine.faults_with(disjunction(*differs), open_ones)
        for (what,) in found:
            group[what].shows = True


def _by_name(harms: Sequence[Obligation], plan: Plan) -> dict[str, set[int]]:
    """The positions of harms by the names in their formulas; heads and lines by their signal
    too."""
    found: dict[str, set[int]] = {}
    for number, harm in enumerate(harms):
        for what in support(harm.formula):
            for name in (what.name, signal_of(what.name, plan.signals)):
                found.setdefault(name, set()).add(number)
    return found
