"""A signal that a held button clears again behind a train, which is a note."""

import pytest

import verifier
from tests.properties.asked import asked
from verifier.logic.expr import support
from verifier.plan.situation import Situation
from verifier.properties.catalog import obligations
from verifier.reference.evaluator import Evaluator
from verifier.reference.step import Stepper
from verifier.world.world import World

JUNCTION = """
edge West, East
block Near, Far
button Clear-2R, Fleet
lever 2 positions normal, reverse
track West = Near | Far = East
condition Send is Clear-2R pressed and Far clear
"""
OTHERWISE = "\n  Stop   otherwise"
SIGNAL = "signal 2R at Near | Far\n  "
HEAD = "signal 2R at Near | Far\nhead 2R\n  "

# Two relays that a train drops: the first wants the button let go, the second pressed.
STICK = """
trains obey signals
relay Clear-2R-free
  picks when not Clear-2R pressed and Far clear
  sticks while Far clear
relay 2R-stick
  picks when Clear-2R pressed and Clear-2R-free up and Far clear
  sticks while Far clear
"""


def verdicts(text: str, name: str = "clears-again") -> dict[tuple[str, ...], str]:
    report = verifier.prove(verifier.load_text(JUNCTION + text + "\n"))
    found = [v for v in report.verdicts if v.obligation.property == name]
    assert not any(v.fails for v in found) or name != "clears-again"
    return {v.obligation.subjects: v.status for v in found}


@pytest.mark.parametrize(
    "text, notes",
    [
        (SIGNAL + "Clear  when Clear-2R pressed and Far clear" + OTHERWISE, {"Clear-2R": "broken"}),
        (SIGNAL + "Clear  when Send" + OTHERWISE, {"Clear-2R": "broken"}),
        (HEAD + "green  when Send\n  red    otherwise", {"Clear-2R": "broken"}),
        # Either one, by itself.
        (
            SIGNAL + "Clear  when Far clear and (Clear-2R pressed or Fleet pressed)" + OTHERWISE,
            {"Clear-2R": "broken", "Fleet": "broken"},
        ),
        # It proceeds without the button as well: the button only tells one aspect from another.
        (
            SIGNAL + "Clear  when Send\n  Approach  when Far clear" + OTHERWISE,
            {"Clear-2R": "proved"},
        ),
        # The button holds it.
        (
            SIGNAL + "Clear  when Far clear and not Fleet pressed" + OTHERWISE,
            {"Fleet": "proved"},
        ),
        # A lever stays where it is put; Restricting is held on purpose.
        (SIGNAL + "Clear  when 2 reverse and Far clear" + OTHERWISE, {}),
        (SIGNAL + "Restricting  when Send" + OTHERWISE, {}),
        # Over time too, as long as nothing remembers.
        (
            "trains obey signals\n" + SIGNAL + "Clear  when Send" + OTHERWISE,
            {"Clear-2R": "broken"},
        ),
        # A train drops both relays of a stick signal.
        (
            STICK + SIGNAL + "Clear  when 2R-stick up and Far clear" + OTHERWISE,
            {"Clear-2R": "proved"},
        ),
    ],
)
def test_what_is_noted(text: str, notes: dict[str, str]) -> None:
    assert verdicts(text) == {("2R", button): status for button, status in notes.items()}


# Relays, timers and traffic by which a held button clears 2R again, and what 2R asks for.
DROPS = "\n  sticks while Far clear"
AGAIN = {
    "relay": (f"relay K picks when Clear-2R pressed{DROPS}", "K up"),
    "relay that a train does not drop": ("relay K picks when Clear-2R pressed", "K up"),
    "repeater": (f"relay P picks when Clear-2R pressed\nrelay K picks when P up{DROPS}", "K up"),
    "back contact": (f"relay P picks when not Clear-2R pressed\nrelay K picks when P down{DROPS}",
                     "K up"),
    "relay that keeps it at stop": ("relay K picks when not Clear-2R pressed", "K down"),
    "slow relay": (f"relay K picks when Clear-2R pressed{DROPS}\n  slow to release 3 s", "K up"),
    "timer": ("timer K 3 s runs while Clear-2R pressed and Far clear", "K done"),
    "traffic": (
        "traffic K on Far\n  rightward when Clear-2R pressed and Far clear\n"
        "  leftward when Far occupied", "K rightward",
    ),
    "either of two": (f"relay K picks when any of Clear-2R, Fleet pressed{DROPS}", "K up"),
    "both of two": (f"relay K picks when all of Clear-2R, Fleet pressed{DROPS}", "K up"),
}  # fmt: skip
# What a held button does not clear again: nobody is surprised, or someone has to do something.
ONCE = {
    "a lever keeps it clear": ("relay K picks when 2 reverse", "K up", {}),
    "a lever is thrown in between": (
        "relay F picks when 2 normal and Far clear\n  sticks while Far clear\n"
        f"relay K picks when 2 reverse and F up and Clear-2R pressed and Far clear{DROPS}",
        "K up", {"Clear-2R": "proved"},
    ),
    "one press clears it for every train": (
        "relay K picks when Clear-2R pressed\n  sticks while Far clear or Far occupied",
        "K up", {"Clear-2R": "proved"},
    ),
    "a second button puts it back": (
        f"relay F picks when Fleet pressed and K up\n  sticks while K up\n{STICK}"
        "relay K picks when 2R-stick up\n  sticks while 2R-stick up and F down",
        "K up", {"Clear-2R": "proved"},
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", AGAIN)
def test_a_held_button_clears_again_through_what_remembers(kind: str) -> None:
    memory, asked = AGAIN[kind]
    text = f"trains obey signals\n{memory}\n{SIGNAL}Clear  when {asked} and Far clear{OTHERWISE}"
    buttons = ["Clear-2R", *["Fleet"] * ("Fleet" in memory)]
    assert verdicts(text) == {("2R", button): "broken" for button in buttons}


@pytest.mark.parametrize("kind", ONCE)
def test_what_a_held_button_does_not_clear_again(kind: str) -> None:
    memory, asked, notes = ONCE[kind]
    start = "" if "trains obey" in memory else "trains obey signals\n"
    text = f"{start}{memory}\n{SIGNAL}Clear  when {asked} and Far clear{OTHERWISE}"
    assert verdicts(text) == {("2R", button): status for button, status in notes.items()}


def test_of_two_signals_each_way_the_one_without_a_stick_is_noted() -> None:
    """A history tells it, with the button pressed once."""
    left = (
        "button Clear-2L\nrelay K picks when Clear-2L pressed and Near clear\n  sticks while Near "
        "clear\nsignal 2L at Far | Near\n  Clear  when K up and Near clear and not 2R-stick up"
    )
    right = SIGNAL + "Clear  when 2R-stick up and Far clear and K down"
    text = STICK + left + OTHERWISE + "\n" + right + OTHERWISE
    assert verdicts(text) == {("2L", "Clear-2L"): "broken", ("2R", "Clear-2R"): "proved"}
    report = verifier.prove(verifier.load_text(JUNCTION + text + "\n"))
    noted = [v for v in report.verdicts if v.obligation.property == "clears-again" and v.finding]
    (story,) = (v.finding.story for v in noted if v.finding)
    assert story is not None
    told = [event.text for event in story.events]
    assert [t for t in told if "presses" in t] == ["operator presses Clear-2L"]
    assert len([t for t in told if "2L clears to Clear" in t]) == 2


@pytest.mark.parametrize(
    "held, status", [("", "proved"), ('assume "held" always Clear-2R pressed', "broken")]
)
def test_the_cure_clears_at_a_press_and_not_while_the_button_is_held(
    held: str, status: str
) -> None:
    """A train leaves both relays down, as at the start."""
    text = STICK + SIGNAL + "Clear  when 2R-stick up and Far clear" + OTHERWISE + "\n" + held
    assert set(verdicts(text, "route-never-set").values()) == {status}


# What a signal asks for besides a button, at the inputs of its boards. Each asks for reports.
WIRED = """
edge West, East, North
lever 3 positions normal, reverse
button Call
block Near, Switch, Side
block Far feeders f1, f2
turnout T in Switch thrown by 3 powered by Bus contacts normal, reverse
track East = Far | normal T | Near = West
track North = Side | reverse T
condition Quiet is T normal and Far clear
supply Bus 12 V 5 A
"""
DETECTOR = "detector D1 current-sensing on Far through f1 output closed when clear\n"
TWO = DETECTOR + "detector D2 current-sensing on Far through f2 output closed when occupied\n"
BOTH = "signal 2 at Near | T heads upper, lower\n"
ONE_BOARD = "driver One drives 2.upper, 2.lower"
TWO_BOARDS = "driver One drives 2.upper\ndriver Other drives 2.lower"
CALLED = f"{BOTH}  Clear when {{}}\n  Approach when Call pressed\n  Stop otherwise\n{ONE_BOARD}"
READS = {
    "no detector": CALLED.format("Far clear"),
    "a detector": DETECTOR + CALLED.format("Far clear"),
    "two detectors": TWO + CALLED.format("Quiet"),
    "points": CALLED.format("T normal"),
    "two boards": TWO + BOTH + "head 2.upper\n  green when Quiet\n  yellow when Call pressed\n"
    "  red otherwise\nhead 2.lower\n  green when T reverse and Far clear\n  red otherwise\n"
    + TWO_BOARDS,
}  # fmt: skip


@pytest.mark.parametrize("over_time", ["", "trains obey signals\n"])
@pytest.mark.parametrize("kind", READS)
def test_reports_as_boards_get_them_are_seen(kind: str, over_time: str) -> None:
    """What is asked of a held button speaks of them; in single moments, and where time passes,
    the reference tells them apart by board, and the verdict is told."""
    text = WIRED + READS[kind] + "\n" + over_time
    plan = verifier.load_text(text)
    (of_button,) = (o for o in obligations(plan, World(plan).lower) if o.property == "clears-again")
    reports = {w for w in support(of_button.formula) if w.reader}
    assert {w.reader for w in reports} == set(plan.wiring.drivers)
    assert reports <= Evaluator(plan).see(Situation.of([])).states.keys()
    if over_time:
        (verdict,) = verifier.prove(plan, only=["clears-again"]).verdicts
        assert verdict.status == "broken"
        stepper = Stepper(plan)
        start = {w: w.usual for w in (*stepper.states, *stepper.choices)}
        assert reports <= stepper.look(start).keys()
    else:
        assert asked("clears-again", text) == {"2, Call": "broken"}
