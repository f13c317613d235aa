"""What is known of memory while something is broken, against playing it: memory that hears
anything at any moment, and whole histories with one thing broken, by steppers that know neither
expressions nor solver."""

from collections import Counter
from functools import cache
from random import Random

import pytest

import verifier
from tests.differential.locked import write_locked
from tests.differential.steps import any_start
from tests.junction_files import spec
from tests.proofs import proved
from tests.sweep import NIGHTLY
from verifier.decide.memory_invariants import MemoryInvariants
from verifier.diagnosis.bench import Bench
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import holds
from verifier.plan.model import Plan
from verifier.plan.observables import REPORTED, Observable
from verifier.properties.catalog import obligations
from verifier.properties.failures import harms
from verifier.properties.obligation import Obligation
from verifier.reference.evaluator import Unsettled
from verifier.reference.standing import can_be
from verifier.reference.step import Stepper
from verifier.reference.transition import Valuation
from verifier.reference.wired_step import WiredStepper
from verifier.verdicts.report import Report
from verifier.world.memory_abstraction import faults_reaching_memory
from verifier.world.world import World

WHOLE = spec("locked-and-wired-end-of-siding")


class HearsAnything(Stepper):
    """Reports and signals are what chance says."""

    chance: Random

    def look(self, moment: Valuation) -> dict[Observable, str]:
        return {
            what: self.chance.choice(what.values)
            if what.kind in REPORTED or what.kind in ("aspect", "color")
            else state
            for what, state in super().look(moment).items()
        }


@pytest.mark.parametrize("seed", range(400 if NIGHTLY else 30))
def test_memory_that_hears_anything_stays_within_what_is_known(seed: int) -> None:
    r = Random(f"recollection {seed}")
    plan = loaded(r)
    stepper = HearsAnything(plan)
    stepper.chance = r
    known = MemoryInvariants(World(plan), 5).whatever_is_reported
    moment = any_start(stepper, r)
    for _ in range(150):
        for what in stepper.choices:
            moment[what] = r.choice(what.values)
        try:
            step = stepper.step(moment)
        except Unsettled:  # from here on it is not said what comes
            break
        if not stepper.allowed(step.observed):
            break
        for clause in known:
            assert holds(clause, moment), clause
        moment = dict(step.successor)


def loaded(r: Random) -> Plan:
    """The first generated layout that is one: in some, rules go round in a circle."""
    while True:
        try:
            plan = verifier.load_text(write_locked(r, 40))
            World(plan)
        except InputError:
            continue
        return plan


of_whole = pytest.mark.xdist_group(WHOLE.stem)  # where it is proved


def whole() -> tuple[Plan, Report]:
    report = proved(WHOLE)
    return report.plan, report


@cache
def player() -> tuple[Plan, WiredStepper, list[Obligation]]:
    """What is played on, and what harm may come about."""
    plan, _ = whole()
    wired, world = Bench(plan).plan, World(plan)
    asked = harms(plan, [o for o in obligations(plan, world.lower) if o.over == "situations"])
    return wired, WiredStepper(plan, wired), list(asked)


def played(fault: Observable, state: str, r: Random, moments: int) -> Counter[str]:
    """One history by chance with something broken from some moment on: what harm came about."""
    wired, stepper, asked = player()
    found: Counter[str] = Counter()
    handled = [w for w in stepper.choices if w.kind in ("lever", "button")]
    moment = {w: values[0] for w, values in stepper.variables.starts().items()}
    moment |= {w: w.usual for w in handled}
    since = r.randrange(moments // 2)
    for number in range(moments):
        for what in stepper.choices:
            if what in handled:
                moment[what] = r.choice(what.values) if r.random() < 0.1 else moment[what]
            else:
                often = 0.1 if what.kind == "reversal" else 0.5
                moment[what] = "yes" if r.random() < often else "no"
        for what in stepper.wiring_inputs:
            moment[what] = r.choice(what.values[1:] if what.kind == "standing" else what.values)
        if number >= since:
            moment[fault] = state
        if not can_be(wired, stepper.situation(moment)):
            continue
        step = stepper.step(moment)
        for harm in asked:
            if holds(harm.formula, step.observed):
                found[harm.key] += 1
        held = {what: moment[what] for what in handled}
        moment = {**step.successor, **held}
    return found


@of_whole
def test_what_does_no_harm_does_none_in_histories_by_chance() -> None:
    plan, report = whole()
    consequence = {failure.faults[0]: failure.consequence for failure in report.failures}
    faults = [
        f for f in plan.equipment.faults if consequence[f.name] in ("none", "more restrictive")
    ]
    assert len(faults) > 40 and {f.what in faults_reaching_memory(World(plan)) for f in faults} == {
        True,
        False,
    }
    r = Random("harmless")
    for fault in r.sample(faults, len(faults) if NIGHTLY else 8):
        for state in fault.what.values[1:]:
            assert not played(fault.what, state, r, 300), (fault.name, state)


@of_whole
def test_what_does_harm_is_come_upon_by_chance() -> None:
    """The same player finds the harm that is there: a detector stuck at clear."""
    plan, report = whole()
    fault = next(f for f in plan.equipment.faults if f.name == "detector D-Switch")
    assert any(
        f.faults == (fault.name,) and f.consequence == "false proceed" for f in report.failures
    )
    r = Random("harmful")
    assert any(played(fault.what, "stuck at clear", r, 300) for _ in range(20))


@of_whole
def test_a_lamp_is_not_heard_and_a_detector_is() -> None:
    plan, _ = whole()
    heard = {what.name for what in faults_reaching_memory(World(plan))}
    assert {
        "detector D-Switch",
        "power wire of D-Switch",
        "supply Bus-1",
        "power wire of T1",
    } <= heard
    assert heard.isdisjoint({"lamp 4L.upper green", "wire from D-Switch to B1", "power wire of B1"})
