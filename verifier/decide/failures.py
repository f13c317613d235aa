"""The failure analysis: every single fault, pairs with a silent one, and on request every pair.

In: a plan whose safety properties were decided. Out: a verdict for each fault and a table of
their effects, the worst first.

A fault is *silent* when it does no harm and no signal ever shows anything else with it: nobody
finds it before a second comes. So its pairs are looked at in every proof.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from verifier.decide.fault_histories import FaultHistories
from verifier.decide.memory_invariants import MemoryInvariants
from verifier.decide.situations import SituationProver
from verifier.engines.proof_store import NO_STORE, ProofStore
from verifier.engines.results import Exists, Impossible, Unknown
from verifier.engines.smt.situations import SituationCheck
from verifier.engines.smt.train_length_constraints import rooms
from verifier.engines.stopping import checkpoint
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import Expr, atom, conjunction, disjunction, negation, support
from verifier.plan import observables
from verifier.plan.devices import devices
from verifier.plan.locking.locking_model import power_of
from verifier.plan.minimality import count_situations
from verifier.plan.model import Plan, Signal
from verifier.plan.observables import Condition, Observable
from verifier.plan.signals.heads import signal_of
from verifier.plan.wiring.faults import Fault
from verifier.properties.failures import (
    counts_against,
    harms,
    held,
    more_restrictive,
    most_telling,
    with_harm,
    without_power,
)
from verifier.properties.obligation import Obligation
from verifier.verdicts.report import Consequence, Failure, Verdict
from verifier.world.circuits import Circuits
from verifier.world.fault_cone import FaultCone
from verifier.world.memory_abstraction import faults_reaching_histories
from verifier.world.train_constraints import train_constraints
from verifier.world.world import World, check_circles

# How many faults are checked together: with fewer the same questions are repeated, with more
# each is large (measured on generated lines).
FAULTS_AT_A_TIME = 40
# A fault that touches more than this many things (a lost supply) is checked by itself.
FAR_REACHING = 10

_ORDER: tuple[Consequence, ...] = (
    "false proceed", "unlocked", "undecided", "more restrictive", "none",
)  # fmt: skip


class FailureAnalysis:
    """The verdict on each fault, and the failure table.

    ``safety`` holds the verdicts on the safety properties with nothing broken; a waived one is
    left out. ``step`` is called before each question. ``undecided`` is why nothing can be decided,
    if so.

    ``histories`` asks what faults do over time, of a plan with locks.

    ``effects`` are those of the faults, by name, as far as the analysis has come; ``finished`` says
    that it has come to its end.
    """

    def __init__(
        self,
        prover: SituationProver,
        asked: Sequence[Obligation],
        safety: Sequence[Verdict],
        step: Callable[[], None],
        *,
        pairs: bool,
        undecided: str = "",
        histories: FaultHistories | None = None,
    ):
        self._prover = prover
        self._histories = histories
        self._asked = {o.subjects[0]: o for o in asked}
        self._step = step
        self._with_pairs = pairs
        self._undecided = undecided
        self._check = FailureCheck(
            prover.world,
            prover.timeout,
            [v.obligation for v in safety if v.status != "waived" or v.needless],
            # What only histories exclude, histories with faults are asked about again.
            {v.obligation.key for v in safety if v.status in ("broken", "undecided") or v.lasting},
            step,
            prover.store,
        )
        self.effects: dict[str, FaultEffect] = {}
        self._pairs: list[Failure] = []
        self.all_pairs = pairs
        self.finished = False

    def verdicts(self) -> Iterator[Verdict]:
        """The verdict on each fault, as soon as it is known."""
        reaching = self._check.reaching_histories if self._histories else frozenset[Observable]()
        later: list[FaultEffect] = []
        for effect in self._check.failures():
            if effect.fault.what in reaching and not (effect.harms or effect.unknown):
                later.append(effect)
            else:
                yield from self._told(effect)
        if self._histories is not None and not self._undecided:
            by_fault = {effect.fault: effect for effect in later}
            for fault, verdict in self._histories.verdicts(list(by_fault)):
                by_fault[fault].over_time = verdict
                yield from self._told(by_fault[fault])
        for effect in later:
            if effect.fault.name not in self.effects:
                yield from self._told(effect)
        self.finished = not (self._with_pairs or self._silent)

    @property
    def _silent(self) -> list["FaultEffect"]:
        return [] if self._undecided else [e for e in self.effects.values() if e.silent]

    def _told(self, effect: "FaultEffect") -> Iterator[Verdict]:
        """The verdict on a fault whose effect is known, if it is asked for."""
        self.effects[effect.fault.name] = effect
        if obligation := self._asked.get(effect.fault.name):
            self._step()
            yield (
                Verdict(obligation, "undecided", self._undecided)
                if self._undecided
                else _verdict(self._prover, obligation, effect)
            )

    def decide_pairs(self) -> Iterator[tuple[int, int]]:
        """Every two faults together of which one is silent, or just every two, if that is wanted;
        after all :meth:`verdicts`. Yields how many steps of how many are done; what was found
        until then stays."""
        if self._with_pairs or self._silent:
            search = self._check.pairs(self.effects, every=self._with_pairs)
            for done, of, found in search:
                self._pairs = found
                yield done, of
        self.finished = True

    def table(self, late: str = "") -> tuple[Failure, ...]:
        """The failure table, in the order of the file where equally grave. ``late`` says why what
        was not reached is undecided."""
        rows = []
        for fault in self._prover.plan.equipment.faults:
            effect = self.effects.get(fault.name)
            rows.append(effect.row() if effect else _not_reached(late, fault))
        rows += self._pairs
        if (self._with_pairs or self._silent) and not self.finished:
            rows.append(Failure(("some pair",), "pair", "undecided", late))
        return sorted_failures(rows)


def _not_reached(why: str, fault: Fault) -> Failure:
    return Failure((fault.name,), fault.kind.property_name, "undecided", why)


def _verdict(prover: SituationProver, asked: Obligation, effect: "FaultEffect") -> Verdict:
    """The verdict on one fault; the harm it reports was replayed."""
    if effect.unlocks is not None:
        harmed = with_harm(asked, effect.fault, effect.unlocks.obligation)
        hint = without_power(prover.plan, effect.fault) or harmed.hint
        return replace(effect.unlocks, obligation=replace(harmed, over="histories", hint=hint))
    if not effect.harms:
        if effect.why_unknown:
            return Verdict(asked, "undecided", effect.why_unknown)
        return Verdict(asked, "proved", covered=count_situations(prover.plan.inputs))
    goal = effect.goal()
    match effect.engine.find(goal, smallest=True):
        case Exists() as answer:
            obligation = with_harm(asked, effect.fault, effect.worst_harm)
            verdict = prover.broken(obligation, goal, answer, effect.engine)
            return verdict if verdict.finding else replace(verdict, obligation=asked)
        case Unknown(reason=reason):
            return Verdict(asked, "undecided", reason)
        case Impossible():
            return Verdict(asked, "undecided", "the situation that does harm was not found again")


def sorted_failures(rows: Iterable[Failure]) -> tuple[Failure, ...]:
    """The worst first; single faults before pairs; otherwise in the order of the file."""
    return tuple(sorted(rows, key=lambda r: (_ORDER.index(r.consequence), len(r.faults))))


class FailureCheck:
    """One plan with its faults, one at a time or two.

    ``safety`` are the safety properties; those that do not hold with nothing broken (their keys in
    ``unproved``) count only in situations in which it takes the fault to break them. ``step`` is
    called before each question; ``store``: what earlier proofs found."""

    def __init__(
        self,
        sound: World,
        timeout: float | None,
        safety: Iterable[Obligation],
        unproved: Collection[str] = (),
        step: Callable[[], None] = lambda: None,
        store: ProofStore = NO_STORE,
    ):
        self._plan = sound.plan
        self._timeout = timeout
        self._harms = list(harms(self._plan, safety))
        self._unproved = frozenset(unproved)
        self._step = step
        self._store = store
        self._memory = MemoryInvariants(sound, timeout, store)
        self._sound = sound

    @cached_property
    def reaching_histories(self) -> frozenset[Observable]:
        """The faults that locks, what throws points, or whoever lets trains in may hear of."""
        return faults_reaching_histories(self._sound)

    def failures(self) -> Iterator["FaultEffect"]:
        """The effect of each fault; those of faults close to each other together."""
        for world, some in self._memory.partition(self._plan.equipment.faults):
            check = _SingleFaults(
                world, some, self._timeout, self._harms, self._unproved, self._store
            )
            yield from check.failures(self._step)

    def pairs(
        self, singles: Mapping[str, "FaultEffect"], *, every: bool
    ) -> Iterator[tuple[int, int, list[Failure]]]:
        """Pairs of faults that do harm where neither does alone, with the first harm found: all
        such pairs, or only those with a silent fault. ``singles``: the effects of each fault
        alone. Yields how many harms of how many are done, with what was found so far."""
        faults = {fault.what: fault for fault in self._plan.equipment.faults}
        harmless = [effect.fault.what for effect in singles.values() if not effect.harms]
        silent = {effect.fault.what for effect in singles.values() if effect.silent}
        sound = self._memory.with_faults(self._sound, faults)
        # Anything may differ from the sound world: signals are eliminated only on a cycle.
        everything = World(sound.plan, sound, harmless, _all_names(sound.plan))
        engine = SituationCheck.of(everything, self._timeout, store=self._store)
        found: dict[frozenset[Observable], Failure] = {}
        undecided = ""

        def rows() -> list[Failure]:
            unknown = [Failure(("some pair",), "pair", "undecided", undecided)] if undecided else []
            return [*found.values(), *unknown]

        for done, harm in enumerate(self._harms):
            yield done, len(self._harms), rows()
            holds = harm.key not in self._unproved
            asked = [w for w in harmless if counts_against(harm, faults[w], holds=holds)]
            try:
                goal = everything.expand(harm.formula)
                goal = goal if holds else conjunction(goal, negation(_already(sound, harm)))
            except InputError:
                undecided = "with some things broken, what signals show goes round in a circle"
                continue
            more, reason = engine.faults_with(
                goal, asked, at_once=2, spared=set(found), among=None if every else silent
            )
            for pair in more:
                first = sorted(pair, key=lambda what: what not in silent)
                names = tuple(what.name for what in first)
                unseen = tuple(what.name for what in first if what in silent)
                row = Failure(names, "pair", "false proceed", harm.trouble, unseen)
                found[frozenset(pair)] = row
            undecided = reason or undecided
        yield len(self._harms), len(self._harms), rows()


class _SingleFaults:
    """Single faults, with all of which the same memory facts hold (those of ``sound``).

    Faults with cones close to each other are checked together, in a world that differs from the
    sound one only there."""

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
        self._assumed = _assumed(sound)
        assumptions, always = self._assumed
        self._shared = SituationCheck(
            everything.inputs, assumptions, timeout, always, rooms(self.plan), store
        )

    def failures(self, step: Callable[[], None]) -> Iterator["FaultEffect"]:
        """The effect of each of these faults."""
        for group in self._groups():
            step()
            yield from self._of_group(group)

    def _of_group(self, group: Sequence[Observable]) -> Iterator["FaultEffect"]:
        """The effect of each fault of a group. A cycle of signals that cannot be resolved with
        several faults possible may be resolved with one."""
        try:
            world = self._cones.world(group)
            touched = world.touched or ()
            signals = [s for name, s in self.plan.signals.items() if name in touched]
            check_circles(world, signals)
            # Where the assumptions depend on the fault, situations become possible that were
            # ruled out, for signals outside its cone too.
            shared = _assumed(world) == self._assumed
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
            for signal in signals:
                checkpoint()
                self._find_restricted(signal, effects)
            for words, condition, name in held(self.plan):
                checkpoint()
                self._find_held(words, condition, name, effects)
            for signal in signals:
                checkpoint()
                self._find_shown(signal, effects)
        except InputError:
            if len(group) > 1:
                for what in group:
                    yield from self._of_group((what,))
                return
            world = World(self.plan, self._sound, group)
            unknown = "with this broken, what signals show goes round in a circle"
            effects = {w: FaultEffect(self._faults[w], world, self._shared, unknown=unknown)
                       for w in group}  # fmt: skip
        yield from effects.values()

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

    def _find_harm(self, harm: Obligation, group: Mapping[Observable, "FaultEffect"]) -> None:
        first = next(iter(group.values()))
        goal = first.world.expand(harm.formula)
        if first.engine is self._shared and goal is self._sound.expand(harm.formula):
            return
        holds = harm.key not in self._unproved
        if not holds:
            goal = conjunction(goal, negation(_already(self._sound, harm)))
        asked = [w for w, e in group.items() if counts_against(harm, e.fault, holds=holds)]
        found, reason = first.engine.faults_with(goal, asked)
        for (what,) in found:
            group[what].harms.append(harm)
        for what in asked if reason else ():
            group[what].unknown = reason

    def _find_restricted(self, signal: Signal, group: Mapping[Observable, "FaultEffect"]) -> None:
        first = next(iter(group.values()))
        goal = first.world.expand(more_restrictive(signal, self.plan))
        open_ones = [what for what, effect in group.items() if not effect.restricts]
        # A time limit does not matter here: that a fault is a nuisance is no safety claim.
        found, _ = first.engine.faults_with(goal, open_ones)
        for (what,) in found:
            group[what].restricts = True

    def _find_held(
        self, words: str, opens: Condition, name: str, group: Mapping[Observable, "FaultEffect"]
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

    def _find_shown(self, signal: Signal, group: Mapping[Observable, "FaultEffect"]) -> None:
        """With which of the faults that do nothing else a head shows another color."""
        first = next(iter(group.values()))
        open_ones = [what for what, effect in group.items() if effect.silent]
        if not open_ones:
            return
        differs = []
        for head in signal.heads:
            for color in dict.fromkeys((*head.color.values, "dark")):
                lit = atom(observables.lens(head.name, head.color.values), color)
                now, usual = first.world.expand(lit), self._sound.expand(lit)
                if now is not usual:
                    differs.append(conjunction(now, negation(usual)))
        # Given up for lack of time, a fault counts as silent: more pairs are then looked at.
        found, _ = first.engine.faults_with(disjunction(*differs), open_ones)
        for (what,) in found:
            group[what].shows = True


def _assumed(world: World) -> tuple[list[Expr], list[Expr]]:
    """The assumptions of the file and the constraints that always hold, expanded in a world."""
    plan = world.plan
    assumptions = [world.expand(world.lower(a.condition)) for a in plan.assumptions]
    return assumptions, [
        world.expand(fact) for fact in (*train_constraints(plan), *world.memory_facts)
    ]


def _already(sound: World, harm: Obligation) -> Expr:
    """That a harm comes about with nothing broken, in a situation that is then allowed."""
    assumptions, always = _assumed(sound)
    return conjunction(sound.expand(harm.formula), *assumptions, *always)


def _all_names(plan: Plan) -> frozenset[str]:
    """The names of everything whose meaning a fault can change."""
    return frozenset((*plan.blocks, *devices(plan), *plan.signals))


def _by_name(harms: Sequence[Obligation], plan: Plan) -> dict[str, set[int]]:
    """The positions of harms by the names in their formulas; heads and lines by their signal
    too."""
    found: dict[str, set[int]] = {}
    for number, harm in enumerate(harms):
        for what in support(harm.formula):
            for name in (what.name, signal_of(what.name, plan.signals)):
                found.setdefault(name, set()).add(number)
    return found


@dataclass(slots=True)
class FaultEffect:
    """What one fault does, as far as it is known."""

    fault: Fault
    world: World
    engine: SituationCheck
    unproved: frozenset[str] = frozenset()
    harms: list[Obligation] = field(default_factory=list)
    restricts: bool = False
    # What stays as it is as long as the fault is there, in words.
    holds: list[str] = field(default_factory=list)
    # Whether some head shows another color with it.
    shows: bool = False
    unknown: str = ""
    # What it does in histories, where that was asked.
    over_time: Verdict | None = None

    @property
    def unlocks(self) -> Verdict | None:
        """A history in which it does harm, of a fault that does none in a single situation."""
        broken = self.over_time is not None and self.over_time.status == "broken"
        return self.over_time if broken and not self.harms else None

    @property
    def silent(self) -> bool:
        """It does no harm alone, and nobody finds it: every signal shows what it would without."""
        harmless = self.consequence == "none"
        return harmless and not (self.shows or self.holds) and not self.fault.moves_points

    @property
    def why_unknown(self) -> str:
        """Why it is not known what the fault does; empty if it is."""
        late = self.over_time is not None and self.over_time.status == "undecided"
        return self.unknown or (self.over_time.why if late and self.over_time else "")

    @property
    def worst_harm(self) -> Obligation:
        """The harm that says most, of a fault that does any."""
        return most_telling(self.fault, self.harms, self.unproved)

    def goal(self) -> Expr:
        """That the worst harm comes about with nothing else broken."""
        harm, what = self.worst_harm, self.fault.what
        harmful = self.world.expand(harm.formula)
        if harm.key in self.unproved and self.world.sound:
            harmful = conjunction(harmful, negation(_already(self.world.sound, harm)))
        others = (atom(other, "sound") for other in self.world.faults if other != what)
        return conjunction(atom(what, *what.values[1:]), harmful, *others)

    def row(self) -> Failure:
        """The fault's row of the failure table."""
        why = self.worst_harm.trouble if self.harms else self.why_unknown or "; ".join(self.holds)
        if self.unlocks is not None:
            why = self.unlocks.obligation.trouble
        silent = (self.fault.name,) if self.silent else ()
        kind = self.fault.kind.property_name
        return Failure((self.fault.name,), kind, self.consequence, why, silent)

    def alone(self) -> World:
        """The world in which only this fault may be present."""
        assert self.world.sound is not None
        return FaultCone(self.world.sound).world([self.fault.what])

    @property
    def consequence(self) -> Consequence:
        if self.harms:
            return "false proceed"
        if self.unlocks is not None:
            return "unlocked"
        if self.why_unknown:
            return "undecided"
        return "more restrictive" if self.restricts or self.holds else "none"
