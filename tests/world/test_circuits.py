"""What equipment makes of truth, by hand: facts of the trade, each asked of the logic and of
the evaluator.

Common practice, no source, unless a test names one.
"""

from collections.abc import Mapping

import pytest

import verifier
from verifier.api import situation_of
from verifier.logic.expr import atom, holds
from verifier.pipeline import prove
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.plan.wiring.faults import Fault, FaultKind
from verifier.reference.evaluator import Evaluator, Unsettled
from verifier.reference.explicit_situations import allowed_situations
from verifier.reference.standing import can_be
from verifier.world.world import World

TRACK = """
edge West, East
block Near
block Ahead{block}
track West = Near | Ahead = East
signal 2R at Near | Ahead
  Clear  when Ahead clear
  Stop   otherwise
{wiring}
"""


def plan_of(wiring: str, block: str = "") -> Plan:
    return verifier.load_text(TRACK.format(block=block, wiring=wiring))


def fault_named(plan: Plan, name: str) -> Fault:
    (found,) = (fault for fault in plan.equipment.faults if fault.name == name)
    return found


def situation(plan: Plan, standing: str = "vacant", **broken: str) -> Situation:
    """Stock stands so on Ahead; ``broken`` are states of faults by name, spaces written _."""
    states: dict[Observable, str] = {}
    for what in plan.inputs:
        if what.name == "Ahead":
            states[what] = standing
            assert standing in what.values
    for name, state in broken.items():
        fault = fault_named(plan, name.replace("_", " "))
        assert state in fault.ways
        states[fault.what] = state
    return Situation.of(states.items())


def state(plan: Plan, what: Observable, situation: Situation) -> str:
    """The state of something, which logic and evaluator must agree on."""
    evaluated = Evaluator(plan).states(situation, [what])[what]
    faults = [fault.what for fault in plan.equipment.faults]
    world = World(plan, World(plan), faults)
    states: Mapping[Observable, str] = situation.complete(world.inputs)
    held = [v for v in what.values if holds(world.expand(atom(what, v)), states)]
    assert held == [evaluated]
    return evaluated


def report(plan: Plan, standing: str, **broken: str) -> str:
    return state(plan, observables.block_report("Ahead"), situation(plan, standing, **broken))


def shown(plan: Plan, standing: str, **broken: str) -> str:
    return state(plan, plan.signals["2R"].reading, situation(plan, standing, **broken))


def statuses(plan: Plan, name: str) -> set[str]:
    return {v.status for v in prove(plan).verdicts if v.obligation.property == name}


# ------------------------------------------------------------------ feeders


FEEDERS = "\n  feeders a1, a2, a3"


def test_stock_beside_a_missed_feeder_is_seen_over_the_others_only() -> None:
    plan = plan_of("detector D current-sensing through a1, a3", FEEDERS)
    assert [report(plan, f"at a{i}") for i in (1, 2, 3)] == ["occupied", "clear", "occupied"]
    assert report(plan, "vacant") == "clear"
    assert statuses(plan, "proceed-into-occupied") == {"broken"}


def test_with_every_feeder_through_the_detector_stock_is_seen_everywhere() -> None:
    plan = plan_of("detector D current-sensing through a1, a2, a3", FEEDERS)
    assert {report(plan, f"at a{i}") for i in (1, 2, 3)} == {"occupied"}
    assert statuses(plan, "proceed-into-occupied") == {"proved"}


def test_beside_a_broken_feeder_stock_draws_through_the_others() -> None:
    plan = plan_of("detector D current-sensing through a1, a3", FEEDERS)
    # Some of its current may come by way of a2, which the detector does not see.
    assert report(plan, "at a1", feeder_a1="broken") == "clear"
    whole = plan_of("detector D current-sensing through a1, a2, a3", FEEDERS)
    assert report(whole, "at a1", feeder_a1="broken") == "occupied"


def test_the_only_feeder_broken_nothing_draws() -> None:
    plan = plan_of("detector D current-sensing through a1", "\n  feeders a1")
    assert report(plan, "at a1") == "occupied"
    assert report(plan, "at a1", feeder_a1="broken") == "clear"


def test_without_track_power_nothing_draws_unless_the_detector_minds() -> None:
    power = "supply T track power\ndistrict North fed by T\n"
    block = " in North feeders a1"
    deaf = plan_of(power + "detector D current-sensing through a1", block)
    assert report(deaf, "at a1", supply_T="off") == "clear"
    assert report(deaf, "at a1", bus_of_North="broken") == "clear"
    minds = plan_of(
        power + "detector D current-sensing through a1 without track power reads occupied", block
    )
    assert report(minds, "at a1", supply_T="off") == "occupied"
    assert report(minds, "vacant", bus_of_North="broken") == "occupied"


def test_a_booster_is_off_when_what_feeds_it_is() -> None:
    plan = plan_of(
        "supply T track power\nbooster B fed by T\ndistrict North fed by B\n"
        "detector D current-sensing through a1",
        " in North feeders a1",
    )
    assert report(plan, "at a1") == "occupied"
    assert report(plan, "at a1", supply_B="off") == "clear"
    assert report(plan, "at a1", supply_T="off") == "clear"


def test_cars_that_draw_nothing_may_be_left_where_only_the_locomotive_is_seen() -> None:
    rest = "detector D current-sensing through a1"
    plan = plan_of(f"{rest}\ntrains 1 m to 2 m, detectable at the locomotive only",
                   "\n  feeders a1")  # fmt: skip
    assert report(plan, "drawing no current") == "clear"
    assert statuses(plan, "proceed-into-occupied") == {"broken"}
    plan = plan_of(f"{rest}\ntrains 1 m to 2 m, detectable throughout", "\n  feeders a1")
    assert statuses(plan, "proceed-into-occupied") == {"proved"}


def test_the_middle_of_a_train_has_its_ends_on_both_sides() -> None:
    plan = plan_of(
        "detector D current-sensing through a1\ntrains 1 m to 2 m, detectable at both ends",
        " 1 m feeders a1",
    )
    middle = [s for s in allowed_situations(plan)
              if (observables.standing("Ahead", ("at a1", "drawing no current")),
                  "drawing no current") in list(s)]  # fmt: skip
    # Beyond Ahead lies the edge, where anything may stand; before it lies Near.
    assert middle and all(s.state(observables.stock("Near")) == "occupied" for s in middle)
    alone = situation(plan, "drawing no current")
    assert not can_be(plan, alone)


# ------------------------------------------------------------------ spots


@pytest.mark.parametrize(("shortest", "found"), [(599, "broken"), (600, "proved")])
def test_a_spot_sensor_misses_a_train_shorter_than_the_spacing(shortest: int, found: str) -> None:
    plan = plan_of(
        f"detector D spot on Ahead at 0 mm, 600 mm, 1200 mm\ntrains {shortest} mm to 2 m", " 1.2 m"
    )
    assert statuses(plan, "proceed-into-occupied") == {found}
    assert report(plan, "over no spot") == "clear"
    assert report(plan, "over spot 2") == "occupied"
    assert can_be(plan, situation(plan, "over no spot")) == (found == "broken")


# ------------------------------------------------------------------ detector and driver


SUPPLIES = "supply Bus-1\nsupply Bus-2\n"


def heard(plan: Plan, standing: str) -> str:
    what = observables.at_reader(observables.block_report("Ahead"), "B")
    return state(plan, what, situation(plan, standing))


@pytest.mark.parametrize(
    ("more", "usable"),
    [
        ("", False),
        ("common return Bus-1, Bus-2", True),
        ("isolated", True),
        ("same", True),
        ("common return Bus-1, Bus-2, of two kinds", False),
    ],
)
def test_detector_and_driver_need_a_common_supply(more: str, usable: bool) -> None:
    """Or a common return, or an isolated output. Otherwise the driver's input stays open:
    closed when clear, it reads occupied for ever; closed when occupied, clear for ever."""
    detector = "detector D current-sensing through a1 powered by Bus-1 output closed when {}"
    if more == "isolated":
        detector += " isolated output"
    driver = f"driver B drives 2R powered by {'Bus-1' if more == 'same' else 'Bus-2'}"
    extra, _, two_kinds = more.partition(", of ") if more.startswith("common") else ("", "", "")
    supplies = "supply Bus-1 DC\nsupply Bus-2 AC\n" if two_kinds else SUPPLIES
    for closed, stays in (("clear", "occupied"), ("occupied", "clear")):
        wiring = f"{supplies}{extra}\n{detector.format(closed)}\n{driver}"
        plan = plan_of(wiring, "\n  feeders a1")
        seen = [heard(plan, standing) for standing in ("vacant", "at a1")]
        assert seen == (["clear", "occupied"] if usable else [stays, stays])
        safe = usable or closed == "clear"
        assert statuses(plan, "proceed-into-occupied") == {"proved" if safe else "broken"}


@pytest.mark.parametrize(("closed", "reads"), [("clear", "occupied"), ("occupied", "clear")])
def test_a_broken_wire_reads_as_an_open_contact(closed: str, reads: str) -> None:
    """49 CFR 236.5: closed circuit principle."""
    plan = plan_of(
        f"detector D current-sensing through a1 output closed when {closed}", "\n  feeders a1"
    )
    for standing in ("vacant", "at a1"):
        assert report(plan, standing, wire_from_D="broken") == reads


def test_a_dead_input_shows_the_color_given_for_it() -> None:
    plan = plan_of(
        SUPPLIES + "detector D current-sensing through a1 powered by Bus-1\n"
        "driver B drives 2R powered by Bus-2 when input missing shows yellow",
        "\n  feeders a1",
    )
    assert shown(plan, "vacant") == "Approach"


def test_a_driver_without_supply_leaves_its_heads_dark() -> None:
    plan = plan_of("supply Bus-1\ndriver B drives 2R powered by Bus-1")
    assert shown(plan, "vacant") == "Clear"
    assert shown(plan, "vacant", **{"supply Bus-1": "off"}) == observables.UNLISTED


def test_what_is_left_of_a_half_dark_signal_counts() -> None:
    """49 CFR 236.23(f): dark over green looks like a lone green."""
    plan = verifier.load_text(
        """
edge West, East
block Near, Ahead
track West = Near | Ahead = East
signal 2R at Near | Ahead
  heads upper, lower
  Diverging-Clear  when Ahead clear
  Stop             otherwise
driver B drives 2R.upper, 2R.lower
"""
    )
    signal = plan.signals["2R"]
    dark = situation(plan, "vacant", **{"head_2R.upper": "dark"})
    assert state(plan, signal.reading, situation(plan)) == "Diverging-Clear"
    assert state(plan, signal.reading, dark) == "Clear"
    assert state(plan, signal.worst_reading, dark) == observables.UNLISTED
    tripping = verifier.load_text(plan.source.text.replace(
        "2R.lower\n", "2R.lower when lamp out shows red\n"))  # fmt: skip
    dark = situation(tripping, "vacant", **{"head_2R.upper": "dark"})
    assert state(tripping, signal.reading, dark) == "Stop"


def test_rules_that_leave_one_head_dark_are_read_by_the_other() -> None:
    """However it comes that a head is dark, with drivers or without faults."""
    plan = verifier.load_text(
        """
edge West, East
block Near, Ahead
track West = Near | Ahead = East
signal 2R at Near | Ahead
  heads upper, lower
head 2R.upper
  green  when Ahead clear
  red    otherwise
head 2R.lower
  dark  otherwise
driver B drives 2R.upper, 2R.lower
"""
    )
    assert state(plan, plan.signals["2R"].reading, situation(plan)) == "Clear"


# ------------------------------------------------------------------ failures and assumptions


def test_a_fault_that_only_an_assumption_feels_is_not_overlooked() -> None:
    """The dispatcher relies on the detector: with it stuck, situations come about that the
    assumption had ruled out."""
    plan = verifier.load_text(
        """
edge West, East
block Near
block Ahead feeders a1
track West = Near | Ahead = East
lever L positions left, normal, right
detector D current-sensing through a1
signal 2R at Near | Ahead
  Clear  when L right
  Stop   otherwise
assume "the dispatcher looks at the lamp" always Ahead clear or not L right
"""
    )
    found = {row.faults: row.consequence for row in prove(plan).failures}
    assert found["detector D",] == "false proceed"
    assert found["feeder a1",] == "false proceed"
    assert statuses(plan, "proceed-into-occupied") == {"proved"}


def test_what_a_file_asks_of_one_head_is_asked_with_its_driver_broken() -> None:
    plan = verifier.load_text(
        """
edge West, East
block Near, Ahead
track West = Near | Ahead = East
supply Bus-1
signal 2R at Near | Ahead
  heads upper, lower
  Diverging-Clear  when Ahead clear
  Stop             otherwise
driver B drives 2R.upper, 2R.lower powered by Bus-1
prove "the lower head is always lit" never 2R.lower dark
"""
    )
    found = {row.faults: row for row in prove(plan).failures}
    assert found["supply Bus-1",].consequence == "false proceed"
    assert found["lamp 2R.lower green",].consequence != "none"


@pytest.mark.parametrize("asked", ["A clear and 1 proceeds", "1 proceeds"])
def test_what_goes_round_in_a_circle_with_something_broken_is_undecided(asked: str) -> None:
    """With its green lamp out, 1 shows red, and whether it wants green depends on 2, which
    depends on 1. The file is not at fault: the report comes, and says so. (Asked the second
    way, 2 as it is without the fault would fit; but so would it at stop.)"""
    plan = verifier.load_text(
        f"""
block A, B
track A |(g1) B |(g2) A
signal 1 at A |(g1) B
  Clear     when B clear and 2 at stop
  Approach  when B clear
  Stop      otherwise
signal 2 at B |(g2) A
  Clear  when {asked}
  Stop   otherwise
driver D1 drives 1 when lamp out shows red
driver D2 drives 2
"""
    )
    found = {row.faults: row.consequence for row in prove(plan).failures}
    assert found["lamp 1 green",] == "undecided"
    assert found["lamp 1 red",] != "undecided"
    out = plan.equipment.fault(FaultKind.LAMP, "1", "green").what
    with pytest.raises(Unsettled):
        Evaluator(plan).see(Situation.of([(out, "out")]))


# ------------------------------------------------------------------ turnouts

TURNOUT = """
edge West, East, Yard
block Main, Switch, Ahead, Spur
turnout T1 in Switch
  {clauses}
track West = Main | T1 normal | Ahead = East
track T1 reverse | Spur = Yard
signal 2R at Main | T1
  Clear  when T1 normal and Switch, Ahead clear
  Stop   otherwise
"""


def points(clauses: str, **states: str) -> dict[str, str]:
    """How the points lie, and how they are reported to lie."""
    plan = verifier.load_text(TURNOUT.format(clauses=clauses))
    by_kind = {what.kind: what for what in plan.inputs if what.name == "T1"}
    given: dict[Observable, str] = {
        by_kind[kind]: value for kind, value in states.items() if kind in by_kind
    }
    for fault in plan.equipment.faults:
        for name in {fault.name, fault.name.replace(" ", "_")} & states.keys():
            given[fault.what] = states[name]
    now = Situation.of(given.items())
    return {
        "lie": state(plan, observables.points("T1"), now),
        "reported": state(plan, observables.points_report("T1"), now),
    }


def test_two_contacts_tell_how_points_lie() -> None:
    both = "contacts normal, reverse"
    for lie, reported in (("normal", "normal"), ("reverse", "reverse"), ("open", "moving")):
        assert points(both, points=lie) == {"lie": lie, "reported": reported}
    # Stuck closed, both contacts are made, or the wrong one is while the points are open.
    stuck = {"contact_T1_normal": "stuck closed"}
    assert points(both, points="reverse", **stuck)["reported"] == "moving"
    assert points(both, points="open", **stuck)["reported"] == "normal"


def test_one_contact_takes_open_points_for_the_other_position() -> None:
    assert points("contact reverse", points="open")["reported"] == "normal"
    assert points("contact normal", points="open")["reported"] == "reverse"
    broken = {"wire_from_T1_reverse": "broken"}
    assert points("contact reverse", points="reverse", **broken)["reported"] == "normal"


def test_without_contacts_the_report_is_what_was_commanded() -> None:
    assert points("no contacts", points="reverse", thrown="normal")["reported"] == "normal"
    machine = {"machine_of_T1": "did not obey"}
    motor = "motor snap no contacts"
    assert points(motor, thrown="reverse") == {"lie": "reverse", "reported": "reverse"}
    assert points(motor, thrown="reverse", **machine) == {"lie": "normal", "reported": "reverse"}


def test_a_machine_without_power_lies_as_told_or_as_before() -> None:
    """Nobody knows whether it was told to move after its power went."""
    for wiring, lost in (("supply Bus", "supply Bus"), ("supply Bus", "power wire of T1")):
        motor = "motor snap powered by Bus contacts normal, reverse\n" + wiring
        off = {lost: {"supply Bus": "off"}.get(lost, "broken")}
        for motion, lie in (("settled", "reverse"), ("as before", "normal")):
            seen = points(motor, thrown="reverse", motion=motion, **off)
            assert seen == {"lie": lie, "reported": lie}
        # With power it does as it is told.
        assert points(motor, thrown="reverse", motion="as before")["lie"] == "reverse"
    slow = "motor slow 3 s powered by Bus no contacts\nsupply Bus"
    halfway = points(slow, thrown="reverse", motion="moving", **{"supply Bus": "off"})
    assert halfway == {"lie": "open", "reported": "reverse"}


def test_points_that_lie_as_told_when_the_supply_goes_are_not_overlooked() -> None:
    """Detector and motor on one supply: without it the detector reads clear, and the points
    lie as they did, as the lever and the contacts say."""
    plan = verifier.load_text(
        """
edge West, East, Yard
supply Bus
lever TL positions normal, reverse
block Near, Switch, Spur
block Ahead feeders a1
turnout T1 in Switch
  thrown by TL
  motor slow 3 s
  powered by Bus
  contacts normal, reverse
detector D current-sensing through a1
  powered by Bus
  output closed when occupied
track West = Near | T1 normal | Ahead = East
track T1 reverse | Spur = Yard
signal 2R at Near | T1
  Clear  when TL normal and T1 normal and Switch, Ahead clear
  Stop   otherwise
"""
    )
    found = {row.faults: row for row in prove(plan).failures}
    assert found["supply Bus",].consequence == "false proceed"
    assert found["supply Bus",].why == "2R proceeds while stock stands on Ahead"


def test_a_slow_machine_lies_open_on_its_way() -> None:
    slow = "motor slow 3 s contacts normal, reverse"
    assert points(slow, thrown="reverse", motion="moving") == {"lie": "open", "reported": "moving"}
    assert points(slow, thrown="reverse") == {"lie": "reverse", "reported": "reverse"}
    stopped = {"machine_of_T1": "stopped between its ends"}
    assert points("motor snap no contacts", thrown="normal", **stopped) == {
        "lie": "open",
        "reported": "normal",
    }


def test_what_a_situation_says_of_spots_on_one_leg_can_be_read_back() -> None:
    """Spots of a way through points need not have numbers in a row."""
    plan = verifier.load_text(
        "edge West, East, Mill\nblock A, B, C\nblock Switch 600 mm\nturnout T1 in Switch\n"
        "track West = A | T1 normal | B = East\ntrack T1 reverse | C = Mill\n"
        "detector D spot on Switch at 0 mm, 300 mm over normal T1, 300 mm over reverse T1, "
        "600 mm over normal T1, 600 mm over reverse T1\ntrains 300 mm to 2 m\n"
    )
    (standing,) = (what for what in plan.inputs if what.kind == "standing")
    names = [place.name for place in plan.equipment.places["Switch"]]
    assert "over spots 1 and 3 and 5" in names
    for name in names:
        read = situation_of(plan, f"train on Switch {name}")
        assert read.state(standing) == name
