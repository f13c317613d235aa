"""What a proof over time rests on, in words."""

import pytest

from tests.decide.histories import end_of_siding
from verifier.explain.invariant_text import sentences
from verifier.logic.expr import Expr, atom, disjunction
from verifier.plan import observables

PLAN = end_of_siding()
ROUTE = observables.relay("4L-route")
OTHER = observables.relay("4R-route")
T1 = observables.points("T1")
ON_T1 = observables.train("T1")
BY = observables.heading("T1", ("points", "normal", "reverse"))
ACROSS = observables.across("T1 points to Single left")
EDGE = observables.across("Single right to Quarry end")


@pytest.mark.parametrize(
    ("clause", "sentence"),
    [
        (
            disjunction(atom(ROUTE, "down"), atom(T1, "normal")),
            "while relay 4L-route is up, T1 lies normal",
        ),
        (
            disjunction(atom(ROUTE, "down"), atom(OTHER, "down")),
            "relays 4L-route and 4R-route are never both up",
        ),
        (
            disjunction(atom(ON_T1, "vacant"), atom(BY, "normal", "reverse"), atom(ROUTE, "up")),
            "while a train stands on T1 that came in from Single, relay 4L-route is up",
        ),
        (
            disjunction(atom(ON_T1, "vacant"), atom(observables.train("Main"), "vacant")),
            "trains never stand on T1 and Main at once",
        ),
        (
            disjunction(atom(ACROSS, "free"), atom(ON_T1, "occupied")),
            "while a train stands across the joint of T1 and Single, a train stands on T1",
        ),
        (
            disjunction(atom(EDGE, "free"), atom(T1, "normal", "reverse")),
            "while a train stands across the edge Quarry, T1 does not lie open",
        ),
        (atom(OTHER, "down"), "relay 4R-route is never up"),
        (atom(observables.train("Siding"), "vacant"), "no train ever stands on Siding"),
        (atom(BY, "points"), "any train on T1 came in from Single"),
        (atom(T1, "normal", "reverse"), "at all times T1 does not lie open"),
        (
            disjunction(
                atom(observables.clock("4L-time"), "at rest"),
                atom(observables.timer("4L-time"), "running"),
            ),
            "while 4L-time waits for its time to pass, timer 4L-time is running",
        ),
        (
            disjunction(atom(observables.window("late", "4L"), "no"), atom(ROUTE, "up")),
            "while a train may be too late to stop at 4L, relay 4L-route is up",
        ),
    ],
)
def test_a_clause_is_said_as_a_sentence(clause: Expr, sentence: str) -> None:
    assert sentences(PLAN, [clause]) == (sentence,)


def test_what_holds_under_the_same_circumstances_is_one_sentence() -> None:
    clauses = [
        disjunction(atom(ROUTE, "down"), atom(T1, "normal")),
        atom(OTHER, "down"),
        disjunction(atom(ROUTE, "down"), atom(observables.thrown("T1"), "normal")),
        disjunction(atom(ROUTE, "down"), atom(T1, "normal", "open")),
    ]
    assert sentences(PLAN, clauses) == (
        "relay 4R-route is never up",
        "while relay 4L-route is up, T1 lies normal and T1 is told to lie normal",
    )


def test_points_that_lie_as_told() -> None:
    told = observables.thrown("T1")
    clauses = [
        disjunction(atom(told, "normal"), atom(T1, "reverse", "open")),
        disjunction(atom(told, "reverse"), atom(T1, "normal", "open")),
    ]
    assert sentences(PLAN, clauses) == ("T1 lies as it was told, or is still moving",)
    assert sentences(PLAN, clauses[:1]) == (
        "while T1 is told to lie reverse, T1 does not lie normal",
    )
