"""Stepper against expressions, and engines over time against going through everything, on
generated junctions with memory, time and locks.

``CLEARPROOF_PROFILE=nightly`` runs thousands of them.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from functools import partial
from itertools import product
from random import Random

import pytest

import verifier
from tests.differential.locked import write_locked
from tests.differential.locked_wired import write_locked_and_wired
from tests.differential.steps import Moments, gathered, walk
from tests.differential.windows import Small, small_systems
from tests.engines.explicit_search import Choices, Values, ever, explore
from tests.engines.random_systems import is_final
from tests.engines.test_explicit_search import is_history
from tests.sweep import NIGHTLY
from verifier.engines.results import Reachable, Unknown, Unreachable
from verifier.engines.temporal import pdr
from verifier.engines.temporal.bmc import search
from verifier.engines.temporal.houdini import inductive_clauses
from verifier.engines.temporal.localization import Windows
from verifier.engines.temporal.scheduling import scheduled
from verifier.logic.expr import (
    Atom,
    Expr,
    atom,
    conjunction,
    constant,
    disjunction,
    holds,
    substitute,
    support,
)
from verifier.plan import observables
from verifier.plan.devices import devices
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.wiring.faults import Fault
from verifier.reference.evaluator import Unsettled
from verifier.reference.inputs import heard
from verifier.reference.step import Stepper, replay
from verifier.world.history import Histories

JUNCTIONS, ROOM, MOMENTS = (3000, 20_000, 400) if NIGHTLY else (40, 1500, 60)
WINDOWS, WINDOW_ROOM = (1500, 2000) if NIGHTLY else (20, 300)
# States of a window that are gone through.
MOST = 500


def loaded(text: str) -> Plan | None:
    """The plan; None where the file is refused because its signals go round in a circle."""
    try:
        return verifier.load_text(text)
    except verifier.InputError as error:
        assert {d.code for d in error.diagnostics} == {"CP409"}, f"{error}\n{text}"
        return None


# ------------------------------------------------------------------ one step


@pytest.mark.parametrize("seed", range(JUNCTIONS))
def test_every_step_is_the_same(seed: int) -> None:
    r = Random(seed)
    plan = loaded(write_locked(r, ROOM))
    if plan is not None:
        steps_agree(plan, r, lossy=seed % 2 == 0)


@pytest.mark.parametrize("seed", range(JUNCTIONS // 2))
def test_every_step_is_the_same_through_wires(seed: int) -> None:
    r = Random(500 + seed)
    plan = loaded(write_locked_and_wired(r, ROOM))
    if plan is not None:
        faults = r.sample(plan.equipment.faults, min(12, len(plan.equipment.faults)))
        try:
            faults = faults if seed % 3 else []
            steps_agree(plan, r, lossy=seed % 2 == 0, blips=seed % 4 == 1, faults=faults)
        except (verifier.InputError, Unsettled):
            assert faults  # with them, what signals show goes round in a circle


def test_wires_are_not_always_truthful() -> None:
    """Among the junctions above, locks hear reports that differ from the truth either way."""
    heard: Counter[tuple[str, str]] = Counter()
    either = ("occupied", "clear"), ("vacant", "occupied")
    for seed in range(JUNCTIONS // 2):
        r = Random(500 + seed)
        plan = loaded(write_locked_and_wired(r, ROOM))
        if plan is None or all(heard[way] > 20 for way in either):
            continue
        for step in gathered(Stepper(plan), 200, r).steps:
            for block in (b.name for b in plan.blocks.values() if b.detected):
                truth = step.observed[observables.stock(block)]
                heard[truth, step.observed[observables.block_report(block)]] += 1
    assert all(heard[way] > 20 for way in either), heard


def test_a_relay_that_is_slow_both_ways_is_the_same() -> None:
    """Both delays have one clock."""
    plan = verifier.load_text("""
edge West, East
block A, B
button Go
track West = A | B = East
trains need 8 s to stop
relay R picks when Go pressed slow to pick 2 s slow to release 7 s
signal 2 at A | B  Approach when R up and B clear  Stop otherwise
""")
    steps_agree(plan, Random(1), lossy=False)


def test_a_false_report_may_be_anywhere_in_its_block() -> None:
    """What the file allows after a step depends on where current is taken to flow that does not."""
    plan = verifier.load_text("""
button Push
edge West entering only
edge East
block B1 900 mm feeders f1
block B2 1200 mm feeders f2
track West = B1 | B2 = East
lever L positions left, normal, right
signal S at B1 | B2
  Approach when B2 clear
  Stop otherwise
assume "that it stays clear" always not S at stop
traffic Way on B2
  rightward when not L left
  leftward when L left and B2 occupied
trains 1300 mm to 1300 mm, detectable at the locomotive only, load 2 mA
supply Rail track power DCC 14 V 5 A
district North fed by Rail
detector D1 current-sensing on B1 through f1
detector D2 current-sensing on B2 through f2
driver Board drives S reads D1, D2
""")
    for seed in range(4):
        steps_agree(plan, Random(seed), lossy=False, blips=True)


def steps_agree(
    plan: Plan, r: Random, *, lossy: bool, blips: bool = False, faults: Sequence[Fault] = ()
) -> None:
    """The system of a plan and the stepper say the same of any moment."""
    stepper = Stepper(plan, lossy=lossy, blips=blips, faults=faults)
    histories = Histories(plan, lossy=lossy, blips=blips, faults=faults)
    system = histories.system
    assert set(system.states) == set(stepper.states)
    then = [what for what in system.inputs if what.kind == "then"]
    assert {what for what in system.inputs if what not in then} <= set(stepper.choices)
    assert dict(system.initial) == dict(stepper.variables.starts())
    for _ in range(20):
        start = {what: r.choice(values) for what, values in system.initial.items()}
        alike = all(len({start[what] for what in group}) == 1 for group in system.alike)
        assert alike == stepper.variables.is_start(start)
    # Whom one sees after acting is left out where that can make no difference: there cannot be a
    # circle through it then.
    sights = {what for what in stepper.choices if what.kind in ("sees", "sees by signals")}
    moments = gathered(stepper, MOMENTS, r, sights.difference(system.inputs))
    for what in system.states:
        states = [step.successor[what] for step in moments.steps]
        for value in what.values:
            expr = system.following[what].get(value)
            comes = moments.of(expr) if expr is not None else 0
            same(moments, comes, moments.where(states, [value]), f"next {what} {value}")
    allowed = [str(stepper.goes(step)) for step in moments.steps]
    holds = moments.every
    for expr in system.always:
        holds &= moments.of(expr)
    same(moments, holds, moments.where(allowed, ["True"]), "what is assumed")
    for what in (*histories.events(), *seen_things(plan)):
        states = [step.observed[what] for step in moments.steps]
        for value in what.values:
            comes = moments.of(whatever(histories.expand(atom(what, value)), value, then))
            same(moments, comes, moments.where(states, [value]), f"{what} {value}")


def whatever(expr: Expr, value: str, then: Sequence[Observable]) -> Expr:
    """An event happens when it does for some commands at the moment after; else it does not."""
    read = [what for what in then if what in support(expr)]
    cases = []
    for values in product(*(what.values for what in read)):
        given = dict(zip(read, values, strict=True))

        def known(part: Atom, given: dict[Observable, str] = given) -> Expr:
            return constant(given[part.what] in part.values) if part.what in given else part

        cases.append(substitute(expr, known))
    return conjunction(*cases) if value == "no" else disjunction(*cases)


def same(moments: Moments, one: int, other: int, about: str) -> None:
    differs = one ^ other
    assert not differs, f"{about}: {moments.first(differs)}"


def seen_things(plan: Plan) -> list[Observable]:
    """What properties ask of a moment, reports as each board gets them included."""
    found = [observables.stock(block) for block in plan.blocks]
    found += [observables.block_report(b.name) for b in plan.blocks.values() if b.detected]
    for device in devices(plan).values():
        found += [device.lies, device.report]
    for signal in plan.signals.values():
        found += [signal.aspect, signal.reading]
    return [*found, *heard(plan), *map(observables.condition, plan.conditions)]


def test_chance_tries_everything() -> None:
    """Histories at random come to every kind of event and of change, and to moments that the
    file does not allow: otherwise their agreement would say little."""
    happened: Counter[str] = Counter()
    for seed in range(30):
        r = Random(seed)
        plan = loaded(write_locked(r, ROOM))
        if plan is None:
            continue
        stepper = Stepper(plan, lossy=seed % 2 == 0)
        for _ in range(2):
            moments, steps = walk(stepper, 12, r)
            for moment, step in zip(moments, steps, strict=True):
                changed = (w for w, v in step.successor.items() if moment[w] != v)
                happened.update(w.kind for w in changed)
                seen = {**moment, **step.observed}
                happened.update(w.kind for w, v in seen.items() if v == "yes")
                happened["forbidden"] += not stepper.allowed(step.observed)
    assert set(happened) >= {
        "train", "heading", "across", "pace", "points", "derail", "gate", "thrown",
        "relay", "timer", "traffic", "clock", "late", "lost", "points move", "trains meet",
        "train derails", "traffic turns",
        "lock released", "advance", "entry", "reversal", "arrival", "throw", "expiry", "put back",
        "loss", "stays late", "stays put back", "stays lost", "forbidden",
    }  # fmt: skip
    assert all(happened.values()), happened


# ------------------------------------------------------------------ engines


@pytest.mark.parametrize("first", range(0, WINDOWS, 10))
def test_engines_agree_with_going_through_everything(first: int) -> None:
    """Ten junctions at a time, among which every answer comes up."""
    answers: Counter[str] = Counter()
    for seed in range(first, first + 10):
        r = Random(seed)
        plan = loaded(write_locked(r, WINDOW_ROOM))
        if plan is not None:
            for small in small_systems(plan, r, lossy=seed % 4 == 0):
                answers.update(engines_agree(small))
    assert answers["happens"] and answers["never"] and answers["proved"], answers


def engines_agree(small: Small) -> list[str]:
    """What came out, of what was gone through."""
    system, bad = small
    answer = ever(system, bad, most=MOST)
    if isinstance(answer, Unknown):
        return []
    if answer is None:
        assert is_final(search(system, bad, most=6))
    else:
        depth = len(answer.trace) - 1
        assert not depth or is_final(search(system, bad, most=depth - 1))
        found = search(system, bad, most=depth)
        assert isinstance(found, Reachable) and len(found.trace) == depth + 1
        for history in (answer, found):
            is_history(system, history)
            assert holds(bad, history.trace[-1])
    clauses = inductive_clauses(system)
    choices = Choices(system)
    reached = explore(choices.starts(), choices.successors, most=MOST)
    always_hold(choices, reached.parents, clauses)
    proof = pdr.prove(system, bad)
    (decided,) = Windows(system, timeout=20).decide([bad])
    for outcome in (proof, decided.outcome):
        if isinstance(outcome, Unreachable):
            assert answer is None
            always_hold(choices, reached.parents, outcome.clauses)
        if isinstance(outcome, Reachable):
            assert answer is not None
            is_history(system, outcome)
    proved = isinstance(decided.outcome, Unreachable)
    return ["never" if answer is None else "happens", *["proved"] * proved]


def always_hold(choices: Choices, reached: Iterable[Values], clauses: Iterable[Expr]) -> None:
    """Clauses hold at every moment there can be."""
    for state in reached:
        allowed = choices.allowed(state)
        for clause in clauses:
            assert not allowed & ~choices.ways(clause, state), f"{clause} fails in {state}"


@pytest.mark.parametrize("first", range(0, WINDOWS, 10))
def test_what_is_found_on_a_junction_replays(first: int) -> None:
    """Ten junctions at a time, on some of which something is found."""
    found = 0
    for seed in range(first, first + 10):
        r = Random(1000 + seed)
        plan = loaded(write_locked(r, WINDOW_ROOM))
        if plan is None:
            continue
        lossy = seed % 4 == 0
        histories = Histories(plan, lossy=lossy)
        entries = frozenset(w for w in histories.system.inputs if w.kind == "entry")
        for event in r.sample(list(histories.events()), 2):
            bad = atom(event, "yes")
            answer = search(histories.system, histories.expand(bad), most=5, few=[entries])
            if isinstance(answer, Reachable):
                found += 1
                played = scheduled(histories.system, answer.trace)
                assert played is not None
                happens, seconds = partial(holds, bad), played.seconds
                assert replay(
                    plan, played.moments, happens, lossy=lossy, seconds=seconds, wrecks_stay=False
                )
    assert found
