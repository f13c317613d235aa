"""Signals of other boards that a board is told of by wire, and does not work out itself.

In: a plan and one of its boards. Out: these signals; and why the program of the board could not go
by what it is told, where it could not.
"""

from collections.abc import Callable, Iterable

from verifier.plan.model import Plan
from verifier.plan.observables import facts_unfolded
from verifier.plan.signals.heads import signal_of
from verifier.plan.wiring.hearing import heard, keeper_of
from verifier.plan.wiring.wiring_model import Driver


def told_signals(driver: Driver, plan: Plan) -> tuple[str, ...]:
    """The signals that a board hears of. (Of what it lights a head of, it works out all.)"""
    own = {signal_of(head, plan.signals) for head in driver.heads}
    return tuple(name for kind, name in heard(driver, plan) if kind == "signal" and name not in own)


def told_in_a_circle(driver: Driver, own: Iterable[str], plan: Plan) -> tuple[str, str, str] | None:
    """A signal of the board (of its ``own``), one that it is told of, and the board that tells it,
    where each of the signals depends on the other and each of the boards hears of the other: then
    what they show would go by which board is the quicker."""
    asks = {name: _asked_of(name, plan) for name in plan.signals}
    boards = plan.wiring.drivers
    hears = {name: _tellers(board, plan) for name, board in boards.items()}
    mine = [name for name in own if keeper_of(("signal", name), plan) == driver.name]
    for told in told_signals(driver, plan):
        keeper = keeper_of(("signal", told), plan)
        if keeper is None or driver.name not in _reached(keeper, hears.__getitem__):
            continue
        depends = _reached(told, asks.__getitem__)
        for name in mine:
            if name in depends and told in _reached(name, asks.__getitem__):
                return name, told, keeper
    return None


def _asked_of(signal: str, plan: Plan) -> set[str]:
    """The signals that the rules of one ask for."""
    facts = facts_unfolded(
        plan.signals[signal].conditions, lambda name: plan.conditions[name].condition
    )
    return {
        signal_of(fact.what.name, plan.signals)
        for fact in facts
        if fact.what.kind in ("aspect", "color")
    }


def _tellers(driver: Driver, plan: Plan) -> set[str]:
    """The boards that tell one of their signals."""
    found = (keeper_of(("signal", name), plan) for name in told_signals(driver, plan))
    return {name for name in found if name is not None}


def _reached(start: str, following: Callable[[str], set[str]]) -> set[str]:
    """What can be reached from a start in one step or more."""
    found: set[str] = set()
    waiting = list(following(start))
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting += following(name)
    return found
