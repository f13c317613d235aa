"""Questions that are equal up to names share an answer, and no others do."""

import verifier
from verifier.engines.smt.alike import Form
from verifier.engines.smt.situations import SituationCheck
from verifier.farm.lines import wired_line
from verifier.logic.expr import Expr, atom, conjunction, disjunction
from verifier.plan import observables
from verifier.plan.observables import Observable
from verifier.properties.catalog import BY_NAME
from verifier.world.fault_cone import FaultsNear
from verifier.world.world import World


def asked(one: str, other: str, states: tuple[str, ...] = ("a", "b", "c")) -> Expr:
    first = Observable("stock", one, states, states[0])
    second = Observable("fault", other, ("sound", "broken"), "sound")
    return disjunction(
        conjunction(atom(first, states[1]), atom(second, "broken")), atom(first, states[2])
    )


def test_names_of_things_and_states_do_not_matter() -> None:
    keys = {
        Form([asked("Main", "feeder m1")], {}).key,
        Form([asked("Siding", "feeder s1")], {}).key,
        Form([asked("Siding", "feeder s1", ("vacant", "at s1", "at s2"))], {}).key,
    }
    assert len(keys) == 1


def test_which_states_are_asked_for_and_how_many_there_are_matters() -> None:
    usual, more = ("a", "b", "c"), ("a", "b", "c", "d")
    what = Observable("stock", "Main", usual, "a")
    other = Observable("stock", "Main", more, "a")
    late = Observable("stock", "Main", usual, "c")
    forms = [atom(what, "a"), atom(what, "b"), atom(other, "b"), atom(late, "b")]
    assert len({Form([expr], {}).key for expr in forms}) == len(forms)


def test_a_fault_that_is_not_asked_about_is_like_no_button() -> None:
    """It is sound, where people may press what they want."""
    one, other, third = (
        Observable("fault", name, ("sound", "broken"), "sound") for name in ("f1", "f2", "f3")
    )
    button = observables.button("b")
    check = SituationCheck([one, other, third, button])
    with_fault = conjunction(atom(one, "broken"), atom(other, "broken"))
    with_button = conjunction(atom(third, "broken"), atom(button, "pressed"))
    assert check.faults_with(with_fault, [one]) == ([], "")
    assert check.faults_with(with_button, [third]) == ([(third,)], "")


def test_on_a_longer_line_no_more_faults_matter_to_a_harm() -> None:
    """However many stations there are beyond the next."""
    near = []
    for control_points in (6, 10):
        plan = verifier.load_text(wired_line(control_points))
        (harm,) = [
            o for o in BY_NAME["proceed-into-occupied"].make(plan) if o.subjects == ("E0in", "M0")
        ]
        near.append(FaultsNear(World(plan)).to(harm.formula))
    # (The one common return is called by all of its supplies.)
    one, other = ({w.name for w in some if "common return" not in w.name} for some in near)
    assert one == other and len(one) > 2
