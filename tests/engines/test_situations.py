"""The situation check: its three answers, and what they do not depend on."""

import pytest

from tests.engines.ctrl_c import press
from verifier.engines.results import Exists, Impossible, Interrupted, Unknown
from verifier.engines.session import Session
from verifier.engines.smt.situations import SituationCheck
from verifier.logic.expr import FALSE, TRUE, Expr, atom, conjunction, disjunction, negation
from verifier.plan import observables
from verifier.plan.situation import Situation

A, B, C = (observables.stock(name) for name in "ABC")
T, U = observables.points("T"), observables.points("U")
L = observables.lever("L", ("left", "normal", "right"))
INPUTS = (A, B, C, T, U, L)


def on(*blocks: observables.Observable) -> Expr:
    return conjunction(*(atom(b, "occupied") for b in blocks))


def test_exists_and_impossible() -> None:
    check = SituationCheck(INPUTS)
    assert check.find(TRUE) == Exists(Situation.of([]))
    assert check.find(FALSE) == Impossible()
    assert check.find(conjunction(atom(T, "normal"), disjunction(on(A), on(B)))) != Impossible()
    exactly = check.find(conjunction(on(A), atom(T, "open")), smallest=True)
    assert exactly == Exists(Situation.of([(A, "occupied"), (T, "open")]))


def test_a_thing_is_in_one_state_at_a_time() -> None:
    """Also where the expression cannot know, since the parts were built apart."""
    check = SituationCheck(INPUTS)
    apart = conjunction(
        disjunction(on(A), atom(T, "normal")),
        disjunction(on(A), atom(T, "reverse")),
        atom(A, "vacant"),
    )
    assert check.find(apart) == Impossible()
    assert check.find(
        conjunction(atom(T, "reverse", "open"), negation(atom(T, "reverse")))
    ) == Exists(Situation.of([(T, "open")]))


def test_smallest_is_fewest_trains_then_points_then_levers_then_the_order_of_the_file() -> None:
    check = SituationCheck(INPUTS)
    goal = disjunction(
        on(A, B),
        conjunction(on(C), atom(T, "reverse"), atom(U, "reverse")),
        conjunction(on(B), atom(T, "open"), atom(L, "right")),
        conjunction(on(B), atom(T, "reverse"), atom(L, "right")),
        conjunction(on(B), atom(T, "reverse"), atom(L, "left")),
    )
    smallest = Exists(Situation.of([(B, "occupied"), (T, "reverse"), (L, "left")]))
    assert check.find(goal, smallest=True) == smallest


def test_assumptions_elsewhere_are_part_of_the_situation() -> None:
    """The question is about A; the assumptions ask for T, and for U or a train on C."""
    elsewhere = [atom(T, "reverse"), disjunction(atom(U, "open"), on(C)), atom(L, "left", "normal")]
    check = SituationCheck(INPUTS, elsewhere)
    assert check.cone(on(A)) == ((A,), ())
    for smallest in (False, True):
        answer = check.find(on(A), smallest=smallest)
        assert answer == Exists(Situation.of([(A, "occupied"), (T, "reverse"), (U, "open")]))


def test_assumptions_elsewhere_that_contradict_leave_no_situation() -> None:
    check = SituationCheck(INPUTS, [atom(T, "reverse"), on(B), atom(T, "normal")])
    assert check.find(on(A)) == Impossible((0, 2))
    assert check.find(TRUE) == Impossible((0, 2))
    assert SituationCheck(INPUTS, [FALSE]).find(on(A)) == Impossible((0,))


def test_the_cone_takes_in_assumptions_through_others() -> None:
    check = SituationCheck(
        INPUTS, [disjunction(on(B), atom(T, "normal")), disjunction(on(A), on(B)), on(C)]
    )
    assert check.cone(on(A)) == ((A, B, T), (0, 1))


def test_what_an_answer_rests_on_is_needed() -> None:
    """The second and the fourth say the same; one is enough, and it is the earlier one."""
    assumptions = [
        disjunction(on(A), on(B)), negation(on(A)), disjunction(on(A), on(C)),
        conjunction(negation(on(A)), negation(on(C))),
    ]  # fmt: skip
    assert SituationCheck(INPUTS, assumptions[:3]).find(on(A)) == Impossible((1,))
    assert SituationCheck(INPUTS, assumptions[:1]).find(
        conjunction(negation(on(A)), negation(on(B)))
    ) == Impossible((0,))
    assert SituationCheck(INPUTS, assumptions).find(conjunction(on(A), on(B))) == Impossible((1,))
    # Without the goal they contradict each other: then it is these that leave nothing.
    assert SituationCheck(INPUTS, assumptions).find(on(B)) == Impossible((2, 3))


def test_relevant_facts() -> None:
    check = SituationCheck(INPUTS, [disjunction(on(C), atom(L, "normal"))])
    goal = disjunction(
        conjunction(on(A), atom(T, "normal")), conjunction(on(A), atom(T, "reverse"), on(B))
    )
    situation = Situation.of([(A, "occupied"), (B, "occupied")])
    assert check.relevant(goal, situation) == (A, T)
    situation = Situation.of([(A, "occupied"), (B, "occupied"), (T, "reverse")])
    assert check.relevant(goal, situation) == (A, B, T)
    # An assumption that ties C to the lever: with the lever left a train on C is certain.
    situation = Situation.of([(C, "occupied"), (L, "left")])
    assert check.relevant(on(C), situation) in ((C,), (L,))


def test_a_solver_that_does_not_know_is_not_a_no(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(SituationCheck, "_check", lambda *_, **__: None)
    check = SituationCheck(INPUTS, [on(A)])
    assert isinstance(check.find(on(B)), Unknown)
    assert isinstance(check.find(negation(on(A))), Unknown)
    situation = Situation.of([(A, "occupied"), (B, "occupied")])
    assert check.relevant(on(B), situation) == (B,)  # nothing was let go


def test_no_time_is_not_a_no() -> None:
    check = SituationCheck(INPUTS, timeout=0.0)
    answer = check.find(conjunction(on(A), negation(atom(T, "normal"))))
    assert answer == Unknown("no answer within 0 s")


def test_no_time_to_make_it_small_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    real, calls = SituationCheck._check, []

    def once(self: SituationCheck, *args: object) -> bool | None:
        calls.append(args)
        return real(self, *args) if len(calls) == 1 else None  # type: ignore[arg-type]

    monkeypatch.setattr(SituationCheck, "_check", once)
    answer = SituationCheck(INPUTS).find(conjunction(on(A), atom(T, "reverse")), smallest=True)
    assert isinstance(answer, Exists)
    assert not answer.smallest
    assert answer.situation.state(A) == "occupied"


def test_a_key_pressed_while_solving_is_passed_on(monkeypatch: pytest.MonkeyPatch) -> None:
    def pressed(*_: object) -> int:
        press()
        return 0

    monkeypatch.setattr(Session, "_ask", pressed)
    with pytest.raises(Interrupted):
        SituationCheck(INPUTS).find(on(A))


def test_one_solver_answers_many_questions_as_fresh_ones_do() -> None:
    """What is kept warm from one question must not leak into the next."""
    assumptions = [disjunction(on(A), atom(T, "normal")), negation(conjunction(on(B), on(C)))]
    goals = [
        on(A),
        conjunction(on(B), on(C)),
        atom(T, "reverse"),
        conjunction(negation(on(A)), atom(T, "open")),
        conjunction(on(C), atom(L, "right")),
        on(A),
    ]
    warm = SituationCheck(INPUTS, assumptions)
    for goal in goals:
        fresh = SituationCheck(INPUTS, assumptions)
        assert warm.find(goal, smallest=True) == fresh.find(goal, smallest=True)


def test_when_what_is_assumed_elsewhere_is_not_known_nothing_is(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The question itself is answered; whether the rest allows it is not."""
    real, calls = SituationCheck._check, []

    def once(self: SituationCheck, *args: object) -> bool | None:
        calls.append(args)
        return real(self, *args) if len(calls) == 1 else None  # type: ignore[arg-type]

    monkeypatch.setattr(SituationCheck, "_check", once)
    check = SituationCheck(INPUTS, [disjunction(on(B), atom(T, "open"))])
    assert isinstance(check.find(on(A)), Unknown)
    monkeypatch.setattr(SituationCheck, "_check", real)
    assert check.find(on(A)) == Exists(Situation.of([(A, "occupied"), (T, "open")]))
