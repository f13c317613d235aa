"""The test card: what it claims, counted again by code that shares nothing with what made it."""

from functools import cache
from pathlib import Path

import pytest

import verifier
from verifier.engines.evaluator import evaluate
from verifier.plan import facts
from verifier.trial.card import Card
from verifier.trial.card import test_card as card_of

ROOT = Path(__file__).resolve().parents[2]
SMALL = ("both-green-mended", "wired-end-of-siding", "two-supplies-mended")


@cache
def card(name: str) -> Card:
    return card_of(verifier.load(ROOT / "specs" / f"{name}.ixl"))


@pytest.mark.parametrize("name", SMALL)
def test_each_step_shows_what_the_card_says(name: str) -> None:
    made = card(name)
    for step in made.steps:
        seen = evaluate(made.plan, step.situation)
        for signal, colours in step.colours:
            assert seen.colours(made.plan.signals[signal]) in colours, (step.number, signal)
        for turnout, state in (*step.lies, *step.setup.lies):
            assert seen.state(facts.points(turnout)) == state
