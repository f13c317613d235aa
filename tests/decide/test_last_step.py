"""Assumptions hold in the last step of a history, and at the moment that it leads to."""

from functools import partial

import pytest

import verifier
from tests.engines.test_aiger import reached
from verifier.exports.circuit import circuit
from verifier.logic.expr import atom, holds
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.reference.explicit_states import Never, Reached, search

SWITCH = """
edge West, Yard
edge Quarry entering only
block Main, Siding, Switch, Single
button Go
turnout T1 in Switch {clauses}
track West = Main   | normal  T1 | Single = Quarry
track Yard = Siding | reverse T1
signal 4L at Single | T1
  Clear when T1 normal and Main, Switch clear
  Stop otherwise
signal 4RA at Main | T1
  Stop otherwise
signal 4RB at Siding | T1
  Stop otherwise
trains never reverse
"""
ROW = """
edge West entering only
edge East leaving only
block A, B, C
button Go
track West = A | B | C = East
traffic Way on B
  rightward when C vacant
  leftward when Go pressed
signal 1 at A | B
  Clear when C clear
  Stop otherwise
trains never reverse
"""
ROW = ROW.replace("C vacant", "C clear")


def status(plan: Plan, key: str) -> str:
    report = verifier.prove(plan, only=[key.partition(":")[0]])
    found = {v.obligation.key: v.status for v in report.verdicts}
    return found[key]


CASES = [
    # The points would lie open at the moment after.
    (SWITCH.format(clauses=""), "points-move-under-train: T1", "always T1 lies normal"),
    (SWITCH.format(clauses=""), "points-move-under-signal: 4L, T1", "always T1 lies normal"),
    (SWITCH.format(clauses=""), "derailment: T1", "never T1 lies open"),
    (SWITCH.format(clauses="motor snap"), "points-move-under-train: T1", "never T1 lies reverse"),
    # The points would be where the assumption forbids, in a state that people's commands matter to.
    (
        SWITCH.format(clauses="thrown reverse when Go pressed"),
        "points-move-under-train: T1",
        "never T1 lies open and not Go pressed or T1 lies open and Go pressed",
    ),
    # A direction of traffic that has turned.
    (ROW, "traffic-locking: Way", "always Way rightward"),
]


@pytest.mark.parametrize(("text", "key", "assumed"), CASES)
def test_what_an_assumption_forbids_at_the_moment_after_does_not_happen(
    text: str, key: str, assumed: str
) -> None:
    assert status(verifier.load_text(text), key) == "broken"
    plan = verifier.load_text(f'{text}assume "given" {assumed}\n')
    assert status(plan, key) == "proved"


def test_what_it_allows_goes_on_to_happen() -> None:
    text = SWITCH.format(clauses="") + 'assume "given" never T1 lies reverse\n'
    assert status(verifier.load_text(text), "points-move-under-train: T1") == "broken"


def test_an_assumption_that_people_can_keep_is_kept_by_some_command() -> None:
    """The points may lie open while the button is pressed: somebody presses it."""
    more = 'assume "given" always Go pressed or not T1 lies open\n'
    text = SWITCH.format(clauses="") + more
    assert status(verifier.load_text(text), "points-move-under-train: T1") == "broken"


def test_the_search_over_the_stepper_says_the_same() -> None:
    text = "edge West\nbumper End\nblock A, B\nturnout T1 in B\nbumper Off\n"
    text += "track West = A | T1 normal = End\ntrack T1 reverse = Off\ntrains obey signals\n"
    moves = partial(holds, atom(observables.event("points move", "T1"), "yes"))
    for assumed, wanted in (("never T1 lies open", Never), ("never T1 lies reverse", Reached)):
        plan = verifier.load_text(f'{text}assume "given" {assumed}\n')
        (found,) = search(plan, [moves], most_steps=20_000)
        assert isinstance(found, wanted)


def test_a_circuit_says_the_same() -> None:
    """For other model checkers: the bad state is not reached."""
    text = "edge West\nbumper End\nblock B\nturnout T1 in B motor snap\nbumper Off\n"
    text += "track West = T1 normal = End\ntrack T1 reverse = Off\ntrains never reverse\n"
    for assumed, wanted in (("never T1 lies reverse", False), ("never T1 lies open", True)):
        made = circuit(verifier.load_text(f'{text}assume "given" {assumed}\n'))
        names = {name: key for key, name in made.names.items() if key.startswith("b")}
        bad = names["points-move-under-train: T1"]
        assert reached(made, int(bad.removeprefix("b"))) is wanted
