"""Wired junctions: logic and solver against the evaluator, with everything sound and with
each thing broken in turn.

``CLEARPROOF_PROFILE=nightly`` runs thousands of larger ones.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from random import Random

import pytest

from tests.differential.agreement import (
    failures_agree,
    pairs_agree,
    possible_agrees,
    silent_agree,
    silent_pairs_agree,
    states_agree,
    tallies_agree,
    verdicts_agree,
    world_agrees,
)
from tests.differential.test_generated import loaded
from tests.differential.truth import Broken, Truth, single_faults
from tests.differential.wirings import write_wired
from tests.sweep import NIGHTLY
from verifier.language.diagnostics.diagnostic import InputError
from verifier.pipeline import prove
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.wiring.derive_equipment import with_wiring
from verifier.verdicts.report import Report
from verifier.world.world import World, check_circles

EXAMPLES, ROOM = (1000, 1500) if NIGHTLY else (20, 100)
# How many situations, those with something broken included, are gone through.
MOST = 12_000 if NIGHTLY else 600
MOST_PAIRS = 4_000 if NIGHTLY else 600


def check(text: str, r: Random) -> Counter[str]:
    """Everything that must agree. Returns what came out, for the statistics."""
    plan = loaded(text)
    if plan is None:
        return Counter(["circle"])
    truth = Truth(plan)
    world = World(plan)
    world_agrees(truth, world)
    possible_agrees(truth, world, r)
    report = proved(plan, truth)
    if report is None:
        return Counter(["nothing to prove"])
    verdicts_agree(truth, report)
    states_agree(truth, r.sample(truth.situations, min(20, len(truth.situations))), r)
    if len(truth.situations) <= 100:
        tallies_agree(truth, report)
    came_out: Counter[str] = Counter(v.status for v in report.verdicts)
    came_out["junctions"] = 1
    came_out["situations"] = len(truth.situations)
    check_swapped(plan, r)
    return came_out + check_broken(plan, world, report, r)


def test_what_a_held_button_does_goes_by_what_a_board_hears() -> None:
    check(
        """
block B1 feeders f1
block B2 feeders f2
track B1 |(g1) B2
track B2 |(g2) B1
button Call
signal S1 at B1 |(g2) B2  Clear when B2 clear and not S2 at stop  Approach when Call pressed
  Stop otherwise
signal S2 at B2 |(g1) B1  Stop otherwise
supply Bus DC 12 V 3 A
driver Board drives S1 powered by Bus
""",
        Random(1),
    )


def check_swapped(plan: Plan, r: Random) -> None:
    """Wires that were swapped when the layout was built: of two heads, and of contacts."""
    heads = [head for driver in plan.wiring.drivers.values() for head in driver.heads]
    turnouts = [m.turnout for m in plan.wiring.machines.values() if len(m.contacts or ()) == 2]
    two = r.sample(heads, 2) if len(heads) > 1 else []
    if not two and not turnouts:
        return
    wiring = replace(
        plan.wiring,
        swapped_heads=((two[0], two[1]),) if two else (),
        swapped_contacts=frozenset(turnouts[:1]),
    )
    other = with_wiring(plan, wiring)
    truth = Truth(other)
    world_agrees(truth, World(other))
    states_agree(truth, r.sample(truth.situations, min(5, len(truth.situations))), r)
    faults = single_faults(other)
    broken = r.sample(faults, min(2, len(faults)))
    circles = unsettled(other, broken, World(other))
    truth = Truth(other, [one for one in broken if one[0][0] not in circles])
    broken_world_agrees(truth, World(other))


def check_broken(plan: Plan, world: World, report: Report, r: Random) -> Counter[str]:
    """With each thing broken, as far as there is room to look at."""
    faults = single_faults(plan)
    number = max(1, MOST // count(plan))
    some = {what for ((what, _),) in r.sample(faults, min(number, len(faults)))}
    rows = [row for row in report.failures if len(row.faults) == 1]
    came_out: Counter[str] = Counter(row.consequence for row in rows)
    broken = [((what, state),) for ((what, state),) in faults if what in some]
    circles = unsettled(plan, broken, world)
    for what in circles:
        came_out["circle"] += 1
        row = next(row for row in rows if row.faults == (what.name,))
        assert row.consequence == "undecided", row
    broken = [((what, state),) for ((what, state),) in broken if what not in circles]
    truth = Truth(plan, broken)
    broken_world_agrees(truth, world)
    failures_agree(truth, report)
    silent_agree(truth, report)
    came_out["broken things looked at"] = len(broken)
    if count(plan) * len(faults) ** 2 / 2 <= MOST_PAIRS:
        with_pairs = prove(plan, pairs=True)
        pairs_agree(plan, with_pairs)
        silent_pairs_agree(with_pairs, report)
        came_out["silent"] = sum(bool(row.silent) for row in rows)
        came_out["pairs looked at"] = len(faults) * (len(faults) - 1) // 2
        came_out["harmful pairs"] = sum(len(row.faults) == 2 for row in with_pairs.failures)
    return came_out


def unsettled(plan: Plan, broken: Sequence[Broken], sound: World) -> list[Observable]:
    """Those of these with which what some signal shows goes round in a circle. Where the
    evaluator finds a circle, the logic must not have settled it; the other way round it may
    give up (and then says so)."""
    faults = list(dict.fromkeys(what for ((what, _),) in broken))
    try:
        check_circles(World(plan, sound, faults))
    except InputError:
        return [what for what in faults if _is_circle(plan, what, sound)]
    return []


def _is_circle(plan: Plan, what: Observable, sound: World) -> bool:
    try:
        check_circles(World(plan, sound, [what]))
    except InputError:
        return True
    return False


def broken_world_agrees(truth: Truth, sound: World) -> None:
    """With all that may be broken at once or, where that goes round in a circle, with one
    thing at a time."""
    try:
        world_agrees(truth, World(truth.plan, sound, truth.faults))
    except InputError:
        for what in truth.faults:
            states = [((what, state),) for state in what.values[1:]]
            world_agrees(Truth(truth.plan, states), World(truth.plan, sound, [what]))


def count(plan: Plan) -> int:
    number = 1
    for what in plan.inputs:
        number *= len(what.values)
    return number


def proved(plan: Plan, truth: Truth) -> Report | None:
    """The report, or None where it is rightly refused."""
    try:
        return prove(plan)
    except InputError as error:
        codes = {d.code for d in error.diagnostics}
        if codes == {"CP502"}:
            assert not plan.signals and not plan.proofs
        else:
            assert codes == {"CP501"}, str(error)
            assert truth.allowed == 0
        return None


@pytest.mark.parametrize("batch", range(2))
def test_wired_junctions_agree(batch: int) -> None:
    """The same junctions every time, and enough of every kind among them."""
    came_out: Counter[str] = Counter()
    for seed in range(batch * EXAMPLES, (batch + 1) * EXAMPLES):
        came_out += check(write_wired(Random(seed), ROOM), Random(seed))
    print(dict(came_out))
    assert came_out["junctions"] > EXAMPLES * 0.6
    for often in ("broken", "proved", "false proceed", "more restrictive", "none"):
        assert came_out[often] > EXAMPLES / 4, often
    assert came_out["pairs looked at"] > EXAMPLES
