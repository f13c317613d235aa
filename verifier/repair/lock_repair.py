"""Repairs by a missing lock, proved before they are offered.

In: a plan, an obligation whose hint names a lock, and the verdicts on the plan. Out: whether
the plan with that lock was proved to keep the obligation, and its routes can still be set.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace

from verifier.decide.histories import HistoryProver
from verifier.engines.stopping import checkpoint
from verifier.plan.model import Plan
from verifier.plan.observables import AnyOne, Condition
from verifier.properties.catalog import obligations
from verifier.properties.obligation import Lock, Obligation
from verifier.verdicts.report import Verdict
from verifier.world.world import World


def is_repaired_by_lock(
    plan: Plan, broken: Obligation, verdicts: Iterable[Verdict], timeout: float | None
) -> bool:
    """Whether the lock that the hint of ``broken`` names repairs it. False where it does not, or
    that is not known within ``timeout`` seconds for each obligation.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C, or when the time for all of
    the work is over."""
    lock = broken.lock
    if lock is None:
        return False
    locked = with_lock(plan, lock)
    wanted = {broken.key, *_settable(lock, broken, verdicts)}
    asked = [o for o in obligations(locked, World(locked).lower) if o.key in wanted]
    histories = HistoryProver(locked, timeout, checkpoint)
    if histories.contradiction() != ():
        return False
    found = histories.decide(asked)
    return len(found) == len(wanted) and all(v.status == "proved" for v in found.values())


def with_lock(plan: Plan, lock: Lock) -> Plan:
    """The plan with the lock that a hint asks for."""
    locking = plan.locking
    if lock.name in locking.traffic:
        traffic = locking.traffic[lock.name]
        turned = replace(traffic, locked=_also(traffic.locked, lock.held))
        changed = replace(locking, traffic={**locking.traffic, lock.name: turned})
    else:
        throw = locking.throws[lock.name]
        electric = throw.electric or throw.by == "hand"
        thrown = replace(throw, locked=_also(throw.locked, lock.held), electric=electric)
        changed = replace(locking, throws={**locking.throws, lock.name: thrown})
    return replace(plan, locking=changed)


def _also(locked: Condition | None, held: Condition) -> Condition:
    return held if locked is None else AnyOne((locked, held), held.span)


def _settable(lock: Lock, broken: Obligation, verdicts: Iterable[Verdict]) -> Iterator[str]:
    """The routes that depend on what is locked and can be set as the file stands."""
    for verdict in verdicts:
        obligation = verdict.obligation
        if obligation.property != "route-never-set" or verdict.status != "proved":
            continue
        needs = (need.points for route in obligation.routes for need in route.needs)
        if lock.name in needs or set(obligation.signals) & set(broken.signals):
            yield obligation.key
