"""Plates on the masts of generated junctions, wired and not: logic and solver against the
evaluator, with every plate in place and with each missing in turn."""

import re
from collections import Counter
from random import Random

import pytest

from tests.differential.test_wired import ROOM, check
from tests.differential.wirings import refused, write_wired

# By the kind of plate: the aspect that takes the place of another, and the colors of both.
PLATES = {
    "number plate": ("Stop-and-Proceed", "Stop", "red", "stop and proceed"),
    "marker plate": ("Slow-By", "Clear", "green", "proceed at slow speed"),
    "letter plate": ("Run-By", "Approach", "yellow", "proceed at limited speed"),
}


def with_plates(text: str, r: Random) -> str:
    """The same junction, its signals with plates by chance, and what they mean."""
    found = text
    for kind, (aspect, instead, color, indication) in PLATES.items():
        over = " or ".join(f"{color}{' over red' * more} with {kind}" for more in range(3))
        found += f"\naspect {aspect} {over} {indication}"
        for post in re.findall(r"^signal [^\n]*(?:\n  [^\n]*)*", text, re.M):
            if r.random() < 0.6 or post not in found:
                continue
            first, *lines = post.split("\n")
            place, heads, names = first.partition(" heads ")
            shown = [re.sub(rf"^  {instead}\b", f"  {aspect}", line) for line in lines]
            found = found.replace(post, "\n".join([f"{place} with {kind}{heads}{names}", *shown]))
    return found


@pytest.mark.parametrize("seed", range(1, 4))
def test_plates(seed: int) -> None:
    """Every plate that stays must agree, and so must every one that falls off."""
    r = Random(236_230 + seed)
    while True:
        text = with_plates(write_wired(r, ROOM // 2), r)
        if re.search(r"^signal .* with ", text, re.M) and not refused(text):
            break
    came_out: Counter[str] = check(text, r)
    assert came_out["junctions"] or came_out["circle"] or came_out["nothing to prove"]
