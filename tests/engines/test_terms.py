"""Terms made by direct calls: the same terms as the library's, and the same errors."""

import gc

import pytest
import z3

from verifier.engines.session import Session


def test_terms_are_those_of_the_library() -> None:
    session = Session()
    a, b, c = (session.boolean(name) for name in ("a", "b", "a light\u2019s name"))
    theirs = [z3.Bool(str(term), session.context) for term in (a, b)]
    assert all(one.eq(other) for one, other in zip((a, b), theirs, strict=True))
    assert session.all_of([a, b, c]).eq(z3.And(a, b, c))
    assert session.any_of([a, b, c]).eq(z3.Or(a, b, c))
    assert session.no(a).eq(z3.Not(a))
    assert session.iff(a, b).eq(a == b)


def test_what_z3_refuses_is_raised() -> None:
    session = Session()
    number, a = z3.Int("n", session.context), session.boolean("a")
    for refused in (
        lambda: session.no(number),
        lambda: session.all_of([a, number]),
        lambda: session.any_of([a, number]),
        lambda: session.add(number),
    ):
        with pytest.raises(z3.Z3Exception):
            refused()
    assert session.check([a]) is True


def test_terms_outlive_the_session_that_made_them() -> None:
    session = Session(context=z3.Context())
    term = session.all_of([session.boolean("a"), session.no(session.boolean("b"))])
    del session
    gc.collect()
    assert str(term) == "And(a, Not(b))"
