"""What is said of derails and gates that are thrown, locked or pipe-connected wrongly, and of locks
on what does not move."""

import pytest

from tests.messages.expecting import STATION
from tests.messages.test_locking import Case, check
from verifier.api import load_text, situation_of
from verifier.language.diagnostics.diagnostic import InputError

DERAIL, GATE = "derail D1 on Siding toward T1\n", "gate G1 on Single\n"
TWO_BUTTONS = "Name two buttons, the one for normal first: `thrown by N-button, R-button`."
UNDER_WHAT_MOVES = "Write it under the turnout, slip, derail or gate that it is to hold."
NAME_POINTS = "Name the turnout or slip that it moves with: `pipe-connected to T1`."

# Clauses below the station's derail, then below its gate.
OF_DERAIL: list[Case] = [
    ("pipe-connected to T9", "CP201", "T9", "nothing is called `T9`",
     "If the name is right, declare it with a `turnout` or `slip` statement."),
    ("pipe-connected to D1", "CP762", "D1", "derail `D1` is pipe-connected to itself", NAME_POINTS),
    ("pipe-connected to G1", "CP762", "G1", "a derail is not pipe-connected to `G1`, a gate",
     NAME_POINTS),
    ("pipe-connected to 4L", "CP762", "4L", "a derail is not pipe-connected to `4L`, a signal",
     NAME_POINTS),
    ("pipe-connected to T1 derailing when normal, reverse", "CP762",
     "pipe-connected to T1 derailing when normal, reverse",
     "derail `D1` would be derailing however `T1` lies, so that no train could ever pass",
     "Name one position: `pipe-connected to T1 derailing when normal`."),
    ("pipe-connected to T1 derailing when reverse, reverse", "CP606", "reverse",
     "position `reverse` is listed twice", "Remove one of them."),
    ("pipe-connected to T1 pipe-connected to T1", "CP606", "pipe-connected to T1",
     "`pipe-connected` is given twice", "Keep one, with everything in it."),
    ("pipe-connected to T1, T1", "CP762", "pipe-connected to T1, T1",
     "derail `D1` is pipe-connected to 2 things", "Name one: it moves when that moves."),
    ("pipe-connected to T1 thrown by hand", "CP763", "thrown by hand",
     "`D1` is pipe-connected to `T1`: it is not thrown or locked by itself",
     "Write this under `T1`. If `D1` is worked by itself, remove `pipe-connected to T1`."),
    ("pipe-connected to T1 locked while Main clear", "CP763", "locked while Main clear",
     "`D1` is pipe-connected to `T1`: it is not thrown or locked by itself", ""),
    ("pipe-connected to T1 motor snap", "CP763", "motor snap",
     "`D1` is pipe-connected to `T1`: it is not thrown or locked by itself", ""),
    ("pipe-connected to T1 derailing when T1 reverse", "CP104", "T1", "`T1` was not expected here",
     "Expected `normal` or `reverse`."),
    ("pipe-connected T1", "CP104", "T1", "`T1` was not expected here", "Expected `to`."),
    ("thrown open when Main clear", "CP761", "open", "a derail is not thrown open by a rule",
     "Write `thrown non-derailing when …`: otherwise it goes back by itself."),
    ("thrown by 4", "CP613", "4", "lever `4` cannot throw a derail: its positions are "
                                  "left, normal, right",
     "Use a lever with just the positions `normal` and `reverse`."),
    ("contact seated", "CP768", "seated", "a derail is never `seated`, so nothing can report that",
     "Write `contacts derailing, non-derailing`, or the one contact there is: `contact "
     "derailing`."),
    ("electric lock released when Main clear", "CP702", "electric lock released when Main clear",
     "`D1` has an electric lock but is not thrown by hand", "Add `thrown by hand`."),
]  # fmt: skip
OF_GATE: list[Case] = [
    ("pipe-connected to T1", "CP764", "pipe-connected to",
     "`pipe-connected to` cannot stand under `gate`: only a derail is pipe-connected",
     "Write it under a derail: the derail then moves with the turnout."),
    ("thrown seated when Main clear", "CP761", "seated", "a gate is not thrown seated by a rule",
     "Write `thrown open when …`: otherwise it goes back by itself."),
    ("thrown reverse when Main clear", "CP761", "reverse",
     "a gate is not thrown reverse by a rule", ""),
    ("thrown by B1", "CP704", "B1", "one button cannot throw `G1` both ways", TWO_BUTTONS),
    ("thrown by B1, B1, B1", "CP704", "thrown by B1, B1, B1", "3 buttons cannot throw one gate",
     TWO_BUTTONS),
    ("thrown by hand thrown open when Main clear", "CP703", "thrown open when Main clear",
     "`G1` is thrown in two ways", ""),
    ("contacts normal, reverse", "CP768", "normal",
     "a gate is never `normal`, so nothing can report that",
     "Write `contacts seated, open`, or the one contact there is: `contact seated`."),
    ("no contacts", "CP768", "no contacts",
     "a gate without contacts reports nothing that a rule could read", ""),
    ("locked when Main clear", "CP104", "when", "`when` was not expected here",
     "Expected `while`."),
]  # fmt: skip
# Statements added at the end.
OTHERS: list[Case] = [
    *(
        (f"{text} {clause}", "CP764", marked, f"`{marked}` cannot stand under `{what}`: that does "
                                              "not move", hint)
        for what, text, hint in (
            ("bumper", "bumper Post", UNDER_WHAT_MOVES),
            ("block", "block Yard", UNDER_WHAT_MOVES),
            ("edge", "edge Mill", UNDER_WHAT_MOVES),
            ("crossing", "crossing X1 in Main", "A crossing has no moving parts."),
            ("crossover", "crossover K1 is T1, T3", "Write it under each of its two turnouts."),
            ("lever", "lever 6 positions normal, reverse", "Anyone can move a lever"),
            ("route", "route R from 4L to West", UNDER_WHAT_MOVES),
            ("signal", "signal 6 at Siding | T1 Stop otherwise",
             "A signal is held at stop by its rules"),
        )
        for clause, marked in (
            ("locked while Main clear", "locked while"),
            ("thrown by B1, B1", "thrown by"),
            ("electric lock released when Main clear", "electric lock"),
        )
    ),
    ("turnout T3 in Main pipe-connected to T1", "CP764", "pipe-connected to",
     "`pipe-connected to` cannot stand under `turnout`: only a derail is pipe-connected", ""),
    ("condition Held is Main locked while Main clear", "CP764", "locked while",
     "`locked while` cannot stand under `condition`: that does not move", UNDER_WHAT_MOVES),
]  # fmt: skip


@pytest.mark.parametrize(("clause", "code", "marked", "message", "hint"), OF_DERAIL)
def test_of_a_derail(clause: str, code: str, marked: str, message: str, hint: str) -> None:
    check(STATION.replace(DERAIL, f"{DERAIL}  {clause}\n"), code, marked, message, hint)


@pytest.mark.parametrize(("clause", "code", "marked", "message", "hint"), OF_GATE)
def test_of_a_gate(clause: str, code: str, marked: str, message: str, hint: str) -> None:
    check(STATION.replace(GATE, f"{GATE}  {clause}\n"), code, marked, message, hint)


@pytest.mark.parametrize(("text", "code", "marked", "message", "hint"), OTHERS)
def test_of_what_does_not_move(text: str, code: str, marked: str, message: str, hint: str) -> None:
    check(STATION + text, code, marked, message, hint)


def test_a_derail_pipe_connected_to_a_crossover() -> None:
    """The message names the turnouts of the crossover."""
    text = STATION.replace(DERAIL, f"{DERAIL}  pipe-connected to K1\n")
    text = text.replace("turnout T1 in Switch", "turnout T1 in Switch\nturnout T3 in Siding")
    text = text.replace("track End = Siding | reverse T1", (
        "edge Mill\nblock Lead\ncrossover K1 is T1, T3\n"
        "track End = Siding | normal T3 | Lead = Mill\ntrack T3 reverse | reverse T1"
    )).replace("toward T1", "toward T3")  # fmt: skip
    check(text, "CP762", "K1", "a derail is not pipe-connected to `K1`, a crossover",
          "Name the end of the crossover that it stands at: one of T1, T3.")  # fmt: skip


def test_a_situation_with_a_derail_that_is_pipe_connected() -> None:
    """The message says which points to give instead."""
    plan = load_text(STATION.replace(DERAIL, f"{DERAIL}  pipe-connected to T1\n"))
    with pytest.raises(InputError) as caught:
        situation_of(plan, "D1 derailing")
    (found,) = caught.value.diagnostics
    assert found.message == "derail `D1` has no position of its own: it is pipe-connected to `T1`"
    assert found.hint == "Give how `T1` lies: `T1 reverse`."
