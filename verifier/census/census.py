"""The census: every obligation that a plan must have, property by property."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from verifier.census import (
    currents,
    distances,
    faults,
    locks,
    panel,
    rails,
    signals,
    use,
    wires,
)
from verifier.census.says import Must, Musts, Over, all_of, any_of, no
from verifier.census.survey import Survey
from verifier.logic.expr import Expr, atom
from verifier.plan.model import Plan
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not, facts_in

Mode = Literal["never", "possible"]


@dataclass(frozen=True, slots=True)
class Entry:
    """Where the obligations of a property come from, what they are asked of, and whether they must
    never be or must be possible."""

    musts: Callable[[Survey], Musts]
    over: Over = "situations"
    mode: Mode = "never"


CENSUS: Mapping[str, Entry] = {
    "converging-proceeds": Entry(signals.converging_proceeds),
    "crossing-proceeds": Entry(signals.crossing_proceeds),
    "opposing-proceeds": Entry(signals.opposing_proceeds),
    "proceed-into-occupied": Entry(signals.proceed_into_occupied),
    "proceed-over-open-points": Entry(signals.proceed_over_open_points),
    "aspect-against-route": Entry(signals.aspect_against_route),
    "approach-untruthful": Entry(signals.approach_untruthful),
    "aspect-not-listed": Entry(signals.aspect_not_listed),
    "aspect-ambiguous": Entry(signals.aspect_ambiguous),
    "undetected-track": Entry(signals.undetected_track),
    "unsignaled-entrance": Entry(signals.unsignaled_entrance),
    "crossover-ends-disagree": Entry(signals.crossover_ends_disagree),
    "derail-not-set": Entry(signals.derail_not_set),
    "span-not-locked": Entry(signals.span_not_locked),
    "indicator-misleads": Entry(panel.indicator_misleads),
    "stopping-distance": Entry(distances.stopping_distance),
    "train-hidden": Entry(distances.train_hidden),
    "fouling-undetected": Entry(distances.fouling_undetected),
    "gap-beyond-signal": Entry(distances.gap_beyond_signal),
    "train-does-not-fit": Entry(distances.train_does_not_fit),
    "blocks-joined": Entry(wires.blocks_joined),
    "feeder-undetected": Entry(wires.feeder_undetected),
    "detector-misplaced": Entry(wires.detector_misplaced),
    "detector-cannot-sense": Entry(wires.detector_cannot_sense),
    "supply-mismatch": Entry(wires.supply_mismatch),
    "supplies-joined": Entry(wires.supplies_joined),
    "input-unread": Entry(wires.input_unread),
    "head-without-driver": Entry(wires.head_without_driver),
    "driver-short-of-outputs": Entry(wires.driver_short_of_outputs),
    "driver-short-of-inputs": Entry(wires.driver_short_of_inputs),
    "supply-overloaded": Entry(currents.supply_overloaded),
    "wire-overloaded": Entry(currents.wire_overloaded),
    "voltage-drop": Entry(currents.voltage_drop),
    "fuse-too-large": Entry(currents.fuse_too_large),
    "wire-ampacity": Entry(currents.wire_ampacity),
    "coil-burns": Entry(currents.coil_burns),
    "frog-shorts": Entry(rails.frog_shorts),
    "rail-dead": Entry(rails.rail_dead),
    "rail-meets-rail": Entry(rails.rail_meets_rail),
    "reverser-not-isolated": Entry(rails.reverser_not_isolated),
    "section-too-short": Entry(rails.section_too_short),
    "supplies-bridged": Entry(rails.supplies_bridged),
    "stop-number": Entry(wires.stop_number),
    "address-shared": Entry(wires.address_shared),
    "points-move-under-train": Entry(locks.points_move_under_train, "histories"),
    "points-move-under-signal": Entry(locks.points_move_under_signal, "histories"),
    "approach-locking": Entry(locks.approach_locking, "histories"),
    "time-locking": Entry(locks.time_locking, "histories"),
    "route-locking": Entry(locks.route_locking, "histories"),
    "false-occupancy": Entry(locks.false_occupancy, "blips"),
    "loss-of-shunt": Entry(locks.loss_of_shunt, "lossy"),
    "traffic-locking": Entry(locks.traffic_locking, "histories"),
    "opposing-signals-drop": Entry(locks.opposing_signals_drop, "histories"),
    "indication-locking": Entry(locks.indication_locking, "histories"),
    "hand-points-unlocked": Entry(locks.hand_points_unlocked, "histories"),
    "collision": Entry(locks.collision, "histories"),
    "derailment": Entry(locks.derailment, "histories"),
    "never-shown": Entry(use.never_shown, mode="possible"),
    "route-never-clears": Entry(use.route_never_clears, mode="possible"),
    "rule-never-used": Entry(use.rule_never_used, mode="possible"),
    "condition-constant": Entry(use.condition_constant, mode="possible"),
    "assumptions-contradict": Entry(use.assumptions_contradict, mode="possible"),
    "compatible-routes-blocked": Entry(use.compatible_routes_blocked, mode="possible"),
    "clears-again": Entry(use.clears_again),
    "route-never-set": Entry(use.route_never_set, "histories", "possible"),
    "locked-for-good": Entry(use.locked_for_good, "for good", "possible"),
    "train-cannot-leave": Entry(use.train_cannot_leave, "for good", "possible"),
    "cannot-pass": Entry(use.cannot_pass, "histories", "possible"),
    "lamp-out": Entry(faults.lamp_out),
    "flasher-stopped": Entry(faults.flasher_stopped),
    "plate-missing": Entry(faults.plate_missing),
    "wire-broken": Entry(faults.wire_broken),
    "supply-lost": Entry(faults.supply_lost),
    "gap-bridged": Entry(faults.gap_bridged),
    "points-stalled": Entry(faults.points_stalled),
    "report-stuck": Entry(faults.report_stuck),
}


@dataclass(frozen=True, slots=True)
class Counted:
    """One obligation that a plan must have."""

    property: str
    must: Must
    over: Over
    mode: Mode


def census(plan: Plan) -> Iterator[Counted]:
    """Every obligation that a plan must have, and what it says."""
    survey = Survey(plan)
    for name, entry in CENSUS.items():
        for must in entry.musts(survey):
            yield Counted(name, must, must.over or entry.over, entry.mode)
    for proof in plan.proofs:
        said = in_full(proof.condition, plan)
        formula = no(said) if proof.mode == "always" else said
        mode: Mode = "possible" if proof.mode == "possible" else "never"
        about = _about(proof.condition, plan)
        at = tuple(name for name in about if name in plan.signals)
        yield Counted(proof.title, Must(about, formula, at), "situations", mode)


# What a fault cannot change: what the rules alone, or lengths alone, decide. (A detector that has
# failed hides trains by definition.)
UNTOUCHED = ("aspect-not-listed", "aspect-ambiguous", "stopping-distance", "train-hidden")


def harms(plan: Plan) -> Iterator[Counted]:
    """What must not come of a fault: what must never be in a situation at a signal, notes apart;
    and a more favorable aspect."""
    for entry in census(plan):
        of_signals = entry.must.at and not entry.must.note and entry.property not in UNTOUCHED
        of_signals = of_signals or entry.property == "indicator-misleads"
        if of_signals and entry.mode == "never" and entry.over == "situations":
            yield entry
    for must in faults.more_favorable(Survey(plan)):
        yield Counted("more-favorable", must, "situations", "never")


def in_full(condition: Condition, plan: Plan) -> Expr:
    """A condition of the file as an expression, named conditions written out."""
    match condition:
        case Fact(what=what, values=values) if what.kind == "condition":
            inner = in_full(plan.conditions[what.name].condition, plan)
            return inner if "true" in values else no(inner)
        case Fact(what=what, values=values):
            return atom(what, *values)
        case Not(part=part):
            return no(in_full(part, plan))
        case All(parts=parts):
            return all_of(*(in_full(part, plan) for part in parts))
        case AnyOne(parts=parts):
            return any_of(*(in_full(part, plan) for part in parts))


def _about(condition: Condition, plan: Plan) -> tuple[str, ...]:
    """What a condition of the file names, each once; of a head or a line, its signal."""
    owners = {head.name: s.name for s in plan.signals.values() for head in s.heads}
    named = [fact.what.name.rpartition("/")[0] or fact.what.name for fact in facts_in(condition)]
    return tuple(dict.fromkeys(owners.get(name, name) for name in named))
