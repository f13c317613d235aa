"""Whatever sentence is printed of an invariant means what was proved: it is read back.

The reader below knows how facts are worded and nothing of how sentences are made. It takes the
longest fact that fits and never goes back, so a sentence that can be read in two ways fails too.
A heading is read only where there is a train: *any train on T1* and *the train on T1* are one fact.
"""

from collections.abc import Iterator, Mapping
from functools import cache
from itertools import chain, combinations, islice, product
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.decide.histories import end_of_siding
from tests.sweep import examples
from verifier.api import load
from verifier.explain.invariant_text import sentences
from verifier.explain.state_text import StateWords
from verifier.logic.expr import (
    FALSE,
    TRUE,
    Expr,
    atom,
    conjunction,
    disjunction,
    holds,
    negation,
    support,
)
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.world.history import Histories

ROOT = Path(__file__).parents[2] / "specs"
MOST_STATES = 5
VALUATIONS = 3000


def subsets(values: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
    return chain.from_iterable(combinations(values, n) for n in range(1, len(values)))


class Lexicon:
    """The wording of every fact about the states of a plan, long counts cut short."""

    def __init__(self, plan: Plan):
        self.words = StateWords(plan)
        system = Histories(plan).system
        people = [w for w in system.inputs if w.kind in ("lever", "button", "derail", "gate")]
        self.states = [
            Observable(w.kind, w.name, w.values[:MOST_STATES], w.usual)
            for w in (*system.states, *people)
        ]
        self.facts: dict[str, Expr] = {}
        for what in self.states:
            for values in subsets(what.values):
                self._add(self.words.clause(what, values), atom(what, *values))
                if what.kind == "heading":
                    there = atom(observables.train(what.name), "occupied")
                    came = self.words.train_from(what.name, values)
                    self._add(came, conjunction(there, atom(what, *values)))
        self.longest_first = sorted(self.facts, key=len, reverse=True)
        self.tracks = {self.words.track(w.name): w for w in self.states if w.kind == "train"}
        self.relays = {w.name: w for w in self.states if w.kind == "relay"}

    def _add(self, text: str, fact: Expr) -> None:
        assert text not in self.facts, f"two facts are worded alike: {text}"
        self.facts[text] = fact


class Reader:
    """Reads one sentence from left to right."""

    def __init__(self, lexicon: Lexicon, text: str):
        self.lexicon, self.rest = lexicon, text

    def sentence(self) -> Expr:
        meaning = self._sentence()
        assert not self.rest, f"left over: {self.rest}"
        return meaning

    def _sentence(self) -> Expr:
        if self.takes("while "):
            return self._while()
        if self.takes("it never happens that "):
            return negation(conjunction(*self._items("and")))
        if self.takes("at all times "):
            return self._fact()
        if self.takes("relays "):
            every = self._names(self.lexicon.relays)
            assert self.takes(" are never both up" if len(every) == 2 else " are never all up")
            return disjunction(*(atom(what, "down") for what in every))
        if self.takes("trains never stand on "):
            every = self._names(self.lexicon.tracks)
            assert self.takes(" at once")
            return disjunction(*(atom(what, "vacant") for what in every))
        if self.takes("no train ever stands on "):
            (what,) = self._names(self.lexicon.tracks)
            return atom(what, "vacant")
        if self.takes("any train on "):
            self.rest = f"the train on {self.rest}"
            return self._fact()
        if self.takes("relay "):
            (what,) = self._names(self.lexicon.relays)
            state = "up" if self.takes(" is always up") else "down"
            assert state == "up" or self.takes(" is never up")
            return atom(what, state)
        return self._as_told()

    def _as_told(self) -> Expr:
        points = {w.name: w for w in self.lexicon.states if w.kind == "points"}
        (what,) = self._names(points)
        assert self.takes(" lies as it was told, or is still moving")
        thrown = observables.thrown(what.name)
        same = (conjunction(atom(thrown, way), atom(what, way)) for way in thrown.values)
        return disjunction(atom(what, "open"), *same)

    def _while(self) -> Expr:
        """``premise, fact and fact`` or ``premise, premise and premise, fact``: premises that are
        several have an *and* of their own before the facts begin."""
        parts, ands = [self._fact()], list[int]()
        while self.rest:
            if self.takes(" and "):
                ands.append(len(parts))
            else:
                assert self.takes(", "), self.rest
            parts.append(self._fact())
        several = bool(ands) and ands[0] < len(parts) - 1
        count = ands[0] + 1 if several else 1
        premises, held = parts[:count], parts[count:]
        assert held and len(ands) == several + (len(held) > 1)
        return disjunction(negation(conjunction(*premises)), conjunction(*held))

    def _fact(self) -> Expr:
        for text in self.lexicon.longest_first:
            if self.takes(text):
                return self.lexicon.facts[text]
        if self.takes("both "):
            parts = self._items("and")
            assert len(parts) == 2
            return conjunction(*parts)
        if self.takes("all of "):
            return conjunction(*self._items("and"))
        assert self.takes("either "), self.rest
        return disjunction(*self._items("or"))

    def _items(self, word: str) -> list[Expr]:
        """``A, B and C``. The one item of a sentence may stand alone."""
        parts = [self._fact()]
        while self.takes(", "):
            parts.append(self._fact())
        if self.takes(f" {word} "):
            parts.append(self._fact())
        else:
            assert len(parts) == 1 and not self.rest, self.rest
        return parts

    def _names(self, known: Mapping[str, Observable]) -> list[Observable]:
        found = []
        while True:
            name = max((n for n in known if self.rest.startswith(n)), key=len)
            self.takes(name)
            found.append(known[name])
            if not (self.takes(", ") or self.takes(" and ")):
                return found

    def takes(self, text: str) -> bool:
        found = self.rest.startswith(text)
        if found:
            self.rest = self.rest.removeprefix(text)
        return found


SPECS = ("locked-end-of-siding", "single-track-traffic", "oval-five-blocks", "double-slip")
PLANS = ("end of siding", *SPECS)


@cache
def lexicon(name: str) -> tuple[Plan, Lexicon]:
    plan = end_of_siding() if name == "end of siding" else load(next(ROOT.rglob(f"{name}.ixl")))
    return plan, Lexicon(plan)


def expressions(known: Lexicon) -> st.SearchStrategy[Expr]:
    """Nested groups of facts, of few observables so that these meet."""

    def of(states: list[Observable]) -> st.SearchStrategy[Expr]:
        facts = st.sampled_from(states).flatmap(
            lambda what: st.sampled_from(list(subsets(what.values))).map(
                lambda values: atom(what, *values)
            )
        )
        groups = st.recursive(
            facts,
            lambda inner: st.builds(
                lambda build, parts: build(*parts),
                st.sampled_from((conjunction, disjunction)),
                st.lists(inner, min_size=2, max_size=4),
            ),
            max_leaves=8,
        )
        flat = st.lists(facts, min_size=2, max_size=4).map(lambda parts: disjunction(*parts))
        return st.one_of(groups, flat)

    return st.lists(st.sampled_from(known.states), min_size=1, max_size=5, unique=True).flatmap(of)


def assert_means(known: Lexicon, plan: Plan, clauses: list[Expr]) -> None:
    said = sentences(plan, clauses)
    proved, read = conjunction(*clauses), conjunction(*(Reader(known, s).sentence() for s in said))
    about = tuple(dict.fromkeys((*support(proved), *support(read))))
    for states in islice(product(*(what.values for what in about)), VALUATIONS):
        valuation = dict(zip(about, states, strict=True))
        assert holds(proved, valuation) == holds(read, valuation), (said, clauses, valuation)


@pytest.mark.parametrize("name", PLANS)
@settings(max_examples=examples(60), deadline=None)
@given(st.data())
def test_a_sentence_means_what_was_proved(name: str, data: st.DataObject) -> None:
    plan, known = lexicon(name)
    clauses = data.draw(st.lists(expressions(known), min_size=1, max_size=4))
    if conjunction(*clauses) is not FALSE:
        assert_means(known, plan, [c for c in clauses if c is not TRUE])


def test_a_nested_conjunction_is_not_read_as_a_disjunction() -> None:
    plan, known = lexicon("end of siding")
    a, b = atom(observables.relay("4L-route"), "up"), atom(observables.points("T1"), "normal")
    c, d = atom(observables.train("Main"), "vacant"), atom(observables.train("T1"), "vacant")
    clause = disjunction(conjunction(disjunction(conjunction(a, b), c), d), negation(a))
    assert_means(known, plan, [clause])
    assert sentences(plan, [clause]) == (
        "while either both either relay 4L-route is down or T1 does not lie normal and a train "
        "stands on Main or a train stands on T1, relay 4L-route is down",
    )


@pytest.mark.parametrize("name", PLANS)
def test_every_special_phrasing_means_what_was_proved(name: str) -> None:
    plan, known = lexicon(name)
    relays = [atom(w, "down") for w in known.states if w.kind == "relay"]
    trains = [atom(w, "vacant") for w in known.states if w.kind == "train"]
    for several in (relays, trains):
        for count in range(1, min(4, len(several) + 1)):
            assert_means(known, plan, [disjunction(*several[:count])])
    for what in known.states:
        if what.kind == "points":
            thrown = observables.thrown(what.name)
            assert_means(
                known,
                plan,
                [
                    disjunction(atom(thrown, "normal"), atom(what, "reverse", "open")),
                    disjunction(atom(thrown, "reverse"), atom(what, "normal", "open")),
                ],
            )
        if what.kind == "heading":
            there = atom(observables.train(what.name), "occupied")
            came = conjunction(there, atom(what, what.values[0]))
            assert_means(known, plan, [disjunction(negation(came), *relays[:1])])
            assert_means(known, plan, [atom(what, what.values[0])])
