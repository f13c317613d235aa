"""Abrial's train yard, W1 of the notes on published interlockings: fourteen blocks, five points,
one crossing, ten routes.

The routes and events are [V] (see :mod:`tests.published.train_yard`). Verdicts and counts of
states are [R]: computed again from the published facts by other people's throw-away scripts, not
published; 672,173 is what the stored benchmark gives but for its set-up node [M-hi].

``CLEARPROOF_PROFILE=nightly`` goes through all ten routes, every order of events, and every
mistake with every engine.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest

from tests.engines.explicit_search import Explored, explore
from tests.engines.ic3_checker import can_be_reached, needs_directed_checker
from tests.engines.random_systems import is_final, replays
from tests.published.train_yard import (
    ALL,
    ALL_STEPS,
    BLOCKS,
    FORMED,
    HELD,
    REAR,
    RESERVED,
    ROUTE,
    ROUTES,
    STEPS,
    TRACK,
    N,
    Yard,
    bits,
)
from tests.published.train_yard_system import OCCUPIED, YardSystem
from tests.published.train_yard_system import REAR as REAR_AT
from tests.sweep import NIGHTLY
from verifier.engines.interchange.aig import gates
from verifier.engines.results import Reachable, Unreachable
from verifier.engines.temporal.bmc import search
from verifier.engines.temporal.certificates import certificate, recheck
from verifier.engines.temporal.houdini import inductive_clauses
from verifier.engines.temporal.induction import prove
from verifier.engines.temporal.simulation import Machine
from verifier.logic.expr import Expr, disjunction, holds, negation
from verifier.plan.observables import Observable

nightly = pytest.mark.skipif(not NIGHTLY, reason="takes a minute: CLEARPROOF_PROFILE=nightly")

SIX = ("R1", "R2", "R3", "R4", "R5", "R6")
NAMED = {
    "reserving looks at trains, not at reservations": Yard(reserve=True),
    "forming does not look at the points": Yard(form=True),
    "a train enters a route that is not formed": Yard(enter=True),
    "points of a formed route may be set again": Yard(reset=True),
}
TABLE = {
    f"{r} does not reserve {b}": Yard(left_out={r: b}) for r, path in ROUTES.items() for b in path
}
MISTAKES = NAMED | TABLE
TO_SEARCH = MISTAKES if NIGHTLY else NAMED | {name: TABLE[name] for name in [*TABLE][::6]}


# ------------------------------------------------------------------ the facts


def test_w1_R_adjacency() -> None:
    """W1 [R]: "A:BL B:ACD C:B D:BEK E:DF F:EGK G:F H:IM I:HJK J:IKN K:DFIJ L:A M:H N:J"."""
    beside = {b: "".join(sorted({c for a, c in STEPS if a == b})) for b in BLOCKS}
    assert " ".join(f"{b}:{others}" for b, others in beside.items()) == (
        "A:BL B:ACD C:B D:BEK E:DF F:EGK G:F H:IM I:HJK J:IKN K:DFIJ L:A M:H N:J"
    )


@pytest.mark.parametrize(
    ("routes", "compatible"),
    [("R1 R6", "R4 R5 R9 R10"), ("R2 R7", "R5 R10"), ("R3 R8", ""), ("R4 R9", "R1 R6"),
     ("R5 R10", "R1 R2 R6 R7")],
)  # fmt: skip
def test_w1_V_compatible_routes(routes: str, compatible: str) -> None:
    """W1: the table of conflicts, routes that share a block."""
    for r in routes.split():
        clear = [other for other in ROUTES if not set(ROUTES[other]) & set(ROUTES[r])]
        assert clear == compatible.split()


# ------------------------------------------------------------------ every state


def gone_through(yard: Yard, most: int) -> tuple[Explored[int], int]:
    """Everything that can be reached, and how many ways lead on; each state leads on."""
    ways = 0

    def successors(s: int) -> Sequence[int]:
        nonlocal ways
        following = yard.successors(s)
        assert following, "a state with no way on"
        ways += len(following)
        return following

    return explore([yard.start], successors, most=most), ways


def trains_at_once(found: Explored[int]) -> int:
    return max((s >> REAR & ALL).bit_count() for s in found.parents)


def test_w1_R_six_routes_freeing_first() -> None:
    """W1 [R]: "routes R1-R6 only, freeing first: 79,524 states, 252,648 transitions"; "most
    trains on the yard at once: 3 (routes R1-R6 only)"; safe."""
    yard = Yard(SIX)
    found, ways = gone_through(yard, 80_000)
    assert found.complete
    assert (len(found.parents), ways) == (79_524, 252_648)
    assert trains_at_once(found) == 3
    assert {yard.wrong(s) for s in found.parents} == {""}


@nightly
def test_w1_R_six_routes_in_every_order() -> None:
    """W1 [R]: "routes R1-R6 only, all interleavings: 538,023 states, 2,726,855"."""
    yard = Yard(SIX, freeing_first=False)
    found, ways = gone_through(yard, 540_000)
    assert found.complete
    assert (len(found.parents), ways) == (538_023, 2_726_855)
    assert {yard.wrong(s) for s in found.parents} == {""}


@nightly
def test_w1_R_ten_routes_freeing_first() -> None:
    """W1 [R], [M-hi] for the benchmark: "672,173 states, 2,244,484 transitions"; "a front never
    faces another train, and never faces a block outside its own route: holds in all"; no
    deadlock [R]; at most 4 trains at once [R]."""
    yard = Yard()
    found, ways = gone_through(yard, 700_000)
    assert found.complete
    assert (len(found.parents), ways) == (672_173, 2_244_484)
    assert trains_at_once(found) == 4
    assert {yard.wrong(s) for s in found.parents} == {""}


@pytest.mark.parametrize("name", MISTAKES)
def test_w1_R_every_mistake_is_found_by_going_through_states(name: str) -> None:
    """W1 [R]: the four named mutants unsafe, and "each of the 58 (r, b) pairs: 58 of 58 unsafe".

    Where the table forgets a route's first block, a train still enters when the route is formed
    and the block free: the published guard that it be reserved would keep trains out, and hide
    that nothing protects them there."""
    yard = MISTAKES[name]
    found = explore(
        [yard.start], yard.successors, most=100_000, wanted=lambda s: yard.wrong(s) != ""
    )
    assert found.found is not None
    way = found.path(found.found)
    assert way[0] == yard.start and not any(yard.wrong(s) for s in way[:-1])


def test_w1_V_there_are_58_mistakes_of_the_table() -> None:
    assert len(TABLE) == 58


# ------------------------------------------------------------------ the transition system


def as_values(ours: YardSystem, s: int) -> Mapping[Observable, str]:
    """An explicit state as the values of the system's states."""
    values: dict[Observable, str] = {}
    for i, b in enumerate(BLOCKS):
        values[OCCUPIED[b]] = "occupied" if s >> i & 1 else "vacant"
        values[REAR_AT[b]] = "yes" if s >> (REAR + i) & 1 else "no"
        values[ours.track[b]] = "nowhere"
        values[ours.held[b]] = "none"
    for i in bits(s >> TRACK & ALL_STEPS):
        values[ours.track[STEPS[i][0]]] = STEPS[i][1]
    for i, r in enumerate(ROUTES):
        if r in ours.routes:
            values[ours.reserved[r]] = "up" if s >> (ROUTE + i) & 1 else "down"
            values[ours.formed[r]] = "up" if s >> (FORMED + i) & 1 else "down"
            for n in bits(s >> (HELD + N * i) & ALL):
                values[ours.held[BLOCKS[n]]] = r
    reserved = {BLOCKS[b] for b in bits(s >> RESERVED & ALL)}
    assert reserved == {b for b in BLOCKS if values[ours.held[b]] != "none"}
    return values


def next_states(
    ours: YardSystem, machine: Machine, s: int, chosen: Sequence[Sequence[Observable]]
) -> set[tuple[str, ...]]:
    """What follows with each set of choices."""
    values = machine.blank((1 << len(chosen)) - 1)
    machine.set(values, as_values(ours, s))
    for what in ours.system.inputs:
        yes = sum(1 << i for i, some in enumerate(chosen) if what in some)
        machine.put(values, what, "yes", yes)
        machine.put(values, what, "no", values[1] ^ yes)
    machine.evaluate(values)
    machine.advance(values)
    return {
        tuple(
            next(v for v in w.values if machine.get(values, w, v) >> i & 1)
            for w in ours.system.states
        )
        for i in range(len(chosen))
    }


def in_order(ours: YardSystem, s: int) -> tuple[str, ...]:
    values = as_values(ours, s)
    return tuple(values[what] for what in ours.system.states)


@pytest.mark.parametrize("name", ["as published", *NAMED, "R3 does not reserve K"])
def test_the_system_does_what_the_events_do_one_at_a_time(name: str) -> None:
    """From states drawn from those reached, each choice by itself is an event or does nothing;
    and both say alike what is wrong."""
    one = replace(MISTAKES.get(name, Yard()), freeing_first=False)
    ours = YardSystem(one)
    machine = Machine(ours.system)
    wrong = disjunction(*(expr for _, expr in ours.wrongs()))
    reached = list(explore([0], one.successors, most=20_000).parents)
    alone = [[], *([what] for what in ours.system.inputs)]
    for s in Random(1).sample(reached, 60):
        if not one.wrong(s):
            events = {in_order(ours, t) for t in one.successors(s)}
            here = in_order(ours, s)
            assert next_states(ours, machine, s, alone) - {here} == events - {here}
        assert holds(wrong, as_values(ours, s)) == (one.wrong(s) != "")


@pytest.mark.parametrize("routes", [("R1", "R6", "R4"), ("R2", "R5"), ("R4", "R9", "R10")])
def test_several_events_at_once_lead_nowhere_else(routes: tuple[str, ...]) -> None:
    """Where the encoding departs from the book: what comes of several choices at one moment can
    be reached by events one after the other."""
    yard = Yard(routes, freeing_first=False)
    ours = YardSystem(yard)
    machine = Machine(ours.system)
    found = explore([0], yard.successors, most=50_000)
    assert found.complete
    every = {in_order(ours, s) for s in found.parents}
    chance = Random(2)
    inputs = ours.system.inputs
    for s in chance.sample(list(found.parents), min(150, len(found.parents))):
        drawn = [chance.sample(inputs, chance.randint(2, len(inputs))) for _ in range(40)]
        assert next_states(ours, machine, s, drawn) <= every


def test_w1_V_the_published_invariants_are_proved() -> None:
    """W1: the invariants of the benchmark [V] hold; "proved in the book" [M-hi]. Together they
    last, each needing others, and leave no room for a train that faces another or a block
    outside its route [R]; a solver that has seen nothing else agrees."""
    ours = YardSystem(Yard())
    invariants = [negation(expr) for _, expr in ours.invariants()]
    for asked in (ours.invariants(), ours.wrongs()):
        bad = disjunction(*(expr for _, expr in asked))
        proof = prove(ours.system, bad, invariants)
        assert isinstance(proof, Unreachable)
        assert recheck(certificate(ours.system, bad, proof.clauses, title="W1"))


@nightly
def test_what_is_wrong_is_excluded_with_only_the_published_invariants_hinted_at() -> None:
    """The same by what is found to last, the invariants being no more than hints."""
    ours = YardSystem(Yard())
    hints = [negation(expr) for _, expr in ours.invariants()]
    clauses = inductive_clauses(ours.system, hints=hints)
    bad = disjunction(*(expr for _, expr in ours.wrongs()))
    assert isinstance(prove(ours.system, bad, clauses), Unreachable)


def asked_about(name: str, ours: YardSystem) -> Expr:
    """All that may be wrong. Where points may be set again it takes fourteen moments, and is
    asked about at one place, as the program does."""
    wrongs = dict(ours.wrongs())
    if name == "points of a formed route may be set again":
        return wrongs["E is occupied and not reserved"]
    return disjunction(*wrongs.values())


@pytest.mark.parametrize("name", TO_SEARCH)
def test_w1_R_every_mistake_is_found_by_bounded_search(name: str) -> None:
    ours = YardSystem(TO_SEARCH[name])
    bad = asked_about(name, ours)
    found = search(ours.system, bad, most=16)
    assert isinstance(found, Reachable)
    assert replays(ours.system, bad, found)
    invariants = [negation(expr) for _, expr in ours.invariants()]
    assert is_final(prove(ours.system, bad, invariants))


@needs_directed_checker
def test_the_outside_engine_agrees(tmp_path: Path) -> None:
    for yard, unsafe in ((Yard(), False), (TABLE["R1 does not reserve B"], True)):
        ours = YardSystem(yard)
        made = gates(ours.system, [disjunction(*(expr for _, expr in ours.wrongs()))])
        assert can_be_reached(made.circuit, 0, tmp_path) == unsafe
