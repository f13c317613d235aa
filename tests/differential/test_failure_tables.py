"""The failure table of small wired and locked layouts against the explicit-state search: every
fault by itself, over the stepper.

What the table says does no harm must do none in any history: which faults are asked about over
time at all, and all else that `prove` does before and after the engines, is checked with it.

``CLEARPROOF_PROFILE=nightly`` runs hundreds of generated lines too.
"""

from collections import Counter
from functools import partial
from random import Random

import pytest

import verifier
from tests.differential.locked_wired import with_releases
from tests.differential.small_lines import with_detectors, write_line
from tests.sweep import NIGHTLY
from verifier.decide.fault_histories import WITH_FAULTS
from verifier.logic.expr import holds
from verifier.plan.model import Plan
from verifier.properties.catalog import obligations
from verifier.reference.evaluator import Unsettled
from verifier.reference.explicit_states import Reached, search
from verifier.world.world import World

LINES, MOST_STEPS = (400, 20_000) if NIGHTLY else (4, 300)

LINE = """
supply Bus 12 V
supply Rail track power 14 V
district North fed by Rail
edge West entering only
edge East {edge}
block Main in North feeders m1
block Single in North feeders g1
track West = Main | Single = East
detector D-Main current-sensing through m1 powered by Bus output closed when clear
  without track power reads occupied
detector D-Single current-sensing through g1 powered by Bus output closed when {closed}
signal 2 at Main | Single
  Clear  when {clear}
  Stop   otherwise
signal 4 at Single | Main
  Stop otherwise
trains obey signals
driver B1 drives 2, 4 powered by Bus
"""


def consequences(plan: Plan) -> dict[str, str]:
    report = verifier.prove(plan, timeout=20)
    return {row.faults[0]: row.consequence for row in report.failures}


def harmful(plan: Plan, most: int) -> Counter[str]:
    """How often the table and the search agree; fails where the table overlooks harm."""
    report = verifier.prove(plan, timeout=20)
    proved = {v.obligation.key for v in report.verdicts if v.status == "proved"}
    asked = [
        o for o in obligations(plan, World(plan).lower)
        if o.over == "histories" and o.property in WITH_FAULTS and not o.advice and o.key in proved
    ]  # fmt: skip
    done = {row.faults[0]: row.consequence for row in report.failures}
    counts: Counter[str] = Counter()
    for fault in plan.equipment.faults:
        said = done[fault.name]
        if said in ("false proceed", "unlocked", "undecided"):
            counts["told"] += 1
            continue
        bads = [partial(holds, o.formula) for o in asked]
        try:
            found = search(plan, bads, most_steps=most, faults=(fault,))
        except Unsettled:
            counts["circle"] += 1
            continue
        overlooked = [
            o.key for o, answer in zip(asked, found, strict=True) if isinstance(answer, Reached)
        ]
        assert not overlooked, (fault.name, said, overlooked)
        counts["harmless"] += 1
    return counts


def test_an_edge_that_hears_a_detector_is_asked_about() -> None:
    """Trains come in while a detector reads clear: what makes it read clear lets a second train in
    onto the first one, though no relay and no signal hears of it."""
    at_stop = "Main clear and Main occupied"
    plan = verifier.load_text(
        LINE.format(edge="entering when Single clear", closed="occupied", clear=at_stop)
    )
    done = consequences(plan)
    for fault in ("wire from D-Single to the relays", "power wire of D-Single", "feeder g1",
                  "supply Bus", "supply Rail", "bus of North", "detector D-Single"):  # fmt: skip
        assert done[fault] == "unlocked", fault
    assert done["feeder m1"] == "none"
    assert harmful(plan, MOST_STEPS)["harmless"]


def test_an_assumption_that_hears_a_detector_is_asked_about() -> None:
    """An assumption about what is reported allows more once the report is false."""
    text = LINE.format(edge="leaving only", closed="occupied", clear="Single clear")
    one_train = """assume "the operator lets one in" always Main clear or Single clear
    waive proceed-into-occupied because "one train is on the line"
    """
    plan = verifier.load_text(text + one_train)
    assert harmful(plan, MOST_STEPS)


@pytest.mark.parametrize("first", range(0, LINES, 2))
def test_generated_lines(first: int) -> None:
    counts: Counter[str] = Counter()
    for seed in range(first, first + 2):
        r = Random(770_000 + seed)
        text = with_releases(r, with_detectors(r, write_line(r)))
        enters = f" entering when A {r.choice(['clear', 'occupied'])}"
        try:
            plan = verifier.load_text(text.replace(" entering only", enters))
            counts += harmful(plan, MOST_STEPS)
        except verifier.InputError:
            counts["input"] += 1
    assert counts["harmless"] or counts["input"], counts
