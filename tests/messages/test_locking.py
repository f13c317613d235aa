"""What is said of statements about memory, time and locking that are wrong."""

import pytest

from tests.messages.expecting import STATION, errors, expect
from verifier.language.diagnostics.diagnostic import render

RELAY = "A relay is written `relay 4L-route picks when Clear-4L pressed sticks while Switch clear`."
TIMER = "A timer is written `timer 4L-time 30 s runs while 4L at stop and Single occupied`."
TURNOUT = "A turnout is written `turnout T1 in Switch`."
ROUTE = (
    "A named route is written `route 4L-to-Main from 4L to West-Main` or "
    "`route 4L-in from 4L to Yard via T1 reverse`."
)
BOTH_LINES = (
    "Give both lines, as the track is drawn: `rightward when East-button pressed` and "
    "`leftward when West-button pressed`."
)

# Statements added at the end: the code, what is marked, the message, the start of the hint.
Case = tuple[str, str, str, str, str]

READING: list[Case] = [
    ("relay R1 picks Main clear", "CP104", "Main", "`Main` was not expected here",
     f"Expected `when`. {RELAY}"),
    ("relay R1 picks when", "CP105", "when", "this `relay` statement stops short after `when`",
     "Expected a condition"),
    ("relay R1, R2 picks when Main clear", "CP104", ",", "`,` was not expected here",
     "Give each of them a statement of its own."),
    ("relay R1 pick when Main clear", "CP104", "pick", "`pick` was not expected here",
     f"Did you mean `picks`? {RELAY}"),
    ("relay R1 picks when Main clear sticks when Main clear", "CP104", "when",
     "`when` was not expected here", f"Expected `while`. {RELAY}"),
    ("relay R1 when Main clear", "CP104", "when", "`when` was not expected here",
     "Expected a clause of the relay (`picks when`, `sticks while`, `releases after` …)"),
    ("relay R1 picks when Main clear slow to drop 2 s", "CP104", "drop",
     "`drop` was not expected here", f"Expected `pick` or `release`. {RELAY}"),
    ("timer X runs while Main clear", "CP104", "runs", "`runs` was not expected here",
     f"Expected a number. {TIMER}"),
    ("timer X 30 s runs when Main clear", "CP104", "when", "`when` was not expected here",
     f"Expected `while`. {TIMER}"),
    ("route A from 4L", "CP105", "4L", "this `route` statement stops short after `4L`",
     f"Expected `to`. {ROUTE}"),
    ("route A from 4L to West via T1", "CP105", "T1",
     "this `route` statement stops short after `T1`", f"Expected `normal` or `reverse`. {ROUTE}"),
    ("route A from 4L to West via T1 normal and T1 reverse", "CP104", "and",
     "`and` was not expected here", "In a list, write a comma."),
    ("traffic W on Single right when Main clear", "CP104", "right",
     "`right` was not expected here", "Did you mean `rightward`?"),
    ("trains obey the signals", "CP104", "the", "`the` was not expected here",
     "Expected `signals`."),
    ("trains never stop", "CP104", "stop", "`stop` was not expected here", "Expected `reverse`."),
    ("trains need 20 s", "CP105", "s", "this `trains` statement stops short after `s`",
     "Expected a number or `to`."),
    ("edge North entering", "CP105", "entering",
     "this `edge` statement stops short after `entering`", "Expected `only` or `when`."),
    ("locked while Main clear", "CP764", "locked while",
     "`locked while` cannot stand under `signal`: that does not move",
     "A signal is held at stop by its rules: add the condition to its lines."),
]  # fmt: skip

RESOLVING: list[Case] = [
    ("relay R1", "CP701", "R1", "relay `R1` never picks up",
     "Add a line such as `picks when Clear-4L pressed`."),
    ("relay R1 picks when R2 up", "CP201", "R2", "nothing is called `R2`",
     "If the name is right, declare it with a `relay` statement."),
    ("relay R1 picks when R1", "CP204", "R1", "`R1` is a relay, but its state is missing",
     "It can be `up` or `down`."),
    ("relay R1 picks when R1 sideways", "CP204", "R1 sideways",
     "`R1` is a relay, and a relay is never `sideways`", "It can be `up` or `down`."),
    ("relay R1 picks when train on Main", "CP206", "Main",
     "a rule cannot know where trains really are", "Rules see only what the equipment reports"),
    ("relay R1 picks when Main clear slow to release 2", "CP601", "2", "the number `2` "
                                                                       "has no unit",
     "Write the time a slow relay takes in `s` or `ms`, like `2 s`."),
    ("relay 4 picks when Main clear", "CP202", "4", "`4` is declared twice",
     "Give each thing a name of its own, even where the kinds differ."),
    ("timer X 0 s runs while Main clear", "CP603", "0 s", "the time of a timer cannot be 0",
     "Write what you measure"),
    ("timer X 30 mm runs while Main clear", "CP602", "30 mm",
     "`mm` is a unit of length, but this must be the time of a timer",
     "Write the time of a timer in `s` or `ms`, like `30 s`."),
    ("timer X 5000 s runs while Main clear", "CP604", "5000 s",
     "`5000 s` is too large for the time of a timer on a layout",
     "Check the number and its unit. The limit is 3,600 s."),
    ("timer X 30 s runs while X idle", "CP204", "X idle",
     "`X` is a timer, and a timer is never `idle`", "It can be `running` or `done`."),
    ("route A from 4L to Wset", "CP201", "Wset", "nothing is called `Wset`",
     "Did you mean `West`?"),
    ("route A from Main to West", "CP203", "Main",
     "`Main` is a block, but this must be a signal", ""),
    ("route A from 4L to East", "CP705", "East", "no route from signal `4L` ends at `East`",
     "Routes from `4L` end at `West` or `End`."),
    ("route A from 4L to West via T1 reverse", "CP707", "T1 reverse",
     "no route from `4L` to `West` runs over `T1 reverse`", "Choose `via T1 normal`."),
    ("route A from 4L to West via T2 normal", "CP201", "T2", "nothing is called `T2`",
     "If the name is right, declare it with a `turnout`, `slip` or `crossover` statement."),
    ("route A from 4L to West condition X is A", "CP204", "A",
     "`A` is a named route, but its state is missing", "It can be `clear` or `lined`."),
    ("route A from 4L to West condition X is A occupied", "CP204", "A occupied",
     "`A` is a named route, and a named route is never `occupied`",
     "It can be `clear` or `lined`."),
    # Of a route that has an error of its own no more is said.
    ("route A from 4L to East condition X is A lined", "CP705", "East",
     "no route from signal `4L` ends at `East`", "Routes from `4L` end at `West` or `End`."),
    ("traffic W on Single", "CP708", "W",
     "traffic `W` never turns rightward or leftward", BOTH_LINES),
    ("traffic W on Single leftward when Main clear", "CP708", "W",
     "traffic `W` never turns rightward", BOTH_LINES),
    ("trains reverse on Mian", "CP201", "Mian", "no block is called `Mian`",
     "Did you mean `Main`?"),
    ("trains reverse on T1", "CP203", "T1", "`T1` is a turnout, but this must be a block",
     "It is in block `Switch`."),
    ("trains need 20 to stop", "CP601", "20", "the number `20` has no unit",
     "Write the time trains need to stop in `s` or `ms`, like `20 s`."),
    ("trains need 0 s to stop", "CP603", "0 s", "the time trains need to stop cannot be 0", ""),
    ("relay R1 picks when Main clear condition X is R1, 4 up", "CP205", "R1, 4 up",
     "`R1, 4 up` can mean any of them or all of them", "Write `any of R1, 4 up` or `all of R1, "
                                                 "4 up`."),
]  # fmt: skip

# The same of clauses below the station's turnout.
CLAUSES: list[Case] = [
    ("thrown by 4", "CP613", "4", "lever `4` cannot throw a turnout: its positions are "
                                  "left, normal, right",
     "Use a lever with just the positions `normal` and `reverse`."),
    ("thrown by B1", "CP704", "B1", "one button cannot throw `T1` both ways",
     "Name two buttons, the one for normal first: `thrown by N-button, R-button`."),
    ("thrown by B1, B1", "CP704", "B1", "button `B1` would throw it both ways at once",
     "Name two buttons, the one for normal first: `thrown by N-button, R-button`."),
    ("thrown by B1, 4", "CP203", "4", "`4` is a lever, but this must be a button", ""),
    ("thrown by hand, B1", "CP201", "hand", "no button is called `hand`",
     "If the name is right, declare it with a `button` statement."),
    ("thrown by", "CP105", "by", "this `turnout` statement stops short after `by`",
     f"Expected `hand` or a name. {TURNOUT}"),
    ("thrown normal when Main clear", "CP761", "normal", "a turnout is not thrown normal by a rule",
     "Write `thrown reverse when …`: otherwise it goes back by itself."),
    ("thrown by hand locked when Main clear", "CP104", "when", "`when` was not expected here",
     f"Expected `while`. {TURNOUT}"),
    ("electric lock released when Main clear", "CP702", "electric lock released when Main clear",
     "`T1` has an electric lock but is not thrown by hand",
     "Add `thrown by hand`. What is thrown from the panel is held with `locked while`."),
    ("starts open", "CP765", "open", "a turnout never starts open",
     "`T1` can start normal or reverse."),
    ("starts seated", "CP765", "seated", "a turnout never starts seated",
     "`T1` can start normal or reverse."),
    ("starts here", "CP104", "here", "`here` was not expected here", "Expected "),
    ("starts normal starts reverse", "CP606", "starts reverse", "`starts` is given twice",
     "Keep one, with everything in it."),
    ("thrown reverse when not Main clear starts reverse", "CP765", "starts reverse",
     "`T1` cannot start reverse: at the start its rule has thrown it normal",
     "Remove `starts reverse`, or change the rule."),
    ("thrown by hand locked while train on Main", "CP206", "Main",
     "a rule cannot know where trains really are", "Rules see only"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "code", "marked", "message", "hint"), READING + RESOLVING)
def test_statements(text: str, code: str, marked: str, message: str, hint: str) -> None:
    check(STATION + text, code, marked, message, hint)


@pytest.mark.parametrize(("text", "code", "marked", "message", "hint"), CLAUSES)
def test_clauses_of_a_turnout(text: str, code: str, marked: str, message: str, hint: str) -> None:
    line = "turnout T1 in Switch\n"
    check(STATION.replace(line, f"{line}  {text}\n"), code, marked, message, hint)


def check(text: str, code: str, marked: str, message: str, hint: str) -> None:
    found = errors(text)
    assert [d.code for d in found] == [code], "\n".join(map(render, found))
    assert found[0].span.text == marked
    assert found[0].message == message
    assert found[0].hint.startswith(hint)


def test_three_buttons() -> None:
    line = "turnout T1 in Switch\n"
    text = STATION.replace(line, f"{line}  thrown by B1, B2, B3\nbutton B2, B3\n")
    expect(
        text,
        code="CP704",
        underlined="thrown by B1, B2, B3",
        message="3 buttons cannot throw one turnout",
        hint="Name two buttons, the one for normal first: `thrown by N-button, R-button`.",
    )


def test_what_is_said_twice() -> None:
    for text, marked, message in (
        ("relay R1 picks when Main clear picks when Switch clear", "picks when Switch clear",
         "`picks when` is given twice"),
        ("traffic W on Single, Single rightward when B1 pressed leftward when Main clear",
         "Single", "block `Single` is listed twice"),
        ("trains obey signals trains obey signals", "trains obey signals",
         "`trains obey signals` is given twice"),
        ("trains need 5 s to stop trains need 9 s to stop", "trains need 9 s to stop",
         "`trains need to stop` is given twice"),
    ):  # fmt: skip
        found = errors(STATION + text)
        assert [(d.code, d.span.text, d.message) for d in found] == [("CP606", marked, message)]
        assert [words for _, words in found[0].others] == ["the first one is here"]


@pytest.mark.parametrize(
    ("line", "clause", "message", "hint"),
    [
        ("derail D1 on Siding toward T1", "starts open", "a derail never starts open",
         "`D1` can start derailing or non-derailing."),
        ("gate G1 on Single", "starts reverse", "a gate never starts reverse",
         "`G1` can start seated or open."),
    ],
)  # fmt: skip
def test_start_positions_that_nothing_has(line: str, clause: str, message: str, hint: str) -> None:
    expect(
        STATION.replace(line, f"{line}\n  {clause}"),
        code="CP765",
        underlined=clause.removeprefix("starts "),
        message=message,
        hint=hint,
    )


def test_a_start_position_given_twice() -> None:
    line = "gate G1 on Single"
    expect(
        STATION.replace(line, f"{line}\n  starts open\n  starts seated"),
        code="CP606",
        underlined="starts seated",
        message="`starts` is given twice",
        hint="Keep one, with everything in it.",
        more=("the first one is here",),
    )


def test_two_ways_at_once() -> None:
    expect(
        STATION + "trains reverse on Main\ntrains never reverse",
        code="CP709",
        underlined="trains never reverse",
        message="`trains never reverse` contradicts `trains reverse on …`",
        hint="Keep the one that is true on your railroad.",
        more=("trains reverse here",),
    )
    line = "turnout T1 in Switch\n"
    expect(
        STATION.replace(line, f"{line}  thrown by hand\n  thrown reverse when Main clear\n"),
        code="CP703",
        underlined="thrown reverse when Main clear",
        message="`T1` is thrown in two ways",
        hint=(
            "Keep one of the two. A lever or a button can be part of the rule: `thrown "
            "reverse when R-button pressed`."
        ),
        more=("the other way is here",),
    )


def test_trains_that_come_in_where_they_only_leave() -> None:
    expect(
        STATION.replace(
            "edge West, East\n", "edge West\nedge East leaving only entering when Main clear\n"
        ),
        code="CP710",
        underlined="Main clear",
        message="edge `East` is `leaving only` but has a condition for entering",
        hint="Remove `leaving only`, or the condition.",
    )


def test_a_name_that_fits_several_routes() -> None:
    expect(
        "edge West, East\nblock A, B, C, S, N\nturnout T1 in S\nturnout T2 in N\n"
        "track West = A | T1 normal | B | normal T2 | C = East\n"
        "track T1 reverse | reverse T2\nsignal 2 at A | T1\n  Stop otherwise\n"
        "route 2-on from 2 to East",
        code="CP706",
        underlined="route 2-on from 2 to East",
        message="2 routes lead from `2` to `East`",
        hint="Say which: `via T1 normal, T2 normal` or `via T1 reverse, T2 reverse`.",
    )


def test_a_route_over_no_points() -> None:
    expect(
        "edge West, East\nblock A, B, S\nturnout T1 in S\nbumper End\nblock Spur\n"
        "track West = A | B | T1 normal = East\ntrack T1 reverse | Spur = End\n"
        "signal 2 at A | B\n  Stop otherwise\nsignal 4 at B | T1\n  Stop otherwise\n"
        "route 2-on from 2 to 4 via T1 normal",
        code="CP707",
        underlined="T1 normal",
        message="no route from `2` to `4` runs over `T1`",
        hint="Remove `via`: the route runs over no points.",
    )


def test_a_signal_in_the_wrong_place_takes_its_routes_with_it() -> None:
    found = errors(STATION.replace("4L at Single | T1", "4L at Single | Main")
                   + "route A from 4L to West\ncondition X is A lined")  # fmt: skip
    assert not {"CP705", "CP706", "CP707"} & {d.code for d in found}
