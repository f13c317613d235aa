"""What is said of promises of the crew that are wrong."""

from pathlib import Path

import pytest

import verifier
from tests.messages.expecting import STATION, errors
from verifier.language.diagnostics.diagnostic import InputError, render

CREW = "A promise of the crew is written `crew promises not to throw points under a train`."
THROWN = STATION.replace(
    "turnout T1 in Switch\n", "turnout T1 in Switch\n  thrown reverse when Main occupied\n"
)

# The file, what is added to it, the code, what is marked, the message, the start of the hint.
CASES: list[tuple[str, str, str, str, str, str]] = [
    (STATION, "crew promise not to reverse", "CP104", "promise",
     "`promise` was not expected here", "Did you mean `promises`?"),
    (STATION, "crew promises not to throw T1 under the train", "CP104", "the",
     "`the` was not expected here", f"Expected `a` or `clear`. {CREW}"),
    (STATION, "crew promises to throw T1 under a train", "CP104", "to",
     "`to` was not expected here", f"Expected `not` or `one`. {CREW}"),
    (STATION, "crew promises one train at a time", "CP105", "time",
     "this `crew` statement stops short after `time`", f"Expected `on`. {CREW}"),
    (STATION, "crew promises not to throw 4L under a train", "CP751", "4L",
     "nobody throws `4L`: it is a signal", "Name what is thrown"),
    (STATION, "crew promises not to throw T1, Main under a train", "CP751", "Main",
     "nobody throws `Main`: it is a block", "Name what is thrown"),
    (STATION, "crew promises not to throw T2 under a train", "CP201", "T2",
     "nothing is called `T2`", "If the name is right, declare it with a `turnout`"),
    (STATION, "crew promises one train at a time on T1", "CP203", "T1",
     "`T1` is a turnout, but this must be a block", "It is in block `Switch`."),
    (STATION, "crew promises not to throw T1, T1 under a train", "CP606", "T1",
     "name `T1` is listed twice", "Remove one of them."),
    (THROWN, "crew promises not to throw T1 under a train", "CP752", "T1",
     "nobody can promise not to throw `T1`: a rule throws it",
     "Hold it with a lock instead: `locked while Switch occupied`."),
    (THROWN, "crew promises not to throw points under a train", "CP752",
     "crew promises not to throw points under a train",
     "people throw no points in this file", "Leave this promise out"),
    (STATION, "crew promises not to throw points ahead of a train", "CP755",
     "crew promises not to throw points ahead of a train",
     "every signal over points that people throw stands right before them, so no train is ever in "
     "a route and still before points", "Leave it out."),
    (STATION, "crew promises not to throw points under a train\n"
     "crew promises not to throw T1 under a train", "CP753",
     "crew promises not to throw T1 under a train",
     "`not to throw T1 under a train` is promised already, for T1",
     "Keep one of the two: `not to throw points under a train` says it."),
    (STATION, "crew promises one train at a time on Single, Switch\n"
     "crew promises one direction at a time on Single", "CP753",
     "crew promises one direction at a time on Single",
     "`one direction at a time on Single` is promised already, for Single",
     "Keep one of the two: `one train at a time on Single, Switch` says it."),
    (STATION, "crew promises one direction at a time on Single\n"
     "crew promises one train at a time on Single, Switch", "CP753",
     "crew promises one train at a time on Single, Switch",
     "`one train at a time on Single, Switch` is promised already, for Single",
     "Keep one of the two"),
    (STATION, "trains never reverse\ncrew promises not to reverse", "CP753",
     "crew promises not to reverse", "`trains never reverse` already says that nobody reverses",
     "Keep one of the two."),
    (STATION, "trains reverse on Siding\ncrew promises not to reverse", "CP754",
     "crew promises not to reverse", "trains reverse on Siding, and the crew promises not to",
     "Keep the one that is true"),
    (STATION, "trains reverse on Siding\ncrew promises not to reverse on Main", "CP755", "Main",
     "trains do not reverse on `Main` anyway", "Leave it out"),
    (STATION, "crew promises not to throw points before a train can stop", "CP755",
     "crew promises not to throw points before a train can stop",
     "the file does not say how long trains need to stop",
     "Write, for instance, `trains need 20 s to stop`."),
    (STATION, "crew promises not to throw T1 ahead of a train", "CP755", "T1",
     "every signal over `T1` stands right before it, so no train is ever in the route and still "
     "before the points", "Leave it out."),
    (STATION + "turnout T3 in Yard\nblock Yard, Y2, Y3\nbumper B-2, B-3\nedge Mill\n"
     "track Mill = T3 normal | Y2 = B-2\ntrack T3 reverse | Y3 = B-3\n",
     "crew promises not to throw T3 under clear signals", "CP755", "T3",
     "no signal leads trains over `T3`, so this promise says nothing of it", "Leave it out."),
]  # fmt: skip


@pytest.mark.parametrize(("before", "text", "code", "marked", "message", "hint"), CASES)
def test_promises(before: str, text: str, code: str, marked: str, message: str, hint: str) -> None:
    found = errors(before + text)
    assert [d.code for d in found] == [code], "\n".join(map(render, found))
    assert found[0].span.text == marked
    assert found[0].message == message
    assert found[0].hint.startswith(hint)


def test_all_that_is_wrong_with_promises_is_told_at_once() -> None:
    """Beside each other, and beside what is wrong elsewhere in the file."""
    wrong = [
        ("trains never reverse", "CP709"),
        ("trains reverse on Nowhere", "CP201"),
        ("crew promises not to throw T7, Main, T1 under a train", "CP201 CP751"),
        ("crew promises not to throw points under a train", "CP753"),
        ("crew promises not to throw T8 before a train can stop", "CP755 CP201"),
        ("crew promises one train at a time on T1, Siding", "CP203"),
        ("crew promises not to reverse on Main", "CP753"),
    ]
    found = errors(STATION + "\n".join(text for text, _ in wrong))
    told: dict[str, list[str]] = {}
    for d in found:
        line = d.span.source.text[: d.span.start].count("\n") - STATION.count("\n")
        told.setdefault(wrong[line][0], []).append(d.code)
    assert {text: " ".join(codes) for text, codes in told.items()} == dict(wrong)


def test_what_another_error_may_explain_is_not_told_of_a_promise() -> None:
    text = STATION.replace("signal 4L", "signal 4L at Nowhere | T1\n Stop otherwise\nsignal 5L")
    found = errors(text + "crew promises not to throw points ahead of a train\n")
    assert found and "CP755" not in [d.code for d in found]


def test_promises_are_told_where_an_included_file_is_missing(tmp_path: Path) -> None:
    file = tmp_path / "a.ixl"
    text = 'include "gone.ixl"\ncrew promises not to throw Main under a train\n'
    file.write_text(STATION + text, "utf-8")
    with pytest.raises(InputError) as caught:
        verifier.load(file)
    assert [d.code for d in caught.value.diagnostics] == ["CP730", "CP751"]


def test_a_promise_about_everything_cannot_be_in_a_module() -> None:
    text = STATION + "module M (a, b)\n crew promises not to reverse\n block C\n"
    found = errors(text + " track a | C | b\nend\n")
    assert [(d.code, d.span.text) for d in found] == [("CP735", "crew promises not to reverse")]
    assert found[0].message == "`crew promises` cannot be in a module (`M`)"
