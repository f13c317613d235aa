"""The list of all properties, in the order in which they are reported."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from inspect import getdoc
from typing import Literal

from verifier.logic.expr import Expr, negation
from verifier.plan.model import Plan
from verifier.plan.observables import Condition, facts_in
from verifier.plan.signals.heads import signal_of
from verifier.properties import (
    boards,
    bridged,
    buttons,
    conflicting,
    devices,
    distances,
    electrical,
    failures,
    frogs,
    governed,
    locking,
    packets,
    panel,
    reversing,
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
    """One row of the catalog. ``title`` says in a few words what is proved; ``make`` yields the
    obligations of a plan; ``source`` is the rule or the book that asks for the property."""

    name: str
    group: Group
    title: str
    make: Callable[[Plan], Iterable[Obligation]]
    source: str = "common practice, no source"

    @property
    def explanation(self) -> str:
        """What is checked and when, for ``clearproof explain``: the docstring of ``make``."""
        return getdoc(self.make) or ""


_S: Group = "track and signals"
_D: Group = "distances"
_W: Group = "wiring"
_L: Group = "locking"
_F: Group = "failures"
_U: Group = "usefulness"

CATALOG: tuple[Property, ...] = (
    Property("converging-proceeds", _S, "no two trains are cleared onto tracks that converge",
             conflicting.converging_proceeds,
             "49 CFR 236.308 and 236.403 (no aspects that permit conflicting movements), 236.796"
             " (converging routes conflict)"),
    Property("crossing-proceeds", _S, "no two trains are cleared onto tracks that cross",
             conflicting.crossing_proceeds,
             "49 CFR 236.308 and 236.403 (no aspects that permit conflicting movements), 236.796"
             " (intersecting routes conflict), 236.311(b) for automatic interlockings"),
    Property("opposing-proceeds", _S, "no two trains are cleared onto one track from opposite ends",
             conflicting.opposing_proceeds,
             "49 CFR 236.308, 236.403 (with its exception for switching moves), 236.404 "
             "(adjacent control points), 236.796 (opposing routes conflict)"),
    Property("proceed-into-occupied", _S, "no signal proceeds into occupied track",
             governed.proceed_into_occupied,
             "49 CFR 236.205(a) (most restrictive aspect while the block is occupied), 236.709 "
             "(absolute block), 236.201 (control by track circuits through the entire block)"),
    Property("proceed-over-open-points", _S, "no signal proceeds over points that lie wrong",
             governed.proceed_over_open_points,
             "49 CFR 236.205(b) and 236.202 (most restrictive aspect while points are open), "
             "236.303 (each switch in the route in proper position; by itself it would let "
             "Restricting pass), 236.6 (open points)"),
    Property("aspect-against-route", _S, "no aspect indicates a route that is not lined",
             governed.aspect_against_route,
             "49 CFR 236.303 (aspects selected by the position of each switch), and rulebook "
             "practice for diverging aspects (common practice, no source)"),
    Property("approach-untruthful", _S, "no aspect promises more than the next signal shows",
             governed.approach_untruthful,
             "49 CFR 236.310 and 236.803 (approach signal), 236.24 (a restrictive aspect can be "
             "complied with)"),
    Property("aspect-not-listed", _S, "no signal shows colors that no aspect has",
             shown.aspect_not_listed,
             "49 CFR 236.23(c) (each aspect is identified by a name)"),
    Property("aspect-ambiguous", _S, "every aspect has one name and one meaning",
             shown.aspect_ambiguous,
             "49 CFR 236.23(a)(1), (c), (d)"),
    Property("undetected-track", _S, "no signal proceeds over undetected track",
             governed.undetected_track,
             "49 CFR 236.201 (track circuits through the entire block), 236.51(b) and 236.58 "
             "(fouling sections included)"),
    Property("unsignaled-entrance", _S, "every way into interlocking limits passes a signal",
             devices.unsignaled_entrance,
             "49 CFR 236.301 (signals govern movements into interlocking limits; a hand-operated"
             " switch with an electric lock and a derail at the clearance point needs none)"),
    Property("crossover-ends-disagree", _S, "no signal proceeds over a half-thrown crossover",
             devices.crossover_ends_disagree,
             "49 CFR 236.203 (hand operated crossover between main tracks)"),
    Property("derail-not-set", _S, "no signal proceeds with a derail set against its purpose",
             devices.derail_not_set,
             "49 CFR 236.205(c) (fouling-point derail not in derailing position), 236.303 "
             "(derails in the route in proper position)"),
    Property("span-not-locked", _S, "no signal proceeds toward an open gate",
             devices.span_not_locked,
             "49 CFR 236.312 (movable bridge: locked and aligned before an aspect to proceed)"),
    Property("indicator-misleads", _S, "no indicator of the panel says what is not so",
             panel.indicator_misleads,
             "common practice, no source (a dark lamp of a panel may have burned out)"),
    Property("stopping-distance", _D, "there is room to stop before the next signal",
             stopping.stopping_distance,
             "49 CFR 236.24 (a restrictive aspect can be complied with before the next signal), "
             "236.204 (opposing signals not nearer than the aggregate of the stopping distances;"
             " restrictive aspects in approach where they are). That a warning one signal "
             "earlier counts is our reading of 236.24"),
    Property("train-hidden", _D, "no train hides between spot detectors",
             distances.train_hidden),
    Property("fouling-undetected", _D, "no stock fouls a turnout unseen",
             distances.fouling_undetected,
             "49 CFR 236.51(b) (track circuit occupied in any part, fouling section included), "
             "236.58 (fouling section extends at least to where it clears the other track)"),
    Property("gap-beyond-signal", _D, "a train is detected as soon as it passes a signal",
             distances.gap_beyond_signal,
             "49 CFR 236.302 (track circuits and route locking effective not more than 13 feet "
             "in advance of the signal). Scales: NMRA S-1.2, from memory"),
    Property("train-does-not-fit", _D, "the longest train fits on every siding",
             distances.train_does_not_fit),
    Property("blocks-joined", _W, "there is a gap between every two blocks",
             wiring.blocks_joined),
    Property("feeder-undetected", _W, "every feeder passes through its block's detector",
             wiring.feeder_undetected,
             'common practice, no source ("one missed feeder: trains are seen only over the '
             'others")'),
    Property("detector-misplaced", _W, "no detector is on another block's feeder",
             wiring.detector_misplaced),
    Property("detector-cannot-sense", _W, "every detector senses its kind of track power",
             wiring.detector_cannot_sense,
             'common practice, no source ("a coil around the wire sees nothing of DC")'),
    Property("supply-mismatch", _W, "every driver shares a return with the detectors it reads",
             wiring.supply_mismatch,
             'common practice, no source ("detector and driver need a common supply")'),
    Property("supplies-joined", _W, "no uncut rail joins two supplies",
             wiring.supplies_joined,
             "common practice, no source (two supplies of track power are kept apart, or have a "
             "common return)"),
    Property("input-unread", _W, "every driver reads what its rules need",
             wiring.input_unread),
    Property("head-without-driver", _W, "every head is lit by a driver",
             wiring.head_without_driver),
    Property("driver-short-of-outputs", _W, "every driver has an output for each lamp",
             boards.driver_short_of_outputs),
    Property("driver-short-of-inputs", _W, "every driver has an input for each wire it reads",
             boards.driver_short_of_inputs),
    Property("supply-overloaded", _W, "no supply is overloaded",
             electrical.supply_overloaded),
    Property("wire-overloaded", _W, "no wire carries more than its fuse lets pass",
             electrical.wire_overloaded),
    Property("voltage-drop", _W, "every driver gets the voltage it needs",
             electrical.voltage_drop,
             "resistance of copper wire by AWG, hyperphysics.phy-astr.gsu.edu wire table (read);"
             " ASTM B258 and the formula for the loss from memory"),
    Property("fuse-too-large", _W, "every short blows a fuse", electrical.fuse_too_large,
             "UL/CSA 248-14 (must open at twice its rating within two minutes), as a maker's guide "
             "has it; IEC 60127 (2.1 times) as quoted by compliance engineers; resistances as for "
             "`voltage-drop`"),
    Property("wire-ampacity", _W, "no wire is thinner than its fuse allows",
             electrical.wire_ampacity,
             "what the file says of its wire; without that NEC 402.5 and 240.4(D), from memory, "
             "against a wire only"),
    Property("coil-burns", _W, "twin-coil machines get their current in a pulse",
             electrical.coil_burns,
             'common practice, no source ("a maintained contact burns the coil")'),
    Property("frog-shorts", _W, "no live frog shorts anything, however points lie",
             frogs.frog_shorts,
             'common practice, no source ("feed a power-routing turnout from the points, and gap '
             'both rails beyond the frog")'),
    Property("rail-dead", _W, "no train stands unseen on rails that a live frog leaves dead",
             frogs.rail_dead,
             'common practice, no source ("the leg that is not lined is dead")'),
    Property("rail-meets-rail", _W, "no rail meets the other rail where track turns around",
             reversing.rail_meets_rail,
             'common practice, no source ("a balloon loop or wye needs a section cut in both rails '
             'at both ends, and a reverser")'),
    Property("reverser-not-isolated", _W, "what a reverser feeds is cut off in both rails",
             reversing.reverser_not_isolated),
    Property("section-too-short", _W, "no train reaches over both ends of a reversing section",
             bridged.section_too_short,
             'common practice, no source ("the section is longer than the longest train")'),
    Property("supplies-bridged", _W, "no train joins supplies that do not go together",
             bridged.supplies_bridged,
             'common practice, no source ("never let a train bridge DC and DCC")'),
    Property("stop-number", _W, "number 0 is sent for absolute stop alone", packets.stop_number,
             'NMRA S-9.2.1, extended accessory packet: "A value of 00000 for XXXXX indicates the'
             ' absolute stop aspect" (as quoted in three public files)'),
    Property("address-shared", _W, "signals that share an address show the same",
             packets.address_shared,
             'NMRA S-9.2.1, extended accessory packet: "Each signal head can display one aspect '
             'at a time" (as quoted in public files); that one address is for one head or mast '
             "follows from it"),
    Property("points-move-under-train", _L, "no points move beneath a train",
             locking.points_move_under_train,
             "49 CFR 236.408 and 236.302 (route locking is effective as soon as the first wheels"
             " have passed the signal)"),
    Property("points-move-under-signal", _L, "no points move under a signal at proceed",
             locking.points_move_under_signal,
             "49 CFR 236.304 (mechanical locking, or the same protection by circuits); the "
             "British Board of Trade's rule, quoted in the Reports of the United States "
             "Commissioners to the Vienna Exhibition of 1873, p. 492 (having lowered his "
             "signals, he cannot move his points)"),
    Property("approach-locking", _L, "no route is released in front of a train that cannot stop",
             locking.approach_locking,
             "49 CFR 236.305 and 236.407 (approach or time locking), 236.760 (no movement of a "
             "switch in the route, and no aspect to proceed for any conflicting route, until a "
             "predetermined time after the signal was put back)"),
    Property("time-locking", _L, "no route is released before its time has run",
             locking.time_locking,
             "49 CFR 236.768 and 236.305"),
    Property("route-locking", _L, "no points move ahead of a train inside its route",
             locking.route_locking,
             "49 CFR 236.302 and 236.408 (route locking), 236.767 (no movement of any switch in "
             "advance of the train within the route entered; sections released as the train "
             "clears them)"),
    Property("loss-of-shunt", _L, "a brief loss of detection releases no lock",
             locking.loss_of_shunt,
             "49 CFR 236.309 (a loss of shunt of 5 seconds or less changes no established route "
             "and releases no route locking). That it is advice without slow relays is our "
             "choice"),
    Property("false-occupancy", _L, "a false report releases no lock",
             locking.false_occupancy,
             "common practice, no source (sequential release); 49 CFR 236.302 (route locking)"),
    Property("traffic-locking", _L, "traffic turns only with track clear and signals at stop",
             running.traffic_locking,
             "49 CFR 236.405 (occupancy prevents changing the direction of traffic), 236.769 "
             "(while the section is occupied, or while a signal displays an aspect for a "
             "movement into it)"),
    Property("opposing-signals-drop", _L, "signals against a train drop ahead of it",
             running.opposing_signals_drop,
             "49 CFR 236.204 (opposing signals immediately ahead of a train at their most "
             "restrictive aspect; the opposing head block signal at stop). That a head block "
             "signal is one that stands at trackwork, or leads over it, onto track with signals "
             "beyond is our reading"),
    Property("indication-locking", _L, "signals rely on where points lie, not on their commands",
             locking.indication_locking,
             "49 CFR 236.307 and 236.762 (indication locking)"),
    Property("hand-points-unlocked", _L, "electric locks hold while a train may come",
             locking.hand_points_unlocked,
             "49 CFR 236.207 (not unlocked until the signals over the switch are at stop, with "
             "approach or time locking), 236.314 and 236.410 (electric locks on hand-operated "
             "switches)"),
    Property("collision", _L, "trains that obey their signals never collide", running.collision,
             "common practice, no source: it is what all signals and locks are for"),
    Property("derailment", _L, "trains that obey their signals stay on the track",
             running.derailment,
             "common practice, no source: it is what all signals and locks are for"),
    Property("never-shown", _U, "every aspect can be displayed", usefulness.never_shown,
             "the British Board of Trade's rule, quoted in the Reports of the United States "
             "Commissioners to the Vienna Exhibition of 1873, p. 492 (signals can be lowered "
             "once the points are set), and common practice"),
    Property("route-never-clears", _U, "every route can be lined and cleared",
             usefulness.route_never_clears,
             "the British Board of Trade's rule as quoted for `never-shown`"),
    Property("rule-never-used", _U, "every line of a rule decides something",
             usefulness.rule_never_used),
    Property("condition-constant", _U, "every condition can be true and can be false",
             usefulness.condition_constant),
    Property("assumptions-contradict", _U, "the assumptions do not contradict each other",
             usefulness.assumptions_contradict,
             "common practice in verification, no source"),
    Property("compatible-routes-blocked", _U, "routes that share nothing can clear together",
             usefulness.compatible_routes_blocked,
             "Reports of the United States Commissioners to the Vienna Exhibition of 1873, pp. "
             "494-495, the footnote on lever 9"),
    Property("clears-again", _U, "no held button clears a signal for a second train",
             buttons.clears_again),
    Property("route-never-set", _U, "every route can be set from the start",
             usefulness_over_time.route_never_set,
             "the British Board of Trade's rule as quoted for `never-shown`"),
    Property("locked-for-good", _U, "every route can always be set again",
             usefulness_over_time.locked_for_good,
             "the British Board of Trade's rule as quoted for `never-shown` (with the signals at"
             " danger the points are free to move)"),
    Property("train-cannot-leave", _U, "every train let in can leave",
             usefulness_over_time.train_cannot_leave),
    Property("cannot-pass", _U, "two trains can meet at every passing siding",
             usefulness_over_time.cannot_pass),
    Property("lamp-out", _F, "no dark lamp or head makes a false proceed", failures.lamp_out,
             "49 CFR 236.23(f) (failure of a lamp never gives a less restrictive aspect), 233.5 "
             "and 233.7 (a more favorable aspect than intended)"),
    Property("flasher-stopped", _F, "no stopped flasher makes a false proceed",
             failures.flasher_stopped,
             "49 CFR 236.23(a) (flashing of lights), 236.23(f) (failure of a lamp never gives a "
             "less restrictive aspect), 233.5 and 233.7"),
    Property("plate-missing", _F, "no missing plate makes a false proceed",
             failures.plate_missing,
             "49 CFR 236.23(f) (the absence of a qualifying appurtenance never gives a less "
             "restrictive aspect), 236.23(a), 233.5 and 233.7"),
    Property("wire-broken", _F, "no broken wire makes a false proceed", failures.wire_broken,
             "49 CFR 236.5 (closed circuit principle), 236.786 (what it is), 236.57 (two "
             "discrete conductors), 236.205(d), 233.5"),
    Property("supply-lost", _F, "no lost supply makes a false proceed", failures.supply_lost,
             "49 CFR 236.5 (closed circuit principle), 236.205(d), 233.5"),
    Property("gap-bridged", _F, "no bridged gap makes a false proceed", failures.gap_bridged,
             "49 CFR 236.59 (insulated rail joints), 233.5. That a tenth at least flows through "
             "the own feeders: common practice, no source"),
    Property("points-stalled", _F, "no stalled switch machine makes a false proceed",
             failures.points_stalled,
             "49 CFR 236.307 (indication locking), 236.342 (switch circuit controller), 236.303"),
    Property("report-stuck", _F, "what a stuck detector or contact does",
             failures.report_stuck,
             "49 CFR 233.5 (a more favorable aspect than intended)"),
)  # fmt: skip

BY_NAME = {entry.name: entry for entry in CATALOG}
# The properties that check one fault at a time. They are decided together.
FAILURES = frozenset(entry.name for entry in CATALOG if entry.group == _F)


def obligations(plan: Plan, lower: Callable[[Condition], Expr]) -> Iterator[Obligation]:
    """All obligations of a plan: those of the catalog first, then the file's own properties.

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
            "always": f"this does not always hold: {said}",
            "possible": f"this can never happen: {said}",
        }[proof.mode]
        named = [name for name in about if name in plan.signals]
        yield Obligation(
            proof.title,
            tuple(about),
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
            mode="possible" if proof.mode == "possible" else "never",
        )
