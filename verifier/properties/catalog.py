"""The one list of properties, in the order in which they are reported."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from inspect import getdoc
from typing import Literal

from verifier.logic.expr import Expr, negation
from verifier.plan.model import Plan
from verifier.plan.observables import Condition, facts_in
from verifier.plan.signals.heads import signal_of
from verifier.properties import (
    conflicting,
    devices,
    distances,
    electrical,
    failures,
    governed,
    locking,
    packets,
    running,
    shown,
    stopping,
    usefulness,
    usefulness_over_time,
    wiring,
)
from verifier.properties.obligation import Obligation

Group = Literal[
    "track and signals", "distances", "wiring", "locking", "failures", "usefulness", "your own"
]


@dataclass(frozen=True, slots=True)
class Property:
    """``title``: what is proved, in a few words. ``make``: its docstring holds the long
    explanation and the published source."""

    name: str
    group: Group
    title: str
    make: Callable[[Plan], Iterable[Obligation]]

    @property
    def explanation(self) -> str:
        return getdoc(self.make) or ""

    @property
    def source(self) -> str:
        """The published source, as the docstring names it."""
        _, _, source = self.explanation.partition("Source: ")
        return " ".join(source.split())


_S: Group = "track and signals"
_D: Group = "distances"
_W: Group = "wiring"
_L: Group = "locking"
_F: Group = "failures"
_U: Group = "usefulness"

CATALOG: tuple[Property, ...] = (
    Property("converging-proceeds", _S, "no two trains are cleared onto tracks that converge",
             conflicting.converging_proceeds),
    Property("crossing-proceeds", _S, "no two trains are cleared onto tracks that cross",
             conflicting.crossing_proceeds),
    Property("opposing-proceeds", _S, "no two trains are cleared onto one track from opposite ends",
             conflicting.opposing_proceeds),
    Property("proceed-into-occupied", _S, "no signal proceeds into occupied track",
             governed.proceed_into_occupied),
    Property("proceed-over-open-points", _S, "no signal proceeds over points that lie wrong",
             governed.proceed_over_open_points),
    Property("aspect-against-route", _S, "no aspect indicates a route that is not lined",
             governed.aspect_against_route),
    Property("approach-untruthful", _S, "no aspect promises more than the next signal shows",
             governed.approach_untruthful),
    Property("aspect-not-listed", _S, "no signal shows colors that no aspect has",
             shown.aspect_not_listed),
    Property("aspect-ambiguous", _S, "every aspect has one name and one meaning",
             shown.aspect_ambiguous),
    Property("undetected-track", _S, "no signal proceeds over undetected track",
             governed.undetected_track),
    Property("unsignaled-entrance", _S, "every way into interlocking limits passes a signal",
             devices.unsignaled_entrance),
    Property("crossover-ends-disagree", _S, "no signal proceeds over a half-thrown crossover",
             devices.crossover_ends_disagree),
    Property("derail-not-set", _S, "no signal proceeds with a derail set against its purpose",
             devices.derail_not_set),
    Property("span-not-locked", _S, "no signal proceeds toward an open gate",
             devices.span_not_locked),
    Property("stopping-distance", _D, "there is room to stop before the next signal",
             stopping.stopping_distance),
    Property("train-hidden", _D, "no train hides between spot detectors",
             distances.train_hidden),
    Property("fouling-undetected", _D, "no stock fouls a turnout unseen",
             distances.fouling_undetected),
    Property("gap-beyond-signal", _D, "a train is detected as soon as it passes a signal",
             distances.gap_beyond_signal),
    Property("train-does-not-fit", _D, "the longest train fits on every siding",
             distances.train_does_not_fit),
    Property("blocks-joined", _W, "there is a gap between every two blocks",
             wiring.blocks_joined),
    Property("feeder-undetected", _W, "every feeder passes through its block's detector",
             wiring.feeder_undetected),
    Property("detector-misplaced", _W, "no detector is on another block's feeder",
             wiring.detector_misplaced),
    Property("supply-mismatch", _W, "every driver shares a return with the detectors it reads",
             wiring.supply_mismatch),
    Property("input-unread", _W, "every driver reads what its rules need",
             wiring.input_unread),
    Property("head-without-driver", _W, "every head is lit by a driver",
             wiring.head_without_driver),
    Property("driver-short-of-outputs", _W, "every driver has an output for each lamp",
             wiring.driver_short_of_outputs),
    Property("supply-overloaded", _W, "no supply is overloaded",
             electrical.supply_overloaded),
    Property("wire-overloaded", _W, "no wire carries more than its fuse lets pass",
             electrical.wire_overloaded),
    Property("voltage-drop", _W, "every driver gets the voltage it needs",
             electrical.voltage_drop),
    Property("fuse-too-large", _W, "every short blows a fuse", electrical.fuse_too_large),
    Property("stop-number", _W, "number 0 is sent for absolute stop alone", packets.stop_number),
    Property("address-shared", _W, "signals that share an address show the same",
             packets.address_shared),
    Property("points-move-under-train", _L, "no points move beneath a train",
             locking.points_move_under_train),
    Property("points-move-under-signal", _L, "no points move under a signal at proceed",
             locking.points_move_under_signal),
    Property("approach-locking", _L, "no route is released in front of a train that cannot stop",
             locking.approach_locking),
    Property("time-locking", _L, "no route is released before its time has run",
             locking.time_locking),
    Property("route-locking", _L, "no points move ahead of a train inside its route",
             locking.route_locking),
    Property("loss-of-shunt", _L, "a brief loss of detection releases no lock",
             locking.loss_of_shunt),
    Property("traffic-locking", _L, "traffic turns only with track clear and signals at stop",
             running.traffic_locking),
    Property("opposing-signals-drop", _L, "signals against a train drop ahead of it",
             running.opposing_signals_drop),
    Property("indication-locking", _L, "signals rely on where points lie, not on their commands",
             locking.indication_locking),
    Property("hand-points-unlocked", _L, "electric locks hold while a train may come",
             locking.hand_points_unlocked),
    Property("collision", _L, "trains that obey their signals never collide", running.collision),
    Property("derailment", _L, "trains that obey their signals stay on the track",
             running.derailment),
    Property("never-shown", _U, "every aspect can be displayed", usefulness.never_shown),
    Property("route-never-clears", _U, "every route can be lined and cleared",
             usefulness.route_never_clears),
    Property("rule-never-used", _U, "every line of a rule decides something",
             usefulness.rule_never_used),
    Property("condition-constant", _U, "every condition can be true and can be false",
             usefulness.condition_constant),
    Property("assumptions-contradict", _U, "the assumptions do not contradict each other",
             usefulness.assumptions_contradict),
    Property("compatible-routes-blocked", _U, "routes that share nothing can clear together",
             usefulness.compatible_routes_blocked),
    Property("route-never-set", _U, "every route can be set from the start",
             usefulness_over_time.route_never_set),
    Property("locked-for-good", _U, "every route can always be set again",
             usefulness_over_time.locked_for_good),
    Property("train-cannot-leave", _U, "every train let in can leave",
             usefulness_over_time.train_cannot_leave),
    Property("cannot-pass", _U, "two trains can meet at every passing siding",
             usefulness_over_time.cannot_pass),
    Property("lamp-out", _F, "no dark lamp or head makes a false proceed", failures.lamp_out),
    Property("wire-broken", _F, "no broken wire makes a false proceed", failures.wire_broken),
    Property("supply-lost", _F, "no lost supply makes a false proceed", failures.supply_lost),
    Property("gap-bridged", _F, "no bridged gap makes a false proceed", failures.gap_bridged),
    Property("points-stalled", _F, "no stalled switch machine makes a false proceed",
             failures.points_stalled),
    Property("report-stuck", _F, "what a stuck detector or contact does",
             failures.report_stuck),
)  # fmt: skip

BY_NAME = {entry.name: entry for entry in CATALOG}
# Those that ask about one broken thing at a time, and are decided together.
FAILURES = frozenset(entry.name for entry in CATALOG if entry.group == _F)


def obligations(plan: Plan, lower: Callable[[Condition], Expr]) -> Iterator[Obligation]:
    """Everything to be proved of a plan, the catalog first, then the file's own.

    ``lower`` turns a condition of the file into an expression over observables."""
    for entry in CATALOG:
        yield from entry.make(plan)
    for proof in plan.proofs:
        expr = lower(proof.condition)
        about = dict.fromkeys(
            signal_of(says.what.name, plan.signals) for says in facts_in(proof.condition)
        )
        said = proof.condition.span.one_line
        trouble = {
            "never": f"this can happen: {said}",
            "always": f"this need not hold: {said}",
            "possible": f"this can never happen: {said}",
        }[proof.mode]
        named = [name for name in about if name in plan.signals]
        yield Obligation(
            proof.title,
            tuple(about),
            "possible" if proof.mode == "possible" else "never",
            negation(expr) if proof.mode == "always" else expr,
            trouble,
            (proof.span,),
            tuple(named),
            (),
            tuple(
                piece.name
                for piece in plan.track.pieces.values()
                if piece.name in about or piece.block in about
            )
            + tuple(plan.signals[name].enters.piece for name in named),
        )
