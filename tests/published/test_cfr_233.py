"""49 CFR 233.5 and 233.7: what a false proceed is, and what is a nuisance only.

Both sections [V]. They speak of a failure "that results in a more favorable aspect than
intended". The check cases are those noted beside the sections in the project's sources, the
files are ours [C]. The failure table has a column for just this: false proceed, more
restrictive, none.
"""

import pytest

from tests.published.junctions import broken, verdict
from tests.published.wired import (
    assert_nothing_false,
    assert_shown,
    consequences,
    facing,
    prove,
    situation,
    taken_for,
)


def past_the_crane(closed_when: str, driver: str = "") -> str:
    """2R shows Approach while the crane beside the track is at work, on a track of its own. No
    train meets another whatever 2R shows: what is at stake is the aspect alone."""
    return f"""
    edge West, Crane-West entering only
    edge East, Crane-East leaving only
    supply Bus-1 12 V
    supply Bus-2 12 V
    block Before, Station, Crane-Track, After
    block Crane feeders c1, c2
    track West = Before | Station = East
    track Crane-West = Crane-Track | Crane | After = Crane-East
    detector D-Crane current-sensing
      through c1, c2
      powered by Bus-2
      output closed when {closed_when}
      isolated output
    signal 2R at Before | Station
      Clear when Station, Crane clear
      Approach when Station clear
      Stop otherwise
    driver B1 drives 2R
      powered by Bus-1
      {driver}
    """


WIRE, POWER, SUPPLY = "wire from D-Crane to B1", "power wire of D-Crane", "supply Bus-2"


def test_49_cfr_233_5_V_a_fault_turns_approach_into_clear_unsafe() -> None:
    """49 CFR 233.5 [V]: "a more favorable aspect than intended". No train is in the way of
    another; Clear in place of Approach is enough."""
    report = prove(past_the_crane("occupied"))
    assert broken(report) == {
        f"wire-broken: {WIRE}",
        f"wire-broken: {POWER}",
        f"supply-lost: {SUPPLY}",
    }
    assert_shown(report, f"wire-broken: {WIRE}", {"Crane": "at c1", WIRE: "broken"},
                 {"2R": "Clear"})  # fmt: skip
    intended = situation(report.plan, {"Crane": "at c1"})
    assert taken_for(report.plan, intended, "2R") == {"2R": "Approach"}
    trouble = verdict(report, f"wire-broken: {WIRE}").obligation.trouble
    assert "more favorable" in trouble


def test_49_cfr_233_5_V_a_fault_turns_clear_into_approach_safe() -> None:
    """49 CFR 233.5 [V]: the other way round, the same faults are a nuisance."""
    report = prove(past_the_crane("clear"))
    assert_nothing_false(report)
    assert {consequences(report)[name] for name in (WIRE, POWER, SUPPLY)} == {"more restrictive"}


def test_49_cfr_233_5_V_a_fault_turns_clear_into_stop_safe() -> None:
    """49 CFR 233.5 [V]: "A fault that turns Clear into Stop = SAFE (false restrictive, report
    as nuisance only)" [C]."""
    report = prove(past_the_crane("clear", driver="when input missing shows red"))
    assert_nothing_false(report)
    for name, state in ((WIRE, "broken"), (POWER, "broken"), (SUPPLY, "off")):
        assert consequences(report)[name] == "more restrictive"
        assert taken_for(report.plan, situation(report.plan, {name: state}), "2R") == {"2R": "Stop"}


def test_49_cfr_233_5_V_a_dark_signal_is_a_nuisance_only_safe() -> None:
    """49 CFR 233.5 [V]: the only lamp out, or the driver without supply: no aspect is more
    restrictive than a dark one."""
    report = prove(past_the_crane("clear"))
    done = consequences(report)
    for name in ("lamp 2R green", "lamp 2R yellow", "head 2R", "supply Bus-1"):
        assert done[name] == "more restrictive", name
    assert done["lamp 2R red"] == "none"


@pytest.mark.parametrize(("driver", "consequence"), [
    ("", "false proceed"), ("when lamp out shows red", "more restrictive"),
])  # fmt: skip
def test_49_cfr_233_7_V_the_consequence_of_one_lamp(driver: str, consequence: str) -> None:
    """49 CFR 233.7 [V]: "each failure of an appliance, device, method, or system to function
    or indicate as required ... that results in a more favorable aspect than intended". One
    lamp, by what its driver does."""
    report = prove(facing("contacts normal, reverse", driver=driver))
    assert consequences(report)["lamp 2R.upper red"] == consequence


def test_49_cfr_233_7_V_false_proceeds_come_first_in_the_table() -> None:
    """49 CFR 233.7 [V]: each failure is told, the false proceeds before the nuisances, these
    before what does nothing at all."""
    report = prove(facing("contacts normal, reverse", driver=""))
    rows = [row.consequence for row in report.failures if row.kind != "report-stuck"]
    assert rows == sorted(rows, key=["false proceed", "more restrictive", "none"].index)
    assert set(rows) == {"false proceed", "more restrictive", "none"}
    assert len(report.failures) == len(report.plan.equipment.faults)


def called_on(throws: str, motor: str) -> str:
    """2R has a head on each of two boards, and shows red over green while a train is called on. No
    train meets another whatever 2R shows."""
    return f"""
    aspect Call-on red over green  proceed at slow speed
    edge West entering only
    edge East, Siding-Out leaving only
    supply Bus-1 12 V
    supply Bus-2 12 V
    lever Call positions normal, reverse
    block Approach, Switch, Main, Siding
    turnout T1 in Switch
      motor slow 3 s {motor}
      contacts normal, reverse
    track West = Approach | T1 normal | Main = East
    track T1 reverse | Siding = Siding-Out
    signal 2R at Approach | T1
      heads upper, lower
      Call-on when T1 normal and Switch, Main clear and Call reverse
      Clear   when T1 normal and Switch, Main clear
      Stop    otherwise
    driver B1 drives 2R.upper powered by Bus-1 {throws}
    driver B2 drives 2R.lower powered by Bus-2
    """


@pytest.mark.parametrize(("throws", "motor"), [("throws T1", ""), ("", "powered by Bus-1")])
def test_49_cfr_233_5_V_a_board_or_supply_that_moves_points_too_unsafe(
    throws: str, motor: str
) -> None:
    """That points stay when a board loses its power does not excuse what its heads then show."""
    found = consequences(prove(called_on(throws, motor)))
    assert found["power wire of B1"] == found["supply Bus-1"] == "false proceed"
    assert found["power wire of B2"] == "more restrictive"
    assert found["machine of T1"] != "false proceed"
