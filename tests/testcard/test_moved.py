"""Cards of layouts in which machines move a derail and a gate: they are thrown and looked at."""

from functools import cache

import pytest

import verifier
from tests.diagnosis.test_derails_and_gates import MOVED
from verifier.diagnosis.bench import Bench
from verifier.plan import observables
from verifier.testcard.card import card_on
from verifier.testcard.card_model import Card

LOCK = "thrown by D-lever\n  locked while not 2 at stop"
LOCKED = MOVED.replace("thrown by D-lever", LOCK).replace(
    "when G1 seated", "when D-lever reverse and G1 seated"
)
# How each is found to lie, by what its machine does; None: wherever it is looked at.
LIES = {
    "leaves it derailing": "derailing", "leaves it non-derailing": "non-derailing",
    "leaves it seated": "seated", "leaves it open": "open",
    "stopped between": None, "motor wires": None,
}  # fmt: skip


@cache
def card(text: str) -> Card:
    return card_on(Bench(verifier.load_text(text)))


@pytest.mark.parametrize("text", [MOVED, LOCKED], ids=["free", "locked"])
def test_each_fault_of_a_machine_shows_where_the_card_says(text: str) -> None:
    made = card(text)
    found = {one.fault.text: one for one in made.found if one.fault.suspect.trouble}
    # Of a derail: stays here, stays there, stops, goes the other way. A gate that stops is open.
    assert len(found) == 4 + 3
    for said, one in found.items():
        name = "D1" if "D1" in said else "G1"
        [lies] = {position for words, position in LIES.items() if words in said}
        for number, place in one.at:
            assert place == name
            assert made.steps[number - 1].lies[name] != lies
    power = [f for f in made.found if f.fault.stuck is not None and "power wire" in f.fault.text]
    assert {f.fault.stuck for f in power} == {
        ("D1", "derailing"), ("D1", "non-derailing"), ("G1", "seated"), ("G1", "open")
    }  # fmt: skip


def test_the_card_says_to_throw_each_by_its_lever_and_how_it_must_lie() -> None:
    for step in card(MOVED).steps:
        levers = {what.name: state for what, state in step.situation if what.kind == "lever"}
        away = {name: levers.get(f"{name[0]}-lever") == "reverse" for name in ("D1", "G1")}
        assert step.lies == {
            "D1": observables.derail("D1").values[away["D1"]],
            "G1": observables.gate("G1").values[away["G1"]],
        }
    acts = {act.text for step in card(MOVED).steps for act in step.instructions}
    assert {"lever D-lever to reverse", "lever G-lever to reverse"} <= acts
