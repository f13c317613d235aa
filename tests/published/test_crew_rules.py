"""Rules for people, beside the sections of 49 CFR 236 on hand-operated switches (read; wording in
the project's list of sources). What a crew promises is common practice, no source."""

from functools import cache

import verifier
from tests.junction_files import spec
from verifier.decide.histories import HistoryProver
from verifier.plan.model import Plan
from verifier.properties.catalog import obligations
from verifier.repair.fewest_promises import Fewest, fewest_promises
from verifier.verdicts.report import Verdict
from verifier.world.world import World

BARE = spec("hand-thrown-switch-broken").read_text("utf-8").partition("\nexpect")[0]
LOCK = "electric lock released when Switch clear and 4L, 4RA, 4RB at stop and T1-lock-time done"
TIMER = "timer T1-lock-time 20 s runs while 4L, 4RA, 4RB at stop"


@cache
def offered() -> Fewest:
    return fewest_promises(verifier.load_text(BARE), None, lambda: None)


def about(plan: Plan, *names: str) -> list[Verdict]:
    asked = [o for o in obligations(plan, World(plan).lower) if o.property in names]
    return list(HistoryProver(plan, None, lambda: None).verdicts(asked))


def with_lock(lock: str, timer: str = TIMER) -> Plan:
    text = BARE.replace("  thrown by hand\n", f"  thrown by hand\n  {lock}\n")
    return verifier.load_text(f"{text}\n{timer}\n")


def test_236_207_the_lock_offered_waits_for_signals_and_time() -> None:
    """236.207: not unlocked until the signals over the switch are open; approach or time
    locking. So the lock that replaces the promises has the signals and a timer in it."""
    (text,) = offered().together.values()
    assert f"`{TIMER}`" in text and f"`{LOCK}`" in text
    (verdict,) = about(with_lock(LOCK), "hand-points-unlocked")
    assert verdict.status == "proved"


def test_236_207_unlocked_right_after_a_signal_drops_is_unsafe() -> None:
    sooner = "electric lock released when Switch clear and 4L, 4RA, 4RB at stop"
    assert about(with_lock(sooner), "hand-points-unlocked")[0].status == "broken"
    early = TIMER.replace("20 s", "19 s")
    assert about(with_lock(LOCK, early), "hand-points-unlocked")[0].status == "broken"


def test_236_410_b_each_part_of_the_lock_is_a_promise() -> None:
    """Nothing else is needed of people who do what the lock would: points held under a train
    (236.408), under a clear signal, and for the time of approach locking (236.410(b))."""
    found = offered()
    assert [needed.promise.rule for needed in found.needed] == [
        "under a train", "under clear signals", "before a train can stop",
    ]  # fmt: skip
    assert all(v.status == "proved" for v in about(found.promised, "approach-locking"))
