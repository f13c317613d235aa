"""Repairs of the wiring: the cheapest edits that are proved to repair a finding.

In: a broken obligation (with one fault present, or none) and the situation that breaks it, of a
plan with wiring. Out: edits that together repair it: the cheapest single one first; then several
of one kind, as few as will do; then pairs; new equipment after all of these. Costs are ranked in
:mod:`verifier.repair.wiring_edit` (common practice, no source).

A repair is offered only when the plan so wired was proved to keep the obligation, to let signals
show and routes clear as before, and to break nothing that held before: no property of a signal
that the edit reaches, no verdict on a fault near the edit, and, in a plan over time, nothing that
was proved of histories (:mod:`verifier.repair.rewired_histories`).
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from verifier.decide.failures import FailureCheck
from verifier.decide.memory_invariants import MemoryInvariants
from verifier.decide.single_faults import FAR_REACHING
from verifier.engines.results import Exists, Impossible
from verifier.engines.smt.situations import SituationCheck
from verifier.engines.stopping import checkpoint
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import TRUE, Const, Expr, atom, conjunction
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.wiring.derive_equipment import with_wiring
from verifier.plan.wiring.faults import FaultKind
from verifier.properties.catalog import BY_NAME, FAILURES, obligations
from verifier.properties.failures import as_judged, broken, counts_against, harms
from verifier.properties.obligation import Obligation
from verifier.repair.rewired_histories import RewiredHistories
from verifier.repair.wiring_edit import NEW, WiringEdit
from verifier.repair.wiring_edits import edits, scope_of
from verifier.verdicts.report import Finding, Rewiring
from verifier.world.fault_cone import FaultCone, read_by
from verifier.world.world import World

# How many ways of wiring are tried for one finding, and how many edits that only help are
# combined with another.
MAX_TRIES = 50
MAX_FIRST_OF_PAIR = 4

# The harm that each fault does, by its name.
Harms = Mapping[str, Sequence[Obligation]]

# The effect of an edit: the obligation holds; the situation found no longer breaks it, another
# does; neither, or it is not known.
Effect = Literal["repaired", "helps", "no help"]


@dataclass(frozen=True, slots=True)
class _Edited:
    """A plan with some edits made to its wiring."""

    plan: Plan
    world: World
    edits: tuple[WiringEdit, ...]

    @property
    def steps(self) -> tuple[Rewiring, ...]:
        return tuple(step for edit in self.edits for step in edit.steps)

    def also(self, edit: WiringEdit) -> "_Edited":
        plan = with_wiring(self.plan, edit.wiring)
        # Other contacts change how rules, and with them memory, see the points; the memory
        # facts were proved of points reported truthfully.
        facts = () if edit.kind == "contacts" else self.world.memory_facts
        return _Edited(plan, World(plan, memory_facts=facts), (*self.edits, edit))


class _TriesOver(Exception):
    pass


class WiringRepairer:
    """Looks for repairs of the wiring of one plan. ``harms`` are those of its faults, where they
    are known already; ``histories`` judges repairs over time. What is found out about one way of
    wiring serves all findings."""

    def __init__(
        self,
        world: World,
        harms: Harms | None,
        timeout: float | None,
        histories: RewiredHistories,
    ):
        self._histories = histories
        self._kept_over_time: dict[tuple[tuple[Rewiring, ...], str], bool] = {}
        self.before = _Edited(world.plan, world, ())
        self._known_harms = harms
        self._timeout = timeout
        self._fails_after: dict[tuple[Rewiring, ...], frozenset[str] | None] = {}
        self._held: dict[str, bool] = {}
        self._reach = _Reach(world.plan)
        self._memory = MemoryInvariants(world, timeout)

    def repair(self, obligation: Obligation, finding: Finding) -> tuple[Rewiring, ...]:
        """The steps that together repair a broken obligation; empty when none are found."""
        if obligation.mode != "never" or not self.before.plan.wiring.given:
            return ()
        try:
            return _RepairSearch(self, obligation, finding).cheapest()
        except _TriesOver:
            return ()

    # -------------------------------------------------------------- the plan as it stands

    @cached_property
    def _asked_before(self) -> dict[str, Obligation]:
        asked = obligations(self.before.plan, self.before.world.lower)
        return {o.key: o for o in asked if o.property not in FAILURES}

    @cached_property
    def _check_before(self) -> SituationCheck:
        return SituationCheck.of(self.before.world, self._timeout)

    @cached_property
    def _cone_before(self) -> FaultCone:
        return FaultCone(self.before.world)

    @cached_property
    def _harms_before(self) -> Harms:
        if self._known_harms is not None:
            return self._known_harms
        safe = [o for o in self._asked_before.values()
                if o.mode == "never" and self._held_before(o.key)]  # fmt: skip
        effects = FailureCheck(self.before.world, self._timeout, safe).failures()
        return {effect.fault.name: effect.harms for effect in effects}

    def _held_before(self, key: str) -> bool:
        """Whether an obligation was proved before the edit. One that did not exist counts as
        proved: an edit must not add an obligation that it breaks."""
        if key not in self._held:
            asked = self._asked_before.get(key)
            self._held[key] = asked is None or _holds(
                self._check_before, self.before.world.expand(asked.formula), asked.mode
            )
        return self._held[key]

    # -------------------------------------------------------------- the effect of an edit

    def effect(self, edited: _Edited, obligation: Obligation, finding: Finding) -> Effect:
        """What an edit does to a finding."""
        equipment = self.before.plan.equipment
        faults = [equipment.fault_of(w) for w, _ in finding.situation if w.kind == "fault"]
        there = [edited.plan.equipment.same(fault) for fault in faults]
        present = [fault.what for fault in there if fault is not None]
        if len(present) < len(faults):
            return "no help"
        try:
            known = self._memory.with_faults(edited.world, present)
            world = World(known.plan, known, present) if present else known
            check = SituationCheck.of(world, self._timeout)
            for formula in self._to_exclude(edited.plan, obligation, present):
                goal = world.expand(formula)
                answer = check.find(goal)
                if isinstance(answer, Exists):
                    same = check.find(conjunction(goal, _same_facts(finding, world)))
                    return "helps" if isinstance(same, Impossible) else "no help"
                if not isinstance(answer, Impossible):
                    return "no help"
        except InputError:
            return "no help"
        return "repaired"

    def _to_exclude(
        self, plan: Plan, obligation: Obligation, faults: Sequence[Observable]
    ) -> Iterator[Expr]:
        """What must be impossible in the edited plan: the obligation's formula, or every harm
        of its fault."""
        if not faults:
            yield _in_plan(obligation, plan).formula
            return
        present = conjunction(*(broken(what) for what in faults))
        for harm in self._harms_before[obligation.subjects[0]]:
            yield conjunction(present, _in_plan(harm, plan).formula)

    def keeps(self, edited: _Edited, fault: str) -> bool:
        """Whether everything else that held still does, over time too, and a fault does no harm any
        more."""
        if edited.steps not in self._fails_after:
            try:
                self._fails_after[edited.steps] = self._failing_after(edited)
            except InputError:
                self._fails_after[edited.steps] = None
        failing = self._fails_after[edited.steps]
        return failing is not None and fault not in failing and self._keeps_over_time(edited, fault)

    def _keeps_over_time(self, edited: _Edited, fault: str) -> bool:
        key = edited.steps, fault
        if key not in self._kept_over_time:
            there = next((f for f in edited.plan.equipment.faults if f.name == fault), None)
            self._kept_over_time[key] = self._histories.keep(edited.plan, there)
        return self._kept_over_time[key]

    def _failing_after(self, edited: _Edited) -> frozenset[str] | None:
        """The faults with which a signal that the edit reaches shows a false proceed; None when
        an obligation that held no longer does, or time ran out."""
        plan, world = edited.plan, edited.world
        touched = {name for edit in edited.edits for name in edit.touched}
        cone = FaultCone(world)
        about = self._reach.equipment(touched)
        near = [
            fault
            for fault in plan.equipment.faults
            if fault.kind not in (FaultKind.DETECTOR, FaultKind.CONTACT)
            and cone.directly(fault.what) & about
        ]
        far = [fault for fault in near if len(cone.directly(fault.what)) > FAR_REACHING]
        near = [fault for fault in near if fault not in far]
        after = cone.world(fault.what for fault in near)
        known = (self.before.plan.equipment.same(fault) for fault in near)
        before = self._cone_before.world(fault.what for fault in known if fault)
        reached = self._reach.signals(touched, before, after)
        check = SituationCheck.of(world, self._timeout)
        if not isinstance(check.find(TRUE), Exists):
            return None
        safe = []
        for asked in obligations(plan, world.lower):
            if asked.property in FAILURES or asked.advice or not asked.of_situations:
                continue
            formula = world.expand(asked.formula)
            concerned = reached.intersection(asked.signals) or touched.intersection(asked.subjects)
            if not concerned and not isinstance(formula, Const):
                continue
            if _holds(check, formula, asked.mode):
                safe.append(asked)
            elif self._held_before(asked.key):
                return None
        worlds = [after, *(cone.world([fault.what]) for fault in far)]
        failing = self._failing(worlds, safe, reached)
        if failing and not failing <= {name for name, done in self._harms_before.items() if done}:
            return None
        return failing

    def _failing(
        self, worlds: Sequence[World], safe: Sequence[Obligation], reached: set[str]
    ) -> frozenset[str] | None:
        """The faults in these worlds that do harm to a signal reached; None when time ran out."""
        plan = worlds[0].plan
        asked = [h for h in harms(plan, safe) if reached.intersection(h.signals)]
        failing: set[str] = set()
        for world in worlds:
            known = self._memory.with_faults(world, world.faults)
            check = SituationCheck.of(known, self._timeout)
            faults = [f for f in plan.equipment.faults if f.what in world.faults]
            for harm in asked:
                left = [f.what for f in faults
                        if f.name not in failing and counts_against(harm, f)]  # fmt: skip
                judged = as_judged(harm, [f for f in faults if f.what in left], plan)
                found, reason = check.faults_with(world.expand(judged), left)
                if reason:
                    return None
                failing.update(what.name for (what,) in found)
        return frozenset(failing)


def _holds(check: SituationCheck, formula: Expr, mode: str) -> bool:
    wanted = Impossible if mode == "never" else Exists
    return isinstance(check.find(formula), wanted)


def _in_plan(obligation: Obligation, plan: Plan) -> Obligation:
    """The same obligation of an edited plan. Formulas about distances and wiring depend on the
    wiring itself; all others on its effects, which the world knows."""
    entry = BY_NAME.get(obligation.property)
    if entry is None or entry.group not in ("distances", "wiring"):
        return obligation
    return next((o for o in entry.make(plan) if o.key == obligation.key), obligation)


def _same_facts(finding: Finding, world: World) -> Expr:
    """The relevant facts of a situation, as far as they exist in this world."""
    known = {(what.kind, what.name): what for what in world.inputs}
    facts = []
    for what in finding.relevant:
        here, state = known.get((what.kind, what.name)), finding.situation.state(what)
        if here is not None and state in here.values:
            facts.append(atom(here, state))
    return conjunction(*facts)


class _Reach:
    """Which signals depend on which equipment."""

    def __init__(self, plan: Plan):
        self._equipment: dict[str, set[str]] = {}  # by signal: what it reads, drivers, routes
        self._read_by = read_by(plan)
        for signal in plan.signals.values():
            heads = (plan.wiring.driver_of(head.name) for head in signal.heads)
            equipment = self._equipment[signal.name] = {d.name for d in heads if d}
            equipment.update(says.what.name for says in plan.facts_read(signal))
            for route in plan.routes_of(signal.name):
                equipment.update(route.blocks, (need.points for need in route.needs))

    def _directly(self, touched: set[str]) -> set[str]:
        return {name for name, equipment in self._equipment.items() if equipment & touched}

    def equipment(self, touched: set[str]) -> set[str]:
        """All equipment on which the signals that depend on these things directly depend."""
        signals = self._directly(touched)
        return touched.union(signals, *(self._equipment[name] for name in signals))

    def signals(self, touched: set[str], before: World, after: World) -> set[str]:
        """The signals that can show something else, or whose routes are reported differently,
        when these blocks, turnouts and drivers work differently."""
        reached = self._directly(touched)
        waiting = list(reached)
        while waiting:
            for reader, asked in self._read_by.get(waiting.pop(), {}).items():
                if reader not in reached and any(
                    before.expand(a) is not after.expand(a) for a in asked
                ):
                    reached.add(reader)
                    waiting.append(reader)
        return reached


class _RepairSearch:
    """The search for the edits that repair one finding."""

    def __init__(self, repairer: WiringRepairer, obligation: Obligation, finding: Finding):
        self._repairer = repairer
        self._before = repairer.before
        self._obligation = obligation
        self._finding = finding
        self._tries = MAX_TRIES
        self._fault = obligation.subjects[0] if obligation.property in FAILURES else ""
        facts = [what for what, _ in finding.situation]
        self._scope = scope_of(self._before.plan, obligation, facts)

    def cheapest(self) -> tuple[Rewiring, ...]:
        """Raises :class:`_TriesOver`."""
        every = edits(self._before.plan, self._scope)
        # Two edits of existing equipment cost less than new equipment.
        for single in ([e for e in every if e.cost < NEW], [e for e in every if e.cost >= NEW]):
            helping: list[_Edited] = []
            for edit in single:
                edited = self._before.also(edit)
                effect = self._judge(edited)
                if effect == "repaired":
                    return edited.steps
                if effect == "helps":
                    helping.append(edited)
            found = self._of_one_kind(single) or self._pairs(helping)
            if found:
                return found
        return ()

    def _effect(self, edited: _Edited) -> Effect:
        checkpoint()
        if self._tries == 0:
            raise _TriesOver
        self._tries -= 1
        return self._repairer.effect(edited, self._obligation, self._finding)

    def _judge(self, edited: _Edited) -> Effect:
        """The effect of some edits; one that repairs the finding but breaks something else
        only helps: another edit may keep what it breaks."""
        effect = self._effect(edited)
        if effect == "repaired" and not self._repairer.keeps(edited, self._fault):
            return "helps"
        return effect

    def _of_one_kind(self, single: Sequence[WiringEdit]) -> tuple[Rewiring, ...]:
        """Several edits of one kind, none of which can be left out."""
        for kind in dict.fromkeys(edit.kind for edit in single):
            subjects = list(dict.fromkeys(e.subject for e in single if e.kind == kind))
            if len(subjects) < 2:
                continue
            # Of several ways to make an edit, the last one does most.
            for which in (0, -1):
                if self._effect(self._all(kind, subjects, which)) == "repaired":
                    for subject in list(subjects):
                        fewer = [s for s in subjects if s != subject]
                        if self._effect(self._all(kind, fewer, which)) == "repaired":
                            subjects = fewer
                    edited = self._all(kind, subjects, which)
                    if self._repairer.keeps(edited, self._fault):
                        return edited.steps
                    break
        return ()

    def _all(self, kind: str, subjects: Sequence[str], which: int) -> _Edited:
        """The plan with an edit of one kind made for each of these."""
        edited = self._before
        for subject in subjects:
            every = edits(edited.plan, self._scope)
            found = [e for e in every if (e.kind, e.subject) == (kind, subject)]
            edited = edited.also(found[which]) if found else edited
        return edited

    def _pairs(self, helping: Sequence[_Edited]) -> tuple[Rewiring, ...]:
        """Two edits: the first helps, the second repairs the rest."""
        first = helping[:MAX_FIRST_OF_PAIR]
        pairs = [(one, two) for one in first for two in edits(one.plan, self._scope)]
        for one, two in sorted(pairs, key=lambda pair: pair[0].edits[0].cost + pair[1].cost):
            edited = one.also(two)
            if self._judge(edited) == "repaired":
                return edited.steps
        return ()
