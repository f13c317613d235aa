"""What memory never comes to, where the rules of a signal were changed.

Relays, timers and direction of traffic go by what signals show. What was shown of them before a
change (``plan.remembered``) says nothing of the plan with the change in it. In: the world of the
changed plan, and a trouble. Out: whether it is ruled out all the same.
"""

from collections.abc import Callable
from copy import copy
from dataclasses import replace
from time import monotonic

from verifier.engines.answers import Impossible
from verifier.engines.situations import SituationCheck
from verifier.findings.locking import HistoryProver
from verifier.logic.expr import Expr
from verifier.plan.facts import Condition
from verifier.plan.model import Plan
from verifier.properties.catalogue import obligations
from verifier.world.world import World

# Seconds for all that is to be shown of the memory of one changed plan, and for each question.
IN_ALL, EACH = 20.0, 5.0


def is_ruled_out(world: World, goal: Expr, timeout: float | None) -> bool:
    """Whether no allowed situation makes ``goal`` true: whatever memory holds, or else by what
    this plan's own memory was shown never to come to, in the time there is for that.

    Raises :class:`~verifier.engines.answers.Interrupted` on Ctrl-C."""
    if _is_impossible(world, (), goal, timeout):
        return True
    if not world.plan.remembered:
        return False
    return _is_impossible(world, remembered(world.plan, timeout), goal, timeout)


def remembered(plan: Plan, timeout: float | None) -> tuple[Condition, ...]:
    """What the memory of a plan never comes to, worked out afresh; nothing where that is not
    known in time."""
    histories = HistoryProver(plan, EACH if timeout is None else min(timeout, EACH), _stopwatch())
    try:
        if histories.ruling_out() != ():
            return ()
        asked = obligations(plan, World(plan).lower)
        histories.decide(o for o in asked if o.over == "histories" and o.mode == "never")
    except _OutOfTime:
        return ()
    return histories.remembered()


class _OutOfTime(Exception):
    pass


def _stopwatch() -> Callable[[], None]:
    end = monotonic() + IN_ALL

    def look() -> None:
        if monotonic() > end:
            raise _OutOfTime

    return look


def _is_impossible(
    world: World, known: tuple[Condition, ...], goal: Expr, timeout: float | None
) -> bool:
    knowing = copy(world)
    knowing.plan = replace(world.plan, remembered=known)
    return isinstance(SituationCheck.of(knowing, timeout).find(goal), Impossible)
