"""A timer beside fast relays: clearproof against a program of its own.

The program knows nothing of clearproof but the file, like the one in test_races.py. In each step
the relays and the timer act once, in any order; a timer that runs is done at the end of a later
step. Real relays are quick: a timer of 20 s is not done before those that have cause to move have
moved. Where all of them come to rest, clearproof finds just what real relays do. Where some go on
forever, like a relay that picks when it is down, it may find more, and errs to the safe side.
"""

from collections.abc import Iterator, Mapping
from functools import cache
from itertools import product
from random import Random

import pytest

import verifier
from tests.differential.test_races import (
    BUTTONS,
    HEAD,
    Condition,
    Facts,
    Relay,
    holds,
    lines_of,
    said,
    views,
)  # fmt: skip
from verifier.decide.histories import HistoryProver
from verifier.plan.locking.settling import settling
from verifier.plan.model import Plan
from verifier.properties.catalog import obligations
from verifier.world.world import World

SEEDS = range(6)
views_of = cache(lambda names: tuple(views(names)))

# What is said of a timer; its own state is idle, running or done.
SAID = ("T running", "T done")
# The relays, up or down; the timer; whether any time may have passed since it began to run.
State = tuple[tuple[bool, ...], str, bool]


def facts(names: tuple[str, ...], up: tuple[bool, ...], timer: str) -> Mapping[str, bool]:
    return dict(zip(names, up, strict=True)) | {what: what == f"T {timer}" for what in SAID}


def after(timer: str, runs: bool, ends: bool) -> str:
    """A timer that acts."""
    if not runs:
        return "idle"
    if timer == "running" and ends:
        return "done"
    return "running" if timer == "idle" else timer


def steps(
    relays: Mapping[str, Relay], runs: Condition, state: State, real: bool
) -> Iterator[State]:
    """Every state after one step. ``real``: the timer is done only once time may have passed, and
    none passes while a relay or the timer has cause to move."""
    names, (up, timer, aged) = tuple(relays), state
    now = facts(names, up, timer)
    for values in product((False, True), repeat=len(BUTTONS)):
        pressed = dict(zip(BUTTONS, values, strict=True))

        def moved(name: str, sees: Mapping[str, bool]) -> bool:
            relay = relays[name]
            return holds(relay.picks, sees) or (now[name] and holds(relay.sticks, sees))

        before = {**pressed, **now}
        rests = all(moved(name, before) == now[name] for name in names)
        rests = rests and after(timer, holds(runs, before), False) == timer
        passed = aged or (timer == "running" and rests)
        for seen, ends in product(views_of((*names, "T")), (False, True)):
            if ends and (timer != "running" or (real and not passed)):
                continue
            new: dict[str, bool] = {}
            then = ""
            while not then or len(new) < len(names):
                for name in (*names, "T"):
                    known = {*new, *(["T"] if then else [])}
                    if name in known or not seen[name] <= known:
                        continue
                    sees = {**before, **{n: new[n] for n in names if n in seen[name]}}
                    if "T" in seen[name]:
                        sees |= {what: what == f"T {then}" for what in SAID}
                    if name == "T":
                        then = after(timer, holds(runs, sees), ends)
                    else:
                        new[name] = moved(name, sees)
            lasts = then == timer == "running"
            yield tuple(new[name] for name in names), then, lasts and passed


def reached(relays: Mapping[str, Relay], runs: Condition, *, real: bool) -> set[tuple[bool, ...]]:
    start: State = ((False,) * len(relays), "idle", False)
    found, waiting = {start}, [start]
    while waiting:
        for state in set(steps(relays, runs, waiting.pop(), real)) - found:
            found.add(state)
            waiting.append(state)
    return {up for up, _, _ in found}


# ------------------------------------------------------------------ files


def generated(r: Random) -> tuple[dict[str, Relay], Condition]:
    """Two or three relays and a timer that ask about each other and about the buttons."""
    names = [f"R{i}" for i in range(r.randint(2, 3))]

    def condition(about: list[str]) -> Condition:
        return tuple(
            tuple((name, r.random() < 0.5) for name in r.sample(about, r.randint(1, 2)))
            for _ in range(r.randint(1, 2))
        )

    about = [*names, *BUTTONS, *SAID]
    relays = {name: Relay(condition(about), condition(about)) for name in names}
    return relays, ((("R0", True),),)


def written(condition: Condition) -> str:
    def fact(name: str, wanted: bool) -> str:
        if name.startswith("R"):
            return f"{name} {'up' if wanted else 'down'}"
        said = name if name in SAID else f"{name} pressed"
        return said if wanted else f"not {said}"

    def each(some: Facts) -> str:
        return " and ".join(fact(name, wanted) for name, wanted in some)

    return " or ".join(f"({each(some)})" for some in condition)


def plan_of(relays: Mapping[str, Relay], runs: Condition) -> Plan:
    lines = [HEAD, "built of relays", f"button {', '.join(BUTTONS)}"]
    lines += [f"timer T 20 s runs while {written(runs)}", *lines_of(relays, written)]
    return verifier.load_text("\n".join(lines) + "\n")


def broken(plan: Plan) -> set[str]:
    """The proofs of the file that are broken; all others are proved."""
    titles = {proof.title for proof in plan.proofs}
    prover = HistoryProver(plan, 30.0, lambda: None)
    asked = [o for o in obligations(plan, World(plan).lower) if o.property in titles]
    found = {v.obligation.property: v.status for v in prover.decide(asked).values()}
    assert found.keys() == titles and set(found.values()) <= {"proved", "broken"}
    return {title for title, status in found.items() if status == "broken"}


# ------------------------------------------------------------------ agreement


@pytest.mark.parametrize("seed", SEEDS)
def test_what_is_reached_beside_a_timer(seed: int) -> None:
    relays, runs = generated(Random(seed))
    plan = plan_of(relays, runs)
    found = broken(plan)
    real = {said(state) for state in reached(relays, runs, real=True)}
    assert real <= found <= {said(state) for state in reached(relays, runs, real=False)}
    if settling(plan) == {*relays, "T"}:
        assert found == real


# R1 has cause from R0 on, as the timer has. R2 picks only if the 20 s are over before R1 moves.
LATE = {
    "R0": Relay(((("P", True),),), ((("R0", True),),)),
    "R1": Relay(((("R0", True),),), ((("R1", True), ("R1", False)),)),
    "R2": Relay(((("T done", True), ("R1", False)),), ((("R2", True),),)),
}
RUNS: Condition = ((("R0", True),),)


def test_a_timer_is_not_done_before_a_fast_relay_moves() -> None:
    """Of any length: R2 never picks, whether or not the timer waits for R1."""
    up = (True, True, True)
    assert up in reached(LATE, RUNS, real=False) - reached(LATE, RUNS, real=True)
    plan = plan_of(LATE, RUNS)
    assert settling(plan) == {"R0", "R1", "R2", "T"}
    assert said(up) not in broken(plan)


def test_time_passes_while_a_relay_goes_on_for_ever() -> None:
    """A buzzer never comes to rest, and no proof may rest on that: the timer is done all the
    same."""
    relays = {
        "R0": Relay(((("P", True),),), ((("R0", True),),)),
        "R1": Relay(((("T done", True),),), ((("R1", True),),)),
        "R2": Relay(((("R2", False),),), ((("R2", True), ("R2", False)),)),
    }
    plan = plan_of(relays, RUNS)
    assert settling(plan) == {"R0", "R1", "T"}
    assert {said((True, True, True)), said((True, True, False))} <= broken(plan)


def test_most_of_what_is_generated_comes_to_rest() -> None:
    plans = (plan_of(*generated(Random(seed))) for seed in SEEDS)
    assert sum(settling(plan) == {*plan.locking.memory} for plan in plans) > 1
