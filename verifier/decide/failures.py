"""The failure analysis: every single fault, and on request every pair.

In: a plan of which the safety properties were decided. Out: a verdict for each fault and a
table of what each does, the worst first.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from verifier.decide.memory_invariants import Recollection
from verifier.decide.situations import SituationProver
from verifier.engines.results import Exists, Impossible, Unknown
from verifier.engines.smt.situations import SituationCheck
from verifier.engines.smt.train_length_constraints import rooms
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import Expr, atom, conjunction, negation, support
from verifier.plan.minimality import count_situations
from verifier.plan.model import Plan, Signal
from verifier.plan.observables import Observable
from verifier.plan.signals.heads import signal_of
from verifier.plan.wiring.faults import Fault
from verifier.properties.failures import (
    counts_against,
    harms,
    more_restrictive,
    told_first,
    with_harm,
)
from verifier.properties.obligation import Obligation
from verifier.verdicts.report import Consequence, Failure, Verdict
from verifier.world.fault_cone import FaultCone
from verifier.world.train_constraints import train_constraints
from verifier.world.world import World, check_circles

# So many faults are asked about together: fewer ask the same questions over again, more make
# the questions large (measured on generated lines).
FAULTS_AT_A_TIME = 40
# A fault that touches more than this many things (a lost supply) is asked about by itself.
FAR_REACHING = 10

_ORDER: tuple[Consequence, ...] = ("false proceed", "undecided", "more restrictive", "none")


@dataclass(frozen=True, slots=True)
class FailureAnalysis:
    """The verdict on each fault, the table of all of them, and what each does, by its name."""

    verdicts: tuple[Verdict, ...] = ()
    table: tuple[Failure, ...] = ()
    outcomes: "Mapping[str, Outcome]" = field(default_factory=dict)


def decide_failures(
    prover: SituationProver,
    asked: Sequence[Obligation],
    safety: Sequence[Verdict],
    step: Callable[[], None],
    *,
    pairs: bool,
    undecided: str = "",
) -> FailureAnalysis:
    """The verdict on each fault, and the failure table.

    ``safety`` holds the verdicts on the safety properties with nothing broken; a waived one is
    not asked again. ``undecided`` is why nothing can be decided, if so.
    """
    asked_again = [v.obligation for v in safety if v.status != "waived" or v.needless]
    unproved = {v.obligation.key for v in safety if v.status in ("broken", "undecided")}
    check = FailureCheck(prover.world, prover.timeout)
    outcomes = check.failures(asked_again, step, unproved)
    verdicts = []
    for obligation in asked:
        step()
        verdicts.append(
            Verdict(obligation, "undecided", undecided)
            if undecided
            else _verdict(prover, obligation, outcomes[obligation.subjects[0]])
        )
    rows = [outcome.row() for outcome in outcomes.values()]
    rows += check.pairs(asked_again, outcomes, step) if pairs else []
    return FailureAnalysis(tuple(verdicts), sorted_failures(rows), outcomes)


def _verdict(prover: SituationProver, asked: Obligation, outcome: "Outcome") -> Verdict:
    """The verdict on one fault, the harm that is told of it replayed."""
    if not outcome.harms:
        if outcome.unknown:
            return Verdict(asked, "undecided", outcome.unknown)
        return Verdict(asked, "proved", covered=count_situations(prover.plan.inputs))
    harm = told_first(outcome.fault, outcome.harms, outcome.unproved)
    goal = outcome.goal()
    match outcome.engine.find(goal, smallest=True):
        case Exists() as answer:
            obligation = with_harm(asked, outcome.fault, harm)
            verdict = prover.broken(obligation, goal, answer, outcome.engine)
            return verdict if verdict.finding else replace(verdict, obligation=asked)
        case Unknown(reason=reason):
            return Verdict(asked, "undecided", reason)
        case Impossible():
            return Verdict(asked, "undecided", "the situation was lost again")


def sorted_failures(rows: Iterable[Failure]) -> tuple[Failure, ...]:
    """The worst first; single faults before pairs; otherwise in the order of the file."""
    return tuple(sorted(rows, key=lambda r: (_ORDER.index(r.consequence), len(r.faults))))


class FailureCheck:
    """One plan with anything that it declares broken, one thing at a time, or two."""

    def __init__(self, sound: World, timeout: float | None):
        self._plan = sound.plan
        self._timeout = timeout
        self._unproved: frozenset[str] = frozenset()
        faults = sound.plan.equipment.faults
        recollection = Recollection(sound, timeout)
        self._parts = [_Faults(*part, timeout) for part in recollection.parted(faults)]
        self._known = recollection.with_broken(sound, [fault.what for fault in faults])

    def failures(
        self,
        safety: Iterable[Obligation],
        step: Callable[[], None],
        unproved: Collection[str] = (),
    ) -> dict[str, "Outcome"]:
        """What each fault does, by its name. ``safety`` are the safety properties asked;
        those that do not hold with nothing broken (their keys in ``unproved``) count only in
        situations in which it takes the fault to break them. ``step`` is called before each
        group of faults."""
        self._unproved = frozenset(unproved)
        asked = list(harms(self._plan, safety))
        outcomes: dict[str, Outcome] = {}
        for part in self._parts:
            outcomes |= part.failures(asked, step, self._unproved)
        return {fault.name: outcomes[fault.name] for fault in self._plan.equipment.faults}

    def pairs(
        self,
        safety: Sequence[Obligation],
        singles: Mapping[str, "Outcome"],
        step: Callable[[], None],
    ) -> list[Failure]:
        """Pairs of faults that do harm where neither does alone, with the first harm found."""
        faults = {fault.what: fault for fault in self._plan.equipment.faults}
        harmless = [o.fault.what for o in singles.values() if not o.harms]
        everything = World(self._known.plan, self._known, faults)
        engine = SituationCheck.of(everything, self._timeout)
        told: dict[frozenset[Observable], Failure] = {}
        undecided = ""
        for harm in harms(self._plan, safety):
            step()
            holds = harm.key not in self._unproved
            asked = [w for w in harmless if counts_against(harm, faults[w], holds=holds)]
            try:
                goal = everything.expand(harm.formula)
                goal = goal if holds else conjunction(goal, negation(_already(self._known, harm)))
            except InputError:
                undecided = "with some things broken, what signals show goes round in a circle"
                continue
            found, reason = engine.faults_with(goal, asked, at_once=2, spared=set(told))
            for pair in found:
                names = tuple(what.name for what in pair)
                told[frozenset(pair)] = Failure(names, "pair", "false proceed", harm.trouble)
            undecided = reason or undecided
        if undecided:
            return [*told.values(), Failure(("some pair",), "pair", "undecided", undecided)]
        return list(told.values())


class _Faults:
    """Some faults, with all of which as much is known of memory.

    Faults that touch things close to each other are asked about together, in a world that
    differs from the sound one only there."""

    def __init__(self, sound: World, faults: Iterable[Fault], timeout: float | None):
        self.plan: Plan = sound.plan
        self._sound = sound
        self._timeout = timeout
        self._faults = {fault.what: fault for fault in faults}
        self._touches = FaultCone(sound)
        self._unproved: frozenset[str] = frozenset()
        self._everything = World(self.plan, sound, self._faults)
        assumptions, always = _assumed(sound)
        self._shared = SituationCheck(
            self._everything.inputs, assumptions, timeout, always, rooms(self.plan)
        )

    def failures(
        self, asked: Sequence[Obligation], step: Callable[[], None], unproved: frozenset[str]
    ) -> dict[str, "Outcome"]:
        """What each of these faults does, by its name."""
        self._unproved = unproved
        by_name = _by_name(asked, self.plan)
        outcomes: dict[str, Outcome] = {}
        for group in self._groups():
            step()
            for found in self._about(group, asked, by_name):
                outcomes |= {what.name: outcome for what, outcome in found.items()}
        return outcomes

    def _about(
        self,
        group: Sequence[Observable],
        asked: Sequence[Obligation],
        by_name: Mapping[str, Sequence[tuple[int, Obligation]]],
    ) -> Iterator[dict[Observable, "Outcome"]]:
        """What each fault of a group does. What no signal can settle with several of them
        broken may be settled with one."""
        try:
            world = self._touches.world(group)
            signals = [s for name, s in self.plan.signals.items() if name in (world.touched or ())]
            # A situation that is shown must be settled altogether.
            check_circles(world, signals)
            engine = self._engine(world)
            found = {
                what: Outcome(self._faults[what], world, engine, self._unproved) for what in group
            }
            # Where what the file assumes feels the fault, situations come about that were
            # ruled out, for signals too that do not feel it.
            near = _near(world.touched or (), by_name) if engine is self._shared else asked
            for harm in near:
                self._ask(harm, found)
            for signal in signals:
                self._ask_restricted(signal, found)
        except InputError:
            if len(group) > 1:
                for what in group:
                    yield from self._about((what,), asked, by_name)
                return
            world = World(self.plan, self._sound, group)
            unknown = "with this broken, what signals show goes round in a circle"
            found = {w: Outcome(self._faults[w], world, self._shared, unknown=unknown)
                     for w in group}  # fmt: skip
        yield found

    def _groups(self) -> Iterable[tuple[Observable, ...]]:
        groups: dict[frozenset[str], list[Observable]] = {}
        for what in self._faults:
            groups.setdefault(self._touches.directly(what), []).append(what)
        place = self._touches.places()
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

    def _engine(self, world: World) -> SituationCheck:
        """One engine for all, unless what the file assumes feels the fault."""
        assumptions, always = _assumed(world)
        if (assumptions, always) == _assumed(self._sound):
            return self._shared
        return SituationCheck.of(world, self._timeout)

    def _ask(self, harm: Obligation, group: Mapping[Observable, "Outcome"]) -> None:
        first = next(iter(group.values()))
        goal = first.world.expand(harm.formula)
        if first.engine is self._shared and goal is self._sound.expand(harm.formula):
            return
        goal = self._newly(goal, harm)
        holds = harm.key not in self._unproved
        asked = [w for w, o in group.items() if counts_against(harm, o.fault, holds=holds)]
        found, reason = first.engine.faults_with(goal, asked)
        for (what,) in found:
            group[what].harms.append(harm)
        for what in asked if reason else ():
            group[what].unknown = reason

    def _newly(self, goal: Expr, harm: Obligation) -> Expr:
        """That a harm comes about which does not without the fault."""
        if harm.key not in self._unproved:
            return goal
        return conjunction(goal, negation(_already(self._sound, harm)))

    def _ask_restricted(self, signal: Signal, group: Mapping[Observable, "Outcome"]) -> None:
        first = next(iter(group.values()))
        goal = first.world.expand(more_restrictive(signal, self.plan))
        open_ones = [what for what, outcome in group.items() if not outcome.restricts]
        # Whether time ran out is of no matter here: that a fault is a nuisance is no safety
        # claim.
        found, _ = first.engine.faults_with(goal, open_ones)
        for (what,) in found:
            group[what].restricts = True


def _assumed(world: World) -> tuple[list[Expr], list[Expr]]:
    """What the file assumes, and what holds anyhow, as this world has it."""
    plan = world.plan
    assumptions = [world.expand(world.lower(a.condition)) for a in plan.assumptions]
    return assumptions, [
        world.expand(fact) for fact in (*train_constraints(plan), *world.memory_facts)
    ]


def _already(sound: World, harm: Obligation) -> Expr:
    """That a harm comes about with nothing broken, in a situation that is then allowed."""
    assumptions, always = _assumed(sound)
    return conjunction(sound.expand(harm.formula), *assumptions, *always)


def _by_name(asked: Iterable[Obligation], plan: Plan) -> dict[str, list[tuple[int, Obligation]]]:
    """Harms by what their formulas speak of, heads and lines by their signal too, numbered in
    the order of the catalog."""
    found: dict[str, list[tuple[int, Obligation]]] = {}
    for number, harm in enumerate(asked):
        names = [what.name for what in support(harm.formula)]
        owners = [signal_of(name, plan.signals) for name in names]
        for name in dict.fromkeys([*names, *owners]):
            found.setdefault(name, []).append((number, harm))
    return found


def _near(
    touched: Iterable[str], asked: Mapping[str, Sequence[tuple[int, Obligation]]]
) -> list[Obligation]:
    """The harms that speak of something touched, in the order of the catalog."""
    near = dict(item for name in touched for item in asked.get(name, ()))
    return [near[number] for number in sorted(near)]


@dataclass(slots=True)
class Outcome:
    """What one fault does, as far as it is known."""

    fault: Fault
    world: World
    engine: SituationCheck
    unproved: frozenset[str] = frozenset()
    harms: list[Obligation] = field(default_factory=list)
    restricts: bool = False
    unknown: str = ""

    def goal(self) -> Expr:
        """The harm that is told of it, with nothing else broken."""
        harm = told_first(self.fault, self.harms, self.unproved)
        harmful = self.world.expand(harm.formula)
        if harm.key in self.unproved and self.world.sound:
            harmful = conjunction(harmful, negation(_already(self.world.sound, harm)))
        others = (w for w in self.world.faults if w != self.fault.what)
        what = self.fault.what
        return conjunction(
            atom(what, *what.values[1:]), harmful, *(atom(other, "sound") for other in others)
        )

    def row(self) -> Failure:
        why = (
            told_first(self.fault, self.harms, self.unproved).trouble
            if self.harms
            else self.unknown
        )
        return Failure((self.fault.name,), self.fault.kind.property_name, self.consequence, why)

    def alone(self) -> World:
        """The world in which just this may be broken."""
        assert self.world.sound is not None
        return FaultCone(self.world.sound).world([self.fault.what])

    @property
    def consequence(self) -> Consequence:
        if self.harms:
            return "false proceed"
        if self.unknown:
            return "undecided"
        return "more restrictive" if self.restricts else "none"
