"""The five-route tram interlocking, W2 of the notes on published interlockings.

Track, routes, points and signals are [V]; every verdict and figure quoted is [R]: computed again
from the published facts by other people's throw-away scripts, under an environment that the
authors did not claim. What the script itself proves is said where it is tested.

``CLEARPROOF_PROFILE=nightly`` asks every engine about every mistake.
"""

from collections.abc import Iterable
from itertools import product
from pathlib import Path
from typing import Protocol, TypeVar

import pytest

from tests.engines.explicit_search import Choices, Explored, ever, explore
from tests.engines.ic3_checker import can_be_reached, needs_directed_checker
from tests.engines.k_induction import is_k_inductive
from tests.engines.random_systems import is_final, replays
from tests.published.tram import (
    KILLED,
    MISTAKES,
    SECTIONS,
    Arrivals,
    Journeys,
    Tram,
)
from tests.published.tram_system import (
    EXCLUDED,
    RELAYS,
    ArrivalsSystem,
    Cycle,
    JourneysSystem,
    exclusion,
    up,
)
from tests.sweep import NIGHTLY
from verifier.engines.interchange.aig import gates
from verifier.engines.results import Impossible, Reachable, Unreachable
from verifier.engines.smt.situations import SituationCheck
from verifier.engines.temporal import pdr
from verifier.engines.temporal.bmc import search
from verifier.engines.temporal.certificates import certificate, recheck
from verifier.engines.temporal.houdini import inductive_clauses
from verifier.engines.temporal.induction import prove
from verifier.logic.expr import Expr, atom, conjunction, holds, negation, support
from verifier.logic.transition_system import System
from verifier.plan.observables import stock

nightly = pytest.mark.skipif(not NIGHTLY, reason="takes a minute: CLEARPROOF_PROFILE=nightly")

# The pairs the script admits, and those it excludes only because they share an end section;
# with the number of states each can be in.
ADMITTED = {("V1Q1", "Q2V2"): 149, ("V1Q1", "Q3V2"): 139, ("V1Q2", "Q3V2"): 139,
            ("Q2V2", "V1Q3"): 149}  # fmt: skip
PAIRS = ADMITTED | {("V1Q2", "Q2V2"): 149, ("V1Q3", "Q3V2"): 139, ("Q2V2", "Q3V2"): 79}
each_pair = pytest.mark.parametrize("routes", PAIRS, ids="-".join)

SURVIVING = [mistake for mistake in MISTAKES if mistake not in KILLED]
REPAIRED = Tram(signal_sees="all")

S = TypeVar("S")


class Explicit(Protocol[S]):
    """A transition system given by its states."""

    @property
    def start(self) -> S: ...

    def successors(self, state: S, /) -> Iterable[S]: ...

    def wrong(self, state: S, /) -> str: ...


def gone_through(what: Explicit[S]) -> Explored[S]:
    """Everything that can be reached, up to the first state in which something is wrong."""
    found = explore(
        [what.start], what.successors, most=100_000, wanted=lambda s: bool(what.wrong(s))
    )
    assert found.complete or found.found is not None
    return found


def reached(system: System) -> int:
    """How many states a system can be in."""
    choices = Choices(system)
    found = explore(choices.starts(), choices.successors, most=100_000)
    assert found.complete
    return len(found.parents)


def assert_happens(system: System, bad: Expr, moments: int | None = None) -> None:
    """The engines and the explorer agree that it happens, after as many moments."""
    found = search(system, bad, most=20)
    told = ever(system, bad, most=100_000)
    assert isinstance(found, Reachable) and isinstance(told, Reachable)
    assert replays(system, bad, found) and replays(system, bad, told)
    assert len(found.trace) == len(told.trace)
    assert moments is None or len(found.trace) == moments
    assert is_final(prove(system, bad, inductive_clauses(system)))


def assert_never(system: System, bad: Expr) -> None:
    """The engines prove that it never happens; a fresh solver agrees with the proof."""
    proof = pdr.prove(system, bad)
    assert isinstance(proof, Unreachable)
    text = certificate(system, bad, proof.clauses, title="W2")
    assert recheck(text)


# ------------------------------------------------------------------ what the script proves


def test_w2_V_the_whole_cycle_keeps_relays_exclusive() -> None:
    """W2: "relay exclusion is preserved by the whole cycle: proved in the script"; confirmed [R]
    "over every relay state and all 2^11 x 2^4 inputs": detectors may show anything."""
    blocks = {s: stock(str(s)) for s in SECTIONS}
    cycle = Cycle(Tram(), {s: atom(b, "occupied") for s, b in blocks.items()})
    following = cycle.next_relays()
    spoken = {w: None for expr in cycle.relays.values() for w in support(expr)}
    inputs = tuple(w for w in spoken if w not in following)
    # 3 is in no rule: a train waiting there has no say.
    assert len(inputs) == 10 + 4
    system = System(tuple(following), inputs, dict.fromkeys(following, ("down",)), following)
    for a, b in EXCLUDED:
        assert isinstance(prove(system, conjunction(up(a), up(b)), exclusion()), Unreachable)


@each_pair
def test_w2_V_exclusion_and_the_train_invariants_are_enough(routes: tuple[str, str]) -> None:
    """W2: "relay exclusion and both train invariants imply no derailment and no collision: proved
    in the script" - for the pairs that share no end section."""
    ours = JourneysSystem(Journeys(routes))
    check = SituationCheck(ours.system.states, [*exclusion(), *ours.published()])
    impossible = isinstance(check.find(ours.wrong()), Impossible)
    assert impossible == (routes in ADMITTED)


# ------------------------------------------------------------------ two trains, one journey each


@each_pair
def test_w2_R_two_trains_are_safe(routes: tuple[str, str]) -> None:
    """W2 [R]: "the two-train scenario is safe: 139 to 149 states a pair, 79 for Q2V2 with
    Q3V2"."""
    found = gone_through(Journeys(routes))
    assert found.complete and len(found.parents) == PAIRS[routes]
    ours = JourneysSystem(Journeys(routes))
    assert reached(ours.system) == PAIRS[routes]
    assert_never(ours.system, ours.wrong())


@each_pair
def test_w2_R_waiting_at_green_derails(routes: tuple[str, str]) -> None:
    """W2 [R]: "literal reading of the script's must-wait test, which waits on the value the
    other file uses for green: derails in every pair"."""
    journeys = Journeys(routes, Tram(inverted=True))
    found = gone_through(journeys)
    assert found.found is not None and journeys.wrong(found.found) == "derails"
    ours = JourneysSystem(journeys)
    assert_happens(ours.system, ours.wrong(), len(found.path(found.found)))


@pytest.mark.parametrize(
    ("length", "route", "moving"),
    [(1, "V1Q1", set()), (1, "Q3V2", set()), (2, "V1Q1", {3}), (2, "Q2V2", set()),
     (2, "Q3V2", set()), (3, "V1Q1", {3, 5}), (3, "Q2V2", {2}), (3, "Q3V2", {2})],
)  # fmt: skip
def test_w2_R_points_move_under_longer_trains(length: int, route: str, moving: set[int]) -> None:
    """W2 [R]: "trains two positions long, test no point moves under a train: unsafe: V1Q1 is
    released when 5 is occupied, SW3 then moves under a train standing on 4-5"; "three positions
    long: unsafe also for Q3V2 (SW2 under 8-7-6)". Which other points move is ours: a train from
    3 goes where the points lead it, and the tail of one bound for 1 is still on SW5 when V1Q2 is
    released."""
    journeys = Journeys((route,), length=length)
    found = gone_through(journeys)
    assert {points for s in found.parents for _, points in journeys.moves_under(s)} == moving
    ours = JourneysSystem(journeys)
    assert reached(ours.system) == len(found.parents)
    for points in range(1, 6):
        if points in moving:
            assert_happens(ours.system, ours.moves_under(points))
        else:
            assert_never(ours.system, ours.moves_under(points))


def test_w2_R_sw3_moves_under_a_train_on_4_and_5() -> None:
    journeys = Journeys(("V1Q1",), length=2)
    found = gone_through(journeys)
    assert {s[0][0] for s in found.parents if ("V1Q1", 3) in journeys.moves_under(s)} == {(5, 4)}


# ------------------------------------------------------------------ trains that keep coming


@pytest.mark.parametrize(("trains", "states"), [(1, 89), (2, 382), (3, 844), (4, 1180)])
def test_w2_R_signals_that_see_the_whole_route_are_safe(trains: int, states: int) -> None:
    """W2 [R]: "signal requires every section of the route clear, 12 included: safe for 1, 2, 3, 4
    trains (89, 382, 844, 1,180 states)"."""
    found = gone_through(Arrivals(trains, REPAIRED))
    assert found.complete and len(found.parents) == states


def test_however_many_trains_come_whole_routes_are_safe() -> None:
    """The same with no bound on the trains (no published figure): a proof."""
    ours = ArrivalsSystem(REPAIRED)
    found = gone_through(Arrivals(len(SECTIONS), REPAIRED))
    assert found.complete and len(found.parents) == reached(ours.system)
    assert_never(ours.system, ours.wrong())


@pytest.mark.parametrize(("sees", "depth"), [("points", 4), ("first", 6)])
def test_w2_R_a_follower_is_let_in(sees: str, depth: int) -> None:
    """W2 [R]: "second train enters 3 behind the first: unsafe at depth 4: S3 stays green until the
    route is released"; "the same, signal also requires its first section clear: still unsafe at
    depth 6"."""
    tram = Tram(signal_sees=sees)
    assert gone_through(Arrivals(1, tram)).complete
    for trains in (2, 3):
        arrivals = Arrivals(trains, tram)
        found = gone_through(arrivals)
        assert found.found is not None and arrivals.wrong(found.found) == "collision"
        assert len(found.path(found.found)) == depth
    ours = ArrivalsSystem(tram)
    assert_happens(ours.system, ours.wrong(), depth)


# ------------------------------------------------------------------ strengthening


@pytest.mark.parametrize("routes", ADMITTED, ids="-".join)
def test_w2_R_three_kinds_of_facts_make_safety_inductive(routes: tuple[str, str]) -> None:
    """W2 [R]: "safety alone: 5,856 states satisfying it, never k-inductive"; "+ relay exclusion:
    1,464, still never"; "I1 relay exclusion, I2 a train inside a route by a set route of its
    direction, I3 the sections of a set route hold at most one train and none of the opposite
    direction: 266 states, 0 counterexamples to induction"."""
    ours = JourneysSystem(Journeys(routes))
    bad = ours.wrong()
    facts = [negation(bad), *exclusion()]
    strong = [*facts, *ours.i2(), *ours.i3()]
    assert _satisfying(ours, [negation(bad)]) == 5_856
    assert _satisfying(ours, facts) == 1_464
    assert _satisfying(ours, strong) == 266
    for invariant in ([], exclusion()):
        assert not any(is_k_inductive(ours.system, bad, k, invariant) for k in range(8))
        assert is_final(prove(ours.system, bad, [negation(bad), *invariant]))
    assert is_final(prove(ours.system, bad, strong[1:]))
    proof = prove(ours.system, bad, strong)
    assert isinstance(proof, Unreachable)
    text = certificate(ours.system, bad, proof.clauses, title="W2")
    assert recheck(text)


def _satisfying(ours: JourneysSystem, facts: list[Expr]) -> int:
    """How many states satisfy facts, trains being anywhere on the rails or gone."""
    places = [*map(str, SECTIONS), "off"]
    found = 0
    for first, second in product(places, repeat=2):
        for lie in product(("down", "up"), repeat=5):
            state = dict(zip(RELAYS.values(), lie, strict=True))
            state |= {ours.trains[0][0]: first, ours.trains[1][0]: second}
            found += all(holds(fact, state) for fact in facts)
    return found


# ------------------------------------------------------------------ mistakes in the rules


def test_w2_R_six_of_46_mistakes_are_found_with_two_trains() -> None:
    """W2 [R]: "one conjunct of a setting rule dropped, 46 mutants: two trains, closed scenario:
    killed 6": V1Q2 without "5 off"; Q2V2 without "2 off", "4 off", "5 off"; Q3V2 without "2 off",
    "4 off"."""
    assert len(MISTAKES) == 46 and len(SURVIVING) == 40
    for pairs in (ADMITTED, PAIRS):
        found = {
            mistake
            for mistake in MISTAKES
            if any(gone_through(Journeys(p, Tram(mistake))).found for p in pairs)
        }
        assert found == KILLED


@pytest.mark.parametrize("trains", [2, pytest.param(3, marks=nightly)])
def test_w2_R_the_same_six_are_found_with_trains_that_keep_coming(trains: int) -> None:
    """W2 [R]: "2 or 3 trains, open environment, signals repaired: the same 6"."""
    found = {
        mistake
        for mistake in MISTAKES
        if gone_through(Arrivals(trains, Tram(mistake, "all"))).found
    }
    assert found == KILLED


@pytest.mark.parametrize("mistake", sorted(KILLED), ids=" without ".join)
def test_the_engines_find_the_six(mistake: tuple[str, str]) -> None:
    ours = ArrivalsSystem(Tram(mistake, "all"))
    assert_happens(ours.system, ours.wrong())


@pytest.mark.parametrize("mistake", SURVIVING if NIGHTLY else SURVIVING[::5], ids=" without ".join)
def test_the_engines_prove_the_other_forty(mistake: tuple[str, str]) -> None:
    """W2 [R]: "the other 40 are equivalent mutants": safe however many trains come."""
    ours = ArrivalsSystem(Tram(mistake, "all"))
    assert_never(ours.system, ours.wrong())


def test_half_of_the_other_forty_change_nothing_at_all() -> None:
    """Why: twenty are tests of a section that some signal or relay has made sure of already, and
    what is left does the same in every cycle that can be reached. The other twenty set a relay
    at times that the rules would not, and still nothing goes wrong. (The split is ours.)"""
    ours = ArrivalsSystem(REPAIRED)
    engine = pdr.Reachability(ours.system)
    same = [
        mistake
        for mistake in MISTAKES
        if isinstance(engine.decide([ours.differs(Tram(mistake, "all"))])[0], Unreachable)
    ]
    assert len(same) == 20 and KILLED.isdisjoint(same)
    assert all(test.startswith("c") for _, test in same)
    for mistake in set(MISTAKES) - set(same):
        differs = ours.differs(Tram(mistake, "all"))
        found = search(ours.system, differs, most=10)
        assert isinstance(found, Reachable) and replays(ours.system, differs, found)


# ------------------------------------------------------------------ an engine from outside


@needs_directed_checker
def test_the_outside_engine_agrees(tmp_path: Path) -> None:
    for tram in (REPAIRED, Tram(), Tram(signal_sees="first")):
        ours = ArrivalsSystem(tram)
        made = gates(ours.system, [ours.wrong()])
        assert can_be_reached(made.circuit, 0, tmp_path) == (tram is not REPAIRED)
    for routes in PAIRS:
        for tram in (Tram(), Tram(inverted=True)):
            closed = JourneysSystem(Journeys(routes, tram))
            made = gates(closed.system, [closed.wrong()])
            assert can_be_reached(made.circuit, 0, tmp_path) == tram.inverted
