"""What a report says is taken for granted, where a file leaves wiring out."""

from pathlib import Path

import pytest

import verifier
from verifier.explain.assumptions.saying import NAMED
from verifier.explain.assumptions.texts import ALWAYS, assumption_texts
from verifier.explain.assumptions.wiring import NO_WIRING_GIVEN

UNWIRED = """
edge West, East, Team
block Main, Siding, Switch
turnout T1 in Switch
track West = Main | normal T1 = East
track T1 reverse | Siding = Team
signal 2R at Main | T1
  Clear when T1 normal and Switch clear
  Stop  otherwise
"""


def wired(**changes: str) -> str:
    """A file of which the wiring is told in full, but for some changed parts."""
    parts = {
        "trains": "trains 300 mm to 900 mm, detectable throughout, wheelsets 2 kohm",
        "in": "in North",
        "feeders": "feeders m1",
        "motor": "motor snap pulse 50 ms thrown by T1-lever powered by Bus",
        "contacts": "contacts normal, reverse",
        "frog": "frog dead",
        "fouling": "fouling point 150 mm gap normal 200 mm, reverse 200 mm",
        "sensitivity": "sensitivity 1 mA",
        "output": "output closed when clear",
        "detector power": "powered by Bus",
        "hold": "",
        "driver": "driver B drives 2R powered by Bus reads D-Switch, T1 contacts",
        "detectors": "",
        **changes,
    }
    return """
edge West, East
lever T1-lever positions normal, reverse
supply Power track power DCC 14 V
supply Bus 12 V
{trains}
district North fed by Power
block Main undetected
block Switch {in} {feeders}
turnout T1 in Switch {motor} {contacts} {fouling} {frog}
track West = Main | normal T1 = East
bumper End
track T1 reverse = End
detector D-Switch current-sensing through m1 {sensitivity} {detector power} {hold} {output}
{detectors}
{driver}
signal 2R at Main | T1
  Clear when T1 normal and Switch clear
  Stop  otherwise
""".format(**parts)


def of(**changes: str) -> list[str]:
    return list(assumption_texts(verifier.load_text(wired(**changes))))


NEAREST = "Stock draws its current through all feeders of its block that are not broken."


def test_no_wiring_at_all() -> None:
    assert list(assumption_texts(verifier.load_text(UNWIRED))) == [
        NO_WIRING_GIVEN,
        "Gaps are taken to stand at or beyond the fouling points: stock inside one block fouls "
        "no other.",
        ALWAYS,
    ]


def test_a_file_that_tells_all_takes_only_the_feeders_for_granted() -> None:
    unfed = "No feeders are given for Main: the gaps beside are taken to hold."
    assert of() == [NEAREST, unfed, ALWAYS]


@pytest.mark.parametrize(
    ("changed", "to", "sentence"),
    [
        ("output", "", "Outputs of D-Switch: taken to be closed when clear, so that a broken wire "
         "reads occupied."),
        ("detector power", "", "No supply is given for D-Switch: taken to be on, and to suit "
         "every reader."),
        ("hold", "hold 4 s", "Hold times of D-Switch only make a report of occupied last longer: "
         "a train that stands still outlasts any."),
        ("in", "", "No power district is given for Switch: taken to have track power."),
        ("sensitivity", "", "Track voltage, wheelsets or sensitivity are not all given for "
         "Switch: stock that draws current is taken to draw enough."),
        ("trains", "trains 300 mm to 900 mm, detectable throughout",
         "Track voltage, wheelsets or sensitivity are not all given for Switch: stock that draws "
         "current is taken to draw enough."),
        ("trains", "", "Nothing is said of trains: taken to be detectable throughout."),
        ("contacts", "", "No contacts are given for T1: taken to report how the points lie."),
        ("motor", "", "No motor is given for T1: the points may lie any way at any moment, and "
         "no machine can stall."),
        ("frog", "", "Nothing is said of the frogs of T1: taken to be insulated, with live rails "
         "all around."),
        ("motor", "motor snap", "No supply is given for the motors of T1: taken to be on."),
        ("driver", "", "No drivers are given: the rules read every report as it is, every head "
         "lights as commanded, and no lamp nor wire to a head can fail."),
        ("driver", "driver B drives 2R powered by Bus",
         "Inputs of B: taken to be all that their rules read."),
        ("driver", "driver B drives 2R reads D-Switch, T1 contacts",
         "No supply is given for B: taken to be on, and to suit all inputs."),
        ("fouling", "", "Gaps are taken to stand at or beyond the fouling points: stock inside "
         "one block fouls no other."),
    ],
)  # fmt: skip
def test_what_is_left_out_is_said_to_be_taken_for_granted(
    changed: str, to: str, sentence: str
) -> None:
    assert sentence not in of()
    assert sentence in of(**{changed: to})


def test_blocks_without_a_detector_are_named_a_handful_of_them() -> None:
    many = [f"Spur-{i}" for i in range(NAMED + 3)]
    tracks = "".join(f"\nedge E{b}\nedge F{b}\ntrack E{b} = {b} = F{b}" for b in many)
    text = wired() + f"block {', '.join(many)}{tracks}"
    found = assumption_texts(verifier.load_text(text))
    assert (
        f"No detector is given for {', '.join(many[:NAMED])} and 3 more: taken to report stock "
        "truthfully." in found
    )


def test_every_report_prints_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from verifier.cli import main

    path = tmp_path / "switch.ixl"
    path.write_text(wired(output=""))
    main(["prove", str(path)])
    printed = " ".join(capsys.readouterr().out.split())
    assert "Outputs of D-Switch: taken to be closed when clear" in printed
    assert NO_WIRING_GIVEN not in printed


def test_spots_beside_points_are_said_to_watch_nothing_until_the_file_says_which_leg() -> None:
    text = UNWIRED.replace("block Main, Siding, Switch", "block Main, Siding\nblock Switch 400 mm")
    for at, said in (("100 mm", True), ("100 mm over normal T1", False)):
        plan = verifier.load_text(text + f"detector D spot on Switch at {at}\n")
        assert any("over which leg" in text for text in assumption_texts(plan)) == said


LOCKED = """
edge West, East, Team
block Main, Siding, Switch
turnout T1 in Switch
  thrown by hand
  electric lock released when Lock-time done
timer Lock-time 30 s runs while 2R at stop
track West = Main | normal T1 = East
track T1 reverse | Siding = Team
signal 2R at Main | T1
  Clear when T1 normal and Switch clear
  Stop  otherwise
"""


ANY_LENGTH = (
    "The times of Lock-time are taken to be of any length, however long or short, but for "
    "loss-of-shunt as long as the file says."
)


@pytest.mark.parametrize(
    ("more", "said", "instead"),
    [
        (
            "",
            ANY_LENGTH,
            "",
        ),
        (
            "trains need 10 s to stop",
            "A train that saw a signal clear may still pass it for 10 s after it was put back.",
            "A train can always stop before a signal that is put back in its face.",
        ),
        (
            "trains need 10 s to stop",
            "The times of Lock-time last as long as the file says.",
            ANY_LENGTH,
        ),
        (
            "trains reverse on Siding",
            "Trains turn back on plain track of Siding, nowhere else.",
            "Trains turn back on plain track outside interlocking limits, where a signal or the "
            "end of the plan comes next on their way, and nowhere else.",
        ),
        ("trains never reverse", "No train ever turns back.", ""),
        (
            "trains start on Siding",
            "At the start stock may stand on Siding, and all other track is vacant; timers are "
            "idle.",
            "At the start all track is vacant; timers are idle.",
        ),
        (
            "edge Mill entering when 2R at stop\nblock Lead\ntrack Lead = Mill\nbumper End\n"
            "track End = Lead",
            "Trains come in at Mill whenever the file says so, and then only.",
            "",
        ),
    ],
)
def test_what_is_taken_for_granted_over_time(more: str, said: str, instead: str) -> None:
    without, with_it = (assumption_texts(verifier.load_text(LOCKED + text)) for text in ("", more))
    assert said in with_it
    assert not more or said not in without
    assert not instead or (instead in without and instead not in with_it)


def test_a_file_without_time_says_nothing_of_it() -> None:
    assert not any("At the start" in said for said in assumption_texts(verifier.load_text(UNWIRED)))


@pytest.mark.parametrize(
    ("more", "says"),
    [("", "What D draws itself is"), (" draws 1 mA", ""), ("+", "What B and D draw themselves is")],
)
def test_one_draws_itself_and_several_draw_themselves(more: str, says: str) -> None:
    driver = "\ndriver B drives 2R powered by Logic" if more == "+" else ""
    text = f"""
    edge West, East
    supply Logic DC 12 V 2 A
    block Near
    block Ahead 1 m
    track West = Near | Ahead = East
    detector D spot on Ahead at 0 mm powered by Logic{more.strip("+")}{driver}
    signal 2R at Near | Ahead
      Clear when Ahead clear
      Stop otherwise
    """
    said = [t for t in assumption_texts(verifier.load_text(text)) if "draws 20 mA" in t]
    assert [t.partition(" not given")[0] for t in said] == [says] * bool(says)


@pytest.mark.parametrize(("kind", "told"), [("", True), ("DC", False)])
def test_a_supply_of_unknown_kind_with_a_common_return_is_told(kind: str, told: bool) -> None:
    text = f"""
    edge West, East
    supply Lights AC 16 V
    supply Logic {kind} 12 V
    common return Lights, Logic
    block Near
    block Ahead 1 m
    track West = Near | Ahead = East
    detector D spot on Ahead at 0 mm powered by Logic
    driver B drives 2R powered by Lights
    signal 2R at Near | Ahead
      Clear when Ahead clear
      Stop otherwise
    """
    says = "Whether Logic is DC, AC or DCC is not given: taken to suit what reads"
    assert any(t.startswith(says) for t in assumption_texts(verifier.load_text(text))) == told
