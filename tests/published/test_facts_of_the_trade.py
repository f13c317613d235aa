"""Facts that every wiring hand knows and no standard states: common practice, no source.

The project's sources found no published rule for how a model railroad's detectors are spaced,
fed or powered. The files are ours [C].
"""

from collections.abc import Mapping

import pytest

from tests.published.junctions import broken, verdict
from tests.published.wired import (
    assert_nothing_false,
    assert_shown,
    consequences,
    facing,
    prove,
    sees,
    situation,
    station,
)
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.reference.evaluator import Evaluator


def reported(plan: Plan, where: Mapping[str, str]) -> str:
    """What the driver of 2R is told of the station track."""
    heard = observables.at_reader(observables.block_report("Station"), "B1")
    return Evaluator(plan).states(situation(plan, where), [heard])[heard]


# ------------------------------------------------------------------ spots


def light_cells(spots: str, trains: str) -> str:
    detector = f"spot on Station at {spots}\n powered by Bus-1\n output closed when clear"
    return station(detector, feeders="", more=f"trains {trains}")


ENDS_AND_MIDDLE = "0 mm, 1800 mm, 3600 mm"


def test_practice_spot_sensor_misses_a_train_shorter_than_the_spacing_unsafe() -> None:
    """Common practice, no source: "spot sensor misses a train shorter than the spacing"."""
    report = prove(light_cells(ENDS_AND_MIDDLE, "900 mm to 3000 mm"))
    assert broken(report) == {"train-hidden: Station", "proceed-into-occupied: 2R, Station"}
    assert_shown(
        report,
        "proceed-into-occupied: 2R, Station",
        {"Station": "over no spot"},
        {"2R": "Clear"},
    )


def test_practice_spots_closer_than_the_shortest_train_safe() -> None:
    """Common practice, no source: the same trains, spots 900 mm apart."""
    spots = "0 mm, 900 mm, 1800 mm, 2700 mm, 3600 mm"
    assert_nothing_false(prove(light_cells(spots, "900 mm to 3000 mm")))


@pytest.mark.parametrize(("shortest", "status"), [
    ("1799 mm", "broken"), ("1799.9 mm", "broken"), ("1800 mm", "proved"), ("1801 mm", "proved"),
])  # fmt: skip
def test_practice_a_train_just_as_long_as_the_spacing(shortest: str, status: str) -> None:
    """Common practice, no source: as long as the spacing is long enough."""
    report = prove(light_cells(ENDS_AND_MIDDLE, f"{shortest} to 3000 mm"))
    assert verdict(report, "train-hidden: Station").status == status


def test_practice_a_train_hides_beyond_the_last_spot_unsafe() -> None:
    """Common practice, no source: no spot at the far end, and 1800 mm of track beyond the
    last one."""
    report = prove(light_cells("0 mm, 900 mm, 1800 mm", "1000 mm to 3000 mm"))
    assert verdict(report, "train-hidden: Station").status == "broken"


def test_practice_current_sensing_in_place_of_spots_safe() -> None:
    """Common practice, no source: a detector that feels current sees the short train too."""
    detector = "current-sensing\n through m1, m2\n powered by Bus-1\n output closed when clear"
    assert_nothing_false(prove(station(detector, more="trains 900 mm to 3000 mm")))


# ------------------------------------------------------------------ feeders


@pytest.mark.parametrize(
    "through",
    [("m1",), ("m2",), ("m1", "m2"), ("m1", "m3"), ("m2", "m3"), ("m1", "m2", "m3")],
    ids=" ".join,
)
def test_practice_trains_are_seen_only_over_the_feeders_of_the_detector(
    through: tuple[str, ...],
) -> None:
    """Common practice, no source: "one missed feeder: seen only over that feeder" (that is,
    over those which pass through the detector, and unseen over the missed ones)."""
    detector = f"""current-sensing
      through {", ".join(through)}
      powered by Bus-1
      output closed when clear"""
    report = prove(station(detector, feeders="m1, m2, m3"))
    missed = {"m1", "m2", "m3"} - set(through)
    for feeder in ("m1", "m2", "m3"):
        says = reported(report.plan, {"Station": f"at {feeder}"})
        assert says == ("clear" if feeder in missed else "occupied")
    named = {f"feeder-undetected: {feeder}, Station" for feeder in missed}
    assert {key for key in broken(report) if key.startswith("feeder-undetected")} == named
    assert ("proceed-into-occupied: 2R, Station" in broken(report)) == bool(missed)


# ------------------------------------------------------------------ kinds of current

ONE = observables.at_reader(observables.block_report("One"), "")


@pytest.mark.parametrize("kind", ["DC", "AC", "DCC"])
@pytest.mark.parametrize("by", ["", "by coil", "by diodes", "by biased diodes"])
def test_practice_what_senses_which_kind_of_current(kind: str, by: str) -> None:
    """Common practice, no source: a ring around the wire sees changing current only; diodes
    without bias see no train that stands with the throttle at zero. AC and DCC are always there."""
    report = prove(f"""
        edge West, East
        supply Rails track power {kind} 14 V
        booster Boost fed by Rails
        district Town fed by Rails
        district Yard fed by Boost
        block Near
        block One in Town feeders a1, a2
        block Two in Yard feeders b1, b2
        track West = Near | One | Two = East
        detector D-One current-sensing {by} through a1, a2 without track power reads occupied
        detector D-Two current-sensing {by} through b1, b2 without track power reads occupied
        signal 2R at Near | One
          Clear when One, Two clear
          Stop otherwise
    """)
    missed = kind == "DC" and by != "by biased diodes"
    found = broken(report) & {"detector-cannot-sense: D-One", "detector-cannot-sense: D-Two"}
    assert len(found) == (2 if missed else 0)
    assert ("proceed-into-occupied: 2R, Two" in broken(report)) == missed
    standing = {"One": "at a1"}
    says = Evaluator(report.plan).states(situation(report.plan, standing), [ONE])[ONE]
    assert says == ("clear" if missed else "occupied")


def test_practice_a_bias_current_sees_a_train_with_the_track_supply_off() -> None:
    """Common practice, no source: the detector sends the current itself; over a broken bus it
    may not come back."""
    text = """
        edge West, East
        supply Rails track power DC 14 V
        district Town fed by Rails
        block Near
        block One in Town feeders a1, a2
        track West = Near | One = East
        detector D-One current-sensing by biased diodes through a1, a2
        signal 2R at Near | One
          Clear when One clear
          Stop otherwise
    """
    assert broken(prove(text)) == {"wire-broken: bus of Town"}


# ------------------------------------------------------------------ supplies


def two_supplies(closed_when: str, *, isolated: bool = False, common: bool = False) -> str:
    detector = f"""current-sensing
      through m1, m2
      powered by Bus-2
      output closed when {closed_when}
      {"isolated output" if isolated else ""}"""
    joined = "common return Bus-1, Bus-2" if common else ""
    return station(detector, more=f"supply Bus-2 12 V 3 A fuse 1 A\n{joined}")


def test_practice_detector_and_driver_without_a_common_supply_unsafe() -> None:
    """Common practice, no source: "detector and driver need a common supply". The driver is
    never told that the block is occupied."""
    report = prove(two_supplies("occupied"))
    assert {"proceed-into-occupied: 2R, Station", "supply-mismatch: B1, D-Station"} <= broken(
        report
    )
    assert_shown(
        report, "proceed-into-occupied: 2R, Station", {"Station": "at m1"}, {"2R": "Clear"}
    )
    assert reported(report.plan, {"Station": "at m1"}) == "clear"


def test_practice_detector_and_driver_without_a_common_supply_always_at_stop() -> None:
    """Common practice, no source: with the output the other way round the driver is never told
    that the block is clear. No false proceed, and no use either."""
    report = prove(two_supplies("clear"))
    assert broken(report) == {
        "supply-mismatch: B1, D-Station",
        "never-shown: 2R, Clear",
        "route-never-clears: 2R to East",
    }
    assert reported(report.plan, {}) == "occupied"


@pytest.mark.parametrize("way", ["common return", "isolated output", "one supply"])
def test_practice_three_ways_to_be_heard_safe(way: str) -> None:
    """Common practice, no source: a common return, an isolated output, or one supply."""
    text = two_supplies("clear", isolated=way == "isolated output", common=way == "common return")
    if way == "one supply":
        text = text.replace("powered by Bus-2", "powered by Bus-1")
    report = prove(text)
    assert_nothing_false(report)
    assert reported(report.plan, {}) == "clear"
    assert reported(report.plan, {"Station": "at m1"}) == "occupied"


# ------------------------------------------------------------------ contacts


def test_practice_without_contacts_the_report_is_the_command() -> None:
    """Common practice, no source: "a turnout with no contacts reports what it was told to do,
    not where it lies"."""
    plan = prove(facing("motor snap\n no contacts")).plan
    seen = sees(plan, {"T1": "reverse", "machine of T1": "did not obey"})
    assert seen.state(observables.points("T1")) == "normal"
    assert seen.state(observables.points_report("T1")) == "reverse"


def test_practice_with_contacts_the_report_is_where_it_lies() -> None:
    """Common practice, no source: the same machine, the same stall, with contacts."""
    report = prove(facing("motor snap\n contacts normal, reverse"))
    seen = sees(report.plan, {"T1": "reverse", "machine of T1": "did not obey"})
    assert seen.state(observables.points_report("T1")) == "normal"
    assert consequences(report)["machine of T1"] != "false proceed"
