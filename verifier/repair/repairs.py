"""Repairs of what was found broken: rules, wiring and locks, each proved before it is offered."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace

from verifier.decide.fault_effects import FaultEffect
from verifier.properties.failures import with_harms
from verifier.properties.obligation import Obligation
from verifier.repair.lock_repair import is_repaired_by_lock
from verifier.repair.race_repair import ProveWhole, RaceRepairer
from verifier.repair.rewired_histories import RewiredHistories
from verifier.repair.rule_repair import repair_rules
from verifier.repair.wiring_repair import WiringRepairer
from verifier.verdicts.report import Addition, Finding, Verdict
from verifier.world.world import World

# No more findings than these are repaired: people repair the first ones, run again, and see
# the next.
MAX_REPAIRS = 12


def repair_findings(
    world: World,
    verdicts: Mapping[str, Verdict],
    wanted: Iterable[str],
    effects: Mapping[str, FaultEffect],
    timeout: float | None,
    step: Callable[[], None],
    whole: ProveWhole,
) -> Iterator[Verdict]:
    """The verdicts whose findings can be repaired, with their repairs.

    ``wanted`` are the keys in the order in which repairs are looked for, ``effects`` the effect
    of each fault, by its name; ``step`` is called before each finding. Where a finding is a
    history, its hint is proved instead, if it names a lock; of a race, ``whole`` tells what is
    proved of another plan.
    """
    left = MAX_REPAIRS
    harms = {name: effect.harms for name, effect in effects.items()} or None
    proved = [v.obligation.key for v in verdicts.values() if v.status == "proved"]
    wiring = WiringRepairer(world, harms, timeout, RewiredHistories(proved, timeout))
    broken = (v.obligation for v in verdicts.values() if v.finding is not None and v.finding.story)
    races = RaceRepairer(world.plan, broken, timeout, whole)
    for verdict in [verdicts[key] for key in wanted]:
        finding, obligation = verdict.finding, verdict.obligation
        if finding is None or obligation.advice:
            continue
        is_history = finding.story is not None
        if left == 0:
            break
        left -= 1
        step()
        if is_history:
            finding = races.repaired(obligation, finding)
            if finding.race is None and finding.tangle is None:
                locked = is_repaired_by_lock(world.plan, obligation, verdicts.values(), timeout)
                finding = replace(finding, hint_proved=locked)
        else:
            additions = _additions(world, obligation, finding, effects, timeout)
            rewiring = wiring.repair(obligation, finding)
            finding = replace(finding, mending=additions, rewiring=rewiring)
        yield replace(verdict, finding=finding)


def _additions(
    world: World,
    obligation: Obligation,
    finding: Finding,
    effects: Mapping[str, FaultEffect],
    timeout: float | None,
) -> tuple[Addition, ...]:
    """Additions to rules. A fault of the finding stays present, and all the harm it does must
    be ruled out."""
    present = [what for what, _ in finding.situation if what.kind == "fault"]
    if present:
        effect = next(o for o in effects.values() if o.fault.what in present)
        world = effect.alone()
        obligation = with_harms(obligation, effect.fault, effect.harms)
    return repair_rules(world, obligation, finding.situation, timeout)
