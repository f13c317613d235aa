"""Logs of a built layout: followed beside the plan, up to where the two part."""

import io
import json
import re
from collections.abc import Callable
from functools import cache
from itertools import chain, repeat
from pathlib import Path

import pytest

import verifier
from tests.diagnosis.logs import BuiltLayout, Deed, log_lines, trips
from tests.junction_files import spec
from verifier.cli import main
from verifier.diagnosis.bench import Bench
from verifier.diagnosis.log_follower import Departure, Followed, follow
from verifier.diagnosis.log_reader import read_log
from verifier.diagnosis.log_suspects import suspects_of
from verifier.diagnosis.suspects import Suspect
from verifier.language.diagnostics.diagnostic import InputError
from verifier.plan.model import Plan
from verifier.reports.log_replay import headline

LARCH_HILL = "locked-and-wired-end-of-siding"
Moments = list[tuple[float, dict[str, str]]]


@cache
def plan_of(name: str) -> Plan:
    return verifier.load(spec(name))


@cache
def suspect(text: str) -> Suspect:
    return next(one for one in Bench(plan_of(LARCH_HILL)).suspects if one.text == text)


@cache
def made(*group: str) -> Moments:
    """Two trips on Larch Hill, with these things wrong."""
    return list(BuiltLayout(plan_of(LARCH_HILL), tuple(map(suspect, group))).moments(trips(2)))


def followed(moments: Moments, name: str = LARCH_HILL) -> Followed:
    return follow(plan_of(name), read_log(log_lines(moments), "log", plan_of(name)))


def departure(moments: Moments) -> Departure:
    found = followed(moments).departure
    assert found is not None
    return found


def test_a_layout_built_as_planned_never_departs() -> None:
    moments = made()
    assert any(reported["4L.upper"] == "green" for _, reported in moments)
    assert any(reported["4RB"] == "green" for _, reported in moments)
    assert followed(moments).departure is None


# Each is seen first where a lamp, by the plan, is another than with nothing wrong.
AT_LAMPS = (
    "lamp 4RB green is out",
    "head 4RA is dark",
    "power wire of B2 is broken",
    "wire from D-Main to B1 is broken",
    "wire from T1 reverse to B1 is broken",
    "the wires of heads 4RA and 4RB are swapped",
)


@pytest.mark.parametrize("text", AT_LAMPS)
def test_a_fault_behind_the_inputs_is_named_at_the_first_lamp_it_changes(text: str) -> None:
    sound, faulty = dict(made()), made(text)
    first = next(time for time, reported in faulty if reported != sound[time])
    found = departure(faulty)
    assert (found.time, found.kind) == (first, "lamp")
    assert found.expected == sound[first][found.name]
    assert found.seen == dict(faulty)[first][found.name]
    groups, _ = suspects_of(plan_of(LARCH_HILL), found)
    assert text in [one.text for group in groups for one in group]


# By hand: the first deed (in tens of seconds) at which nothing else than something wrong explains
# what is reported. Trip 1: Single 2, Switch 5, not Single 6, Main 7, not Switch 8. Trip 2: the
# lever 32, Siding 38, not Switch 39.
AT_INPUTS = (
    ("detector D-Main is stuck at clear", 8, "vanishes", "Switch"),
    ("detector D-Siding is stuck at clear", 39, "vanishes", "Switch"),
    ("contact T1 reverse is stuck open", 32, "points", "T1"),
    ("contact T1 normal is stuck open", 0, "points", "T1"),
    ("the contact wires of T1 are swapped", 0, "points", "T1"),
)


@pytest.mark.parametrize(("text", "deed", "kind", "name"), AT_INPUTS)
def test_a_fault_at_an_input_is_named_where_nothing_else_explains_it(
    text: str, deed: int, kind: str, name: str
) -> None:
    found = departure(made(text))
    assert (found.time, found.kind, found.name) == (deed * 10, kind, name)


def changed(change: Callable[[float, dict[str, str]], dict[str, str]]) -> Moments:
    return [(time, {**reported, **change(time, reported)}) for time, reported in made()]


def test_points_that_stay_and_points_that_move_while_locked() -> None:
    stays = departure(changed(lambda time, reported: {"T1": "normal"}))
    assert (stays.time, stays.name, stays.expected, stays.seen) == (320, "T1", "reverse", "normal")
    groups, _ = suspects_of(plan_of(LARCH_HILL), stays)
    assert any("leaves it normal" in group[0].text for group in groups)
    # The lever is laid over while the route is locked, and a lock that fails lets T1 follow.
    moves = departure(changed(lambda time, _: {"T1-lever": "reverse", "T1": "reverse"}
                              if 80 < time < 100 else {}))  # fmt: skip
    assert (moves.time, moves.name, moves.expected) == (90, "T1", "normal")


def test_a_timer_that_is_too_short_shows_at_the_signal_cleared_too_soon() -> None:
    """Time-Lock runs 30 s from when Switch is clear, at 80 s: 4RA must not clear before 110 s."""
    deeds: list[Deed] = [deed for deed in trips(1) if deed[0] <= 80]
    deeds += [(95.0, {"Set-4R": "pressed"}), (97.0, {"Set-4R": "released"}), (105.0, {})]
    moments = list(BuiltLayout(plan_of(LARCH_HILL)).moments(deeds))
    assert followed(moments).departure is None
    early = [(t, {**r, **({"4RA": "green"} if t >= 95 else {})}) for t, r in moments]
    found = departure(early)
    assert (found.time, found.name, found.expected, found.seen) == (95, "4RA", "red", "green")


def test_lamps_may_take_as_long_as_the_tolerance_and_no_longer() -> None:
    def late(by: float) -> list[str]:
        lines = list(log_lines(made()))
        return [
            f"{float(time) + by:g},{what},{state}" if (what, time) == ("4L.upper", "30") else line
            for line in lines
            for time, what, state in [line.strip().split(",")]
        ]

    plan = plan_of(LARCH_HILL)
    assert follow(plan, read_log(late(0.9), "log", plan)).departure is None
    found = follow(plan, read_log(late(1.5), "log", plan)).departure
    assert found is not None and (found.name, found.time) == ("4L.upper", 30)
    assert follow(plan, read_log(late(1.5), "log", plan), tolerance=2.0).departure is None


def test_without_wiring_too() -> None:
    """Here a block lies between Single and Switch; a train that leaps over it is no train."""
    plan = plan_of("locked-end-of-siding")
    deeds: list[Deed] = [
        (t, {**deed, "Lead": deed["Switch"]} if "Switch" in deed else deed) for t, deed in trips(2)
    ]
    leaps = followed(list(BuiltLayout(plan).moments(trips(2))), "locked-end-of-siding").departure
    assert leaps is not None and (leaps.kind, leaps.name, leaps.time) == ("appears", "Switch", 50)
    moments = list(BuiltLayout(plan).moments(deeds))
    assert any("green" in reported.values() for _, reported in moments)
    assert followed(moments, "locked-end-of-siding").departure is None
    dark = [(t, {**r, "4RA": "dark"}) for t, r in moments]
    found = followed(dark, "locked-end-of-siding").departure
    assert found is not None and found.name == "4RA" and suspects_of(plan, found) == ((), False)


def test_memory_does_not_grow_with_the_log() -> None:
    """Of a log that is read from an endless pipe, only the last events are at hand."""
    plan = plan_of(LARCH_HILL)
    kept: list[str] = list(log_lines(made()))
    period = made()[-1][0] + 50

    def without_end() -> "chain[str]":
        cells = [line.strip().split(",") for line in kept[1:]]
        rounds = (
            [f"{float(t) + n * period:g},{what},{state}" for t, what, state in cells]
            for n, _ in zip(range(30), repeat(0), strict=False)
        )
        return chain(kept[:1], chain.from_iterable(rounds), ["1e9,4RA,dark", "1e9,4RB,dark"])

    found = follow(plan, read_log(without_end(), "log", plan))
    assert found.events == 30 * (len(kept) - 1) + 2
    # At the very end nothing has lasted: it may still follow.
    assert found.departure is None


# ------------------------------------------------------------------ bad input


HEAD = "time,what,state\n"


@pytest.mark.parametrize(
    ("text", "code", "line"),
    [
        ("", "CP630", 1),
        ("\n\n", "CP630", 2),
        ("time,what\n0,T1\n", "CP630", 1),
        (HEAD + "0,T1\n", "CP630", 2),
        (HEAD + "0,T1," + 200_000 * "x", "CP630", 2),
        (HEAD + "soon,T1,normal\n", "CP630", 2),
        (HEAD + "-1,T1,normal\n", "CP630", 2),
        (HEAD + "nan,T1,normal\n", "CP630", 2),
        ('{"time": 0, "what": "T1"}\n', "CP630", 1),
        ('{"time": 0, "what": "T1", "state": "normal"}\nT1 reverse\n', "CP630", 2),
        ("[1]\n", "CP630", 1),
        ("number,time,what,state\none,0,T1,normal\n", "CP630", 2),
        (HEAD + "0,T1,normal\n0,T9,normal\n", "CP631", 3),
        (HEAD + "0,T1,sideways\n", "CP632", 2),
        (HEAD + "0,4RA,yellow\n", "CP632", 2),
        (HEAD + "5,T1,normal\n4.9,T1,reverse\n", "CP633", 3),
        ("number,time,what,state\n7,0,T1,normal\n9,1,T1,reverse\n", "CP634", 3),
        (HEAD + "0,T1,normal\n1,log,lost\n", "CP634", 3),
        (HEAD + "0,T1,normal\n2026-11-30T12:00:01,T1,reverse\n", "CP630", 3),
        (HEAD + "2026-11-30T12:00:01,T1,normal\n1.5,T1,reverse\n", "CP630", 3),
    ],
)
def test_bad_lines_have_messages_of_their_own(text: str, code: str, line: int) -> None:
    plan = plan_of(LARCH_HILL)
    with pytest.raises(InputError) as caught:
        follow(plan, read_log(io.StringIO(text), "log.csv", plan))
    (found,) = caught.value.diagnostics
    assert (found.code, found.span.line) == (code, line)


def test_a_message_points_at_the_cell_and_corrects_no_more_than_it() -> None:
    plan = plan_of(LARCH_HILL)
    for text, column, marked in (
        (HEAD + '0 ,"D-Mian",clear\n', 4, '"D-Mian"'),
        ("what;state;time\nD-Mian;clear;0\n", 1, "D-Mian"),
        (HEAD + "0,T1,normal\n0,T1,sideways\n", 6, "sideways"),
        ('{"time": 0, "what": "D-Mian", "state": "clear"}\n', 1, None),
    ):
        with pytest.raises(InputError) as caught:
            list(read_log(io.StringIO(text), "log.csv", plan))
        (found,) = caught.value.diagnostics
        assert found.span.column == column, text
        if marked is None:
            assert "`D-Main`" in found.hint and found.fix is None
        else:
            assert found.span.text == marked


def test_times_are_told_as_the_log_has_them(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    day = "2026-11-30T12:00"
    log = tmp_path / "log.csv"
    log.write_text(f"{HEAD}{day}:00,4RB,red\n{day}:10,4RB,dark\n{day}:13,T1,normal\n", "utf-8")
    assert main(["replay", str(spec(LARCH_HILL)), str(log)]) == 1
    said = capsys.readouterr().out
    assert f"after line 3 of the log, at {day}:10." in said and f"line 2, {day}:00: 4RB red" in said
    log.write_text(f"{HEAD}1063870.25,T1,normal\n", "utf-8")
    assert main(["replay", str(spec(LARCH_HILL)), str(log)]) == 0
    assert "up to 1063870.25 s." in capsys.readouterr().out


def test_what_a_log_may_look_like() -> None:
    plan = plan_of(LARCH_HILL)
    texts = (
        "number;time;what;state\n1;0;lever T1-lever;normal\n2;0,;T1;normal\n".replace("0,", "0"),
        '\ufeff{"time": 0, "what": "D-Main", "state": "vacant"}\n\n'
        '{"state": "Stop", "time": 1, "what": "signal 4RA", "extra": 3}\n',
        "State,What,Time\nreleased,Set-4L,2026-11-30T12:00:01\non,Set-4L,2026-11-30T12:00:02.5\n",
    )
    read = [[e.text for e in read_log(io.StringIO(text), "log", plan)] for text in texts]
    assert read == [
        ["T1-lever normal", "T1 normal"],
        ["D-Main clear", "4RA Stop"],
        ["Set-4L released", "Set-4L pressed"],
    ]


def test_the_log_in_the_reference_can_be_followed() -> None:
    text = (Path(__file__).resolve().parents[2] / "grammar" / "reference.md").read_text("utf-8")
    (example,) = re.findall(r"```log\n(time,what,state\n.*?)```", text, re.DOTALL)
    plan = plan_of(LARCH_HILL)
    found = follow(plan, read_log(io.StringIO(example), "log", plan))
    assert found.events == 6 and found.departure is None


# ------------------------------------------------------------------ the command


def test_the_command(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    file, log = str(spec(LARCH_HILL)), tmp_path / "log.csv"
    log.write_text("".join(log_lines(made("lamp 4RB green is out"))), "utf-8")
    assert main(["replay", file, str(log)]) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "4RB shows dark; by the plan it must show green." in said
    assert "lamp 4RB green is out" in said and "at 440 s" in said and "Set-4R pressed" in said
    assert main(["replay", file, str(log), "--json"]) == 1
    told = json.loads(capsys.readouterr().out)["departure"]
    assert (told["name"], told["time"], told["kind"]) == ("4RB", 440, "lamp")
    assert ["lamp 4RB green is out"] in told["suspects"]
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(log_lines(made()))))
    assert main(["replay", file, "-"]) == 0
    assert "As planned" in capsys.readouterr().out
    assert main(["replay", file, str(tmp_path / "none.csv")]) == 2
    assert "none.csv" in capsys.readouterr().err


def test_every_departure_is_told_in_a_sentence() -> None:
    for text, *_ in AT_INPUTS:
        assert headline(departure(made(text))).endswith(".")
