"""Relays that race, with a timer beside them or without: what the programs of test_races.py and
test_late_timers.py find, which know nothing of clearproof, against solver and reference.

The text is read here once more, by its words: relays, a timer, and claims that some states of the
relays are never reached."""

import re
from collections import Counter
from functools import partial
from random import Random

import verifier
from tests.differential import test_late_timers as late
from tests.differential import test_races as races
from tests.differential.test_races import Condition, Relay
from verifier.logic.expr import holds
from verifier.plan.locking.settling import settling
from verifier.plan.model import Plan
from verifier.properties.catalog import obligations
from verifier.reference.explicit_states import Reached, TooLarge, search
from verifier.world.world import World

MOST_STEPS = 4000
_RELAY = re.compile(r"^relay (\S+)\n  picks when (.*)\n  sticks while (.*)$", re.M)
_TIMER = re.compile(r"^timer T 20 s runs while (.*)$", re.M)


def write_race(r: Random) -> str:
    relays = races.generated(r)
    names = list(relays)[: r.choice([2, 3, 3, 3, 4])]
    if len(names) == len(relays):
        built = r.choice(["built of relays", "built of relays", "built as one program"])
        return races.plan_of(relays, built).source.text
    return write_race(r)


def write_late(r: Random) -> str:
    return late.plan_of(*late.generated(r)).source.text


def check_race(text: str, _: Random) -> Counter[str]:
    plan, relays = verifier.load_text(text), relays_of(text)
    states = races.reachable(relays, program="built as one program" in text)
    asked = {proof.title for proof in plan.proofs}
    wanted = asked & {races.said(state) for state in states}
    assert late.broken(plan) == wanted, "the solver"
    return counted(asked, wanted) + reference_agrees(plan, wanted, asked - wanted)


def check_late(text: str, _: Random) -> Counter[str]:
    plan, relays = verifier.load_text(text), relays_of(text)
    (words,) = _TIMER.findall(text)
    asked = {proof.title for proof in plan.proofs}
    real, most = (
        asked & {races.said(s) for s in late.reached(relays, condition_of(words), real=real)}
        for real in (True, False)
    )
    found = late.broken(plan)
    assert real <= found <= most, "the solver"
    if settling(plan) == {*relays, "T"}:
        assert found == real, "the solver, of what comes to rest"
    return counted(asked, found) + reference_agrees(plan, real, asked - most)


def counted(asked: set[str], reached: set[str]) -> Counter[str]:
    return Counter({"reached": len(reached), "never": len(asked - reached)})


def reference_agrees(plan: Plan, reached: set[str], never: set[str]) -> Counter[str]:
    """The search through every state over the reference finds the one and not the other."""
    asked = [o for o in obligations(plan, World(plan).lower) if o.property in reached | never]
    answers = search(plan, [partial(holds, o.formula) for o in asked], most_steps=MOST_STEPS)
    counts: Counter[str] = Counter()
    for obligation, answer in zip(asked, answers, strict=True):
        if not isinstance(answer, TooLarge):
            found = isinstance(answer, Reached)
            assert found == (obligation.property in reached), "the reference"
            counts["third program, solver and reference agree"] += 1
    return counts


# ------------------------------------------------------------------ the text, read once more


def relays_of(text: str) -> dict[str, Relay]:
    return {
        name: Relay(condition_of(picks), condition_of(sticks))
        for name, picks, sticks in _RELAY.findall(text)
    }


def condition_of(words: str) -> Condition:
    return tuple(
        tuple(map(_fact, some.split(" and "))) for some in re.findall(r"\(([^()]*)\)", words)
    )


def _fact(words: str) -> tuple[str, bool]:
    match words.split():
        case [name, "up" | "down" as state]:
            return name, state == "up"
        case ["T", state]:
            return f"T {state}", True
        case ["not", "T", state]:
            return f"T {state}", False
        case ["not", name, "pressed"]:
            return name, False
        case [name, "pressed"]:
            return name, True
        case _:
            raise ValueError(words)
