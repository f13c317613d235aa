"""Distances: which are asked about, where the limit lies, and what is said of them.

Facts of the trade are marked "common practice, no source"; the sections of 49 CFR are
checked in tests/published.
"""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import verifier
from tests.properties.asked import asked, nothing_is_asked, places, said
from tests.sweep import examples
from verifier.plan.wiring.derive_equipment import with_wiring
from verifier.plan.wiring.wiring_model import Detector, SpotPlace, TrainLimits, Wiring
from verifier.properties.distances import fouling_undetected
from verifier.properties.stopping import stopping_distance

# ------------------------------------------------------------------ to the next signal


def chain(first: str = "1000 mm", second: str = "1000 mm", lines: str = "", more: str = "") -> str:
    """Three signals in a row; ``lines`` come first at 1R; ``more`` stands at 3R."""
    return f"""
    edge West, East
    stopping distance 1500 mm
    aspect Advance-Approach flashing yellow proceed prepared to stop at second signal
    block Near, Beyond
    block First {first}
    block Second {second}
    track West = Near | First | Second | Beyond = East
    signal 1R at Near | First
      Clear when First clear and 3R shows Clear
      {lines}
      Stop otherwise
    signal 3R at First | Second {more}
      Clear when Second clear and 5R proceeds
      Approach when Second clear
      Stop otherwise
    signal 5R at Second | Beyond
      Clear when Beyond clear
      Stop otherwise
    """


CLEAR_TOO = "Clear when First clear and 3R proceeds"
WARNS = "Advance-Approach when First clear and 3R shows Approach"


@pytest.mark.parametrize(
    ("second", "status"), [("1499 mm", "broken"), ("1500 mm", "proved"), ("2 m", "proved")]
)
def test_the_distance_to_the_next_signal_is_enough_just_at_the_limit(
    second: str, status: str
) -> None:
    assert asked("stopping-distance", chain("2 m", second, CLEAR_TOO))["3R, 5R"] == status


def test_a_warning_at_the_signal_before_is_enough_if_it_comes_early_enough() -> None:
    """1R itself never says to be prepared to stop at 3R, so it is not asked about."""
    assert asked("stopping-distance", chain(lines=WARNS)) == {"3R, 5R": "proved"}
    assert asked("stopping-distance", chain(first="499 mm", lines=WARNS)) == {"3R, 5R": "broken"}
    assert asked("stopping-distance", chain(first="500 mm", lines=WARNS)) == {"3R, 5R": "proved"}


def test_a_clear_signal_before_is_no_warning() -> None:
    assert asked("stopping-distance", chain(lines=CLEAR_TOO))["3R, 5R"] == "broken"


def test_a_train_from_beyond_the_plan_is_not_warned() -> None:
    text = chain("1400 mm", "2 m", "Approach when First clear")
    assert asked("stopping-distance", text) == {"1R, 3R": "broken", "3R, 5R": "proved"}
    trouble, hint = said("stopping-distance", text, "1R", "3R")
    assert "1400 mm ahead" in trouble and "needs 1500 mm" in trouble
    assert "at least 100 mm farther" in hint


def test_where_signals_stand_before_their_gaps_counts() -> None:
    """3R stands farther back, so that it has more room ahead and 1R less."""
    there = chain("2 m", "1450 mm", CLEAR_TOO, "stands 50 mm before gap")
    assert asked("stopping-distance", there)["3R, 5R"] == "proved"
    short = chain("1549 mm", "2 m", "Approach when First clear", "stands 50 mm before gap")
    assert asked("stopping-distance", short)["1R, 3R"] == "broken"


def test_a_bumper_is_where_a_train_must_stop() -> None:
    text = """
    edge West entering only
    stopping distance 1500 mm
    bumper End
    block Near
    block Last {}
    track West = Near | Last = End
    signal 1R at Near | Last
      Approach when Last clear
      Stop otherwise
    """
    assert asked("stopping-distance", text.format("1400 mm")) == {"1R, End": "broken"}
    assert asked("stopping-distance", text.format("1600 mm")) == {"1R, End": "proved"}


def test_only_the_way_that_is_short_counts() -> None:
    """Main and siding lead to the same signal; the aspect shows for the long way only."""
    text = """
    edge West, East
    stopping distance 1500 mm
    block Near, Out
    block A, B 100 mm
    block Main {} mm
    block Siding {} mm
    turnout T1 in A
    turnout T2 in B
    track West = Near | T1 normal | Main | normal T2 | Out = East
    track T1 reverse | Siding | reverse T2
    signal 1R at Near | T1
      heads upper, lower
      Approach when T1, T2 normal and A, Main, B clear
      Stop otherwise
    signal 3R at T2 | Out
      Clear when Out clear
      Stop otherwise
    """
    assert asked("stopping-distance", text.format(2000, 1000))["1R, 3R"] == "proved"
    assert asked("stopping-distance", text.format(1000, 2000))["1R, 3R"] == "broken"


def test_a_way_that_is_not_measured_is_not_called_long_enough() -> None:
    """One of two ways to the same signal has no length: what is given of it may be enough, and
    if it is not, nothing is said of either."""
    text = """
    edge West, East
    stopping distance 1500 mm
    block Near, Out
    block A, B {} mm
    block Main 2000 mm
    block Siding
    turnout T1 in A
    turnout T2 in B
    track West = Near | T1 normal | Main | normal T2 | Out = East
    track T1 reverse | Siding | reverse T2
    signal 1R at Near | T1
      Approach when A, B clear and Main, Siding clear
      Stop otherwise
    signal 3R at T2 | Out
      Clear when Out clear
      Stop otherwise
    """
    assert asked("stopping-distance", text.format(100)) == {}
    assert asked("stopping-distance", text.format(750)) == {"1R, 3R": "proved"}


def test_a_way_between_opposing_signals_that_is_not_measured_is_not_called_long_enough() -> None:
    """Between 3R and 3L lie main and siding; without the siding's length it may be short."""
    text = """
    edge West, East
    stopping distance 1500 mm
    block Near, Far, A, Z 9000 mm
    block S1, S2 100 mm
    block Main 5000 mm
    block Siding {}
    turnout T1 in S1
    turnout T2 in S2
    track West = Near | A | T1 normal | Main | normal T2 | Z | Far = East
    track T1 reverse | Siding | reverse T2
    signal 1R at Near | A
      Clear when A clear
      Stop otherwise
    signal 3R at A | T1
      Clear when S1, Main, S2 clear and T1 normal and T2 normal
      Stop otherwise
    signal 1L at Far | Z
      Clear when Z clear
      Stop otherwise
    signal 3L at Z | T2
      Stop otherwise
    """
    facing = "3R, 3L, 1R, 1L"
    assert asked("stopping-distance", text.format("5000 mm"))[facing] == "proved"
    assert asked("stopping-distance", text.format("2000 mm"))[facing] == "broken"
    assert facing not in asked("stopping-distance", text.format(""))


@pytest.mark.parametrize("gone", ["stopping distance 1500 mm", " 1000 mm"])
def test_nothing_is_asked_without_the_numbers(gone: str) -> None:
    assert nothing_is_asked(["stopping-distance"], chain(lines=CLEAR_TOO).replace(gone, ""))
    assert not nothing_is_asked(["stopping-distance"], chain(lines=CLEAR_TOO))


# ------------------------------------------------------------------ opposing signals

FACING = verifier.load_text("""
    edge West, East
    block Near, Far, A, M, Z
    track West = Near | A | M | Z | Far = East
    signal 1R at Near | A
      Clear when A clear and 3R proceeds
      Approach when A clear
      Stop otherwise
    signal 3R at A | M
      Clear when M, Z clear
      Stop otherwise
    signal 1L at Far | Z
      Clear when Z clear and 3L proceeds
      Approach when Z clear
      Stop otherwise
    signal 3L at Z | M
      Clear when M, A clear
      Stop otherwise
    """)


@settings(deadline=None, max_examples=examples(60))
@given(
    between=st.integers(1, 3000),
    least=st.integers(1, 1500),
    back=st.tuples(st.integers(0, 60), st.integers(0, 60)),
)
def test_how_near_opposing_signals_may_face_each_other(
    between: int, least: int, back: tuple[int, int]
) -> None:
    """Worked out here from the section's text: what both approach signals may not show."""
    lengths = {"A": Fraction(9000), "M": Fraction(between), "Z": Fraction(9000)}
    wiring = Wiring(lengths=lengths, stopping=Fraction(least),
                    set_back={"3R": Fraction(back[0]), "3L": Fraction(back[1])})  # fmt: skip
    plan = with_wiring(FACING, wiring)
    asked_of = [o for o in stopping_distance(plan) if o.subjects == ("3R", "3L", "1R", "1L")]
    distance = between + sum(back)
    if distance >= 2 * least:
        expected = "false"
    elif distance >= least:
        expected = "(reading 1R = Clear and reading 1L = Clear)"
    else:
        expected = (
            "((reading 1R = Clear and reading 1L = Clear or Approach) or "
            "(reading 1R = Clear or Approach and reading 1L = Clear))"
        )
    assert [repr(o.formula) for o in asked_of] == [expected]


# ------------------------------------------------------------------ hidden trains


def spots(at: str, trains: str = "600 mm to 2200 mm", kind: str = "spot on Ahead at") -> str:
    return f"""
    edge West, East
    trains {trains}
    block Near
    block Ahead 2400 mm
      feeders a1
    track West = Near | Ahead = East
    detector D-Ahead {kind} {at}
    signal 2R at Near | Ahead
      Clear when Ahead clear
      Stop otherwise
    """


def test_spot_sensor_misses_a_train_shorter_than_the_spacing() -> None:
    """Common practice, no source."""
    assert asked("train-hidden", spots("0 mm, 1200 mm, 2400 mm")) == {"Ahead": "broken"}
    trouble, hint = said("train-hidden", spots("0 mm, 1200 mm, 2400 mm"), "Ahead")
    assert "reports clear while a train stands" in trouble
    assert "600 mm" in hint and "2400 mm" in hint and "current-sensing" in hint


@pytest.mark.parametrize(
    "safe",
    [
        spots("0 mm, 600 mm, 1200 mm, 1800 mm, 2400 mm"),
        spots("0 mm, 1200 mm, 2400 mm", trains="1200 mm to 2200 mm"),
    ],
    ids=["closer spots", "longer trains"],
)
def test_what_makes_spots_see_every_train(safe: str) -> None:
    """Common practice, no source: spots no farther apart than the shortest train, one at each
    end."""
    assert asked("train-hidden", safe) == {"Ahead": "proved"}


def test_a_train_hides_between_the_last_spot_and_the_end() -> None:
    assert asked("train-hidden", spots("0 mm, 600 mm, 1200 mm, 1800 mm")) == {"Ahead": "broken"}


def test_a_current_sensing_detector_is_not_asked_about_spots() -> None:
    text = spots("a1", kind="current-sensing through")
    assert nothing_is_asked(["train-hidden"], text)
    assert asked("proceed-into-occupied", text) == {"2R, Ahead": "proved"}


@settings(deadline=None, max_examples=examples(40))
@given(
    at=st.lists(st.integers(0, 24), min_size=1, max_size=4, unique=True),
    shortest=st.integers(1, 14),
)
def test_hidden_is_what_a_search_of_positions_finds(at: list[int], shortest: int) -> None:
    """Every place of the shortest train, in half units, against the verdict. A block of 24
    units; a spot at the very end of a train is covered."""
    plan = verifier.load_text(spots("0 mm"))
    span = plan.blocks["Ahead"].span
    where = tuple(SpotPlace(Fraction(n, 10)) for n in sorted(at))
    detector = Detector("D", "spot", "Ahead", None, (), 1, None, where, None, None, None, None,
                        False, False, span)  # fmt: skip
    trains = TrainLimits(Fraction(shortest, 10), Fraction(15, 10), "throughout", None, span)
    wiring = Wiring(detectors={"D": detector}, lengths={"Ahead": Fraction(24, 10)}, trains=trains)
    wired = with_wiring(plan, wiring)
    (found,) = verifier.prove(wired, only=["train-hidden"]).verdicts
    # From a train whose head has come a quarter of a unit onto the block, to one that has as
    # much of its tail left on it; in quarters, so that it may stand just beside a spot.
    hidden = any(
        all(not tail <= 4 * spot <= tail + 4 * shortest for spot in at)
        for tail in range(1 - 4 * shortest, 4 * 24)
    )
    assert found.status == ("broken" if hidden else "proved")


# ------------------------------------------------------------------ fouling points


def junction(fouling: str = "180 mm", gaps: str = "normal 200 mm, reverse 150 mm") -> str:
    return f"""
    edge West-Main entering only
    edge West-Siding entering only
    edge East leaving only
    block Main, Siding, Switch, Single
    turnout T1 in Switch
      fouling point {fouling}
      gap {gaps}
    track West-Main = Main | normal T1 | Single = East
    track West-Siding = Siding | reverse T1
    signal 2R at Main | T1
      Clear when T1 normal and Switch, Single clear
      Stop otherwise
    signal 4R at Siding | T1
      Clear when T1 reverse and Switch, Single clear
      Stop otherwise
    """


def test_each_leg_is_asked_about_for_the_signals_over_the_other_leg() -> None:
    assert asked("fouling-undetected", junction()) == {
        "2R, T1, Siding": "broken",
        "4R, T1, Main": "proved",
    }
    trouble, hint = said("fouling-undetected", junction(), "2R", "T1", "Siding")
    assert "150 mm from the points, the fouling point 180 mm" in trouble
    assert "to 180 mm" in hint and "check in 2R that Siding is clear" in hint


def test_a_gap_at_the_fouling_point_is_far_enough() -> None:
    assert asked("fouling-undetected", junction(gaps="reverse 180 mm")) == {
        "2R, T1, Siding": "proved"
    }
    assert asked("fouling-undetected", junction(gaps="reverse 179 mm")) == {
        "2R, T1, Siding": "broken"
    }


def test_a_signal_that_asks_for_the_leg_may_have_its_gap_anywhere() -> None:
    text = junction().replace("T1 normal and Switch", "T1 normal and Siding, Switch")
    assert asked("fouling-undetected", text)["2R, T1, Siding"] == "proved"


def test_the_gap_may_lie_beyond_more_track_of_the_turnouts_block() -> None:
    text = junction().replace("Siding | reverse T1", "Siding | Switch = reverse T1")
    assert asked("fouling-undetected", text.replace("at Siding | T1", "at Siding | Switch"))[
        "2R, T1, Siding"
    ] == "broken"  # fmt: skip


def test_both_legs_of_a_balloon_loop_are_one_question() -> None:
    text = """
    edge West
    block Single, Switch, Loop
    turnout T1 in Switch
      fouling point 180 mm
      gap normal {} mm, reverse 150 mm
    track West = Single | T1 normal || Loop || reverse T1
    signal 2R at Single | T1
      Clear when T1 normal and Switch clear
      Stop otherwise
    signal 2LA at Loop || normal T1
      Stop otherwise
    signal 2LB at Loop || reverse T1
      Stop otherwise
    """
    plan = verifier.load_text(text.format(200))
    keys = [o.key for o in fouling_undetected(plan)]
    assert len(keys) == len(set(keys)) == 3
    # With stock beyond the gap of the reverse leg only the normal one is fouled.
    assert asked("fouling-undetected", text.format(200))["2R, T1, Loop"] == "broken"
    assert asked("fouling-undetected", text.format(100))["2R, T1, Loop"] == "broken"
    trouble, _ = said("fouling-undetected", text.format(200), "2R", "T1", "Loop")
    assert "over the normal leg" in trouble and "the gap on the reverse leg is 150 mm" in trouble
    reverse = text.replace("T1 normal and Switch", "T1 reverse and Switch")
    assert asked("fouling-undetected", reverse.format(200))["2R, T1, Loop"] == "proved"
    assert asked("fouling-undetected", reverse.format(100))["2R, T1, Loop"] == "broken"


@pytest.mark.parametrize("gone", ["fouling point 180 mm", "gap normal 200 mm, reverse 150 mm"])
def test_fouling_needs_both_distances(gone: str) -> None:
    assert nothing_is_asked(["fouling-undetected"], junction().replace(gone, ""))


# ------------------------------------------------------------------ gaps at signals, sidings


def test_a_gap_beyond_the_signal_is_pointed_to() -> None:
    text = """
    edge West, East
    scale HO
    block Near, Ahead
    track West = Near | Ahead = East
    signal 2R at Near | Ahead stands 60 mm before gap
      Clear when Ahead clear
      Stop otherwise
    """
    assert asked("gap-beyond-signal", text) == {"2R": "broken"}
    assert places("gap-beyond-signal", text) == {
        "signal 2R at Near | Ahead stands 60 mm before gap"
    }
    # 45.492...: a limit is rounded down.
    assert "45.4 mm" in said("gap-beyond-signal", text, "2R")[0]
    assert nothing_is_asked(["gap-beyond-signal"], text.replace("scale HO", ""))
    assert nothing_is_asked(["gap-beyond-signal"], text.replace("stands 60 mm before gap", ""))


def siding(length: str, fouling: str = "", main: str = "3 m") -> str:
    return f"""
    edge West entering only
    edge East leaving only
    trains 600 mm to 2200 mm
    block Lead, A, B
    block Main {main}
    block Siding {length}
    turnout T1 in A {fouling}
    turnout T2 in B
    track West = Lead | T1 normal | Main | normal T2 = East
    track T1 reverse | Siding | reverse T2
    signal 2R at Lead | T1
      Clear when T1, T2 normal and A, Main, B clear
      Stop otherwise
    """


def test_a_train_fits_where_it_just_fits() -> None:
    assert asked("train-does-not-fit", siding("2200 mm")) == {"Main": "proved", "Siding": "proved"}
    assert asked("train-does-not-fit", siding("2199 mm"))["Siding"] == "broken"


def test_what_lies_short_of_the_fouling_point_does_not_count() -> None:
    short = siding("2250 mm", "fouling point 180 mm gap reverse 100 mm")
    assert asked("train-does-not-fit", short)["Siding"] == "broken"
    assert "2170 mm are clear" in said("train-does-not-fit", short, "Siding")[0]
    enough = siding("2250 mm", "fouling point 180 mm gap reverse 200 mm")
    assert asked("train-does-not-fit", enough)["Siding"] == "proved"


def test_it_is_advice_and_fails_no_file() -> None:
    report = verifier.prove(verifier.load_text(siding("1 m")), only=["train-does-not-fit"])
    assert [v.status for v in report.verdicts if v.obligation.subjects == ("Siding",)] == ["broken"]
    assert report.exit_code == verifier.ExitCode.AS_EXPECTED


def test_a_crossover_or_a_spur_is_no_siding() -> None:
    text = """
    edge W1, W2, E1, E2
    bumper End
    trains 600 mm to 2200 mm
    block A, B, S
    block C, Spur 300 mm
    turnout T1 in A
    turnout T2 in B
    turnout T3 in S
    track W1 = T1 normal = E1
    track W2 = normal T2 | T3 normal = E2
    track T1 reverse | C | reverse T2
    track T3 reverse | Spur = End
    prove "something" never train on A and not train on A
    """
    assert nothing_is_asked(["train-does-not-fit"], text)
