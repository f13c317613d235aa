"""Engines over time, on the encoded system, against the explicit-state search, over the stepper.

The two share neither the semantics of the layout nor a way of searching. On generated lines with
memory, time and trains they must agree on each obligation and each event: whether a history leads
there, and how long the shortest is.

``CLEARPROOF_PROFILE=nightly`` runs thousands of lines.
"""

from collections import Counter
from collections.abc import Sequence
from functools import partial
from random import Random

import pytest

import verifier
from tests.differential.locked_wired import with_releases
from tests.differential.small_lines import with_detectors, write_line
from tests.engines.random_systems import is_final
from tests.sweep import NIGHTLY
from verifier.engines.results import Reachable, Unreachable
from verifier.engines.temporal.bmc import search as bounded_search
from verifier.engines.temporal.localization import Windows
from verifier.engines.temporal.scheduling import scheduled
from verifier.logic.expr import Expr, atom, holds
from verifier.plan.model import Plan
from verifier.plan.wiring.faults import Fault
from verifier.properties.catalog import obligations
from verifier.reference.condition_eval import Predicate
from verifier.reference.evaluator import Unsettled
from verifier.reference.explicit_states import Never, Reached, TooLarge, search
from verifier.reference.step import replay
from verifier.reference.transition import Valuation
from verifier.world.history import Histories
from verifier.world.world import World

LINES, MOST_STEPS = (4000, 20_000) if NIGHTLY else (40, 2_500)
# Moments up to which the bounded search confirms "never".
DEPTH = 8 if NIGHTLY else 4


@pytest.mark.parametrize("first", range(0, LINES, 20))
def test_engines_agree_with_the_search_over_the_stepper(first: int) -> None:
    """Twenty lines at a time, among which every answer comes up."""
    answers: Counter[str] = Counter()
    for seed in range(first, first + 20):
        try:
            plan = verifier.load_text(write_line(Random(seed)))
        except verifier.InputError as error:
            assert {d.code for d in error.diagnostics} == {"CP409"}, error
            continue
        answers.update(agree(plan, lossy=seed % 3 == 0))
    assert answers["never"] and answers["proved"] and answers["reached"], answers
    assert answers["reached late"], answers


@pytest.mark.parametrize("first", range(0, LINES // 2, 10))
def test_engines_agree_through_wires(first: int) -> None:
    """The same of lines whose locks hear through detectors: every fault, and false reports."""
    answers: Counter[str] = Counter()
    for seed in range(first, first + 10):
        r = Random(9000 + seed)
        try:
            plan = verifier.load_text(with_releases(r, with_detectors(r, write_line(r))))
        except verifier.InputError as error:
            assert {d.code for d in error.diagnostics} == {"CP409"}, error
            continue
        faults = plan.equipment.faults
        if seed % 4:
            try:
                answers.update(agree(plan, faults=r.sample(faults, min(2, len(faults)))))
            except (verifier.InputError, Unsettled):
                answers["circle"] += 1
        else:
            answers.update(agree(plan, blips=True))
    assert answers["never"] and answers["proved"] and answers["reached"], answers


def agree(
    plan: Plan, *, lossy: bool = False, blips: bool = False, faults: Sequence[Fault] = ()
) -> Counter[str]:
    """How often each answer came up."""
    histories = Histories(plan, lossy=lossy, blips=blips, faults=faults)
    system = histories.system

    def timely(trace: Sequence[Valuation], predicate: Predicate) -> bool | None:
        """Whether it replays; None where delays and losses leave no time for it, which the search
        does not look at."""
        states = (*system.states, *system.inputs)
        whole = [{what: moment.get(what, what.usual) for what in states} for moment in trace]
        played = scheduled(system, whole)
        return None if played is None else replay(
            plan, played.moments, predicate, lossy=lossy, blips=blips, faults=faults,
            seconds=played.seconds, wrecks_stay=False,
        )  # fmt: skip

    over = "lossy" if lossy else "histories"
    asked = [o for o in obligations(plan, World(plan).lower) if o.over == over]
    bads: dict[str, Expr] = {o.key: o.formula for o in asked}
    bads |= {str(event): atom(event, "yes") for event in histories.events()}
    predicates = [partial(holds, bad) for bad in bads.values()]
    answers = search(
        plan, predicates, most_steps=MOST_STEPS, lossy=lossy, blips=blips, faults=faults,
        wrecks_stay=False,
    )  # fmt: skip
    known = [
        (about, histories.expand(bads[about]), partial(holds, bads[about]), answer)
        for about, answer in zip(bads, answers, strict=True)
        if not isinstance(answer, TooLarge)
    ]
    decided = Windows(system, timeout=20).decide([bad for _, bad, _, _ in known])
    counts: Counter[str] = Counter()
    for (about, bad, predicate, answer), found in zip(known, decided, strict=True):
        if isinstance(answer, Reached):
            replays = timely(answer.history, predicate)
            if replays is None:
                counts["too late"] += 1
                continue
            assert replays, about
            assert not isinstance(found.outcome, Unreachable), about
            bounded = bounded_search(system, bad, most=len(answer.history) - 1)
            assert isinstance(bounded, Reachable), about
            assert len(bounded.trace) == len(answer.history), about
            counts.update(["reached", *["reached late"] * (len(answer.history) > 2)])
        else:
            assert not isinstance(found.outcome, Reachable), about
            assert is_final(bounded_search(system, bad, most=DEPTH)), about
            counts.update(["never", *["proved"] * isinstance(found.outcome, Unreachable)])
        if isinstance(found.outcome, Reachable):
            assert timely(found.outcome.trace, predicate), about
    return counts


@pytest.mark.parametrize("first", range(0, LINES // 2, 10))
def test_trains_that_met_or_derailed_stay_where_they_are(first: int) -> None:
    """What the engines prove of such histories, the search over the stepper never finds."""
    answers: Counter[str] = Counter()
    for seed in range(first, first + 10):
        try:
            plan = verifier.load_text(write_line(Random(seed)))
        except verifier.InputError:
            continue
        answers.update(wrecks_agree(plan))
    assert answers["never"] and answers["reached"], answers


def wrecks_agree(plan: Plan) -> Counter[str]:
    """How often each answer came up; ``staying``: only because trains stay."""
    histories = Histories(plan, wrecks=True)
    events = list(histories.events())
    bads = [atom(event, "yes") for event in events]
    predicates = [partial(holds, bad) for bad in bads]
    exact = search(plan, predicates, most_steps=MOST_STEPS)
    loose = search(plan, predicates, most_steps=MOST_STEPS, wrecks_stay=False)
    decided = Windows(histories.system, timeout=20).decide([histories.expand(b) for b in bads])
    counts: Counter[str] = Counter()
    for event, answer, other, found in zip(events, exact, loose, decided, strict=True):
        match answer:
            case Reached(history=history):
                assert replay(plan, history, partial(holds, atom(event, "yes"))), event
                assert not isinstance(found.outcome, Unreachable), event
                counts.update(["reached"])
            case Never():
                counts.update(["never", *["staying"] * isinstance(other, Reached)])
            case _:
                pass
    return counts
