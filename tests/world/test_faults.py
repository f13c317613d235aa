"""The fault model: each fault is known by kind and subjects, and no other can be written."""

from pathlib import Path
from random import Random

import pytest

import verifier
from tests.junction_files import SPEC_FILES, WIRED_SPECS, spec
from verifier.api import situation_of
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import atom, holds
from verifier.plan.model import Plan
from verifier.plan.situation import Situation
from verifier.plan.wiring.faults import FaultKind, UnknownFault, observable
from verifier.properties.catalog import FAILURES
from verifier.reference.equipment import EquipmentState
from verifier.reference.evaluator import Evaluator, Unsettled
from verifier.world.fault_cone import FaultCone
from verifier.world.world import World

# Situations in which the two semantics are compared, for each way of each fault.
LOOKS = 2
# Of a large file, so many ways of faults are looked at.
WAYS = 60


@pytest.fixture(scope="module")
def plan() -> Plan:
    return verifier.load(spec("wired-end-of-siding"))


def test_every_file_with_faults_is_among_those_looked_at() -> None:
    assert [path for path in SPEC_FILES if verifier.load(path).equipment.faults] == WIRED_SPECS


def test_a_fault_that_the_plan_does_not_have_raises_everywhere(plan: Plan) -> None:
    """A misspelled name would else be a fault that never does harm."""
    unknown = observable(FaultKind.FEEDER, "m99")
    broken = Situation.of([(unknown, "broken")])
    with pytest.raises(UnknownFault):
        plan.equipment.fault(FaultKind.FEEDER, "m99")
    with pytest.raises(UnknownFault):
        plan.equipment.fault_of(unknown)
    with pytest.raises(UnknownFault):
        World(plan, World(plan), [unknown])
    with pytest.raises(UnknownFault):
        FaultCone(World(plan)).directly(unknown)
    with pytest.raises(UnknownFault):
        EquipmentState(plan, broken)
    with pytest.raises(UnknownFault):
        Evaluator(plan).see(broken)
    with pytest.raises(UnknownFault):
        verifier.evaluate(plan, broken)


def test_a_fault_of_other_states_is_another_one(plan: Plan) -> None:
    """A gap whose current can take other ways is not the gap of this plan."""
    gap = plan.equipment.gaps[0]
    with pytest.raises(UnknownFault):
        plan.equipment.fault_of(observable(FaultKind.GAP, gap.name, ways=("welded",)))


def test_words_that_name_no_fault_are_an_input_error(plan: Plan) -> None:
    for words in ("feeder m99 broken", "feeder m1 melted", "lamp 4L purple out"):
        with pytest.raises(InputError):
            situation_of(plan, words)


@pytest.mark.parametrize("path", WIRED_SPECS, ids=lambda path: path.stem)
def test_every_fault_is_told_apart_by_kind_and_subjects(path: Path) -> None:
    plan = verifier.load(path)
    for fault in plan.equipment.faults:
        assert plan.equipment.fault(fault.kind, *fault.subjects) is fault
        assert plan.equipment.fault_of(fault.what) is fault
        assert fault.kind.property_name in FAILURES
        words = situation_of(plan, f"{fault.name} {fault.ways[0]}")
        assert dict(words) == {fault.what: fault.ways[0]}


@pytest.mark.parametrize("path", WIRED_SPECS, ids=lambda path: path.stem)
def test_both_semantics_know_every_fault(path: Path) -> None:
    """What the world makes of each lens with a fault present is what the reference sees. A
    fault that touches nothing changes nothing in either."""
    plan, chance = verifier.load(path), Random(path.stem)
    sound = World(plan)
    touches, reference = FaultCone(sound), Evaluator(plan)
    lenses = [head.lens for signal in plan.signals.values() for head in signal.heads]
    ways = [(fault, way) for fault in plan.equipment.faults for way in fault.ways]
    for fault, way in chance.sample(ways, min(WAYS, len(ways))):
        world = World(plan, sound, [fault.what])
        for _ in range(LOOKS):
            facts = [(what, chance.choice(what.values)) for what in plan.inputs]
            now = Situation.of([*facts, (fault.what, way)])
            try:
                seen = reference.states(now, lenses)
                states = now.complete(world.inputs)
                for lens in lenses:
                    assert holds(world.expand(atom(lens, seen[lens])), states), (fault, way)
                if not touches.directly(fault.what):
                    assert seen == reference.states(Situation.of(facts), lenses), fault
            except (Unsettled, InputError):  # with it the rules go round in a circle
                continue
