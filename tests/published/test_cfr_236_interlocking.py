"""49 CFR Part 236, subparts C, D and G: for each section an unsafe and a safe junction.

The sections' texts are [V] (read in the 2015 annual edition). The junctions are ours [C],
built after the check cases noted beside each section in the project's sources. A model
railroad is not subject to Part 236.
"""

import pytest

from tests.published.junctions import (
    APPROACH_AND_HOME,
    AUTOMATIC_DIAMOND,
    CONVERGING,
    DERAIL_ON_SIDING,
    DIAMOND,
    END_OF_SIDING,
    LIFT_OUT,
    MAIN_LEAD,
    PARALLEL,
    SWITCHING_LEAD,
    TWO_CONTROL_POINTS,
    TWO_SWITCHES,
    UNSIGNALED_SIDING,
    assert_broken,
    assert_proved,
    broken,
    verdict,
)
from verifier import ExitCode

# ------------------------------------------------------------------ 236.301

DIRECTION = "lever 4 positions left, normal, right"
BY_LEVER = {
    "2E": "Clear when 4 right and T normal and OS, M clear\n"
    "Diverging-Clear when 4 right and T reverse and OS, S clear",
    "4W-M": "Clear when 4 left and T normal and OS, Single clear",
    "4W-S": "Clear when 4 left and T reverse and OS, Single clear",
}


def test_49_cfr_236_301_V_entrance_without_signal_unsafe() -> None:
    """49 CFR 236.301 [V]: "Signals shall be provided to govern train movements into ...
    interlocking limits": the siding has none."""
    report = UNSIGNALED_SIDING.prove({s: BY_LEVER[s] for s in ("2E", "4W-M")}, DIRECTION)
    assert broken(report) == {"unsignaled-entrance: T, Siding-East"}


def test_49_cfr_236_301_V_every_entrance_has_a_signal_safe() -> None:
    """49 CFR 236.301 [V]: a signal at each of the three entrances."""
    assert_proved(END_OF_SIDING.prove(BY_LEVER, DIRECTION))


def test_49_cfr_236_301_V_derail_in_place_of_a_signal_safe() -> None:
    """49 CFR 236.301 [V], exception: "a derail at the clearance point" (its electric lock is
    not in the language)."""
    report = DERAIL_ON_SIDING.prove(
        {
            "2E": "Clear when 4 right and T normal and D1 derailing and OS, M clear",
            "4W-M": "Clear when 4 left and T normal and D1 derailing and OS, Single clear",
        },
        DIRECTION,
    )
    assert_proved(report)


# ------------------------------------------------------------------ 236.303

STRAIGHT = (
    "Clear when T1 normal and T3 normal and D1 derailing and First, Middle, Third, Main clear"
)
DIVERGING = (
    "Diverging-Clear when {t1} T3 reverse and D1 derailing and First, Middle, Third, Branch clear"
)


def test_49_cfr_236_303_V_one_switch_of_the_route_not_read_unsafe() -> None:
    """49 CFR 236.303 [V]: "each switch, movable-point frog, and derail in the route". Route
    over 1 normal and 3 reverse; the rule reads 3 only."""
    report = TWO_SWITCHES.prove({"1R": f"{STRAIGHT}\n{DIVERGING.format(t1='')}"})
    assert broken(report) == {"proceed-over-open-points: 1R, T1"}
    assert_broken(
        report,
        "proceed-over-open-points: 1R, T1",
        {"T1": "reverse", "T3": "reverse"},
        {"1R": "Diverging-Clear"},
    )


def test_49_cfr_236_303_V_every_switch_of_the_route_read_safe() -> None:
    """49 CFR 236.303 [V]: the rule reads 1 normal and 3 reverse."""
    assert_proved(TWO_SWITCHES.prove({"1R": f"{STRAIGHT}\n{DIVERGING.format(t1='T1 normal and')}"}))


# ------------------------------------------------------------------ 236.308

BOTH_RESTRICT = {"2R": "Restricting when Lead clear", "2L": "Restricting when Lead clear"}


def test_49_cfr_236_308_V_opposing_restricting_on_switching_track_safe() -> None:
    """49 CFR 236.308 [V], exception: opposing signals may both show proceed at restricted
    speed "on a track used for switching movements only, by one train at a time"."""
    assert_proved(SWITCHING_LEAD.prove(BOTH_RESTRICT))


def test_49_cfr_236_308_V_opposing_restricting_on_main_track_unsafe() -> None:
    """49 CFR 236.308 [V]: the same pair of signals, and the track is not declared so."""
    report = MAIN_LEAD.prove(BOTH_RESTRICT)
    assert broken(report) == {"opposing-proceeds: 2R, 2L"}
    assert_broken(
        report,
        "opposing-proceeds: 2R, 2L",
        {},
        {"2R": "Restricting", "2L": "Restricting"},
        {"Lead"},
    )


def test_49_cfr_236_308_V_better_than_restricting_on_switching_track_unsafe() -> None:
    """49 CFR 236.308 [V]: the exception is for two restricting aspects, not for a Clear
    against a Restricting."""
    rules = BOTH_RESTRICT | {"2R": "Clear when Lead, East-Yard clear"}
    report = SWITCHING_LEAD.prove(rules)
    assert broken(report) == {"opposing-proceeds: 2R, 2L"}
    assert_broken(report, "opposing-proceeds: 2R, 2L", {}, {"2R": "Clear", "2L": "Restricting"})


def test_49_cfr_236_308_V_conflicting_proceeds_unsafe() -> None:
    """49 CFR 236.308 [V]: "signals ... which permit conflicting movements": opposing ones at
    an end of siding."""
    rules = {signal: lines.replace("4 left and ", "").replace("4 right and ", "")
             for signal, lines in BY_LEVER.items()}  # fmt: skip
    report = END_OF_SIDING.prove(rules)
    assert broken(report) == {"opposing-proceeds: 2E, 4W-M", "opposing-proceeds: 2E, 4W-S"}
    assert_broken(
        report,
        "opposing-proceeds: 2E, 4W-M",
        {},
        {"2E": "Clear", "4W-M": "Clear", "4W-S": "Stop"},
        {"T", "OS", "M", "Single"},
    )
    assert_broken(
        report,
        "opposing-proceeds: 2E, 4W-S",
        {"T": "reverse"},
        {"2E": "Diverging-Clear", "4W-M": "Stop", "4W-S": "Clear"},
    )


# ------------------------------------------------------------------ 236.310

HOME = "Clear when Station clear"


def test_49_cfr_236_310_V_approach_signal_clear_with_home_at_stop_unsafe() -> None:
    """49 CFR 236.310 [V]: "A signal shall be provided ... to govern the approach": its Clear
    does not tell the truth about the home signal."""
    report = APPROACH_AND_HOME.prove({"2R": "Clear when Near clear", "4R": HOME})
    assert broken(report) == {"approach-untruthful: 2R, 4R"}
    assert_broken(
        report,
        "approach-untruthful: 2R, 4R",
        {"Station": "occupied"},
        {"2R": "Clear", "4R": "Stop"},
        {"Near", "Station"},
    )


def test_49_cfr_236_310_V_approach_signal_yellow_with_home_at_stop_safe() -> None:
    """49 CFR 236.310 [V]: Approach while the home signal is at stop."""
    approach = "Clear when Near clear and 4R proceeds\nApproach when Near clear"
    assert_proved(APPROACH_AND_HOME.prove({"2R": approach, "4R": HOME}))


# ------------------------------------------------------------------ 236.311(b)

X_FIRST = "Clear when X-Approach occupied and Diamond, X-Beyond clear"
Y_SECOND = "Clear when Y-Approach occupied and {x} Diamond, Y-Beyond clear"


def test_49_cfr_236_311_b_V_automatic_diamond_race_unsafe() -> None:
    """49 CFR 236.311(b)(2) [V]: without "signals for such conflicting routes display stop",
    two trains that approach at once both get Clear."""
    report = AUTOMATIC_DIAMOND.prove({"X": X_FIRST, "Y": Y_SECOND.format(x="")})
    assert broken(report) == {"crossing-proceeds: X, Y"}
    assert_broken(
        report,
        "crossing-proceeds: X, Y",
        {"X-Approach": "occupied", "Y-Approach": "occupied"},
        {"X": "Clear", "Y": "Clear"},
        {"X-Approach", "Y-Approach", "Diamond", "X-Beyond", "Y-Beyond"},
    )
    assert verdict(report, "crossing-proceeds: X, Y").obligation.place == "X1"


def test_49_cfr_236_311_b_V_automatic_diamond_conflicting_signals_at_stop_safe() -> None:
    """49 CFR 236.311(b)(2) [V]: Y waits for X's signal to be at stop. (That X wait for Y too
    would be a circle for rules without memory.)"""
    assert_proved(AUTOMATIC_DIAMOND.prove({"X": X_FIRST, "Y": Y_SECOND.format(x="X at stop and")}))


def test_49_cfr_236_311_b_V_track_circuit_of_the_diamond_not_read_unsafe() -> None:
    """49 CFR 236.311(b)(1) [V]: "through track relays ... for all track circuits in the route
    governed and in all conflicting routes": a train of the other track on the diamond."""
    rules = {"X": X_FIRST.replace("Diamond, ", ""), "Y": Y_SECOND.format(x="X at stop and")}
    report = AUTOMATIC_DIAMOND.prove(rules)
    assert broken(report) == {"proceed-into-occupied: X, Diamond"}
    assert_broken(
        report,
        "proceed-into-occupied: X, Diamond",
        {"X-Approach": "occupied", "Diamond": "occupied"},
        {"X": "Clear", "Y": "Stop"},
    )


# ------------------------------------------------------------------ 236.312


@pytest.mark.parametrize("aspect", ["Clear", "Restricting"])
def test_49_cfr_236_312_V_lift_out_section_not_seated_unsafe(aspect: str) -> None:
    """49 CFR 236.312 [V]: "before a signal ... can display an aspect to proceed the bridge
    must be locked"; proceed at restricted speed is an aspect to proceed too."""
    report = LIFT_OUT.prove({"1R": f"{aspect} when Bridge, Beyond clear"})
    assert broken(report) == {"span-not-locked: 1R, G1"}
    assert_broken(
        report,
        "span-not-locked: 1R, G1",
        {"G1": "open"},
        {"1R": aspect},
        {"G1", "Bridge", "Beyond"},
    )


def test_49_cfr_236_312_V_lift_out_section_seated_safe() -> None:
    """49 CFR 236.312 [V]: the rule asks for the seated section."""
    assert_proved(LIFT_OUT.prove({"1R": "Clear when G1 seated and Bridge, Beyond clear"}))


# ------------------------------------------------------------------ 236.403

BY_BUTTON = {
    signal: lines.replace("4 left", f"Clear-{signal} pressed").replace(
        "4 right", "Clear-2E pressed"
    )
    for signal, lines in BY_LEVER.items()
}
BUTTONS = "button Clear-2E, Clear-4W-M, Clear-4W-S"


def test_49_cfr_236_403_V_operator_asks_for_conflicting_moves_unsafe() -> None:
    """49 CFR 236.403 [V]: "aspects to proceed cannot be displayed simultaneously for
    conflicting movements", whatever the operator asks for: here with a button a signal."""
    report = END_OF_SIDING.prove(BY_BUTTON, BUTTONS)
    assert broken(report) == {"opposing-proceeds: 2E, 4W-M", "opposing-proceeds: 2E, 4W-S"}
    assert_broken(
        report,
        "opposing-proceeds: 2E, 4W-M",
        {"Clear-2E": "pressed", "Clear-4W-M": "pressed"},
        {"2E": "Clear", "4W-M": "Clear", "4W-S": "Stop"},
        {"Clear-2E", "Clear-4W-M", "T", "OS", "M", "Single"},
    )


def test_49_cfr_236_403_V_signals_interconnected_by_one_lever_safe() -> None:
    """49 CFR 236.403 [V]: one lever, one direction at a time, whatever the operator does."""
    assert_proved(END_OF_SIDING.prove(BY_LEVER, DIRECTION))


def test_49_cfr_236_403_V_signals_interconnected_by_signals_at_stop_safe() -> None:
    """49 CFR 236.403 [V]: or buttons, and each westward signal waits for the eastward one."""
    rules = BY_BUTTON | {
        s: BY_BUTTON[s].replace("pressed and", "pressed and 2E at stop and")
        for s in ("4W-M", "4W-S")
    }
    report = END_OF_SIDING.prove(rules, BUTTONS)
    # A button that is held clears its signal again behind a train, which is safe, and noted.
    left = {v.obligation.key for v in report.verdicts if v.status != "proved"}
    assert left == {f"clears-again: {signal}, Clear-{signal}" for signal in rules}
    assert report.exit_code == ExitCode.AS_EXPECTED


# ------------------------------------------------------------------ 236.404

ONE_LEVER_EACH = "lever A, B positions left, normal, right\nlever Traffic positions east, west"


def _line(*, traffic: bool) -> dict[str, str]:
    east, west = ("Traffic east and", "Traffic west and") if traffic else ("", "")
    return {
        "AE1": f"Approach when A right and {east} TA normal and A-OS, Single clear",
        "AE2": f"Approach when A right and {east} TA reverse and A-OS, Single clear",
        "AW": "Clear when A left and TA normal and A-OS, A1 clear\n"
        "Diverging-Clear when A left and TA reverse and A-OS, A2 clear",
        "BE": "Clear when B right and TB normal and B-OS, B1 clear\n"
        "Diverging-Clear when B right and TB reverse and B-OS, B2 clear",
        "BW1": f"Approach when B left and {west} TB normal and B-OS, Single clear",
        "BW2": f"Approach when B left and {west} TB reverse and B-OS, Single clear",
    }


def test_49_cfr_236_404_V_both_ends_let_a_train_onto_the_single_track_unsafe() -> None:
    """49 CFR 236.404 [V]: "Signals at adjacent controlled points": the exits of both sidings
    clear onto the same single track, although each control point by itself is right."""
    report = TWO_CONTROL_POINTS.prove(_line(traffic=False), ONE_LEVER_EACH)
    assert broken(report) == {
        f"opposing-proceeds: {a}, {b}" for a in ("AE1", "AE2") for b in ("BW1", "BW2")
    }
    assert_broken(
        report,
        "opposing-proceeds: AE1, BW1",
        {"A": "right", "B": "left"},
        {"AE1": "Approach", "BW1": "Approach"},
        {"A", "B", "TA", "TB", "A-OS", "Single", "B-OS"},
    )
    assert verdict(report, "opposing-proceeds: AE1, BW1").obligation.place == "Single"


def test_49_cfr_236_404_V_direction_of_traffic_shared_by_both_ends_safe() -> None:
    """49 CFR 236.404 [V]: one direction of traffic, read at both ends."""
    assert_proved(TWO_CONTROL_POINTS.prove(_line(traffic=True), ONE_LEVER_EACH))


@pytest.mark.parametrize("forgets", ["AE1", "AE2", "BW1", "BW2"])
def test_49_cfr_236_404_V_one_exit_forgets_the_direction_of_traffic_unsafe(forgets: str) -> None:
    """49 CFR 236.404 [V]: one exit that forgets it meets both exits of the other end."""
    rules = _line(traffic=True) | {forgets: _line(traffic=False)[forgets]}
    report = TWO_CONTROL_POINTS.prove(rules, ONE_LEVER_EACH)
    assert broken(report) == {
        f"opposing-proceeds: {a}, {b}"
        for a in ("AE1", "AE2")
        for b in ("BW1", "BW2")
        if forgets in (a, b)
    }


# ------------------------------------------------------------------ 236.796


def test_49_cfr_236_796_V_opposing_routes_unsafe() -> None:
    """49 CFR 236.796 [V]: "opposing"; declared nowhere in the file, found from the track."""
    report = MAIN_LEAD.prove({"2R": "Clear when Lead, East-Yard clear",
                              "2L": "Clear when Lead, West-Yard clear"})  # fmt: skip
    assert broken(report) == {"opposing-proceeds: 2R, 2L"}
    assert_broken(report, "opposing-proceeds: 2R, 2L", {}, {"2R": "Clear", "2L": "Clear"})


def test_49_cfr_236_796_V_converging_routes_unsafe() -> None:
    """49 CFR 236.796 [V]: "converging". The points lie for one of the two trains; the other
    runs through them."""
    report = CONVERGING.prove({"2R": "Clear when T1 normal and Switch, Single clear",
                               "4R": "Clear when Switch, Single clear"})  # fmt: skip
    assert broken(report) == {"converging-proceeds: 2R, 4R", "proceed-over-open-points: 4R, T1"}
    assert_broken(
        report,
        "converging-proceeds: 2R, 4R",
        {},
        {"2R": "Clear", "4R": "Clear"},
        {"T1", "Switch", "Single"},
    )


def test_49_cfr_236_796_V_intersecting_routes_unsafe() -> None:
    """49 CFR 236.796 [V]: "or intersecting": a diamond conflicts though no turnout is shared."""
    rules = {"PE": "Clear when Diamond, PE-Track clear", "QS": "Clear when Diamond, QS-Track clear"}
    report = DIAMOND.prove(rules)
    assert verdict(report, "crossing-proceeds: PE, QS").obligation.place == "X"
    assert_broken(
        report,
        "crossing-proceeds: PE, QS",
        {},
        {"PE": "Clear", "QS": "Clear"},
        {"Diamond", "PE-Track", "QS-Track"},
    )
    # PW and QN stand at stop for good here, which is found too, and nothing else is.
    assert broken(report) == {
        "crossing-proceeds: PE, QS",
        "route-never-clears: PW to P-West",
        "route-never-clears: QN to Q-North",
    }


def test_49_cfr_236_796_V_routes_that_never_meet_safe() -> None:
    """49 CFR 236.796 [V]: routes that do not conflict may both be clear; nothing is asked of
    the pair but that they can be."""
    report = PARALLEL.prove({"1R": "Clear when E1 clear", "2R": "Clear when E2 clear"})
    assert_proved(report)
    assert report.plan.conflicts == ()


def test_49_cfr_236_796_V_converging_routes_one_at_a_time_safe() -> None:
    """49 CFR 236.796 [V]: converging routes, each with the points lined for it."""
    assert_proved(
        CONVERGING.prove(
            {
                "2R": "Clear when T1 normal and Switch, Single clear",
                "4R": "Clear when T1 reverse and Switch, Single clear",
            }
        )
    )
