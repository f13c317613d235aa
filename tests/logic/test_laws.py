"""The laws of expressions, checked on every assignment."""

from collections.abc import Iterator
from itertools import product
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from verifier.logic import satisfiable
from verifier.logic import settle as settling
from verifier.logic.expr import (
    FALSE,
    TRUE,
    Atom,
    Const,
    Expr,
    Group,
    atom,
    conjunction,
    constant,
    disjunction,
    fold,
    holds,
    negation,
    nodes,
    substitute,
    support,
)
from verifier.logic.settle import asks_once, compared, is_always_true, same, settle, told_apart
from verifier.logic.settle import given as known_to_be
from verifier.plan import observables
from verifier.plan.observables import Observable

A, B = observables.stock("A"), observables.button("B")
T, L = observables.points("T"), observables.lever("L", ("left", "normal", "right"))
FOUR = Observable("aspect", "S", ("Clear", "Approach", "Restricting", "Stop"), "Stop")
EVERY = (A, B, T, L, FOUR)
LAWS = settings(deadline=None, derandomize=True, max_examples=100, database=None)

# An expression as drawn: nested tuples, so that its truth can be told without any node.
Drawn = tuple[object, ...]


def assignments() -> Iterator[dict[Observable, str]]:
    for values in product(*(what.values for what in EVERY)):
        yield dict(zip(EVERY, values, strict=True))


ASSIGNMENTS = list(assignments())


def _atoms() -> st.SearchStrategy[Drawn]:
    return st.sampled_from(EVERY).flatmap(
        lambda what: st.sets(st.sampled_from(what.values)).map(
            lambda values: ("is", what, tuple(sorted(values)))
        )
    )


def drawn() -> st.SearchStrategy[Drawn]:
    leaves = st.one_of(_atoms(), st.booleans().map(lambda v: ("const", v)))
    return st.recursive(
        leaves,
        lambda inner: st.one_of(
            st.tuples(st.just("not"), inner),
            st.tuples(st.sampled_from(["and", "or"]), st.lists(inner, max_size=4).map(tuple)),
        ),
        max_leaves=12,
    )


def truth(tree: Drawn, state: dict[Observable, str]) -> bool:
    """What was drawn, evaluated with no expression in between."""
    match tree:
        case ("const", value):
            return bool(value)
        case ("is", what, values):
            return state[what] in values  # type: ignore[index, operator]
        case ("not", inner):
            return not truth(inner, state)  # type: ignore[arg-type]
        case ("and", parts):
            return all(truth(p, state) for p in parts)  # type: ignore[attr-defined]
        case ("or", parts):
            return any(truth(p, state) for p in parts)  # type: ignore[attr-defined]
    raise AssertionError(tree)


def built(tree: Drawn) -> Expr:
    match tree:
        case ("const", value):
            return constant(bool(value))
        case ("is", what, values):
            return atom(what, *values)  # type: ignore[arg-type, misc]
        case ("not", inner):
            return negation(built(inner))  # type: ignore[arg-type]
        case (word, parts):
            group = conjunction if word == "and" else disjunction
            return group(*(built(p) for p in parts))  # type: ignore[attr-defined]
    raise AssertionError(tree)


def always_equal(one: Expr, two: Expr) -> bool:
    return all(holds(one, state) == holds(two, state) for state in ASSIGNMENTS)


@LAWS
@given(drawn())
def test_building_keeps_the_truth(tree: Drawn) -> None:
    expr = built(tree)
    assert [holds(expr, s) for s in ASSIGNMENTS] == [truth(tree, s) for s in ASSIGNMENTS]


@pytest.mark.parametrize("few_bits", [0, 3, satisfiable.FEW_BITS])
def test_whether_it_may_hold(monkeypatch: pytest.MonkeyPatch, few_bits: int) -> None:
    """By cases, by cases until few enough are left, and all at once; of clauses of which about half
    leave nothing over."""
    monkeypatch.setattr(satisfiable, "FEW_BITS", few_bits)
    satisfiable.may_hold.cache_clear()
    chance, found = Random(few_bits), list[bool]()
    for _ in range(30):
        clauses = (
            [(what, chance.choice(what.values)) for what in chance.sample(EVERY, 2)]
            for _ in range(chance.randrange(4, 14))
        )
        expr = conjunction(
            *(disjunction(*(atom(what, value) for what, value in some)) for some in clauses)
        )
        found.append(any(holds(expr, s) for s in ASSIGNMENTS))
        assert satisfiable.may_hold(expr) == found[-1]
    assert 5 < sum(found) < 25


@LAWS
@given(drawn())
def test_opposite_is_the_opposite_everywhere(tree: Drawn) -> None:
    expr = built(tree)
    turned = negation(expr)
    assert all(holds(turned, s) != holds(expr, s) for s in ASSIGNMENTS)
    assert always_equal(negation(turned), expr)


@LAWS
@given(drawn())
def test_equal_expressions_are_one_object(tree: Drawn) -> None:
    assert built(tree) is built(tree)


@LAWS
@given(drawn())
def test_nodes_are_in_normal_form(tree: Drawn) -> None:
    """No group in a group of its kind, no two atoms of one thing, no constant inside."""
    for node in nodes(built(tree)):
        if isinstance(node, Atom):
            assert 0 < len(node.values) < len(node.what.values)
        if isinstance(node, Group):
            assert len(node.parts) > 1
            assert not any(isinstance(p, Const | type(node)) for p in node.parts)
            asked = [p.what for p in node.parts if isinstance(p, Atom)]
            assert len(asked) == len(set(asked))


@LAWS
@given(drawn(), drawn())
def test_substitution_is_composition(tree: Drawn, other: Drawn) -> None:
    """Every atom about the switch replaced by another expression."""
    expr, put = built(tree), built(other)
    replaced = substitute(
        expr, lambda a: a if a.what != T else put if "normal" in a.values else negation(put)
    )
    for state in ASSIGNMENTS:
        as_if = {**state, T: "normal" if holds(put, state) else "reverse"}
        direct = [n for n in nodes(expr) if isinstance(n, Atom) and n.what == T]
        if all(("normal" in n.values) != ("reverse" in n.values) for n in direct):
            assert holds(replaced, state) == holds(expr, as_if)


@LAWS
@given(drawn(), st.sampled_from(EVERY))
def test_given_is_the_expression_with_one_thing_known(tree: Drawn, what: Observable) -> None:
    expr = built(tree)
    for value in what.values:
        then = known_to_be(expr, what, value)
        assert what not in support(then)
        assert all(holds(then, s) == holds(expr, {**s, what: value}) for s in ASSIGNMENTS)


@LAWS
@given(drawn(), st.sets(st.sampled_from(EVERY)))
def test_settling_keeps_the_truth_and_asks_only_what_matters(
    tree: Drawn, open_ones: set[Observable]
) -> None:
    expr = built(tree)
    settled = settle(expr, [w for w in EVERY if w in open_ones])
    assert always_equal(settled, expr)
    for what in open_ones:
        classes = {
            value: tuple(holds(expr, {**s, what: value}) for s in ASSIGNMENTS)
            for value in what.values
        }
        asked = [n for n in nodes(settled) if isinstance(n, Atom) and n.what == what]
        matters = len(set(classes.values())) > 1
        assert bool(asked) == matters
        # States that make no difference are never told apart.
        for node in asked:
            for one, two in product(what.values, repeat=2):
                if classes[one] == classes[two]:
                    assert (one in node.values) == (two in node.values)


@LAWS
@given(drawn(), st.sampled_from(EVERY))
def test_states_told_apart(tree: Drawn, what: Observable) -> None:
    """States in one group make no difference, and every state is in one group."""
    expr = built(tree)
    groups = told_apart(expr, what)
    assert sorted(v for values in groups for v in values) == sorted(what.values)
    for values in groups:
        for state in ASSIGNMENTS:
            outcomes = {holds(expr, {**state, what: value}) for value in values}
            assert len(outcomes) == 1


@LAWS
@given(drawn())
def test_what_is_asked_once_matters(tree: Drawn) -> None:
    expr = built(tree)
    if asks_once(expr):
        for what in support(expr):
            differ = {
                tuple(holds(expr, {**s, what: value}) for s in ASSIGNMENTS) for value in what.values
            }
            assert len(differ) == 2


@LAWS
@given(drawn(), drawn())
def test_always_true_and_same(tree: Drawn, other: Drawn) -> None:
    one, two = built(tree), built(other)
    assert is_always_true(one) == all(holds(one, s) for s in ASSIGNMENTS)
    assert same(one, two) == always_equal(one, two)


def test_too_large_a_question_is_answered_no(monkeypatch) -> None:  # type: ignore[no-untyped-def]
    """A yes must never be a guess."""
    excluded_middle = disjunction(conjunction(atom(A, "vacant"), atom(B, "pressed")),
                             conjunction(atom(A, "vacant"), atom(B, "released")),
                             atom(A, "occupied"))  # fmt: skip
    assert is_always_true(excluded_middle)
    alike, work = compared(excluded_middle, TRUE)
    assert alike
    given_up, more = compared(excluded_middle, TRUE, work - 1)
    assert not given_up and more > work - 1
    monkeypatch.setattr(settling, "MAX_WORK", 3)
    assert not is_always_true(excluded_middle)
    left_open = disjunction(conjunction(atom(A, "vacant"), atom(T, "normal")), atom(B, "pressed"))
    assert always_equal(settle(left_open, [A, B, T]), left_open)


def test_edges_of_atoms() -> None:
    assert atom(T) is FALSE
    assert atom(T, "normal", "reverse", "open") is TRUE
    assert atom(T, "reverse", "normal") is atom(T, "normal", "reverse")
    assert conjunction() is TRUE and disjunction() is FALSE
    assert conjunction(atom(T, "normal"), atom(T, "reverse")) is FALSE
    assert disjunction(atom(T, "normal"), atom(T, "reverse", "open")) is TRUE


DEPTH = 100_000


def _deep() -> Expr:
    """Hundred thousand levels, and and or by turns."""
    r = Random(1)
    blocks = [observables.stock(f"B{i}") for i in range(50)]
    expr = atom(blocks[0], "occupied")
    for i in range(DEPTH):
        leaf = atom(blocks[i % 50], r.choice(["vacant", "occupied"]))
        expr = (conjunction if i % 2 else disjunction)(leaf, expr)
    return expr


def test_deep_expressions_do_not_overflow() -> None:
    expr = _deep()
    assert sum(1 for _ in nodes(expr)) > DEPTH
    asked = support(expr)
    for value in ("vacant", "occupied"):
        state = dict.fromkeys(asked, value)
        assert holds(negation(expr), state) != holds(expr, state)
    assert substitute(expr, lambda a: a) is expr
    assert fold(expr, lambda node, parts: 1 + max(parts, default=0)) > 0.9 * DEPTH
    assert len(repr(expr)) < 1000
    known = known_to_be(expr, asked[1], "vacant")
    assert asked[1] not in support(known)
    del expr, known  # taking it apart again must not overflow either
