"""A file is refused for a circle exactly when some situation leaves a signal open.

:func:`verifier.world.world.check_circles` decides that with expressions, for all
situations at once; the evaluator finds it out situation by situation.
"""

from collections import Counter
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings

import verifier
from tests.differential.agreement import world_agrees
from tests.differential.junctions import built
from tests.differential.rings import rings, write_ring
from tests.differential.truth import Truth, unsettled_situation
from tests.sweep import NIGHTLY
from verifier.world.world import World, check_circles

SETTINGS = settings(
    deadline=None,
    derandomize=not NIGHTLY,
    max_examples=10_000 if NIGHTLY else 100,
    database=None,
    suppress_health_check=list(HealthCheck),
)


def check(text: str) -> str:
    """Refused or not, and rightly so. Returns how that was found out."""
    plan = built(text)
    world = World(plan)
    try:
        check_circles(world)
    except verifier.InputError as error:
        assert {d.code for d in error.diagnostics} == {"CP409"}
        assert unsettled_situation(plan) is not None, f"every situation settles this:\n{text}"
        return "circle"
    world_agrees(Truth(plan), world)  # raises Unsettled where some situation is open
    return "settled by situations" if world._settled else "settled by rules"


@SETTINGS
@given(rings())
def test_circles_are_what_no_situation_settles(text: str) -> None:
    check(text)


@pytest.mark.parametrize("batch", range(2))
def test_seeded_rings(batch: int) -> None:
    """The same rings every time, and enough of every kind among them."""
    count = 2000 if NIGHTLY else 80
    outcomes = Counter(
        check(write_ring(Random(seed))) for seed in range(batch * count, (batch + 1) * count)
    )
    print(dict(outcomes))
    assert outcomes["circle"] >= count * 0.05
    assert outcomes["settled by situations"] >= count * 0.02
    assert outcomes["settled by rules"] >= count * 0.5


LEVER_BETWEEN = """
lever L positions left, normal, right
edge West, East
block A, B, C
track West = A | B | C = East
signal 2R at A | B  Clear when L right and B clear and 2L at stop  Stop otherwise
signal 2L at C | B  Clear when L left and B clear and 2R at stop  Stop otherwise
"""


def test_a_lever_between_two_signals_is_no_circle() -> None:
    assert check(LEVER_BETWEEN) == "settled by situations"
    plan = verifier.load_text(LEVER_BETWEEN)
    report = verifier.prove(plan, only=["opposing-proceeds"])
    assert [v.status for v in report.verdicts] == ["proved"]


def test_without_the_lever_it_is_one() -> None:
    text = LEVER_BETWEEN.replace("L right and ", "").replace("L left and ", "")
    assert check(text) == "circle"
    with pytest.raises(verifier.InputError) as caught:
        verifier.load_text(text)
    (diagnostic,) = caught.value.diagnostics
    assert diagnostic.code == "CP409"
    assert "2R" in diagnostic.message and "2L" in diagnostic.message


def test_a_lever_that_both_may_hold_is_one() -> None:
    text = LEVER_BETWEEN.replace("L left", "not L normal")
    assert check(text) == "circle"


def _oval(rules: list[str]) -> str:
    """An oval with one block for each signal."""
    count = len(rules)
    text = ["block " + ", ".join(f"B{i}" for i in range(count))]
    text.append("track " + " ".join(f"B{i} |(g{i})" for i in range(count)) + " B0")
    for i, rule in enumerate(rules):
        before = (i - 1) % count
        text.append(f"signal S{i} at B{before} |(g{before}) B{i} {rule} Stop otherwise")
    return "\n".join(text) + "\n"


def test_an_oval_all_the_way_round() -> None:
    """Each promises what the next one shows: stop is settled by the block alone."""
    text = _oval(
        [
            f"Clear when B{i} clear and S{(i + 1) % 60} proceeds "
            f"Approach when B{i} clear and S{(i + 1) % 60} at stop"
            for i in range(60)
        ]
    )
    plan = verifier.load_text(text)
    report = verifier.prove(plan, only=["approach-untruthful", "never-shown"])
    assert {v.status for v in report.verdicts} == {"proved"}


def test_a_signal_that_reads_very_many_is_replayed() -> None:
    """Fourteen signals that read the first one, which reads them all: whether one is at
    stop is settled, what it shows is not until the first one is."""
    asked = ["(" + " or ".join(f"S{k} at stop" for k in range(1, 15)) + ")"] + ["S0 at stop"] * 14
    text = _oval(
        [f"Approach when B{i} clear and {a} Clear when B{i} clear" for i, a in enumerate(asked)]
    )
    plan = verifier.load_text(text)
    report = verifier.prove(plan, only=["never-shown"])
    assert {v.status for v in report.verdicts} == {"proved"}
