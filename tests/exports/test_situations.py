"""Exported C, compiled and run, against the evaluator, which knows neither expressions nor C:
in every situation of small junctions, in chance situations of large and of wired ones, with
lamps out and inputs dead."""

from collections.abc import Iterable, Iterator
from itertools import islice, product
from pathlib import Path
from random import Random

import pytest

import verifier
from tests.differential.junctions import write_junction
from tests.differential.rings import write_ring
from tests.exports.compiled import Case, exported, needs_gcc, run
from tests.junction_files import spec
from verifier.exports.c_source import CExport
from verifier.exports.interface import Field
from verifier.language.diagnostics.diagnostic import InputError
from verifier.plan import observables
from verifier.plan.minimality import count_situations
from verifier.plan.model import Plan
from verifier.plan.situation import Situation
from verifier.plan.wiring.faults import FaultKind
from verifier.reference.equipment import EquipmentState
from verifier.reference.evaluator import Evaluator, Seen
from verifier.reference.inputs import asked_by, is_read

EVERY = 1500
_REPORTS = ("block report", "points report", "derail report", "gate report")


def situations(plan: Plan, most: int, chance: Random) -> Iterator[Situation]:
    """Every one, or as many by chance."""
    if count_situations(plan.inputs) <= most:
        ways: Iterable[tuple[str, ...]] = product(*(what.values for what in plan.inputs))
    else:
        ways = (tuple(chance.choice(w.values) for w in plan.inputs) for _ in range(most))
    for values in ways:
        yield Situation.of(zip(plan.inputs, values, strict=True))


def wanted(export: CExport, seen: Seen) -> list[int]:
    face = export.face
    found = [1]
    for lit in face.lit:
        found.append(face.aspects[seen.states[lit.signal.aspect]].number)
        found += [face.colors[seen.states[head.color]].number for head in lit.signal.heads]
    return found


def agree(export: CExport, cases: list[Case], told: list[list[int]], folder: Path) -> int:
    """How many cases there were, all of which came out as told."""
    for case, want, got in zip(cases, told, run(export, cases, folder), strict=True):
        assert list(got[: len(want)]) == want, (case, got)
    return len(cases)


# ------------------------------------------------------------------ without wiring


def goes_in(export: CExport, seen: Seen) -> Case:
    face = export.face
    fields = (*face.inputs, *face.memory)
    numbers = [field.state(seen.states[field.what]).number for field in fields]
    return (*numbers, *(0 for _ in face.clocks))


def check(plan: Plan, most: int, folder: Path) -> int:
    export = exported(plan)
    evaluator = Evaluator(plan)
    looks = [evaluator.see(s) for s in situations(plan, most, Random(plan.title))]
    return agree(
        export, [goes_in(export, s) for s in looks], [wanted(export, s) for s in looks], folder
    )


@needs_gcc
@pytest.mark.parametrize(
    "name",
    ["both-green-mended", "diamond-mended", "crossover-mended", "spur-mended", "lift-gate-mended",
     "order-of-lines-mended", "oval-three-blocks", "electric-lock-too-soon", "figure-eight",
     "padlocked-switch", "slow-track-relay", "single-track-no-traffic"],
)  # fmt: skip
def test_every_situation_of_a_small_junction(name: str, tmp_path: Path) -> None:
    plan = verifier.load(spec(name))
    number = count_situations(plan.inputs)
    assert number <= EVERY and check(plan, EVERY, tmp_path) == number


@needs_gcc
@pytest.mark.parametrize(
    "name",
    ["absolute-permissive-block", "passing-siding-from-one-module", "speed-signals", "yard-throat",
     "junction-with-entrance-buttons", "head-by-head-mended"],
)  # fmt: skip
def test_chance_situations_of_a_large_junction(name: str, tmp_path: Path) -> None:
    assert check(verifier.load(spec(name)), 250, tmp_path) == 250


@needs_gcc
@pytest.mark.parametrize("batch", range(2))
def test_generated_junctions(batch: int, tmp_path: Path) -> None:
    done = 0
    for seed in range(5):
        text = write_junction(Random(f"run {batch} {seed}"), 300, memory=seed % 2 == 0)
        try:
            plan = verifier.load_text(text)
        except InputError as error:
            assert {d.code for d in error.diagnostics} == {"CP409"}
            continue
        done += check(plan, 300, tmp_path)
    assert done > 100


@needs_gcc
def test_signals_that_read_one_another_in_a_ring(tmp_path: Path) -> None:
    done = 0
    for seed in range(40):
        try:
            plan = verifier.load_text(write_ring(Random(f"ring {seed}")))
        except InputError as error:
            assert {d.code for d in error.diagnostics} == {"CP409"}
            continue
        if "depend on each other in a cycle" in exported(plan).text:
            done += check(plan, 100, tmp_path)
        if done > 400:
            break
    assert done > 100


# ------------------------------------------------------------------ with wiring


def heard(plan: Plan, wires: EquipmentState, field: Field) -> str | None:
    """What comes in by one field, "missing" where the input is dead; None where the drivers that
    ask do not all hear the same."""
    what = field.what
    found = set()
    for driver in plan.wiring.drivers.values():
        asked = {w for head in driver.heads for w in asked_by(plan, head)}
        if what not in asked:
            continue
        if what.kind == "block report":
            detectors = plan.wiring.detectors_of(what.name)
            dead = not all(wires.follows(detector, driver.name) for detector in detectors)
            said = wires.block_report(what.name, driver.name)
        else:
            machine = plan.wiring.machines.get(what.name)
            dead = bool(machine and machine.contacts) and not is_read(driver, what.name, True)
            said = wires.points_report(what.name, driver.name)
        if dead and not field.missing:
            return None
        found.add("missing" if dead else said)
    return found.pop() if len(found) == 1 else None


def wired_case(export: CExport, situation: Situation) -> Case | None:
    """What goes in, or None where one number for each report cannot tell it."""
    plan = export.face.plan
    wires = EquipmentState(plan, situation)
    drivers = plan.wiring.drivers.values()
    if not all(wires.has_power(driver.name, driver.supply) for driver in drivers):
        return None
    numbers = []
    for field in export.face.inputs:
        if field.what.kind == "fault":
            head = field.what.name.removeprefix("lamp ")
            driven = plan.wiring.driver_of(head) is not None
            dark = driven and wires.is_broken(FaultKind.HEAD, head)
            value: str | None = "out" if dark else "sound"
        elif field.what.kind in _REPORTS:
            value = heard(plan, wires, field)
        else:
            value = situation.state(field.what)
        if value is None:
            return None
        numbers += [s.number for s in field.all_states if s.value == value]
    return tuple(numbers)


@needs_gcc
@pytest.mark.parametrize(
    "name", ["wired-end-of-siding", "wired-passing-siding", "lamp-out-mended", "lamp-out-broken",
             "broken-wire-mended"],
)  # fmt: skip
def test_a_wired_junction_with_each_thing_broken(name: str, tmp_path: Path) -> None:
    plan = verifier.load(spec(name))
    export, evaluator, chance = exported(plan), Evaluator(plan), Random(name)
    broken = [(f.what, state) for f in plan.equipment.faults for state in f.what.values[1:]]
    # Nothing broken, then what the C has a field for, then each other thing.
    lamps = [(w, state) for w, state in broken if w.name.startswith("head ")]
    cases: list[Case] = []
    told = []
    for fault in [None] * 40 + lamps * 15 + broken:
        for situation in islice(situations(plan, 4, chance), 4):
            if fault is not None:
                situation = Situation.of([*situation, fault])
            case = wired_case(export, situation)
            # A lamp that is broken for one color only is neither out nor sound.
            if case is None or (fault and fault[0].name.startswith("lamp ")):
                continue
            cases.append(case)
            told.append(wanted(export, evaluator.see(situation)))
    assert agree(export, cases, told, tmp_path) > 200
    for field in export.face.inputs:
        at = export.face.inputs.index(field)
        seen = {case[at] for case in cases}
        assert len(seen) > 1, f"{field.name} is always the same"


def test_what_drivers_notice_is_among_what_goes_in() -> None:
    export = exported(verifier.load(spec("wired-end-of-siding")))
    kinds = {field.what.kind for field in export.face.inputs}
    assert {"block report", "points report", "fault", "lever"} <= kinds
    assert any(field.missing for field in export.face.inputs)
    assert observables.lever("4", ("left", "normal", "right")) in export.face.by_what
