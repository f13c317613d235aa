"""Slips in what locks and remembers: a condition that was left out, a delay that is too short.

In: a plan. Out: each slip in words, with the locking as it would then be. The test card tries the
locks by what such a layout does otherwise (:mod:`verifier.testcard.lock_tries`); what must be seen
follows from the file alone.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from verifier.language.source import Span
from verifier.plan.locking.locking_model import Locking
from verifier.plan.model import Plan
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not, facts_in
from verifier.testcard.coverage_goals import written_out

# Of a delay that is too short this part is left; nobody catches what takes fewer seconds (common
# practice, no source).
PART = Fraction(1, 2)
LEAST_SECONDS = Fraction(6)


@dataclass(frozen=True, slots=True, eq=False)
class LockMistake:
    """``locking``: as it is with the slip; ``was`` and ``then``: the condition without it and with
    it (None never holds); ``delay``: the timer or relay that is too quick."""

    text: str
    span: Span
    locking: Locking
    was: Condition | None = None
    then: Condition | None = None
    delay: str = ""


def lock_mistakes(plan: Plan) -> Iterator[LockMistake]:
    """The slips of all that locks, then of all that remembers."""
    locking = plan.locking
    for name, throw in locking.throws.items():
        if throw.locked is not None:
            yield from _of(plan, "throws", name, "locked", f"the lock of {name} leaves out {{}}")
    for name in locking.traffic:
        yield from _of(
            plan, "traffic", name, "locked", f"the lock of traffic {name} leaves out {{}}"
        )
        for way in ("rightward", "leftward"):
            yield from _of(
                plan, "traffic", name, way, f"traffic {name} turns {way} without asking for {{}}"
            )
    for name in locking.relays:
        yield from _of(plan, "relays", name, "picks", f"relay {name} picks without asking for {{}}")
        yield from _of(
            plan, "relays", name, "sticks", f"relay {name} sticks without asking for {{}}"
        )
    for name in locking.timers:
        yield from _of(plan, "timers", name, "runs", f"timer {name} runs without asking for {{}}")
    yield from _too_short(plan)


def _of(plan: Plan, group: str, name: str, part: str, text: str) -> Iterator[LockMistake]:
    """Each fact of one condition left out; of a lock or of what sticks the only one, too."""
    one: Any = getattr(plan.locking, group)[name]
    condition: Condition | None = getattr(one, part)
    if condition is None:
        return
    condition = written_out(condition, plan)
    for says in facts_in(condition):
        rest = _without(condition, says)
        if rest is None and part not in ("locked", "sticks"):
            continue
        changed: Any = {group: {**getattr(plan.locking, group), name: replace(one, **{part: rest})}}
        locking = replace(plan.locking, **changed)
        yield LockMistake(text.format(f"`{says.text}`"), says.span, locking, condition, rest)


def _without(condition: Condition, left_out: Fact) -> Condition | None:
    """A condition without one of its facts; None where nothing is left of it."""
    match condition:
        case Fact():
            return None if condition is left_out else condition
        case Not(part=part):
            rest = _without(part, left_out)
            return None if rest is None else Not(rest, condition.span)
        case All(parts=parts) | AnyOne(parts=parts):
            kept = [rest for part in parts if (rest := _without(part, left_out)) is not None]
            if len(kept) < 2:
                return kept[0] if kept else None
            return replace(condition, parts=tuple(kept))


def _too_short(plan: Plan) -> Iterator[LockMistake]:
    """Each delay, only half as long."""
    locking = plan.locking
    for name, timer in locking.timers.items():
        short = replace(timer, seconds=timer.seconds * PART)
        timers = {**locking.timers, name: short}
        text = f"timer {name} runs for less than its {seconds(timer.seconds)}"
        yield LockMistake(text, timer.span, replace(locking, timers=timers), delay=name)
    for name, relay in locking.relays.items():
        for field in ("slow_pick", "slow_release"):
            delay: Fraction | None = getattr(relay, field)
            if delay:
                changed: Any = {field: delay * PART}
                relays = {**locking.relays, name: replace(relay, **changed)}
                what = "picks" if field == "slow_pick" else "releases"
                text = f"relay {name} {what} before its {seconds(delay)} are over"
                yield LockMistake(text, relay.span, replace(locking, relays=relays), delay=name)


def delay_of(plan: Plan, mistake: LockMistake) -> Fraction:
    """How long the delay takes that is too short."""
    timer = plan.locking.timers.get(mistake.delay)
    if timer is not None:
        return timer.seconds
    relay, short = plan.locking.relays[mistake.delay], mistake.locking.relays[mistake.delay]
    slow = relay.slow_pick if relay.slow_pick != short.slow_pick else relay.slow_release
    return slow or Fraction(0)


def is_too_quick(plan: Plan, mistake: LockMistake) -> bool:
    """Whether it is about a delay that is over before a person can try anything."""
    return bool(mistake.delay) and delay_of(plan, mistake) < LEAST_SECONDS


def seconds(time: Fraction) -> str:
    return f"{float(time):g} s"
