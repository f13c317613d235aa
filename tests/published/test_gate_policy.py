"""Jackson's gate policy, W6 of the notes on published interlockings: a counterexample of one step.

D. Jackson, railway example of the Alloy distribution (`examples/toys/railway`) [V]. The track is
not given: segments follow and overlap each other in any way, which stays as it is.

What is safe before a step and unsafe after it is asked for: the first moment is any safe one.
"""

from dataclasses import dataclass
from itertools import combinations, combinations_with_replacement, permutations, product

import pytest

from tests.engines.k_induction import is_k_inductive
from tests.engines.random_systems import is_final, replays
from verifier.engines.results import Reachable, Unreachable
from verifier.engines.temporal.bmc import search
from verifier.engines.temporal.certificates import certificate, recheck
from verifier.engines.temporal.induction import prove
from verifier.logic.expr import TRUE, Expr, atom, conjunction, disjunction, negation
from verifier.logic.transition_system import System
from verifier.plan import observables
from verifier.plan.observables import Observable


@dataclass(frozen=True)
class Segments:
    """``one_moves``: at most one train at a time. ``transitive``: what overlaps what overlaps a
    segment overlaps it."""

    number: int
    trains: int = 2
    one_moves: bool = False
    transitive: bool = False

    @property
    def all(self) -> range:
        return range(self.number)

    def leads(self, s: int, t: int) -> Expr:
        return atom(observables.relay(f"{s} leads to {t}"), "up")

    def over(self, s: int, t: int) -> Expr:
        """Overlap: each segment with itself, and both ways."""
        return (
            TRUE if s == t else atom(observables.relay(f"{min(s, t)} overlaps {max(s, t)}"), "up")
        )

    def place(self, train: int) -> Observable:
        return Observable("train", f"Train {train}", tuple(map(str, self.all)), "0")

    def at(self, train: int, s: int) -> Expr:
        return atom(self.place(train), str(s))

    def goes(self, train: int, t: int) -> Expr:
        """The train chooses a segment, which follows its own, and its own is not closed."""
        chosen = Observable("advance", f"Train {train}", ("stays", *map(str, self.all)), "stays")
        return conjunction(
            atom(chosen, str(t)),
            disjunction(
                *(conjunction(self.at(train, s), self.leads(s, t), self.open(s)) for s in self.all)
            ),
        )

    def open(self, s: int) -> Expr:
        return atom(observables.gate(str(s)), "open")

    # -------------------------------------------------------------- what is asked

    def unsafe(self) -> Expr:
        """Two trains on segments that overlap one segment."""
        return disjunction(
            *(
                conjunction(self.at(a, t), self.at(b, u), self.over(s, t), self.over(s, u))
                for a, b in combinations(range(self.trains), 2)
                for s, t, u in product(self.all, repeat=3)
            )
        )

    def policy(self) -> list[Expr]:
        """Close every segment whose successor overlaps an occupied one; of two segments whose
        successors overlap, at most one is open."""
        rules = [
            disjunction(
                negation(self.open(s)),
                negation(conjunction(self.leads(s, t), self.over(t, u), self.at(train, u))),
            )
            for s, t, u in product(self.all, repeat=3)
            for train in range(self.trains)
        ]
        rules += [
            negation(conjunction(self.open(s), self.open(v), self.leads(s, t), self.leads(v, u),
                          self.over(t, u)))
            for s, v in combinations(self.all, 2)
            for t, u in product(self.all, repeat=2)
        ]  # fmt: skip
        if self.one_moves:
            rules += [
                negation(conjunction(self.goes(a, s), self.goes(b, t)))
                for a, b in combinations(range(self.trains), 2)
                for s, t in product(self.all, repeat=2)
            ]
        if self.transitive:
            rules += [
                disjunction(
                    negation(conjunction(self.over(s, t), self.over(t, u))), self.over(s, u)
                )
                for s, t, u in permutations(self.all, 3)
            ]
        return rules

    def system(self) -> System:
        """The track as it happens to be, trains that move by the policy, and whether the first
        moment, which is safe, is over."""
        over = observables.relay("begun")
        track = [observables.relay(f"{s} leads to {t}") for s, t in product(self.all, repeat=2)]
        track += [observables.relay(f"{s} overlaps {t}") for s, t in combinations(self.all, 2)]
        trains = [self.place(train) for train in range(self.trains)]
        following: dict[Observable, dict[str, Expr]] = {
            what: {value: atom(what, value) for value in what.values} for what in track
        }
        for number, what in enumerate(trains):
            goes = {t: self.goes(number, t) for t in self.all}
            stays = negation(disjunction(*goes.values()))
            following[what] = {
                str(t): disjunction(goes[t], conjunction(self.at(number, t), stays))
                for t in self.all
            }
        following[over] = {"up": TRUE, "down": negation(TRUE)}
        initial = {what: what.values for what in following} | {over: ("down",)}
        inputs = [observables.gate(str(s)) for s in self.all]
        inputs += [
            Observable("advance", f"Train {n}", ("stays", *map(str, self.all)), "stays")
            for n in range(self.trains)
        ]
        first = disjunction(atom(over, "up"), negation(self.unsafe()))
        return System(tuple(following), tuple(inputs), initial, following, (first, *self.policy()))


def assert_keeps_safety(segments: Segments) -> None:
    system = segments.system()
    proof = prove(system, segments.unsafe(), [negation(segments.unsafe())])
    assert isinstance(proof, Unreachable)
    text = certificate(system, segments.unsafe(), proof.clauses, title="W6")
    assert recheck(text)


@pytest.mark.parametrize("number", [1, 2, 3])
def test_w6_R_up_to_three_segments_are_safe(number: int) -> None:
    """W6 [R]: "2 trains, up to 3 segments: safe"."""
    assert_keeps_safety(Segments(number))


@pytest.mark.parametrize("one_moves", [False, True])
def test_w6_V_two_trains_on_four_segments_are_not(one_moves: bool) -> None:
    """W6: "policy does not keep safety; counterexample expected with 2 trains, 4 segments" [V];
    "still unsafe when only one train may move" [R]."""
    segments = Segments(4, one_moves=one_moves)
    system = segments.system()
    found = search(system, segments.unsafe(), most=3)
    assert isinstance(found, Reachable) and len(found.trace) == 2
    assert replays(system, segments.unsafe(), found)
    assert is_final(prove(system, segments.unsafe(), [negation(segments.unsafe())]))
    assert not any(is_k_inductive(system, segments.unsafe(), k) for k in range(4))


def test_w6_R_the_smallest_witness() -> None:
    """W6 [R]: "s0-s3 and s2-s3 overlap, s1 leads to s0; trains on s2 and s1; the second steps to
    s0: s3 now overlaps two trains"."""
    segments = Segments(4)
    system = segments.system()
    there = {(0, 3), (2, 3)}
    given = [
        expr if (s, t) in there else negation(expr)
        for s, t in combinations_with_replacement(range(4), 2)
        if s != t
        for expr in [segments.over(s, t)]
    ]
    given += [
        expr if (s, t) == (1, 0) else negation(expr)
        for s, t in product(range(4), repeat=2)
        for expr in [segments.leads(s, t)]
    ]
    bad = conjunction(segments.unsafe(), segments.at(0, 2), segments.at(1, 0), *given)
    found = search(system, bad, most=1)
    assert isinstance(found, Reachable)
    first = found.trace[0]
    assert (first[segments.place(0)], first[segments.place(1)]) == ("2", "1")
    without = conjunction(segments.unsafe(), *(negation(e) if e is given[2] else e for e in given))
    assert given[2] is segments.over(0, 3)
    assert is_final(search(system, without, most=1))


@pytest.mark.parametrize(("number", "trains"), [(4, 2), (4, 3), (5, 2), (5, 3), (6, 2), (6, 3)])
def test_w6_R_overlap_that_is_transitive_is_safe(number: int, trains: int) -> None:
    """W6 [R]: "overlap also transitive, up to 6 segments, 2 or 3 trains: safe"."""
    assert_keeps_safety(Segments(number, trains, transitive=True))
