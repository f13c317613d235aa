"""Locks between the levers of generated junctions: logic and solver against the evaluator in
single moments, and step against step over time."""

import re
from random import Random

import pytest

from tests.differential.junctions import built, write_junction
from tests.differential.locked import write_locked
from tests.differential.test_generated import check
from tests.differential.test_histories import loaded, steps_agree
from verifier.plan.model import Plan


def with_lever_locks(text: str, r: Random) -> str:
    """The same file with one more lever, and locks between all levers that it has: plain,
    conditional, both ways and in circles."""
    plan = built(text + "\nlever Master positions normal, reverse")
    levers = [what for what in plan.inputs if what.kind == "lever"]
    lines = [text, "lever Master positions normal, reverse"]
    for by in levers:
        for other in levers:
            if by is not other and r.random() < 0.7:
                lock = f"lever {by.name} {r.choice(by.values)} locks {other.name} "
                lock += r.choice(other.values)
                lines.append(lock + _when(plan, r))
    return "\n".join(lines) + "\n"


def _when(plan: Plan, r: Random) -> str:
    blocks = [block.name for block in plan.blocks.values() if block.detected]
    if not blocks or r.random() < 0.6:
        return ""
    return f" when {r.choice(blocks)} {r.choice(['clear', 'occupied'])}"


@pytest.mark.parametrize("seed", range(3))
def test_single_moments(seed: int) -> None:
    r, done = Random(236_382 + seed), 0
    while done < 3:
        text = with_lever_locks(write_junction(r, 100), r)
        if len(re.findall(r"^lever .* locks ", text, re.M)) > 1:
            check(text, r)
            done += 1


@pytest.mark.parametrize("seed", range(2))
def test_histories(seed: int) -> None:
    """Levers that throw points, too: they move only as the frame lets them."""
    r = Random(236_383 + seed)
    while True:
        text = with_lever_locks(write_locked(r, 60), r)
        if "thrown by Lever-" in text and len(re.findall(r"^lever .* locks ", text, re.M)) > 1:
            break
    plan = loaded(text)
    if plan is not None:
        steps_agree(plan, r, lossy=False)
