"""What a wired layout is drawn like: stock, points moved by a machine, dark heads."""

import pytest

import verifier
from tests.drawing.samples import END_OF_SIDING, draw
from verifier.api import situation_of
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.reference.evaluator import evaluate

EQUIPMENT = """
supply Bus
detector D-Main current-sensing through m1, m2
driver B1 drives 4L.upper, 4L.lower powered by Bus
driver B2 drives 4RA, 4RB
"""


def plan_of(machine: str = "motor slow no contacts") -> Plan:
    text = END_OF_SIDING.replace(
        "block Main, Siding, Switch, Single",
        "block Main feeders m1, m2\nblock Siding, Switch, Single",
    ).replace("turnout T1 in Switch", f"turnout T1 in Switch {machine}")
    return verifier.load_text(text + EQUIPMENT)


def drawn(plan: Plan, text: str, *relevant: str) -> str:
    """The drawing of a situation; ``relevant`` are what matters, all when none is named."""
    situation = situation_of(plan, text)
    inputs = (*plan.inputs, *(fault.what for fault in plan.equipment.faults))
    named: list[Observable] = [w for w in inputs if f"{w.kind} {w.name}" in relevant]
    assert len(named) == len(relevant)
    return "\n".join(draw(plan, evaluate(plan, situation), relevant=named if relevant else None))


@pytest.mark.parametrize("relevant", [(), ("standing Main",)])
def test_stock_anywhere_on_a_wired_block_is_drawn(relevant: tuple[str, ...]) -> None:
    for at in ("at m1", "at m2"):
        assert "▐██▌ Main" in drawn(plan_of(), f"train {at}", *relevant)
    assert "▐██▌" not in drawn(plan_of(), "Main vacant", *relevant)


def test_stock_that_does_not_matter_is_not_drawn() -> None:
    assert "▐██▌" not in drawn(plan_of(), "train at m1", "thrown T1")


@pytest.mark.parametrize(
    ("situation", "relevant", "lies"),
    [
        ("T1 reverse", "thrown T1", "T1 reverse"),
        ("T1 reverse, T1 still moving", "motion T1", "T1 open"),
        ("T1 reverse, machine of T1 did not obey", "fault machine of T1", "T1 normal"),
        ("T1 reverse", "standing Main", "T1 (Switch)"),
    ],
)
def test_points_are_drawn_as_they_lie_not_as_they_were_told(
    situation: str, relevant: str, lies: str
) -> None:
    assert lies in drawn(plan_of(), situation, relevant)


def test_points_thrown_by_a_lever() -> None:
    plan = plan_of("motor snap thrown by L no contacts\nlever L positions normal, reverse")
    assert "T1 reverse" in drawn(plan, "lever L reverse", "lever L")


def test_a_dark_head_shows_as_such() -> None:
    everything = drawn(plan_of(), "T1 reverse, lamp 4L.upper red out")
    assert "4L Clear -/G" in everything
    assert "4L unlisted -/-" in drawn(plan_of(), "supply Bus off")
