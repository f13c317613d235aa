"""Repairs of what was found broken: rules, wiring and locks, each proved before it is offered."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from time import monotonic

from verifier.decide.failures import Outcome
from verifier.properties.failures import with_harms
from verifier.properties.obligation import Obligation
from verifier.repair.lock_repair import ALL, is_mended_by_lock
from verifier.repair.rule_repair import mend
from verifier.repair.wiring_repair import Rewirer
from verifier.verdicts.report import Addition, Finding, Verdict
from verifier.world.world import World

# Beyond this many findings no further repairs are worked out: people mend the first ones,
# run again, and see the next.
MAX_REPAIRS = 12


def repair_findings(
    world: World,
    verdicts: Mapping[str, Verdict],
    wanted: Iterable[str],
    outcomes: Mapping[str, Outcome],
    timeout: float | None,
    step: Callable[[], None],
) -> dict[str, Verdict]:
    """The verdicts, by key, whose findings can be repaired, with their repairs.

    ``wanted`` are the keys in the order in which repairs are worked out, ``outcomes`` what each
    fault was found to do, by its name; ``step`` is called before each finding. Where a finding
    takes a history, its hint is proved instead, if it names a lock.
    """
    left, locks_left = MAX_REPAIRS, ALL
    harms = {name: outcome.harms for name, outcome in outcomes.items()} or None
    rewirer = Rewirer(world, harms, timeout)
    repaired = {}
    for verdict in (verdicts[key] for key in wanted):
        finding, obligation = verdict.finding, verdict.obligation
        if finding is None or obligation.advice:
            continue
        takes_history = finding.story is not None
        if takes_history and obligation.lock is None:
            continue
        if left == 0:
            break
        left -= 1
        step()
        if takes_history:
            begun = monotonic()
            proved = is_mended_by_lock(
                world.plan, obligation, verdicts.values(), locks_left, timeout
            )
            locks_left -= monotonic() - begun
            finding = replace(finding, hint_proved=proved)
        else:
            additions = _additions(world, obligation, finding, outcomes, timeout)
            rewiring = rewirer.rewire(obligation, finding)
            finding = replace(finding, mending=additions, rewiring=rewiring)
        repaired[obligation.key] = replace(verdict, finding=finding)
    return repaired


def _additions(
    world: World,
    obligation: Obligation,
    finding: Finding,
    outcomes: Mapping[str, Outcome],
    timeout: float | None,
) -> tuple[Addition, ...]:
    """Additions to rules. Where a fault is present it stays, and none of the harm it does may
    be left."""
    present = [what for what, _ in finding.situation if what.kind == "fault"]
    if present:
        outcome = next(o for o in outcomes.values() if o.fault.what in present)
        world = outcome.alone()
        obligation = with_harms(obligation, outcome.fault, outcome.harms)
    return mend(world, obligation, finding.situation, timeout)
