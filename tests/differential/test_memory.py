"""Rules that ask what is remembered: solver against going through every situation.

In a single situation relays, timers and direction of traffic may be as they like, apart from
what is known of them.
"""

from collections import Counter
from functools import partial
from random import Random

import pytest

import verifier
from tests.differential.agreement import world_agrees
from tests.differential.junctions import write_junction
from tests.differential.truth import Truth
from tests.sweep import NIGHTLY
from verifier.api import situation_of
from verifier.engines.results import Exists, Impossible
from verifier.engines.smt.situations import SituationCheck
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import holds
from verifier.plan.model import Plan
from verifier.plan.observables import Condition, Not
from verifier.properties.catalog import FAILURES, obligations
from verifier.properties.obligation import Obligation
from verifier.reference.explicit_situations import tally
from verifier.reports.words import situation_words
from verifier.world.world import World

SEEDS, ROOM = (range(400), 5_000) if NIGHTLY else (range(24), 400)

# 4L and its relay ask each other, and so do the two relays: none of it is a circle.
ASKING = """\
edge West, Yard, East
block Main, Siding, Switch, Single
turnout T1 in Switch
track West = Main   | normal  T1 | Single = East
track Yard = Siding | reverse T1
button Clear-4L
relay 4L-route
  picks when Clear-4L pressed and 4L at stop and 4R-route down
  sticks while 4L-time running
relay 4R-route picks when 4L-route down and Ready
timer 4L-time 30 s runs while 4L at stop and Single occupied
traffic Way on Single
  rightward when 4R-route up
  leftward when 4L-route up
  locked while Single occupied
condition Ready is Way rightward and 4L-time done
signal 4L at Single | T1
  Clear when 4L-route up and Way leftward and T1 normal and Switch, Main clear
  Approach when 4L-route up and T1 normal
  Stop otherwise
signal 4R at Main | T1
  Clear when 4R-route up and Way rightward and T1 normal and Switch, Single clear and 4L at stop
  Stop otherwise
prove "4R waits" never 4R proceeds and not 4L-time done
prove "both ways" possible 4L-route up and Way rightward
"""


def of_situations(plan: Plan, world: World) -> list[Obligation]:
    return [
        o
        for o in obligations(plan, world.lower)
        if o.over == "situations" and o.property not in FAILURES
    ]


def check(plan: Plan, *memory_facts: Condition, tallied: bool = True) -> Counter[str]:
    """Everything that must agree. Returns what came out. ``tallied``: what goes through all
    situations in the product is asked, too."""
    facts = [World(plan).lower(condition) for condition in memory_facts]
    truth, world = Truth(plan, memory_facts=facts), World(plan, memory_facts=facts)
    world_agrees(truth, world)
    asked = of_situations(plan, world)
    solver = SituationCheck.of(world)
    came_out: Counter[str] = Counter()
    for obligation in asked:
        where = truth.of(obligation.formula) & truth.allowed
        answer = solver.find(world.expand(obligation.formula), smallest=True)
        if where:
            assert isinstance(answer, Exists), obligation.key
            assert answer.situation == truth.simplest(where), obligation.key
        else:
            assert isinstance(answer, Impossible), obligation.key
        came_out[f"{obligation.property} {bool(where)}"] += 1
    if tallied:
        known = [partial(holds, fact) for fact in facts]
        counts = tally(plan, [o.holds_in for o in asked], known)
        for obligation, counted in zip(asked, counts, strict=True):
            where = truth.of(obligation.formula) & truth.allowed
            assert counted.count == where.bit_count(), obligation.key
            assert counted.smallest == truth.simplest(where), obligation.key
    return came_out


def test_signals_and_relays_that_ask_each_other() -> None:
    plan = verifier.load_text(ASKING)
    came_out = check(plan)
    assert {key.split()[-1] for key in came_out} == {"True", "False"}
    asked = {says.what.kind for signal in plan.signals.values() for says in plan.facts_read(signal)}
    assert {"relay", "traffic", "aspect"} <= asked


def test_what_is_known_of_memory_leaves_situations_out() -> None:
    plan = verifier.load_text(ASKING + "condition Both is 4L-route, 4R-route up\n")
    both = plan.conditions["Both"].condition
    never = Not(both, both.span)
    fact = World(plan).lower(never)
    everything, less = Truth(plan).allowed, Truth(plan, memory_facts=[fact]).allowed
    assert less.bit_count() * 4 == everything.bit_count() * 3
    check(plan, never)


@pytest.mark.parametrize("seed", SEEDS)
def test_generated_junctions(seed: int) -> None:
    for i in range(20):
        try:
            plan = verifier.load_text(write_junction(Random(f"{seed} {i}"), ROOM, memory=True))
        except InputError as error:
            assert {d.code for d in error.diagnostics} == {"CP409"}
            continue
        if plan.locking.memory:
            break
    assert plan.locking.over_time
    check(plan)
    relay = next((w for w in plan.inputs if w.kind == "relay"), None)
    if relay is not None:
        up = plan.locking.relays[relay.name].picks
        check(plan, up)


def test_situations_with_memory_are_told_and_read_again() -> None:
    plan = verifier.load_text(ASKING)
    said = "relay 4L-route up, timer 4L-time done, traffic Way leftward"
    situation = situation_of(plan, said)
    words = situation_words(plan, situation, plan.inputs)
    for part in ("relay 4L-route is up", "relay 4R-route is down", "timer 4L-time is done",
                 "traffic Way is leftward"):  # fmt: skip
        assert part in words.split("; ")
    told = "; ".join(w for w in words.split("; ") if "vacant" not in w)
    assert situation_of(plan, told) == situation
    seen = verifier.evaluate(plan, situation)
    assert seen.aspect(plan.signals["4L"]) == "Clear"
