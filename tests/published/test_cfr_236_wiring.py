"""49 CFR Part 236, through the wiring: for each section an unsafe and a safe file.

The sections' texts are [V] (read in the 2015 annual edition; 236.59 and .342 in later copies).
The files are ours [C], built after the check cases noted beside each section in the project's
sources. A model railroad is not subject to Part 236.

Two of the sections cannot be written in full in the language as it is:

* 236.60: there is no way to say that open points put a short across the rails. What can be
  written is what is left when that shunt is broken, and the circuit that the section asks for.
* 236.206: where along a wire its supply is joined, and two wires that touch, cannot be said at
  all. There is no test of it: any file would only pretend.
"""

from collections.abc import Sequence

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
    taken_for,
)
from verifier import InputError
from verifier.plan import observables

CLOSED_WHEN_CLEAR = """current-sensing
      through m1, m2
      powered by Bus-1
      output closed when clear"""
CLOSED_WHEN_OCCUPIED = CLOSED_WHEN_CLEAR.replace("closed when clear", "closed when occupied")
OWN_SUPPLY = "supply Bus-2 12 V 3 A fuse 1 A"


def on_its_own_supply(detector: str) -> str:
    return detector.replace("powered by Bus-1", "powered by Bus-2\n isolated output")


# ------------------------------------------------------------------ 236.5, 236.786


def test_49_cfr_236_5_V_voltage_means_occupied_and_the_wire_breaks_unsafe() -> None:
    """49 CFR 236.5 [V]: "All control circuits the functioning of which affects safety of train
    operation shall be designed on the closed circuit principle". Wired the other way round,
    cut the wire with a train in the block, or that to the detector: the signal shows Clear."""
    report = prove(station(CLOSED_WHEN_OCCUPIED))
    assert broken(report) == {
        "wire-broken: wire from D-Station to B1",
        "wire-broken: power wire of D-Station",
    }
    assert_shown(
        report,
        "wire-broken: wire from D-Station to B1",
        {"Station": "at m1", "wire from D-Station to B1": "broken"},
        {"2R": "Clear"},
    )


def test_49_cfr_236_5_V_voltage_means_occupied_and_the_supply_fails_unsafe() -> None:
    """49 CFR 236.5 [V], for the supply: the detector is dead, the driver is not."""
    report = prove(station(on_its_own_supply(CLOSED_WHEN_OCCUPIED), more=OWN_SUPPLY))
    assert broken(report) == {
        "wire-broken: wire from D-Station to B1",
        "wire-broken: power wire of D-Station",
        "supply-lost: supply Bus-2",
    }
    assert_shown(
        report,
        "supply-lost: supply Bus-2",
        {"Station": "at m1", "supply Bus-2": "off"},
        {"2R": "Clear"},
    )


def test_49_cfr_236_5_V_voltage_means_clear_safe() -> None:
    """49 CFR 236.5 [V], 236.786 [V]: "on being interrupted or deenergized, will cause the
    controlled function to assume its most restrictive condition". Every wire and every supply,
    one by one: those of the detector hold the signal at stop."""
    report = prove(station(on_its_own_supply(CLOSED_WHEN_CLEAR), more=OWN_SUPPLY))
    assert_nothing_false(report)
    done = consequences(report)
    wires = ("wire from D-Station to B1", "power wire of D-Station")
    for name in (*wires, "power wire of B1", "supply Bus-1", "supply Bus-2"):
        assert done[name] == "more restrictive", name
    for name, state in (*((wire, "broken") for wire in wires), ("supply Bus-2", "off")):
        where = situation(report.plan, {name: state})
        assert taken_for(report.plan, where, "2R") == {"2R": "Stop"}


def test_49_cfr_236_5_V_no_driver_knows_a_dead_input_from_an_open_contact_refused() -> None:
    """49 CFR 236.5 [V]: the check case asks for the other way round "and no supervision". A
    contact that is closed when occupied cannot be supervised by one wire: dead, it says clear.
    Such a clause is refused; with the contact the other way round it stands."""
    driver = "powered by Bus-1\n when input missing shows red"
    with pytest.raises(InputError) as refused:
        prove(station(on_its_own_supply(CLOSED_WHEN_OCCUPIED), driver=driver, more=OWN_SUPPLY))
    assert [d.code for d in refused.value.diagnostics] == ["CP650"]
    detector = on_its_own_supply(CLOSED_WHEN_CLEAR)
    assert_nothing_false(prove(station(detector, driver=driver, more=OWN_SUPPLY)))


# ------------------------------------------------------------------ 236.6


def test_49_cfr_236_6_V_one_contact_takes_open_points_for_reverse_unsafe() -> None:
    """49 CFR 236.6 [V]: "when point is open ... track or control circuits will be opened or
    shunted or both". One contact, made when normal: open points count as reverse."""
    report = prove(facing("contact normal"))
    assert broken(report) == {
        "proceed-over-open-points: 2R, T1",
        "wire-broken: wire from T1 normal to B1",
        "wire-broken: return of T1 contacts",
    }
    assert_shown(
        report, "proceed-over-open-points: 2R, T1", {"T1": "open"}, {"2R": "Diverging-Clear"}
    )


def test_49_cfr_236_6_V_a_contact_for_each_position_safe() -> None:
    """49 CFR 236.6 [V]: neither contact is made over open points."""
    report = prove(facing("contacts normal, reverse"))
    assert_nothing_false(report)
    assert taken_for(report.plan, situation(report.plan, {"T1": "open"}), "2R") == {"2R": "Stop"}


# ------------------------------------------------------------------ 236.23(f)


def test_49_cfr_236_23_f_V_red_lamp_of_red_over_green_fails_unsafe() -> None:
    """49 CFR 236.23(f) [V]: "the failure of a lamp in a light signal ... shall not cause the
    display of a less restrictive aspect than intended". Red over green, the red lamp out: a
    lone green."""
    report = prove(facing("contacts normal, reverse", driver=""))
    lamp, head = "lamp-out: lamp 2R.upper red", "lamp-out: head 2R.upper"
    assert broken(report) == {lamp, head}
    assert_shown(report, lamp, {"T1": "reverse", "lamp 2R.upper red": "out"}, {"2R": "Clear"})
    assert_shown(report, head, {"T1": "reverse", "head 2R.upper": "dark"}, {"2R": "Clear"})


def test_49_cfr_236_23_f_V_lamp_out_detection_drops_the_other_head_safe() -> None:
    """49 CFR 236.23(f) [V]: with lamp-out detection the lower head falls to red."""
    report = prove(facing("contacts normal, reverse", driver="when lamp out shows red"))
    assert_nothing_false(report)
    assert consequences(report)["lamp 2R.upper red"] == "more restrictive"


def test_49_cfr_236_23_f_V_lamp_out_detection_on_another_board_unsafe() -> None:
    """49 CFR 236.23(f) [V]: a board for each head does not see the other's lamps."""
    apart = facing("contacts normal, reverse").replace(
        "drives 2R.upper, 2R.lower", "drives 2R.upper"
    )
    apart += "\ndriver B2 drives 2R.lower\n when lamp out shows red"
    assert "lamp-out: lamp 2R.upper red" in broken(prove(apart))


def test_49_cfr_236_23_f_C_dark_over_green_declared_as_diverging_safe() -> None:
    """49 CFR 236.23(f): "or dark-over-green is declared and ordered as not better than
    Diverging Clear" is the check case as noted in the project's sources [C]."""
    declared = "aspect Diverging-Clear red over green or dark over green proceed diverging"
    assert_nothing_false(prove(facing("contacts normal, reverse", driver="", more=declared)))


PLATED = """
edge West, East
block Main, Single
track West = Main | Single = East
aspect {}
signal 2 at Main | Single with number plate
  Clear  when Single clear
  {}     otherwise
"""


def test_49_cfr_236_23_f_V_a_missing_plate_that_made_red_stricter_unsafe() -> None:
    """49 CFR 236.23(f) [V]: "The absence of a qualifying appurtenance ... shall not cause the
    display of a less restrictive aspect than intended"."""
    chart = "Stop red with number plate stop\naspect Stop-and-Proceed red stop and proceed"
    report = prove(PLATED.format(chart, "Stop"))
    assert broken(report) == {"plate-missing: plate of 2"}
    there, gone = {"Single": "occupied"}, {"Single": "occupied", "plate of 2": "missing"}
    assert taken_for(report.plan, situation(report.plan, there), "2") == {"2": "Stop"}
    assert taken_for(report.plan, situation(report.plan, gone), "2") == {"2": "Stop-and-Proceed"}


def test_49_cfr_236_23_a_M_red_with_a_number_plate_is_stop_and_proceed_safe() -> None:
    """49 CFR 236.23(a) [V] lets plates qualify aspects; that red with a number plate is
    stop-and-proceed, and red alone is stop, is from memory [M]."""
    chart = "Stop-and-Proceed red with number plate stop and proceed"
    report = prove(PLATED.format(chart, "Stop-and-Proceed"))
    assert_nothing_false(report)
    assert consequences(report) == {"plate of 2": "more restrictive"}
    gone = situation(report.plan, {"Single": "occupied", "plate of 2": "missing"})
    assert taken_for(report.plan, gone, "2") == {"2": "Stop"}


# ------------------------------------------------------------------ 236.51

ONE_FEEDER = """current-sensing
      through m1
      output closed when clear"""


def test_49_cfr_236_51_a_V_the_only_feeder_is_cut_unsafe() -> None:
    """49 CFR 236.51(a) [V]: the device is in its most restrictive state "When a rail is broken
    or a rail or switch-frog is removed"; read with 236.5 [V]: a current-sensing block whose
    feeder is cut sees no current and reads clear."""
    report = prove(station(ONE_FEEDER, feeders="m1"))
    assert broken(report) == {"wire-broken: feeder m1"}
    assert_shown(
        report,
        "wire-broken: feeder m1",
        {"Station": "at m1", "feeder m1": "broken"},
        {"2R": "Clear"},
    )


def test_49_cfr_236_51_a_V_a_second_feeder_safe() -> None:
    """49 CFR 236.51(a) [V]: stock beside a broken feeder draws through the other (common
    practice, no source)."""
    assert_nothing_false(prove(station(ONE_FEEDER.replace("m1", "m1, m2"))))


def test_49_cfr_236_51_b_V_part_of_the_block_past_the_detector_unsafe() -> None:
    """49 CFR 236.51(b) [V]: "When a train, locomotive, or car occupies any part of a track
    circuit". A part fed past the detector."""
    report = prove(station(CLOSED_WHEN_CLEAR, feeders="m1, m2, m3"))
    assert {"proceed-into-occupied: 2R, Station", "feeder-undetected: m3, Station"} <= broken(
        report
    )
    assert_shown(
        report, "proceed-into-occupied: 2R, Station", {"Station": "at m3"}, {"2R": "Clear"}
    )


def test_49_cfr_236_51_b_V_every_part_by_way_of_the_detector_safe() -> None:
    """49 CFR 236.51(b) [V]: all three feeders pass through the detector."""
    detector = CLOSED_WHEN_CLEAR.replace("m1, m2", "m1, m2, m3")
    assert_nothing_false(prove(station(detector, feeders="m1, m2, m3")))


# ------------------------------------------------------------------ 236.56

TWELVE_VOLTS = """
    supply Track-A track power 12 V
    district North fed by Track-A
    trains 300 mm to 2400 mm, detectable throughout, wheelsets 10 kohm
    """


def shunted_at(sensitivity: str, turns: int = 1) -> str:
    """12 V, wheelsets of 10 kohm: 1.2 mA."""
    detector = f"""current-sensing
      through m1, m2
      turns {turns}
      sensitivity {sensitivity}
      output closed when clear
      without track power reads occupied"""
    return station(detector, district="North", more=TWELVE_VOLTS)


def test_49_cfr_236_56_C_threshold_of_2_mA_for_wheelsets_of_1_2_mA_unsafe() -> None:
    """49 CFR 236.56 [V]: most restrictive "if ... a shunt of 0.06 ohm resistance is connected
    across the track rails of the circuit". The model analogue and its numbers are ours [C]:
    12 V, 10 kohm, so 1.2 mA; at 2 mA a lone car is invisible."""
    report = prove(shunted_at("2 mA"))
    assert "proceed-into-occupied: 2R, Station" in broken(report)
    assert_shown(
        report,
        "proceed-into-occupied: 2R, Station",
        {"Station": "drawing no current"},
        {"2R": "Clear"},
    )


def test_49_cfr_236_56_C_threshold_of_1_mA_for_wheelsets_of_1_2_mA_safe() -> None:
    """49 CFR 236.56 [V], analogue [C]: at 1 mA the car is seen."""
    assert_nothing_false(prove(shunted_at("1 mA")))


@pytest.mark.parametrize(
    ("sensitivity", "turns", "seen"),
    [("1.2 mA", 1, True), ("1.21 mA", 1, False), ("2.4 mA", 2, True), ("2.41 mA", 2, False)],
)
def test_49_cfr_236_56_C_just_at_the_threshold(sensitivity: str, turns: int, seen: bool) -> None:
    """49 CFR 236.56 [V], analogue [C]: 1.2 mA is just enough, and each turn adds as much."""
    found = verdict(prove(shunted_at(sensitivity, turns)), "proceed-into-occupied: 2R, Station")
    assert found.status == ("proved" if seen else "broken")


# ------------------------------------------------------------------ 236.57


def fouling_leg(jumpers: str) -> str:
    """The diverging leg between points and fouling point is a section of its own, joined to
    its detector by jumpers."""
    return f"""
    edge West entering only
    edge East, Siding-Out leaving only
    block Approach, Switch, Main
    block Fouling feeders {jumpers}
    block Siding undetected
    turnout T1 in Switch
      contacts normal, reverse
    track West = Approach | T1 normal | Main = East
    track T1 reverse | Fouling | Siding = Siding-Out
    detector D-Fouling current-sensing on Fouling
      through {jumpers}
      output closed when clear
    signal 2R at Approach | T1
      Clear when T1 normal and Switch, Main, Fouling clear
      Stop otherwise
    driver B1 drives 2R
    prove "no train past a car that fouls"
      never 2R proceeds and train on Fouling
    """


def cut_one_by_one(text: str, jumpers: Sequence[str]) -> list[str]:
    """What 2R is taken for with a car on the fouling leg beside each jumper, that one cut."""
    plan = prove(text).plan
    cut = ({"Fouling": f"at {j}", f"feeder {j}": "broken"} for j in jumpers)
    return [taken_for(plan, situation(plan, which), "2R")["2R"] for which in cut]


def test_49_cfr_236_57_a_V_one_jumper_to_the_fouling_leg_unsafe() -> None:
    """49 CFR 236.57(a) [V]: "shunt wires and fouling wires ... shall consist of at least two
    discrete conductors". One: cut it, the car is unseen."""
    report = prove(fouling_leg("j1"))
    assert broken(report) == {"wire-broken: feeder j1"}
    assert cut_one_by_one(fouling_leg("j1"), ["j1"]) == ["Clear"]


def test_49_cfr_236_57_a_V_two_jumpers_to_the_fouling_leg_safe() -> None:
    """49 CFR 236.57(a) [V]: two, each able to carry the current, against one cut."""
    assert_nothing_false(prove(fouling_leg("j1, j2")))
    assert cut_one_by_one(fouling_leg("j1, j2"), ["j1", "j2"]) == ["Stop", "Stop"]


# ------------------------------------------------------------------ 236.59


A_ALONE = "Clear when A clear and 4R proceeds\n      Approach when A clear"


def two_sections(turns: int, rule: str = A_ALONE) -> str:
    """Sections A and B with a gap between. A car draws 6 mA and is seen from 2 mA on."""
    detectors = "".join(
        f"""
    detector D-{block} current-sensing
      through {feeders}
      turns {turns}
      sensitivity 2 mA
      powered by Bus-1
      output closed when clear
      without track power reads occupied"""
        for block, feeders in (("A", "a1, a2"), ("B", "b1, b2"))
    )
    return f"""
    edge West entering only
    edge East leaving only
    trains 300 mm to 2400 mm, detectable throughout, wheelsets 2 kohm
    supply Track-A track power 12 V
    supply Bus-1 12 V
    district North fed by Track-A
    block Approach
    block A in North feeders a1, a2
    block B in North feeders b1, b2
    track West = Approach | A | B = East
    {detectors}
    signal 2R at Approach | A
      {rule}
      Stop otherwise
    signal 4R at A | B
      Clear when B clear
      Stop otherwise
    driver B1 drives 2R, 4R
      powered by Bus-1
      when lamp out shows red
    """


def reports(text: str, where: dict[str, str]) -> dict[str, str]:
    plan = prove(text).plan
    seen = sees(plan, where)
    return {block: seen.state(observables.block_report(block)) for block in ("A", "B")}


CAR_IN_A = {"A": "at a1", "gap A | B": "bridged, all current by way of B"}


def test_49_cfr_236_59_V_only_the_other_sides_detector_trips_unsafe() -> None:
    """49 CFR 236.59 [V]: insulated joints "prevent sufficient track circuit current from
    flowing between the rails separated by the insulation to cause a failure of any track
    circuit involved". The gap bridged, a car in A: only B's detector sees it, and the signal
    into A lets a train go: by its own detector A is clear."""
    report = prove(two_sections(turns=1))
    assert broken(report) == {"gap-bridged: gap A | B"}
    assert_shown(report, "gap-bridged: gap A | B", CAR_IN_A, {"2R": "Approach"})
    assert reports(two_sections(turns=1), CAR_IN_A) == {"A": "clear", "B": "occupied"}


def test_49_cfr_236_59_V_both_sides_detectors_trip_safe() -> None:
    """49 CFR 236.59 [V]: four turns through the ring; a tenth of 6 mA is enough then (that a
    tenth at least stays on its own side: common practice, no source)."""
    text = two_sections(turns=4)
    report = prove(text)
    assert_nothing_false(report)
    assert consequences(report)["gap A | B"] == "more restrictive"
    bridged = {"A": "at a1", "gap A | B": "bridged"}
    assert reports(text, bridged) == {"A": "occupied", "B": "occupied"}


def test_49_cfr_236_59_V_signals_that_ask_for_both_sections_safe() -> None:
    """49 CFR 236.59 [V]: "train in A must still make A or B read occupied, and every signal
    into A must be at most restrictive" [C]: each signal asks for both."""
    text = two_sections(turns=1, rule="Clear when A, B clear").replace(
        "Clear when B clear", "Clear when A, B clear"
    )
    assert consequences(prove(text))["gap A | B"] != "false proceed"


# ------------------------------------------------------------------ 236.60


def test_49_cfr_236_60_V_nothing_but_the_detector_over_open_points_unsafe() -> None:
    """49 CFR 236.60 [V]: a switch shunting circuit is not to be installed "except where tract
    (sic) or control circuit is opened by the circuit controller". The shunt that open points
    put across the rails cannot be written here. This is what is left when it breaks: a signal
    that asks the detectors only."""
    report = prove(facing("contacts normal, reverse", rules="Clear when Switch, Main clear"))
    key = "proceed-over-open-points: 2R, T1"
    assert_shown(report, key, {"T1": "open"}, {"2R": "Clear"})


def test_49_cfr_236_60_V_control_circuit_opened_by_the_controller_safe() -> None:
    """49 CFR 236.60 [V]: the exception. The signal's control goes through the contacts, shunt
    or no shunt, and each of their wires may break."""
    report = prove(facing("contacts normal, reverse"))
    assert_nothing_false(report)
    for leg in ("normal", "reverse"):
        assert consequences(report)[f"wire from T1 {leg} to B1"] == "more restrictive"


# ------------------------------------------------------------------ 236.205(d)


def test_49_cfr_236_205_d_V_detector_deenergized_unsafe() -> None:
    """49 CFR 236.205(d) [V]: most restrictive "When a track relay is in de-energized position
    or a device which functions as a track relay is in its most restrictive state; or when
    signal control circuit is deenergized". Without its supply this one says clear."""
    report = prove(station(on_its_own_supply(CLOSED_WHEN_OCCUPIED), more=OWN_SUPPLY))
    off = situation(report.plan, {"Station": "at m2", "supply Bus-2": "off"})
    assert taken_for(report.plan, off, "2R") == {"2R": "Clear"}
    assert consequences(report)["supply Bus-2"] == "false proceed"


def test_49_cfr_236_205_d_V_track_without_power_unsafe() -> None:
    """49 CFR 236.205(d) [V]: a current-sensing block without track power reads clear."""
    text = station(
        CLOSED_WHEN_CLEAR,
        district="North",
        more="supply Track-A track power 15 V\n district North fed by Track-A",
    )
    assert broken(prove(text)) == {"wire-broken: bus of North", "supply-lost: supply Track-A"}


def test_49_cfr_236_205_d_V_whatever_is_deenergized_safe() -> None:
    """49 CFR 236.205(d) [V]: detector, track and driver without supply, one by one. The driver
    that is dead itself leaves its signal dark, which counts as the most restrictive."""
    text = station(
        on_its_own_supply(CLOSED_WHEN_CLEAR) + "\n without track power reads occupied",
        district="North",
        more=OWN_SUPPLY + "\n supply Track-A track power 15 V\n district North fed by Track-A",
    )
    report = prove(text)
    assert_nothing_false(report)
    for name in ("supply Bus-1", "supply Bus-2", "supply Track-A", "bus of North"):
        assert consequences(report)[name] == "more restrictive"


# ------------------------------------------------------------------ 236.303


def test_49_cfr_236_303_V_commanded_position_and_the_machine_stalls_unsafe() -> None:
    """49 CFR 236.303 [V]: "selected through circuit controller operated directly by switch
    points or by switch locking mechanism". What is reported is what was commanded."""
    report = prove(facing("motor snap\n no contacts"))
    assert broken(report) == {"points-stalled: machine of T1"}
    for stalled, state in (("did not obey", "normal"), ("stopped between its ends", "open")):
        told = {"T1": "reverse", "machine of T1": stalled}
        seen = sees(report.plan, told)
        assert seen.state(observables.points("T1")) == state
        assert seen.aspect(report.plan.signals["2R"]) == "Diverging-Clear"


def test_49_cfr_236_303_V_a_lever_in_place_of_the_contacts_unsafe() -> None:
    """49 CFR 236.303 [V]: the contacts are there, but the rules ask the lever that throws the
    turnout."""
    rules = """Clear when 1 normal and Switch, Main clear
      Diverging-Clear when 1 reverse and Switch, Siding clear"""
    report = prove(
        facing(
            "thrown by 1\n motor snap pulse 50 ms\n contacts normal, reverse",
            rules=rules,
            more="lever 1 positions normal, reverse",
        )
    )
    assert broken(report) == {"points-stalled: machine of T1"}


def test_49_cfr_236_303_V_detected_position_safe() -> None:
    """49 CFR 236.303 [V]: "only when each switch ... in the route is in proper position": the
    contacts tell, however the machine stalls."""
    report = prove(facing("motor snap\n contacts normal, reverse"))
    assert_nothing_false(report)
    assert consequences(report)["machine of T1"] == "more restrictive"


# ------------------------------------------------------------------ 236.342


def test_49_cfr_236_342_V_normal_reported_from_mid_throw_unsafe() -> None:
    """49 CFR 236.342 [V]: contacts "will not be in position corresponding to switch point
    closure when switch point is open". Normal is taken for granted where reverse is not
    made."""
    report = prove(facing("motor slow 3 s\n contact reverse"))
    assert_shown(report, "proceed-over-open-points: 2R, T1", {"T1": "moving"}, {"2R": "Clear"})


def test_49_cfr_236_342_V_nothing_reported_from_mid_throw_safe() -> None:
    """49 CFR 236.342 [V]: both contacts are open until the points are closed."""
    report = prove(facing("motor slow 3 s\n contacts normal, reverse"))
    assert_nothing_false(report)
    moving = situation(report.plan, {"T1": "moving"})
    assert taken_for(report.plan, moving, "2R") == {"2R": "Stop"}


def test_49_cfr_236_342_V_a_contact_that_stays_closed_is_told_as_advice() -> None:
    """49 CFR 236.342 [V]: a normal contact that is out of adjustment stays closed in mid-throw.
    No wiring of this language notices: it is told, not held against the file."""
    report = prove(facing("motor slow 3 s\n contacts normal, reverse"))
    stuck = verdict(report, "report-stuck: contact T1 normal")
    assert stuck.status == "broken" and not stuck.fails
    assert stuck.finding is not None
    assert taken_for(report.plan, stuck.finding.situation, "2R") == {"2R": "Clear"}
