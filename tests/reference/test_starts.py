"""Points, derails and gates may start either way, at rest, unless the file says otherwise."""

from collections.abc import Iterator

import pytest

import verifier
from tests.engines.test_aiger import reached
from verifier.engines.interchange.aig import gates
from verifier.logic.expr import atom, conjunction, negation
from verifier.plan import observables
from verifier.reference.explicit_states import Never, Reached, search
from verifier.reference.step import Stepper, replay
from verifier.world.history import Histories

SWITCH = """
edge West, Yard, Quarry
block Main, Siding, Switch, Single
button Go
turnout T1 in Switch {clauses}
track West = Main   | normal  T1 | Single = Quarry
track Yard = Siding | reverse T1
signal 4L at Single | T1
  Stop otherwise
relay R picks when Go pressed
trains never reverse
{more}
"""
SMALL = """
edge West leaving only
bumper End, Off
block A, B
turnout T1 in B {}
track West = A | T1 normal = End
track            T1 reverse = Off
signal 2 at T1 | A
  Clear when A clear
  Stop otherwise
trains never reverse
"""
CROSSOVER = """
edge A, B, C, D
block Upper, Lower
turnout T1 in Upper {one}
turnout T3 in Lower {other}
crossover K1 is T1, T3
lever L1 positions normal, reverse
track A = T1 normal = B
track     T1 reverse | reverse T3
track C =              normal  T3 = D
trains never reverse
"""


def starts(text: str) -> set[tuple[str, ...]]:
    """How what moves lies in each state in which a history may start."""
    stepper = Stepper(verifier.load_text(text))
    moving = ("points", "thrown")
    return {
        tuple(value for what, value in state.items() if what.kind in moving)
        for state in stepper.initial_states()
    }


def switch(clauses: str = "", more: str = "") -> str:
    return SWITCH.format(clauses=clauses, more=more)


NORMAL, REVERSE = ("normal", "normal"), ("reverse", "reverse")


@pytest.mark.parametrize(
    ("clauses", "more", "found"),
    [
        ("", "", {NORMAL, REVERSE}),
        ("thrown by hand motor snap", "", {NORMAL, REVERSE}),
        ("starts normal", "", {NORMAL}),
        ("starts reverse", "", {REVERSE}),
        # A rule that memory and vacant track decide.
        ("thrown reverse when R up", "", {NORMAL}),
        ("thrown reverse when R down", "", {REVERSE}),
        ("thrown reverse when R down and Main clear", "", {REVERSE}),
        ("thrown reverse when Named", "condition Named is not R up", {REVERSE}),
        ("thrown reverse when Main occupied", "", {NORMAL}),
        # Not decided by them: stock may stand there, somebody presses, something is locked.
        ("thrown reverse when Main occupied", "trains start on Main", {NORMAL, REVERSE}),
        ("thrown reverse when Go pressed", "", {NORMAL, REVERSE}),
        ("thrown reverse when R up locked while R down", "", {NORMAL, REVERSE}),
        ("thrown reverse when R up locked while R up", "", {NORMAL}),
    ],
)
def test_a_turnout_starts_at_rest(clauses: str, more: str, found: set[tuple[str, ...]]) -> None:
    assert starts(switch(clauses, more)) == found


@pytest.mark.parametrize(
    ("one", "other", "positions"),
    [
        ("", "", {"normal", "reverse"}),
        ("thrown by L1", "thrown by hand", {"normal", "reverse"}),
        ("starts reverse", "", {"reverse"}),
        ("", "starts normal", {"normal"}),
    ],
)
def test_the_ends_of_a_crossover_start_alike(one: str, other: str, positions: set[str]) -> None:
    found = starts(CROSSOVER.format(one=one, other=other))
    assert found == {(position,) * 4 for position in positions}


def test_what_one_lever_throws_starts_alike_unless_it_is_locked() -> None:
    text = CROSSOVER.replace("crossover K1 is T1, T3\n", "")
    both, locked = "thrown by L1", "thrown by L1 locked while Lower occupied"
    assert len(starts(text.format(one=both, other=both))) == 2
    assert len(starts(text.format(one=both, other=locked))) == 4


def test_a_slip_starts_either_way() -> None:
    text = """
edge A, B, C, D
block X
slip P1 in X {}
track A = along P1 = B
track C = across P1 = D
trains never reverse
"""
    assert starts(text.format("")) == {NORMAL, REVERSE}
    assert starts(text.format("starts reverse")) == {REVERSE}


def test_a_history_that_starts_on_the_way_is_none() -> None:
    plan = verifier.load_text(switch())
    points, thrown = observables.points("T1"), observables.thrown("T1")
    usual = {what: what.usual for what in Stepper(plan).states}
    for lies, told, wanted in (
        ("reverse", "reverse", True), ("normal", "reverse", False), ("open", "normal", False),
    ):  # fmt: skip
        moment = {**usual, points: lies, thrown: told}
        assert replay(plan, [moment], lambda _: True) is wanted


def cases() -> Iterator[tuple[str, bool]]:
    """A file, and whether points that lie reverse can ever be seen in it."""
    nobody = 'assume "nobody throws it" never T1 lies open\n'
    for clauses, seen in (("", True), ("starts reverse", True), ("starts normal", False)):
        yield f'{SMALL.format(clauses)}{nobody}prove "own" never T1 lies reverse\n', seen


@pytest.mark.parametrize(("text", "seen"), [*cases()])
def test_engines_search_and_circuit_agree(text: str, seen: bool) -> None:
    plan = verifier.load_text(text)
    lies = observables.points("T1")
    (found,) = search(plan, [lambda at: at[lies] == "reverse"], most_steps=40_000)
    assert isinstance(found, Reached if seen else Never)
    verdicts = {v.obligation.property: v.status for v in verifier.prove(plan).verdicts}
    assert verdicts["own"] == ("broken" if seen else "proved")


def test_a_circuit_starts_what_moves_at_rest() -> None:
    text = """
edge West
bumper End, Off
block B
turnout T1 in B
track West = T1 normal = End
track        T1 reverse = Off
trains never reverse
assume "nobody throws it" never T1 lies open
"""
    points, thrown = observables.points("T1"), observables.thrown("T1")
    lies, told = atom(points, "reverse"), atom(thrown, "normal")
    system = Histories(verifier.load_text(text)).system
    made = gates(system, [lies, conjunction(lies, told), conjunction(lies, negation(told))])
    assert [reached(made.circuit, bad) for bad in range(3)] == [True, False, True]


def test_a_file_that_says_where_all_starts_has_one_start_and_no_more_states() -> None:
    system = Histories(verifier.load_text(switch("starts normal"))).system
    assert system.alike == ()
    assert all(len(values) == 1 for values in system.initial.values())
