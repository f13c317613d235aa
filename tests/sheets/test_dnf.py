"""The cases of a condition say what the condition says, in every situation there is."""

from itertools import product

from hypothesis import given
from hypothesis import strategies as st

from verifier.language.source import Source, Span
from verifier.plan import observables
from verifier.plan.model import NamedCondition
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not, Observable
from verifier.sheets.dnf import MOST_CASES, Case, cases

HERE = Span(Source("(chance)", ""), 0, 0)
THINGS = (
    observables.block_report("Main"),
    observables.points_report("T1"),
    observables.relay("Held"),
    observables.lever("4", ("left", "normal", "right")),
)
INSIDE = AnyOne(
    (
        Fact(THINGS[1], ("normal",), HERE, "T1 normal"),
        Not(Fact(THINGS[2], ("up",), HERE, "Held up"), HERE),
    ),
    HERE,
)
NAMED = {"Free": NamedCondition("Free", INSIDE, observables.condition("Free"), HERE)}

fact = st.sampled_from(THINGS).flatmap(
    lambda what: st.sampled_from(what.values).map(lambda v: Fact(what, (v,), HERE, f"{v}"))
)
named = st.just(Fact(observables.condition("Free"), ("true",), HERE, "Free"))
conditions: st.SearchStrategy[Condition] = st.recursive(
    fact | named,
    lambda inner: (
        inner.map(lambda part: Not(part, HERE))
        | st.lists(inner, min_size=1, max_size=4).map(lambda parts: All(tuple(parts), HERE))
        | st.lists(inner, min_size=1, max_size=4).map(lambda parts: AnyOne(tuple(parts), HERE))
    ),
    max_leaves=12,
)


def holds(condition: Condition, states: dict[Observable, str]) -> bool:
    match condition:
        case Fact() if condition.what.kind == "condition":
            return holds(NAMED[condition.what.name].condition, states)
        case Fact():
            return states[condition.what] in condition.values
        case Not(part=part):
            return not holds(part, states)
        case All(parts=parts):
            return all(holds(part, states) for part in parts)
        case AnyOne(parts=parts):
            return any(holds(part, states) for part in parts)


def case_holds(case: Case, states: dict[Observable, str]) -> bool:
    return all(states[asked.what] in asked.values for asked in case.facts) and all(
        holds(part, states) == wanted for part, wanted in case.further
    )


@given(conditions, st.sampled_from((1, 2, MOST_CASES)))
def test_cases_hold_exactly_where_the_condition_does(condition: Condition, most: int) -> None:
    found = cases(condition, NAMED, most)
    assert len(found) <= most
    for values in product(*(what.values for what in THINGS)):
        states = dict(zip(THINGS, values, strict=True))
        assert any(case_holds(case, states) for case in found) == holds(condition, states)


@given(conditions)
def test_a_thing_stands_once_in_a_case(condition: Condition) -> None:
    for case in cases(condition, NAMED):
        named_ = [asked.what for asked in case.facts]
        assert len(named_) == len(set(named_))
