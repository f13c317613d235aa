"""Histories told: on generated junctions with locking, what is left of a history once it is tidied
still ends as it did, as the stepper finds, and its last events tell how.

``CLEARPROOF_PROFILE=nightly`` runs thousands of junctions.
"""

from collections import Counter
from collections.abc import Iterator
from random import Random

import verifier
from tests.differential.locked import write_locked
from tests.differential.steps import any_start
from tests.sweep import NIGHTLY
from verifier.engines.temporal.scheduling import scheduled
from verifier.explain.trace_narrative import narrative
from verifier.explain.trace_slicing import Moment, following
from verifier.logic.expr import holds
from verifier.plan.model import Plan
from verifier.properties.catalog import obligations
from verifier.properties.obligation import Obligation
from verifier.reference.step import Stepper, replay
from verifier.reports.histories import last_picture
from verifier.reports.ink import Ink
from verifier.world.history import Histories
from verifier.world.world import World

JUNCTIONS = 3000 if NIGHTLY else 40
MOMENTS = 30
# Tries to find choices that the assumptions allow.
TRIES = 20


def test_what_is_told_happens() -> None:
    seen: Counter[str] = Counter()
    for seed in range(JUNCTIONS):
        r = Random(seed)
        try:
            plan = verifier.load_text(write_locked(r, 1500))
        except verifier.InputError:
            continue
        histories = Histories(plan, lossy=seed % 2 == 0)
        for obligation, moments in by_chance(plan, histories, r):
            told_rightly(plan, histories, obligation, moments)
            seen[obligation.property] += 1
    # Each of these must have come up, or nothing was looked at.
    for name in ("collision", "derailment", "points-move-under-train", "loss-of-shunt"):
        assert seen[name], seen


def by_chance(
    plan: Plan, histories: Histories, r: Random
) -> Iterator[tuple[Obligation, list[Moment]]]:
    """What happens in one history at random, each with the moments up to it."""
    system = histories.system
    over = "lossy" if histories.lossy else "histories"
    asked = [o for o in obligations(plan, World(plan).lower) if o.over == over]
    waiting = {o: histories.expand(o.formula) for o in asked}
    states = any_start(Stepper(plan, lossy=histories.lossy), r)
    moments: list[Moment] = []
    for _ in range(MOMENTS):
        for _ in range(TRIES):
            often = r.choice([0.2, 0.5, 0.8])
            now = states | {
                w: r.choice(w.values) if r.random() < often else w.usual for w in system.inputs
            }
            if all(holds(expr, now) for expr in system.always):
                break
        else:
            return
        moments.append(now)
        for obligation in [o for o, bad in waiting.items() if holds(bad, now)]:
            del waiting[obligation]
            yield obligation, list(moments)
        states = following(system, now)


def told_rightly(
    plan: Plan, histories: Histories, obligation: Obligation, moments: list[Moment]
) -> None:
    played = scheduled(histories.system, moments)
    if played is None:
        return
    found = narrative(histories, played, obligation)
    story = found.story
    texts = [event.text for event in story.events]
    about = f"{obligation.key}\n{plan.source.text}\n{texts}"
    bad, lossy = obligation.holds_in, histories.lossy
    assert replay(
        plan, story.moments, bad, lossy=lossy, seconds=story.seconds, wrecks_stay=False
    ), about
    assert chosen(histories, story.moments) <= chosen(histories, moments), about
    assert last_picture(story, obligation, plan, Ink()).lines
    if obligation.mode == "never":
        assert texts[-1].startswith(obligation.trouble), about
        assert found.causes, about
    if obligation.property == "collision":
        assert any("where a train stands" in t or "as another train does" in t for t in texts), (
            about
        )


def chosen(histories: Histories, moments: "list[Moment] | tuple[Moment, ...]") -> int:
    """How much people, trains and time do in a history."""
    return sum(m[w] != w.usual for m in moments for w in histories.system.inputs)
