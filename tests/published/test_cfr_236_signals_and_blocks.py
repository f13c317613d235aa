"""49 CFR Part 236, subparts A and B: for each section an unsafe and a safe junction.

The sections' texts are [V] (read in the 2015 annual edition). The junctions are ours [C],
built after the check cases noted beside each section in the project's sources. A model
railroad is not subject to Part 236.
"""

import pytest

from tests.published.junctions import (
    FACING,
    FACING_DARK_SIDING,
    HAND_CROSSOVER,
    INDUSTRY_SPUR,
    THREE_SECTIONS,
    Junction,
    assert_broken,
    assert_proved,
    broken,
)

# ------------------------------------------------------------------ 236.6


def test_49_cfr_236_6_V_points_not_reverse_are_not_yet_normal_unsafe() -> None:
    """49 CFR 236.6 [V]: with the points open the circuits are opened. A rule that takes
    "not reverse" for "normal" clears over open points."""
    report = FACING.prove(
        {
            "2R": "Clear when not T1 reverse and Switch, Main clear\n"
            "Diverging-Clear when T1 reverse and Switch, Siding clear"
        }
    )
    assert broken(report) == {"proceed-over-open-points: 2R, T1"}
    assert_broken(
        report,
        "proceed-over-open-points: 2R, T1",
        {"T1": "open"},
        {"2R": "Clear"},
        {"T1", "Switch", "Main"},
    )


BOTH_WAYS = {
    "2R": "Clear when T1 normal and Switch, Main clear\n"
    "Diverging-Clear when T1 reverse and Switch, Siding clear"
}


def test_49_cfr_236_6_V_points_closed_normal_safe() -> None:
    """49 CFR 236.6 [V]: the rule that waits for the normal contact is safe."""
    assert_proved(FACING.prove(BOTH_WAYS))


# ------------------------------------------------------------------ 236.13


def test_49_cfr_236_13_V_facing_signal_ignores_spring_switch_unsafe() -> None:
    """49 CFR 236.13 [V]: the signal for facing moves over a spring switch is selected
    through its contacts. One that is not clears over open and over reversed points."""
    report = FACING_DARK_SIDING.prove({"2R": "Clear when Switch, Main clear"})
    assert broken(report) == {
        "proceed-over-open-points: 2R, T1",
        "aspect-against-route: 2R",
        "undetected-track: 2R, Siding",
        "proceed-into-occupied: 2R, Siding",
    }
    assert_broken(
        report,
        "proceed-over-open-points: 2R, T1",
        {"T1": "open"},
        {"2R": "Clear"},
        {"T1", "Switch", "Main"},
    )


def test_49_cfr_236_13_V_facing_signal_reads_spring_switch_safe() -> None:
    """49 CFR 236.13 [V]: most restrictive unless the normally closed point is closed."""
    assert_proved(FACING_DARK_SIDING.prove({"2R": "Clear when T1 normal and Switch, Main clear"}))


def test_49_cfr_236_13_V_separate_aspect_for_reverse_safe() -> None:
    """49 CFR 236.13 [V], exception: a separate aspect for the reverse position."""
    assert_proved(FACING.prove(BOTH_WAYS))


# ------------------------------------------------------------------ 236.23


ONE_SIGNAL = {"1R": "Clear when A, B, C clear"}


def test_49_cfr_236_23_c_V_one_combination_with_two_names_unsafe() -> None:
    """49 CFR 236.23(c) [V]: "the same aspect shall not be used with any other name"."""
    report = THREE_SECTIONS.prove(
        ONE_SIGNAL,
        """
        aspect Approach-Diverging yellow over green
          proceed prepared to take diverging route at next signal
        aspect Approach-Medium yellow over green
          proceed prepared to pass next signal at medium speed
        """,
    )
    assert broken(report) == {"aspect-ambiguous: Approach-Diverging, Approach-Medium"}


def test_49_cfr_236_23_c_V_one_indication_with_two_names_unsafe() -> None:
    """49 CFR 236.23(c) [V]: "Only one name and indication shall apply to those aspects
    indicating the same action"."""
    report = THREE_SECTIONS.prove(
        ONE_SIGNAL,
        """
        aspect Approach-Diverging yellow over green
          proceed prepared to take diverging route at next signal
        aspect Approach-Turnout yellow over yellow
          proceed prepared to take diverging route at next signal
        """,
    )
    assert broken(report) == {"aspect-ambiguous: Approach-Diverging, Approach-Turnout"}


def test_49_cfr_236_23_c_V_each_aspect_its_own_name_safe() -> None:
    """49 CFR 236.23(c) [V]: two combinations, two names, two indications."""
    assert_proved(
        THREE_SECTIONS.prove(
            ONE_SIGNAL,
            """
            aspect Approach-Diverging yellow over green
              proceed prepared to take diverging route at next signal
            aspect Approach-Medium yellow over yellow
              proceed prepared to pass next signal at medium speed
            """,
        )
    )


# The signal's two heads are ruled one by one, as hardware with a driver for each head is.
HEAD_BY_HEAD = FACING.text().replace("heads upper, lower\n\nStop otherwise", "heads upper, lower")
LOWER = "head 2R.lower\n green when T1 reverse and Switch, Siding clear\n red otherwise\n"


def test_49_cfr_236_23_c_V_combination_without_a_name_unsafe() -> None:
    """49 CFR 236.23(c) [V]: "Each aspect displayed by a signal shall be identified by a
    name". Green over green is in nobody's rule book."""
    upper = "head 2R.upper\n green when not T1 normal and Switch, Main clear\n red otherwise\n"
    report = Junction(HEAD_BY_HEAD + upper + LOWER).prove()
    assert_broken(
        report,
        "aspect-not-listed: 2R",
        {"T1": "reverse"},
        {"2R": "an unlisted combination"},
        {"T1", "Switch", "Main", "Siding"},
    )


def test_49_cfr_236_23_c_V_every_combination_has_a_name_safe() -> None:
    """49 CFR 236.23(c) [V]: with the upper head right, no unnamed pair is left."""
    upper = "head 2R.upper\n green when T1 normal and Switch, Main clear\n red otherwise\n"
    assert_proved(Junction(HEAD_BY_HEAD + upper + LOWER).prove())


def chart(clear: str, stop: str) -> str:
    """A chart that says what a lone ``clear`` and a lone ``stop`` mean."""
    return (
        f"aspect Clear {clear} or green over red proceed\naspect Stop {stop} or red over red stop"
    )


@pytest.mark.parametrize(
    ("clear", "stop", "wrong"),
    [
        ("red", "dark", "Clear"),
        ("yellow", "red", "Clear"),
        ("lunar", "red", "Clear"),
        ("yellow over yellow", "green", "Stop"),
        ("white", "red", "Clear"),
    ],
    ids=["d1-red-proceeds", "d2-yellow", "d2-lunar", "d3-green-stops", "a1-single-white"],
)
def test_49_cfr_236_23_d_V_colors_against_their_meaning_unsafe(
    clear: str, stop: str, wrong: str
) -> None:
    """49 CFR 236.23(d)(1)-(3) and (a)(1) [V]: red stop, yellow and lunar restrict, green
    proceed; "A single white light shall not be used"."""
    report = FACING.prove(BOTH_WAYS, chart(clear, stop))
    assert broken(report) == {f"aspect-ambiguous: {wrong}"}


@pytest.mark.parametrize(
    ("aspect", "right"),
    [
        ("Grade red with marker plate proceed at restricted speed", True),
        ("Grade flashing red proceed at restricted speed", True),
        ("Grade red with marker plate proceed at slow speed", False),
        ("Grade flashing red proceed at slow speed", False),
        ("Grade red proceed at restricted speed", False),
    ],
)
def test_49_cfr_236_23_a_M_red_that_is_qualified(aspect: str, right: bool) -> None:
    """49 CFR 236.23(a) [V]: aspects are shown by "flashing of lights" too, and "may be qualified by
    marker plate, number plate, letter plate". That red then means restricted speed on some
    railroads, and never more, is from memory [M]."""
    report = FACING.prove(BOTH_WAYS, f"aspect Stop red or red over red stop\naspect {aspect}")
    assert ("aspect-ambiguous: Grade" not in broken(report)) == right


def test_49_cfr_236_23_d_V_colors_with_their_meaning_safe() -> None:
    """49 CFR 236.23(d)(1), (3) [V]: a lone green proceeds, a lone red stops."""
    assert_proved(FACING.prove(BOTH_WAYS, chart("green", "red")))


# ------------------------------------------------------------------ 236.201

DARK_MIDDLE = Junction(
    THREE_SECTIONS.track.replace("A, B, C", "A, C\n    block B undetected"), THREE_SECTIONS.signals
)


def test_49_cfr_236_201_V_middle_section_not_read_unsafe() -> None:
    """49 CFR 236.201 [V]: track circuits "extending through the entire block". Block = A, B,
    C; the rule reads A and C: a train stands in B."""
    report = THREE_SECTIONS.prove({"1R": "Clear when A, C clear"})
    assert broken(report) == {"proceed-into-occupied: 1R, B"}
    assert_broken(
        report,
        "proceed-into-occupied: 1R, B",
        {"B": "occupied"},
        {"1R": "Clear"},
        {"A", "B", "C"},
    )


def test_49_cfr_236_201_V_middle_section_without_detector_unsafe() -> None:
    """49 CFR 236.201 [V]: the same where no detector watches B at all: clear with
    everything vacant is wrong already."""
    report = DARK_MIDDLE.prove({"1R": "Clear when A, C clear"})
    assert broken(report) == {"undetected-track: 1R, B", "proceed-into-occupied: 1R, B"}
    assert_broken(report, "undetected-track: 1R, B", {}, {"1R": "Clear"}, {"A", "C"})


def test_49_cfr_236_201_V_entire_block_read_safe() -> None:
    """49 CFR 236.201 [V]: all three sections in the rule."""
    assert_proved(THREE_SECTIONS.prove({"1R": "Clear when A, B, C clear"}))


def test_49_cfr_236_201_V_restricting_needs_no_detection_safe() -> None:
    """49 CFR 236.201 [V] speaks of aspects "more favorable than proceed at restricted
    speed": Restricting may be given over the dark section."""
    assert_proved(DARK_MIDDLE.prove({"1R": "Restricting when A, C clear"}))


# ------------------------------------------------------------------ 236.202


def test_49_cfr_236_202_V_spur_switch_lined_for_the_spur_trailing_unsafe() -> None:
    """49 CFR 236.202 [V]: an industry spur switch in the middle of the block, lined for the
    spur, and the block's signal still Clear."""
    report = INDUSTRY_SPUR.prove({"1R": "Clear when D1 derailing and Head, Switch, Tail clear"})
    assert broken(report) == {"proceed-over-open-points: 1R, T1"}
    assert_broken(
        report,
        "proceed-over-open-points: 1R, T1",
        {"T1": "reverse"},
        {"1R": "Clear"},
        {"T1", "D1", "Head", "Switch", "Tail"},
    )


def test_49_cfr_236_202_V_switch_lined_away_facing_unsafe() -> None:
    """49 CFR 236.202 [V]: the same met facing: Clear over points that lie for the siding."""
    report = FACING_DARK_SIDING.prove({"2R": "Clear when not T1 moving and Switch, Main clear"})
    assert broken(report) == {
        "aspect-against-route: 2R",
        "undetected-track: 2R, Siding",
        "proceed-into-occupied: 2R, Siding",
    }
    assert_broken(report, "aspect-against-route: 2R", {"T1": "reverse"}, {"2R": "Clear"})


def test_49_cfr_236_202_V_spur_switch_read_safe() -> None:
    """49 CFR 236.202 [V]: the signal reads the spur switch, as in 236.205 below."""
    assert_proved(INDUSTRY_SPUR.prove({"1R": ABS_RULE}))


# ------------------------------------------------------------------ 236.203

OWN_HALF = {
    "1R": "Clear when T1 normal and OS-1, E1, Between clear",
    "2L": "Clear when T2 normal and OS-2, W2, Between clear",
}
BOTH_HALVES = {
    "1R": "Clear when K1 normal and OS-1, E1, Between clear",
    "2L": "Clear when K1 normal and OS-2, W2, Between clear",
}


def test_49_cfr_236_203_V_crossover_ends_disagree_unsafe() -> None:
    """49 CFR 236.203(1) [V]: "either switch is open". Each signal looks at its own track's
    half only: wrong on both tracks."""
    report = HAND_CROSSOVER.prove(OWN_HALF)
    assert broken(report) == {
        "crossover-ends-disagree: 1R, K1",
        "crossover-ends-disagree: 2L, K1",
    }
    assert_broken(
        report, "crossover-ends-disagree: 1R, K1", {"T2": "reverse"}, {"1R": "Clear", "2L": "Stop"}
    )
    assert_broken(
        report, "crossover-ends-disagree: 2L, K1", {"T1": "reverse"}, {"1R": "Stop", "2L": "Clear"}
    )


def test_49_cfr_236_203_V_car_fouls_from_the_crossover_unsafe() -> None:
    """49 CFR 236.203(1) [V]: "or the crossover is occupied ... in such a manner as to foul
    the main track": the rule of track 1 forgets the track between."""
    report = HAND_CROSSOVER.prove(BOTH_HALVES | {"1R": "Clear when K1 normal and OS-1, E1 clear"})
    assert broken(report) == {"crossover-ends-disagree: 1R, K1"}
    assert_broken(
        report,
        "crossover-ends-disagree: 1R, K1",
        {"Between": "occupied"},
        {"1R": "Clear", "2L": "Stop"},
    )


def test_49_cfr_236_203_V_both_halves_and_the_track_between_read_safe() -> None:
    """49 CFR 236.203 [V]: both halves and the track between in both rules."""
    assert_proved(HAND_CROSSOVER.prove(BOTH_HALVES))


# ------------------------------------------------------------------ 236.205

ABS_RULE = "Clear when T1 normal and D1 derailing and Head, Switch, Tail clear"


@pytest.mark.parametrize("section", ["Head", "Switch", "Tail"])
def test_49_cfr_236_205_a_V_occupied_block_unsafe(section: str) -> None:
    """49 CFR 236.205(a) [V]: "Occupancy by a train, locomotive, or car", anywhere in the
    block."""
    read = ", ".join(s for s in ("Head", "Switch", "Tail") if s != section)
    rule = f"Clear when T1 normal and D1 derailing and {read} clear"
    report = INDUSTRY_SPUR.prove({"1R": rule})
    assert broken(report) == {f"proceed-into-occupied: 1R, {section}"}
    assert_broken(
        report,
        f"proceed-into-occupied: 1R, {section}",
        {section: "occupied"},
        {"1R": "Clear"},
        {"T1", "D1", "Head", "Switch", "Tail"},
    )


def test_49_cfr_236_205_b_V_points_not_closed_in_proper_position_unsafe() -> None:
    """49 CFR 236.205(b) [V]: "When points of a switch are not closed in proper position".
    Here the rule sees points lined for the spur, but not points that are open."""
    report = INDUSTRY_SPUR.prove(
        {"1R": "Clear when not T1 reverse and D1 derailing and Head, Switch, Tail clear"}
    )
    assert broken(report) == {"proceed-over-open-points: 1R, T1"}
    assert_broken(report, "proceed-over-open-points: 1R, T1", {"T1": "open"}, {"1R": "Clear"})


@pytest.mark.parametrize(
    ("reads", "state"), [("", "non-derailing"), ("and not D1 non-derailing", "open")]
)
def test_49_cfr_236_205_c_V_fouling_point_derail_unsafe(reads: str, state: str) -> None:
    """49 CFR 236.205(c) [V]: "When an independently operated fouling point derail ... is not
    in derailing position"; half way counts too."""
    report = INDUSTRY_SPUR.prove(
        {"1R": f"Clear when T1 normal {reads} and Head, Switch, Tail clear"}
    )
    assert broken(report) == {"derail-not-set: 1R, D1"}
    assert_broken(report, "derail-not-set: 1R, D1", {"D1": state}, {"1R": "Clear"})


def test_49_cfr_236_205_abc_V_all_conditions_read_safe() -> None:
    """49 CFR 236.205(a), (b), (c) [V]: the rule with all three kinds of condition."""
    report = INDUSTRY_SPUR.prove({"1R": ABS_RULE})
    assert_proved(report)
    assert {
        *(f"proceed-into-occupied: 1R, {section}" for section in ("Head", "Switch", "Tail")),
        "proceed-over-open-points: 1R, T1",
        "derail-not-set: 1R, D1",
    } <= {v.obligation.key for v in report.verdicts}
