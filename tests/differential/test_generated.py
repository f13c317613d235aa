"""Solver against going through every situation, on generated junctions.

``CLEARPROOF_PROFILE=nightly`` runs thousands of larger ones.
"""

from collections import Counter
from random import Random

import pytest
from hypothesis import HealthCheck, event, given, settings

import verifier
from tests.differential.agreement import (
    states_agree,
    tallies_agree,
    verdicts_agree,
    world_agrees,
)
from tests.differential.junctions import built, checked, junctions, write_junction
from tests.differential.truth import Truth, unsettled_situation
from tests.proofs import decided
from tests.repair.test_rule_repair import check_mendings
from tests.sweep import NIGHTLY
from verifier.pipeline import prove
from verifier.plan.model import Plan
from verifier.properties.catalog import BY_NAME
from verifier.verdicts.report import Report
from verifier.world.world import World

EXAMPLES, ROOM = (4000, 20_000) if NIGHTLY else (60, 500)
SETTINGS = settings(
    deadline=None,
    derandomize=not NIGHTLY,
    max_examples=EXAMPLES,
    database=None,
    suppress_health_check=list(HealthCheck),
)


def loaded(text: str) -> Plan | None:
    """The plan, or None where the file is refused: for a circle only, and rightly."""
    try:
        return checked(text)
    except verifier.InputError as error:
        assert {d.code for d in error.diagnostics} == {"CP409"}, f"{error}\n{text}"
        situation = unsettled_situation(built(text))
        assert situation is not None, f"every situation settles this:\n{text}"
        return None


def proved(plan: Plan, *, repairs: bool = True) -> Report | None:
    """The report, or None where it is rightly refused: for its assumptions, or because
    nothing is left to prove."""
    try:
        return prove(plan, repairs=repairs)
    except verifier.InputError as error:
        if not plan.signals and not plan.proofs:
            assert {d.code for d in error.diagnostics} <= {"CP501", "CP502"}
            return None
        assert {d.code for d in error.diagnostics} == {"CP501"}, str(error)
        assert Truth(plan).allowed == 0
        return None


def check(text: str, r: Random, *, whole: bool = True) -> str:
    """Everything that must agree. Returns what came out, for the statistics. ``whole``: repairs
    are looked for, and what goes through all situations in the product is asked, too."""
    plan = loaded(text)
    if plan is None:
        return "circle"
    truth = Truth(plan)  # raises Unsettled where the file should have been refused
    world_agrees(truth, World(plan))
    report = proved(plan, repairs=whole)
    if report is None:
        return "contradictory assumptions"
    assert truth.allowed
    verdicts_agree(truth, report)
    states_agree(truth, r.sample(truth.situations, min(20, len(truth.situations))), r)
    if whole and len(truth.situations) <= 100:
        tallies_agree(truth, report)
    if NIGHTLY:
        check_mendings(plan, report)
    return "broken" if any(v.status == "broken" for v in report.verdicts) else "all proved"


@SETTINGS
@given(junctions(ROOM))
def test_solver_and_enumerator_agree(text: str) -> None:
    event(check(text, Random(len(text))))


@pytest.mark.parametrize("batch", range(4))
def test_seeded_junctions_agree(batch: int) -> None:
    """The same junctions every time, and enough of every kind among them."""
    count = 1000 if NIGHTLY else 30
    outcomes = Counter(
        check(write_junction(Random(seed), ROOM), Random(seed))
        for seed in range(batch * count, (batch + 1) * count)
    )
    print(dict(outcomes))
    assert outcomes["broken"] >= count * 0.5
    assert outcomes["circle"] >= count * 0.02


def test_the_generated_junctions_are_not_all_alike() -> None:
    """Among the same hundred and fifty junctions every property that depends on rules is
    broken somewhere and holds somewhere."""
    broken: Counter[str] = Counter()
    proved: Counter[str] = Counter()
    junctions: Counter[str] = Counter()
    for seed in range(150):
        try:
            plan = verifier.load_text(write_junction(Random(seed), ROOM))
            verdicts = decided(plan, BY_NAME)
        except verifier.InputError:
            junctions["refused"] += 1
            continue
        broken.update({v.obligation.property for v in verdicts if v.status == "broken"})
        proved.update({v.obligation.property for v in verdicts if v.status == "proved"})
        junctions.update({v.status for v in verdicts})
    print(dict(junctions), dict(broken), dict(proved), sep="\n")
    assert junctions["broken"] > 100 and junctions["proved"] > 100
    assert 5 < junctions["refused"] < 40
    # Of wiring and panels there is none here. The others are settled by the track or the chart
    # alone, or hardly ever come up.
    groups = ("track and signals", "usefulness")
    asked = {name for name, entry in BY_NAME.items() if entry.group in groups}
    left_out = {"unsignaled-entrance", "aspect-ambiguous", "assumptions-contradict",
                "compatible-routes-blocked", "indicator-misleads"}  # fmt: skip
    # These are asked over time alone.
    left_out |= {"route-never-set", "locked-for-good", "train-cannot-leave", "cannot-pass"}
    assert asked - left_out - set(broken) == set()
    assert asked - left_out - set(proved) == set()
