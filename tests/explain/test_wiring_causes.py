"""Why the equipment says what it says: the chain down to the rail, for every way in which a
report can differ from the truth."""

import pytest

import verifier
from tests.explain.test_signal_causes import told
from verifier.explain.signal_causes import causes
from verifier.explain.wiring_causes import Circuit
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.reference.equipment import EquipmentState
from verifier.reference.evaluator import Evaluator
from verifier.reference.standing import can_be
from verifier.verdicts.causes import CauseKind

WIRED = """
edge West, East, Team
trains {trains}
supply Track-A track power 12 V
supply Bus
supply Bus-2
{returns}
district North fed by Track-A
block Main 2400 mm in North
  feeders m1, m2, m3
block Siding 900 mm in North
  feeders s1, s2
block Switch 700 mm in North
  feeders w1
turnout T1 in Switch
  {machine}
track West = Main | normal T1 {joint} Siding = East
track T1 reverse = Team
detector D-Main {main}
detector D-Siding current-sensing through {siding}
  powered by Bus {output}
detector D-Switch current-sensing through w1
  powered by Bus
  without track power reads occupied
driver B1 drives 2R.upper, 2R.lower
  powered by {supply} {driver}
signal 2R at Main | T1 heads upper, lower
  Clear           when T1 normal and Switch, Siding clear
  Diverging-Clear when T1 reverse and Switch clear and Main clear
  Stop            otherwise
"""
USUAL = {
    "trains": "300 mm to 1200 mm, detectable throughout",
    "returns": "",
    "machine": "contacts normal, reverse",
    "joint": "|",
    "main": "current-sensing through m1, m2, m3 powered by Bus",
    "siding": "s1, s2",
    "output": "",
    "supply": "Bus",
    "driver": "reads D-Main, D-Siding, D-Switch, T1 contacts",
}


def wired(**changes: str) -> Plan:
    return verifier.load_text(WIRED.format(**{**USUAL, **changes}))


def inputs(plan: Plan) -> dict[str, Observable]:
    """All that can be stated of a plan, by kind and name: ``standing Main``."""
    found = {f"{what.kind} {what.name}": what for what in plan.inputs}
    return found | {f"fault {f.name}": f.what for f in plan.equipment.faults}


def chain(plan: Plan, states: dict[str, str], signal: str = "2R") -> list[str]:
    by_name = inputs(plan)
    situation = Situation.of((by_name[name], state) for name, state in states.items())
    assert can_be(plan, situation), "a situation that there is"
    for name, state in states.items():
        assert state in by_name[name].values, by_name[name].values
    (cause,) = causes(plan, Evaluator(plan), situation, (signal,))
    return told(cause)


def hears(plan: Plan, states: dict[str, str], block: str) -> list[str]:
    """What B1 hears of a block, and why, whatever its rules then make of it."""
    by_name = inputs(plan)
    situation = Situation.of((by_name[name], state) for name, state in states.items())
    assert can_be(plan, situation), "a situation that there is"
    heard = Circuit(plan, EquipmentState(plan, situation)).block(block, "B1")
    return [heard.text, *(line for cause in heard.because for line in told(cause))]


def below(lines: list[str], start: str) -> list[str]:
    """What is told below the line that starts so, without its indent."""
    at = next(i for i, line in enumerate(lines) if line.strip().startswith(start))
    level = len(lines[at]) - len(lines[at].lstrip())
    found = [lines[at].strip()]
    for line in lines[at + 1 :]:
        if len(line) - len(line.lstrip()) <= level:
            break
        found.append(line[level + 2 :])
    return found


def test_a_feeder_that_misses_the_detector() -> None:
    plan = wired(siding="s1")
    lines = chain(plan, {"standing Siding": "at s2"})
    assert lines == [
        "2R shows Clear (green over red)",
        "  T1 reports normal (it lies normal)",
        "  Switch reports clear (nothing stands there)",
        "  Siding reports clear, though a train stands at s2 on Siding",
        "    feeder s2 does not pass through D-Siding",
    ]


def test_each_link_names_its_line() -> None:
    plan = wired(siding="s1")
    by_name = inputs(plan)
    situation = Situation.of([(by_name["standing Siding"], "at s2")])
    (cause,) = causes(plan, Evaluator(plan), situation, ("2R",))
    report = cause.because[-1]
    (feeder,) = report.because
    lines = plan.source.text.splitlines()
    found = [lines[c.span.line - 1].split()[0] for c in (cause, report, feeder) if c.span]
    assert found == ["Clear", "Clear", "feeders"]


def test_a_feeder_that_passes_through_another_detector() -> None:
    plan = wired(siding="s1", main="current-sensing through m1, m2, m3, s2 powered by Bus")
    assert below(chain(plan, {"standing Siding": "at s2"}), "Siding reports") == [
        "Siding reports clear, though a train stands at s2 on Siding",
        "feeder s2 does not pass through D-Siding, but through D-Main",
    ]
    states = {"standing Siding": "at s2", "points T1": "reverse"}
    assert below(chain(plan, states), "Main reports") == [
        "Main reports occupied, though nothing stands there",
        "a train stands at s2 on Siding, and its current flows through D-Main",
        "  feeder s2 of Siding passes through D-Main",
    ]


@pytest.mark.parametrize(
    ("trains", "detector", "state", "reason"),
    [
        ("300 mm to 1200 mm, detectable throughout, wheelsets 10 kohm", "sensitivity 2 mA",
         "drawing no current", "12 V over 10 kohm is 1.2 mA, and D-Siding needs 2 mA"),
        ("300 mm to 1200 mm, detectable throughout, wheelsets 10 kohm",
         "sensitivity 5 mA turns 3", "drawing no current",
         "12 V over 10 kohm is 1.2 mA, 3 turns make 3.6 mA of it, and D-Siding needs 5 mA"),
        ("300 mm to 1200 mm, detectable at the locomotive only", "", "drawing no current",
         "only locomotives draw current: cars left standing draw none"),
    ],
)  # fmt: skip
def test_stock_that_draws_too_little(trains: str, detector: str, state: str, reason: str) -> None:
    plan = wired(trains=trains, output=detector)
    assert below(chain(plan, {"standing Siding": state}), "Siding reports")[1:] == [reason]


def test_the_middle_of_a_train() -> None:
    plan = wired(trains="300 mm to 1200 mm, detectable at both ends")
    states = {"standing Siding": "drawing no current", "standing Switch": "at w1"}
    assert hears(plan, states, "Siding") == [
        "Siding reports clear, though the middle of a train, which draws no current, stands on "
        "Siding",
        "only the ends of a train draw current, and both are beyond this block: trains are up to "
        "1200 mm long",
    ]


def test_a_train_hidden_between_spots() -> None:
    plan = wired(main="spot on Main at 0 mm, 1200 mm, 2400 mm powered by Bus")
    state = next(s for s in inputs(plan)["standing Main"].values if s.endswith("over no spot"))
    states = {"standing Main": state, "points T1": "reverse"}
    assert below(chain(plan, states), "Main reports") == [
        "Main reports clear, though a train of 300 mm stands on Main from 450 mm to 750 mm, over "
        "no spot",
        "D-Main looks only at 0 mm, 1200 mm and 2400 mm, and the train reaches from 450 mm to "
        "750 mm",
    ]


def test_a_broken_wire_by_its_sense() -> None:
    broken = {"fault wire from D-Siding to B1": "broken"}
    assert below(chain(wired(), broken), "Siding reports") == [
        "Siding reports occupied, though nothing stands there",
        "the output of D-Siding is closed when clear: open, it reads occupied",
        "  the wire from D-Siding to B1 is broken",
    ]
    plan = wired(output="output closed when occupied")
    assert below(chain(plan, {**broken, "standing Siding": "at s1"}), "Siding reports") == [
        "Siding reports clear, though a train stands at s1 on Siding",
        "the output of D-Siding is closed when occupied: open, it reads clear",
        "  the wire from D-Siding to B1 is broken",
    ]


def test_a_file_without_drivers_has_one_wire_from_each_detector() -> None:
    text = WIRED.format(**USUAL)
    start, end = text.index("driver B1"), text.index("signal 2R")
    plan = verifier.load_text(text[:start] + text[end:])
    lines = chain(plan, {"fault wire from D-Siding": "broken"})
    assert below(lines, "Siding reports")[-1] == "  the wire from D-Siding is broken"


def test_a_detector_whose_supply_is_off() -> None:
    plan = wired(output="output closed when occupied", supply="Bus-2", returns="common return Bus, "
                 "Bus-2")  # fmt: skip
    states = {"fault supply Bus": "off", "standing Siding": "at s1"}
    # D-Switch, closed when clear, is on the same supply.
    assert "2R shows Stop (red over red)" in chain(plan, states)[0]
    states = {"fault supply Bus": "off", "points T1": "reverse"}
    assert below(chain(plan, states), "Switch reports") == [
        "Switch reports occupied, though nothing stands there",
        "the output of D-Switch is closed when clear: open, it reads occupied",
        "  D-Switch has no power",
        "    supply Bus is off",
    ]


def test_no_track_power() -> None:
    lost = {"fault supply Track-A": "off"}
    assert below(chain(wired(), lost), "Switch reports") == [
        "Switch reports occupied, though nothing stands there",
        "D-Switch reads occupied without track power",
        "  supply Track-A is off",
    ]
    states = {"fault bus of North": "broken", "standing Main": "at m1"}
    assert hears(wired(), states, "Main") == [
        "Main reports clear, though a train stands at m1 on Main",
        "Main has no track power, so that stock draws no current",
        "  the bus of North is broken",
    ]


def test_no_common_return() -> None:
    plan = wired(supply="Bus-2", output="output closed when occupied")
    assert hears(plan, {"standing Siding": "at s1"}, "Siding") == [
        "Siding reports clear, though a train stands at s1 on Siding",
        "the output of D-Siding is closed when occupied: open, it reads clear",
        "  D-Siding is powered by Bus, B1 by Bus-2, and they have no common return: there is no "
        "usable input",
    ]


def test_a_common_return_of_two_kinds_of_supply() -> None:
    text = WIRED.replace("supply Bus\n", "supply Bus DC\n").replace(
        "supply Bus-2", "supply Bus-2 AC"
    )
    settings = USUAL | {
        "supply": "Bus-2",
        "output": "output closed when occupied",
        "returns": "common return Bus, Bus-2",
    }
    plan = verifier.load_text(text.format(**settings))
    assert hears(plan, {"standing Siding": "at s1"}, "Siding")[-1] == (
        "  D-Siding is powered by Bus, which is DC, B1 by Bus-2, which is AC: there is no usable "
        "input, common return or not"
    )


def test_an_input_that_is_not_read() -> None:
    plan = wired(driver="reads D-Main, D-Switch", output="output closed when occupied")
    lines = chain(plan, {"standing Siding": "at s1"})
    assert below(lines, "T1 reports") == [
        "T1 reports moving, though it lies normal",
        "B1 does not read the contacts of T1",
    ]
    plan = wired(driver="reads D-Main, D-Switch, T1 contacts", output="output closed when occupied")
    lines = chain(plan, {"standing Siding": "at s1"})
    assert below(lines, "Siding reports")[-1] == "  B1 does not read D-Siding"


def test_a_bridged_gap() -> None:
    plan = wired()
    gap = "fault gap T1 | Siding"
    state = "bridged, all current by way of Switch"
    states = {"standing Siding": "at s1", gap: state}
    assert hears(plan, states, "Switch") == [
        "Switch reports occupied, though nothing stands there",
        "a train stands at s1 on Siding, and its current flows through D-Switch",
        "  gap T1 | Siding is bridged",
    ]
    assert hears(plan, states, "Siding") == [
        "Siding reports clear, though a train stands at s1 on Siding",
        "its current flows by way of Switch, past D-Siding",
        "  gap T1 | Siding is bridged",
    ]


def test_a_missing_gap() -> None:
    plan = wired(joint="=")
    (name,) = (name for name in inputs(plan) if name.startswith("current"))
    state = "bridged, all current by way of Switch"
    lines = hears(plan, {"standing Siding": "at s1", name: state}, "Siding")
    assert lines[-1] == "  there is no gap at T1 = Siding"


def test_a_broken_feeder() -> None:
    plan = wired(siding="s1")
    lines = chain(plan, {"standing Siding": "at s1", "fault feeder s1": "broken"})
    assert below(lines, "Siding reports") == [
        "Siding reports clear, though a train stands at s1 on Siding",
        "feeder s1 is broken, so that stock draws through s2",
        "  feeder s2 does not pass through D-Siding",
    ]
    lines = chain(wired(), {"standing Switch": "at w1", "fault feeder w1": "broken"})
    assert below(lines, "Switch reports")[-1] == (
        "feeder w1 is broken, and Switch has no other: stock draws no current"
    )


def test_a_stuck_detector() -> None:
    lines = chain(
        wired(), {"standing Siding": "at s1", "fault detector D-Siding": "stuck at clear"}
    )
    assert below(lines, "Siding reports")[1:] == ["D-Siding is stuck at clear"]


def test_no_contacts_tell_what_was_commanded() -> None:
    plan = wired(machine="motor slow powered by Bus no contacts",
                 driver="reads D-Main, D-Siding, D-Switch")  # fmt: skip
    assert below(chain(plan, {"motion T1": "moving"}), "T1 reports") == [
        "T1 reports normal, though it lies open, between its ends",
        "T1 has no contacts: what is reported is what it was told",
        "it was told to lie normal, and is still moving",
    ]
    stalled = {"fault machine of T1": "did not obey", "thrown T1": "reverse"}
    assert below(chain(plan, stalled), "T1 reports") == [
        "T1 reports reverse, though it lies normal",
        "T1 has no contacts: what is reported is what it was told",
        "it was told to lie reverse, and its motor did not obey",
    ]


def test_a_machine_without_power_does_not_move() -> None:
    plan = wired(machine="motor snap powered by Bus-2 no contacts",
                 driver="reads D-Main, D-Siding, D-Switch")  # fmt: skip
    lines = chain(plan, {"fault supply Bus-2": "off", "motion T1": "as before"})
    assert below(lines, "T1 reports")[-2:] == [
        "it was told to lie normal, and its motor has no power",
        "  supply Bus-2 is off",
    ]


def test_one_contact() -> None:
    plan = wired(machine="contact normal")
    assert below(chain(plan, {"points T1": "open"}), "T1 reports") == [
        "T1 reports reverse, though it lies open, between its ends",
        "T1 has no contact but normal: whenever that is open, it reads reverse",
    ]
    broken = {"fault wire from T1 normal to B1": "broken"}
    assert below(chain(plan, broken), "T1 reports") == [
        "T1 reports reverse, though it lies normal",
        "the wire from the contact T1 normal to B1 is broken",
    ]


def test_a_contact_stuck_closed() -> None:
    states = {"points T1": "open", "fault contact T1 normal": "stuck closed"}
    assert below(chain(wired(), states), "T1 reports") == [
        "T1 reports normal, though it lies open, between its ends",
        "the contact T1 normal is stuck closed",
    ]


# ------------------------------------------------------------------ heads and drivers


def test_a_lamp_out_and_what_the_rest_looks_like() -> None:
    states = {"points T1": "reverse", "fault lamp 2R.upper red": "out"}
    assert chain(wired(), states)[:5] == [
        "2R looks like Clear (dark over green)",
        "  2R.upper is dark: its red lamp is out",
        "  what is lit looks like Clear (green)",
        "  2R should show Diverging-Clear (red over green)",
        "    T1 reports reverse (it lies reverse)",
    ]


def test_a_head_dark_altogether() -> None:
    lines = chain(wired(), {"fault head 2R.lower": "dark"})
    assert lines[:3] == [
        "2R looks like Clear (green over dark)",
        "  2R.lower is dark: nothing of it lights",
        "  what is lit looks like Clear (green)",
    ]


def test_a_driver_that_sees_a_lamp_out() -> None:
    plan = wired(driver=f"{USUAL['driver']} when lamp out shows red")
    lines = chain(plan, {"fault lamp 2R.upper green": "out"})
    assert lines == [
        "2R shows Stop (red over red)",
        "  B1 shows red when a lamp is out",
        "    2R.upper is dark: its green lamp is out",
    ]


def test_a_driver_with_an_input_missing() -> None:
    plan = wired(driver="reads D-Main, D-Switch, T1 contacts when input missing shows red")
    assert chain(plan, {}) == [
        "2R shows Stop (red over red)",
        "  B1 shows red while an input is missing",
        "    B1 does not read D-Siding",
    ]


def test_a_driver_without_supply() -> None:
    lines = chain(wired(), {"fault supply Bus": "off"})
    assert lines == [
        "2R shows an unlisted combination (dark over dark)",
        "  B1 has no power, so that its heads are dark",
        "    supply Bus is off",
    ]


def test_a_head_that_no_driver_lights() -> None:
    text = WIRED.format(**USUAL).replace("drives 2R.upper, 2R.lower", "drives 2R.lower")
    lines = chain(verifier.load_text(text), {"points T1": "reverse"})
    assert lines[:4] == [
        "2R looks like Clear (dark over green)",
        "  2R.upper is dark: no driver lights it",
        "  what is lit looks like Clear (green)",
        "  2R should show Diverging-Clear (red over green)",
    ]


def test_each_head_tells_what_its_own_driver_hears() -> None:
    """Heads on two drivers: the chain of each goes by what that driver reads."""
    text = WIRED.format(**USUAL | {"output": "output closed when occupied"}).replace(
        "driver B1 drives 2R.upper, 2R.lower", "driver B1 drives 2R.upper"
    )
    text += "\ndriver B2 drives 2R.lower powered by Bus reads D-Switch, T1 contacts\n"
    plan = verifier.load_text(text)
    states = {"standing Siding": "at s1", "fault wire from D-Siding to B1": "broken"}
    lines = chain(plan, states)
    assert below(lines, "2R.upper is")[-3:] == [
        "Siding reports clear, though a train stands at s1 on Siding",
        "  the output of D-Siding is closed when occupied: open, it reads clear",
        "    the wire from D-Siding to B1 is broken",
    ]
    assert below(lines, "2R.lower is")[-1] == "    B2 does not read D-Siding"


def test_a_finding_tells_its_chain_though_the_rail_decides() -> None:
    """Of a finding only what matters is told: where stock stands does."""
    report = verifier.prove(wired(siding="s1"))
    finding = next(
        v.finding
        for v in report.verdicts
        if v.obligation.property == "proceed-into-occupied" and v.finding
    )
    (cause,) = finding.causes
    lines = told(cause)
    assert "  Siding reports clear, though a train stands at s2 on Siding" in lines
    assert "    feeder s2 does not pass through D-Siding" in lines
    assert "  T1 reports normal (it lies normal)" in lines
    assert not any(line.strip().startswith("Main reports") for line in lines)


VARIANTS: tuple[dict[str, str], ...] = (
    {},
    {"siding": "s1", "output": "output closed when occupied"},
    {"trains": "300 mm to 1200 mm, detectable at the locomotive only", "machine": "contact normal"},
    {"joint": "=", "machine": "motor slow powered by Bus-2 no contacts",
     "driver": "reads D-Main, D-Switch"},
    {"main": "spot on Main at 0 mm, 1200 mm powered by Bus", "supply": "Bus-2"},
    {"machine": "motor snap powered by Bus-2 contacts normal, reverse", "driver":
     "reads D-Main, D-Siding, D-Switch when input missing shows red when lamp out shows red"},
)  # fmt: skip


@pytest.mark.parametrize("changes", VARIANTS)
def test_no_report_differs_from_the_truth_without_a_reason(changes: dict[str, str]) -> None:
    """With every single thing broken, in every way, and stock in every place of a block."""
    plan = wired(**changes)
    blocks = [what for what in plan.inputs if what.kind == "standing"]
    others = [what for what in plan.inputs if what.kind not in ("standing", "current")]
    ways = [(f.what, state) for f in plan.equipment.faults for state in f.what.values[1:]]
    ways += [(what, state) for what in others for state in what.values]
    evaluator = Evaluator(plan)
    untrue = 0
    for broken in ways:
        for what in blocks:
            for state in what.values:
                situation = Situation.of([broken, (what, state)])
                circuit = Circuit(plan, EquipmentState(plan, situation))
                heard = [circuit.block(name, "B1") for name in ("Main", "Siding", "Switch")]
                for report in (*heard, circuit.points("T1", "B1")):
                    assert (report.kind is CauseKind.REPORTS) != bool(report.because), report.text
                    untrue += report.kind is not CauseKind.REPORTS
        told(causes(plan, evaluator, Situation.of([broken]), ("2R",))[0])
    assert untrue > 20
