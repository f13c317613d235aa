"""49 CFR Part 236, where distances matter: for each section an unsafe and a safe junction.

The sections' texts are [V] (read in the 2015 annual edition; 236.24 in two later copies). The
junctions are ours [C], built after the check cases noted beside each section in the project's
sources. A model railroad is not subject to Part 236.
"""

import pytest

import verifier
from tests.published.junctions import assert_proved, broken, verdict
from verifier import Report


def prove(text: str) -> Report:
    return verifier.prove(verifier.load_text(text))


# ------------------------------------------------------------------ 236.24


def block_signals(last: str, before: str = "", approach: str = "") -> str:
    """Three-aspect block signals; the stopping distance is 3000 mm."""
    return f"""
    edge West entering only
    edge East leaving only
    stopping distance 3000 mm
    aspect Advance-Approach flashing yellow proceed prepared to stop at second signal
    block B0, B3
    block B1 {before or "3000 mm"}
    block B2 {last}
    track West = B0 | B1 | B2 | B3 = East
    signal S1 at B0 | B1
      Clear when B1 clear and S2 shows Clear
      {approach or "Approach"} when B1 clear and S2 shows Approach
      Stop otherwise
    signal S2 at B1 | B2
      Clear when B2 clear and S3 proceeds
      Approach when B2 clear
      Stop otherwise
    signal S3 at B2 | B3
      Clear when B3 clear
      Stop otherwise
    """


def test_49_cfr_236_24_V_next_signal_nearer_than_the_stopping_distance_unsafe() -> None:
    """49 CFR 236.24 [V]: "the indication of a signal displaying a restrictive aspect can be
    complied with by means of a brake application ... initiated at such signal". A length below
    the stopping distance with a three-aspect rule, from a first signal that trains come to
    unwarned."""
    report = prove(block_signals("3600 mm", before="2400 mm"))
    assert broken(report) == {"stopping-distance: S1, S2"}


def test_49_cfr_236_24_V_next_signal_at_the_stopping_distance_safe() -> None:
    """49 CFR 236.24 [V]: the length is not less than the stopping distance."""
    assert_proved(prove(block_signals("3000 mm")))


def test_49_cfr_236_24_V_short_block_after_a_clear_signal_unsafe() -> None:
    """49 CFR 236.24 [V]: S1 shows Clear while S2 shows Approach, too near to S3."""
    text = block_signals("2400 mm", approach="Clear")
    assert broken(prove(text)) == {"stopping-distance: S2, S3"}


def test_49_cfr_236_24_C_earlier_advance_approach_safe() -> None:
    """49 CFR 236.24: "adding an earlier Advance Approach so that L1+L2 >= D: SAFE" is the check
    case as noted in the project's sources [C]."""
    assert_proved(prove(block_signals("2400 mm", before="2400 mm", approach="Advance-Approach")))


def test_49_cfr_236_24_C_earlier_advance_approach_still_too_near_unsafe() -> None:
    """The same [C], with 1400 + 1500 mm for 3000 mm."""
    text = block_signals("1400 mm", before="1500 mm", approach="Advance-Approach")
    assert broken(prove(text)) == {"stopping-distance: S2, S3"}


# ------------------------------------------------------------------ 236.204


def both_ways(between: int, far: str = "Clear") -> str:
    """Single track between two sidings: head blocks 1E and 1W, and inside them 2E and 2W, which
    face each other ``between`` units (mm) apart. A train stops in 12 units. Nothing but a
    dispatcher's authority keeps two trains from setting out at once, as on track worked by
    absolute permissive block before the first of them has set out."""
    return f"""
    edge West, East
    stopping distance 12 mm
    block A, B
    block B1 50 mm
    block B3 50 mm
    block B2 {between} mm
    track West = A | B1 | B2 | B3 | B = East
    signal 1E at A | B1
      {far} when B1 clear and 2E proceeds
      Approach when B1 clear
      Stop otherwise
    signal 2E at B1 | B2
      Clear when B2, B3, B clear
      Stop otherwise
    signal 1W at B | B3
      {far} when B3 clear and 2W proceeds
      Approach when B3 clear
      Stop otherwise
    signal 2W at B3 | B2
      Clear when B2, B1, A clear
      Stop otherwise
    waive opposing-proceeds for 2E, 2W because "the dispatcher gives trains their authority"
    waive opposing-proceeds for 1E, 2W because "the dispatcher gives trains their authority"
    waive opposing-proceeds for 1W, 2E because "the dispatcher gives trains their authority"
    """


FACING = "stopping-distance: 2E, 2W, 1E, 1W"


def test_49_cfr_236_204_V_20_apart_for_12_and_12_unsafe() -> None:
    """49 CFR 236.204 [V]: "the distance between opposing signals displaying such aspects shall
    be not less than the aggregate of the stopping distances for movements in each direction".
    Both trains accept Clear: 20 < 12 + 12."""
    report = prove(both_ways(20))
    assert broken(report) == {FACING}
    finding = verdict(report, FACING).finding
    assert finding is not None and list(finding.situation) == []
    plan = report.plan
    seen = verifier.evaluate(plan, finding.situation)
    assert [seen.aspect(plan.signals[name]) for name in ("1E", "1W")] == ["Clear", "Clear"]


def test_49_cfr_236_204_V_25_apart_for_12_and_12_safe() -> None:
    """49 CFR 236.204 [V]: 25 > 12 + 12."""
    report = prove(both_ways(25))
    assert broken(report) == set()
    assert verdict(report, FACING).status == "proved"


@pytest.mark.parametrize(("between", "status"), [(23, "broken"), (24, "proved")])
def test_49_cfr_236_204_V_just_the_aggregate(between: int, status: str) -> None:
    """49 CFR 236.204 [V]: "not less than" the aggregate: 24 is enough."""
    assert verdict(prove(both_ways(between)), FACING).status == status


def test_49_cfr_236_204_V_restrictive_aspects_in_approach_to_both_safe() -> None:
    """49 CFR 236.204 [V]: "Where such opposing signals are spaced less than stopping distance
    apart ... signals arranged to display restrictive aspects shall be provided in approach to
    both such signals." Both show Approach at best."""
    report = prove(both_ways(10, far="Approach"))
    assert verdict(report, FACING).status == "proved"


def test_49_cfr_236_204_V_restrictive_aspects_in_approach_to_one_of_them() -> None:
    """49 CFR 236.204 [V]: one signal with restrictive aspects in approach is enough from one
    stopping distance up: 20 for 12, but not 10."""
    one = "Clear when B1 clear and 2E proceeds"
    assert verdict(prove(both_ways(20).replace(one, "")), FACING).status == "proved"
    assert verdict(prove(both_ways(10).replace(one, "")), FACING).status == "broken"


# ------------------------------------------------------------------ 236.302


def set_back(scale: str, distance: str) -> str:
    return f"""
    edge West, East
    scale {scale}
    block Near, Ahead
    track West = Near | Ahead = East
    signal 2R at Near | Ahead
      stands {distance} before gap
      Clear when Ahead clear
      Stop otherwise
    """


# 13 ft = 3962.4 mm, scaled [C]: 45.5 mm at 1:87.1, 24.8 mm at 1:160, 82.6 mm at 1:48.
@pytest.mark.parametrize(
    ("scale", "safe", "unsafe"),
    [
        ("1:87.1", "30 mm", "60 mm"),
        ("HO", "45.4 mm", "45.5 mm"),
        ("N", "24.7 mm", "24.8 mm"),
        ("O", "82.5 mm", "82.6 mm"),
    ],
)
def test_49_cfr_236_302_V_gap_13_ft_beyond_the_signal_at_three_scales(
    scale: str, safe: str, unsafe: str
) -> None:
    """49 CFR 236.302 [V]: "a point not more than 13 feet in advance of the signal governing its
    movement". Scales NMRA S-1.2 [M]."""
    assert_proved(prove(set_back(scale, safe)))
    assert broken(prove(set_back(scale, unsafe))) == {"gap-beyond-signal: 2R"}


def test_49_cfr_236_302_V_13_ft_at_full_size() -> None:
    """49 CFR 236.302 [V], to the inch, without a scale to round."""
    assert_proved(prove(set_back("1:1", "13 ft")))
    assert broken(prove(set_back("1:1", "13 ft 1 in"))) == {"gap-beyond-signal: 2R"}


# ------------------------------------------------------------------ 236.51(b), 236.58


def end_of_siding(gap: str, asks: str = "") -> str:
    """Trains leave main and siding eastward; the fouling point is 180 mm from the points."""
    return f"""
    edge West-Main entering only
    edge West-Siding entering only
    edge East leaving only
    block Main, Siding, Switch, Single
    turnout T1 in Switch
      fouling point 180 mm
      gap normal 200 mm, reverse {gap}
    track West-Main = Main | normal T1 | Single = East
    track West-Siding = Siding | reverse T1
    signal 2R at Main | T1
      Clear when T1 normal and {asks} Switch, Single clear
      Stop otherwise
    signal 4R at Siding | T1
      Clear when T1 reverse and Switch, Single clear
      Stop otherwise
    """


def test_49_cfr_236_51_b_V_car_in_the_fouling_section_unsafe() -> None:
    """49 CFR 236.51(b) [V]: "occupies any part of a track circuit, including fouling section of
    turnout". The gap lies inside the fouling point: a car just beyond it fouls the main, and
    the turnout's block is clear."""
    report = prove(end_of_siding("150 mm"))
    assert broken(report) == {"fouling-undetected: 2R, T1, Siding"}
    finding = verdict(report, "fouling-undetected: 2R, T1, Siding").finding
    assert finding is not None
    assert {what.name: state for what, state in finding.situation} == {"Siding": "occupied"}


def test_49_cfr_236_58_V_fouling_section_reaches_to_the_clearance_point_safe() -> None:
    """49 CFR 236.58 [V]: "shall extend at least to a point where sufficient" track centers
    "prevent interference": the gap at the fouling point, and beyond it."""
    assert_proved(prove(end_of_siding("180 mm")))
    assert_proved(prove(end_of_siding("200 mm")))


def test_49_cfr_236_51_b_V_fouling_section_seen_by_the_sidings_detector_safe() -> None:
    """49 CFR 236.51(b) [V]: with the gap inside the fouling point the main signal must ask for
    the siding's detector too."""
    assert_proved(prove(end_of_siding("150 mm", asks="Siding,")))
