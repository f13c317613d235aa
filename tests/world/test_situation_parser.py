"""Situations: what is as usual is not mentioned."""

from verifier.plan import observables
from verifier.plan.situation import Situation

A, T = observables.stock("A"), observables.points("T")


def test_usual_states_are_left_out() -> None:
    situation = Situation.of([(A, "vacant"), (T, "reverse")])
    assert dict(situation) == {T: "reverse"}
    assert situation.state(A) == "vacant"
    assert situation.complete([A, T]) == {A: "vacant", T: "reverse"}


def test_equal_situations() -> None:
    one = Situation.of([(A, "occupied"), (T, "reverse")])
    two = Situation.of([(T, "reverse"), (A, "occupied")])
    assert one == two
    assert hash(one) == hash(two)
    assert one != Situation.of([(A, "occupied")])
    assert one != "a situation"
