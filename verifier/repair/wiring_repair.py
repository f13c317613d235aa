"""How to mend it by the wiring: the cheapest change that is proved to, before it is offered.

In: a broken obligation (with one thing broken, or none) and the situation that breaks it, of
a plan with wiring. Out: changes that together mend it: the cheapest single one first; then
several of one kind, as few as will do; then pairs; new equipment after all of these. What a
change costs is ranked in :mod:`verifier.repair.wiring_edit` (common practice, no source).

A change is offered only when the plan so wired was proved to keep the obligation, to let
signals show and routes clear as before, and to break nothing that held before: no property of
a signal that the change reaches, and no verdict on something that may break and has a say in
what the signals nearest to the change show.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from verifier.decide.failures import FAR_REACHING, FailureCheck
from verifier.decide.memory_invariants import Recollection
from verifier.engines.results import Exists, Impossible
from verifier.engines.smt.situations import SituationCheck
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import TRUE, Const, Expr, atom, conjunction
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.signals.heads import signal_of
from verifier.plan.wiring.derive_equipment import with_wiring
from verifier.plan.wiring.faults import Fault, FaultKind
from verifier.properties.catalog import BY_NAME, FAILURES, obligations
from verifier.properties.failures import broken, counts_against, harms
from verifier.properties.obligation import Obligation
from verifier.reference.condition_eval import all_says
from verifier.repair.wiring_edit import NEW, About, Change
from verifier.repair.wiring_edits import about, changes
from verifier.verdicts.report import Finding, Rewiring
from verifier.world.fault_cone import FaultCone
from verifier.world.world import World

# How many ways of wiring are tried for one finding, and how many changes that help somewhat
# are tried together with another.
MAX_TRIES = 50
MAX_FIRST_OF_PAIR = 4

# Whatever a fault does, by its name.
Harms = Mapping[str, Sequence[Obligation]]


@dataclass(frozen=True, slots=True)
class _Wired:
    """A plan wired otherwise by some changes."""

    plan: Plan
    world: World
    changes: tuple[Change, ...]

    @property
    def steps(self) -> tuple[Rewiring, ...]:
        return tuple(step for change in self.changes for step in change.steps)

    def also(self, change: Change) -> "_Wired":
        plan = with_wiring(self.plan, change.wiring)
        # With other contacts rules, and with them memory, see the points otherwise: the facts
        # were proved of points taken at their word.
        facts = () if change.kind == "contacts" else self.world.memory_facts
        world = World(plan, memory_facts=facts)
        return _Wired(plan, world, (*self.changes, change))


# What comes of a change: the trouble is gone; at least the situation found is; neither, or it
# is not known.
Judgement = Literal["mended", "helps", "no help"]


class _TriesOver(Exception):
    pass


class Rewirer:
    """Looks for changes of the wiring of one plan. ``harms``: what its faults do, where that
    was worked out already. What was found of one wiring serves all findings."""

    def __init__(self, world: World, harms: Harms | None, timeout: float | None):
        self._before = _Wired(world.plan, world, ())
        self._harms = harms
        self._timeout = timeout
        self._fails_after: dict[tuple[Rewiring, ...], frozenset[str] | None] = {}
        self._held: dict[str, bool] = {}
        self._check_before: SituationCheck | None = None
        self._asked_before: dict[str, Obligation] | None = None
        self._touches_before: FaultCone | None = None
        self._reach = _Reach(world.plan)
        self._recollection = Recollection(world, timeout)

    def rewire(self, obligation: Obligation, finding: Finding) -> tuple[Rewiring, ...]:
        """Changes that together mend a broken obligation; empty when none are found."""
        if obligation.mode != "never" or not self._before.plan.wiring.given:
            return ()
        try:
            return _Search(self, obligation, finding).cheapest()
        except _TriesOver:
            return ()

    # -------------------------------------------------------------- what a change leaves

    def left(self, wired: _Wired, obligation: Obligation, finding: Finding) -> Judgement:
        """What is left of the trouble in a plan wired otherwise."""
        equipment = self._before.plan.equipment
        faults = [equipment.fault_of(w) for w, _ in finding.situation if w.kind == "fault"]
        there = [wired.plan.equipment.same(fault) for fault in faults]
        present = [fault.what for fault in there if fault is not None]
        if len(present) < len(faults):
            return "no help"
        try:
            known = self._recollection.with_broken(wired.world, present)
            world = World(known.plan, known, present) if present else known
            check = SituationCheck.of(world, self._timeout)
            for formula in self._troubles(wired.plan, obligation, present):
                goal = world.expand(formula)
                answer = check.find(goal)
                if isinstance(answer, Exists):
                    same = check.find(conjunction(goal, _same_facts(finding, world)))
                    return "helps" if isinstance(same, Impossible) else "no help"
                if not isinstance(answer, Impossible):
                    return "no help"
        except InputError:
            return "no help"
        return "mended"

    def _troubles(
        self, plan: Plan, obligation: Obligation, faults: Sequence[Observable]
    ) -> Iterator[Expr]:
        """What must not come about, as the plan so wired has it: the obligation itself, or
        whatever its fault does."""
        if not faults:
            yield _renewed(obligation, plan).formula
            return
        there = conjunction(*(broken(what) for what in faults))
        for harm in self.harms_before()[obligation.subjects[0]]:
            yield conjunction(there, _renewed(harm, plan).formula)

    def harms_before(self) -> Harms:
        if self._harms is None:
            safe = [o for o in self.asked_before().values()
                    if o.mode == "never" and self._held_before(o.key)]  # fmt: skip
            check = FailureCheck(self._before.world, self._timeout)
            outcomes = check.failures(safe, lambda: None)
            self._harms = {name: outcome.harms for name, outcome in outcomes.items()}
        return self._harms

    def asked_before(self) -> dict[str, Obligation]:
        if self._asked_before is None:
            asked = obligations(self._before.plan, self._before.world.lower)
            self._asked_before = {o.key: o for o in asked if o.property not in FAILURES}
        return self._asked_before

    # -------------------------------------------------------------- what a change breaks

    def keeps(self, wired: _Wired, fault: str) -> bool:
        """Whether everything else that held still does, and no harm is left of a fault."""
        if wired.steps not in self._fails_after:
            try:
                self._fails_after[wired.steps] = self._failing_after(wired)
            except InputError:
                self._fails_after[wired.steps] = None
        failing = self._fails_after[wired.steps]
        return failing is not None and fault not in failing

    def _failing_after(self, wired: _Wired) -> frozenset[str] | None:
        """The faults that make a false proceed of a signal which the change reaches; None
        when anything that held is lost."""
        touched = {name for change in wired.changes for name in change.touched}
        if self._touches_before is None:
            self._touches_before = FaultCone(self._before.world)
        touches = FaultCone(wired.world)
        about = self._reach.about(touched)
        near, far = _faults_near(wired.plan, touches, about)
        after = touches.world(fault.what for fault in near)
        known = (self._before.plan.equipment.same(fault) for fault in near)
        before = self._touches_before.world(fault.what for fault in known if fault)
        reached = self._reach.signals(touched, before, after)
        check = SituationCheck.of(wired.world, self._timeout)
        if not isinstance(check.find(TRUE), Exists):
            return None
        safe = []
        for asked in obligations(wired.plan, wired.world.lower):
            if asked.property in FAILURES or asked.advice:
                continue
            formula = wired.world.expand(asked.formula)
            about = reached.intersection(asked.signals) or touched.intersection(asked.subjects)
            if not about and not isinstance(formula, Const):
                continue
            wanted = Impossible if asked.mode == "never" else Exists
            if isinstance(check.find(formula), wanted):
                safe.append(asked)
            elif self._held_before(asked.key):
                return None
        worlds = [after, *(touches.world([fault.what]) for fault in far)]
        failing = self._failing(worlds, safe, reached)
        if failing is None or (failing and not failing <= self._failing_before()):
            return None
        return failing

    def _failing(
        self, worlds: Sequence[World], safe: Sequence[Obligation], reached: set[str]
    ) -> frozenset[str] | None:
        """The same with nothing that held lost; None when time ran out."""
        plan = worlds[0].plan
        asked = [h for h in harms(plan, safe) if reached.intersection(h.signals)]
        failing: set[str] = set()
        for world in worlds:
            known = self._recollection.with_broken(world, world.faults)
            check = SituationCheck.of(known, self._timeout)
            faults = [f for f in plan.equipment.faults if f.what in world.faults]
            for harm in asked:
                left = [f.what for f in faults
                        if f.name not in failing and counts_against(harm, f)]  # fmt: skip
                found, reason = check.faults_with(world.expand(harm.formula), left)
                if reason:
                    return None
                failing.update(what.name for (what,) in found)
        return frozenset(failing)

    def _held_before(self, key: str) -> bool:
        """Whether something was proved as the plan is wired now. What was not asked counts as
        proved: a change must not raise a question that it fails."""
        if key not in self._held:
            asked = self.asked_before().get(key)
            if self._check_before is None:
                self._check_before = SituationCheck.of(self._before.world, self._timeout)
            if asked is not None:
                formula = self._before.world.expand(asked.formula)
                wanted = Impossible if asked.mode == "never" else Exists
                self._held[key] = isinstance(self._check_before.find(formula), wanted)
            else:
                self._held[key] = True
        return self._held[key]

    def _failing_before(self) -> set[str]:
        return {name for name, harms_of in self.harms_before().items() if harms_of}

    @property
    def before(self) -> _Wired:
        return self._before


def _faults_near(
    plan: Plan, touches: FaultCone, about: set[str]
) -> tuple[list[Fault], list[Fault]]:
    """What may break and touches one of these directly: those things that touch little else,
    and those that reach far. Things that can fail no file are left out."""
    near: list[Fault] = []
    far: list[Fault] = []
    for fault in plan.equipment.faults:
        names = touches.directly(fault.what)
        stuck = fault.kind in (FaultKind.DETECTOR, FaultKind.CONTACT)
        if not stuck and names & about:
            (far if len(names) > FAR_REACHING else near).append(fault)
    return near, far


def _renewed(obligation: Obligation, plan: Plan) -> Obligation:
    """The same question of a plan wired otherwise. Those about distances and wiring look at
    the wiring itself; all others ask for what comes of it."""
    entry = BY_NAME.get(obligation.property)
    if entry is None or entry.group not in ("distances", "wiring"):
        return obligation
    return next((o for o in entry.make(plan) if o.key == obligation.key), obligation)


def _same_facts(finding: Finding, world: World) -> Expr:
    """Everything that matters of a situation, as far as it can be so here."""
    known = {(what.kind, what.name): what for what in world.inputs}
    facts = []
    for what in finding.relevant:
        here, state = known.get((what.kind, what.name)), finding.situation.state(what)
        if here is not None and state in here.values:
            facts.append(atom(here, state))
    return conjunction(*facts)


class _Reach:
    """Which signals of a plan read what, and whose way leads over what."""

    def __init__(self, plan: Plan):
        self._about: dict[str, set[str]] = {}  # by signal: reports, drivers, way
        self._read_by: dict[str, list[tuple[str, Expr]]] = {}  # by signal read
        for signal in plan.signals.values():
            heads = (plan.wiring.driver_of(head.name) for head in signal.heads)
            about = self._about[signal.name] = {driver.name for driver in heads if driver}
            for route in plan.routes_of(signal.name):
                about.update(route.blocks, (need.points for need in route.needs))
            lines = (*signal.lines, *(line for head in signal.heads for line in head.lines))
            for says in (s for ln in lines if ln.when for s in all_says(ln.when, plan)):
                about.add(says.what.name)
                if says.what.kind in ("aspect", "color"):
                    asked = atom(says.what, *says.values)
                    owner = signal_of(says.what.name, plan.signals)
                    self._read_by.setdefault(owner, []).append((signal.name, asked))

    def _directly(self, touched: set[str]) -> set[str]:
        return {name for name, about in self._about.items() if about & touched}

    def about(self, touched: set[str]) -> set[str]:
        """Everything that has a say in what the signals nearest to these things show."""
        signals = self._directly(touched)
        return touched.union(signals, *(self._about[name] for name in signals))

    def signals(self, touched: set[str], before: World, after: World) -> set[str]:
        """Those that can show something else, or whose way is reported otherwise, when these
        blocks, turnouts and drivers work otherwise."""
        reached = self._directly(touched)
        waiting = list(reached)
        while waiting:
            for reader, asked in self._read_by.get(waiting.pop(), ()):
                if reader not in reached and before.expand(asked) is not after.expand(asked):
                    reached.add(reader)
                    waiting.append(reader)
        return reached


class _Search:
    """The search for the changes that mend one finding."""

    def __init__(self, rewirer: Rewirer, obligation: Obligation, finding: Finding):
        self._rewirer = rewirer
        self._obligation = obligation
        self._finding = finding
        self._tries = MAX_TRIES
        is_fault = obligation.property in FAILURES
        self._fault = obligation.subjects[0] if is_fault else ""

    def cheapest(self) -> tuple[Rewiring, ...]:
        before = self._rewirer.before
        facts = [what for what, _ in self._finding.situation]
        asked = about(before.plan, self._obligation, facts)
        every = changes(before.plan, asked)
        # Two changes of what is there cost less than new equipment.
        for single in ([c for c in every if c.cost < NEW], [c for c in every if c.cost >= NEW]):
            helping: list[_Wired] = []
            for change in single:
                wired = before.also(change)
                verdict = self._judge(wired)
                if verdict == "mended":
                    return wired.steps
                if verdict == "helps":
                    helping.append(wired)
            found = self._alike(single, asked) or self._pairs(helping, asked)
            if found:
                return found
        return ()

    def _judge(self, wired: _Wired) -> Judgement:
        """What comes of some changes; with those that mend it but take something else away,
        a further one may do."""
        if self._tries == 0:
            raise _TriesOver
        self._tries -= 1
        judged = self._rewirer.left(wired, self._obligation, self._finding)
        if judged == "mended" and not self._rewirer.keeps(wired, self._fault):
            return "helps"
        return judged

    def _alike(self, single: Sequence[Change], asked: About) -> tuple[Rewiring, ...]:
        """Several changes of one kind, none of which can be left out."""
        for kind in dict.fromkeys(change.kind for change in single):
            subjects = list(dict.fromkeys(c.subject for c in single if c.kind == kind))
            if len(subjects) < 2:
                continue
            # Of several ways to make a change, the last one does most.
            for which in (0, -1):
                if self._mends(self._all(kind, subjects, asked, which)):
                    for subject in list(subjects):
                        fewer = [s for s in subjects if s != subject]
                        if self._mends(self._all(kind, fewer, asked, which)):
                            subjects = fewer
                    wired = self._all(kind, subjects, asked, which)
                    if self._rewirer.keeps(wired, self._fault):
                        return wired.steps
                    break
        return ()

    def _mends(self, wired: _Wired) -> bool:
        if self._tries == 0:
            raise _TriesOver
        self._tries -= 1
        return self._rewirer.left(wired, self._obligation, self._finding) == "mended"

    def _all(self, kind: str, subjects: Sequence[str], asked: About, which: int) -> _Wired:
        """The plan with a change of one kind made for each of these."""
        wired = self._rewirer.before
        for subject in subjects:
            made = changes(wired.plan, asked)
            found = [c for c in made if (c.kind, c.subject) == (kind, subject)]
            wired = wired.also(found[which]) if found else wired
        return wired

    def _pairs(self, helping: Sequence[_Wired], asked: About) -> tuple[Rewiring, ...]:
        """Two changes, the first of which helps and the second mends what it leaves."""
        first = helping[:MAX_FIRST_OF_PAIR]
        pairs = [(one, two) for one in first for two in changes(one.plan, asked)]
        for one, two in sorted(pairs, key=_cost):
            wired = one.also(two)
            if self._judge(wired) == "mended":
                return wired.steps
        return ()


def _cost(pair: tuple[_Wired, Change]) -> int:
    return sum(change.cost for change in (*pair[0].changes, pair[1]))
