"""Drafts: proved in operation, nothing of the user's changed, refusals by place and reason."""

import re
from collections.abc import Iterable, Iterator
from pathlib import Path

import networkx
import pytest

from tests.drafting.plans import random_plan, shaped_plan
from tests.drafting.trying import draft_of, is_subsequence, proof_of
from verifier.api import checked, draft_file, load_text
from verifier.cli import main
from verifier.drafting.wanted import PANELS, Aspects, Panel
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.format.formatter import format_text
from verifier.patterns.line import line_text
from verifier.pipeline import prove
from verifier.plan.observables import facts_in
from verifier.verdicts.grade import Grade

SIDING = """\
layout "Fernhook"

edge West, East

block West-Single, Main, Siding, East-Single  # the main is the upper track
block West-Switch, East-Switch

turnout T1 in West-Switch
turnout T3 in East-Switch

track West = West-Single | T1 normal  | Main   | normal  T3 | East-Single = East
track                      T1 reverse | Siding | reverse T3
"""

JUNCTION = """\
edge West, Mill, East
block Main, Switch, Single, Spur
turnout T1 in Switch
  thrown by Points
lever Points positions normal, reverse
track West = Main | normal  T1 | Single = East
track Mill = Spur | reverse T1
signal Home at Single | T1
  heads upper, lower
  Clear            when T1 normal  and Switch, Main clear
  Diverging-Clear  when T1 reverse and Switch, Spur clear
  Stop             otherwise
"""

FACING = """\
edge West, Mill, East
block Main, Switch, Single, Spur
turnout T1 in Switch
track West = Main | normal  T1 | Single = East
track Mill = Spur | reverse T1
"""

# Two switches in one statement: a lever for both would be wrong, so the draft gives them none.
LADDER = """\
edge West
bumper E1, E2, E3
block Lead, Throat, Y1, Y2, Y3
turnout T1, T3 in Throat
derail D1 on Y3 toward T3
track West = Lead | T1 normal | Y1 = E1
track T1 reverse = T3 normal | Y2 = E2
track T3 reverse | Y3 = E3
"""

DIAMOND = """\
edge West, East, North, South
block W, E, N, S, Diamond
crossing X1 in Diamond
track West = W | along X1 | E = East
track North = N | across X1 | S = South
"""


def test_a_passing_siding_is_drafted_and_proved(tmp_path: Path) -> None:
    (tmp_path / "siding.ixl").write_text(SIDING, "utf-8")
    text, report = draft_file(tmp_path / "siding.ixl")
    assert report.grade is Grade.OPERATION
    assert is_subsequence(SIDING, text) and format_text(text) == text
    assert set(report.plan.signals) == {"2R", "2LA", "2LB", "4L", "4RA", "4RB"}
    # Every route can clear, and two trains can meet: both are among what is proved.
    proved = {v.obligation.key for v in report.verdicts if v.status == "proved"}
    assert "route-never-clears: 2R to 4RB" in proved
    assert any(key.startswith("cannot-pass") for key in proved)
    assert {route.name for route in report.plan.routes} == {
        "2R to 4RA", "2R to 4RB", "2LA to West", "2LB to West",
        "4L to 2LA", "4L to 2LB", "4RA to East", "4RB to East",
    }  # fmt: skip


def test_what_is_there_is_respected() -> None:
    text = draft_of(JUNCTION)
    assert is_subsequence(JUNCTION, text)
    plan = load_text(text)
    assert set(plan.signals) == {"Home", "2RA", "2RB"}
    assert "Home at stop" in text and text.count("thrown by") == 1
    assert proof_of(text).grade is Grade.OPERATION


def test_tracks_that_cross_take_turns_by_levers() -> None:
    text = draft_of(DIAMOND)
    assert "2R at W | X1\n  Clear  when 2 right and Diamond, E clear and 4 normal" in text


def test_a_ladder_reads_in_the_order_of_its_switches_and_a_derail_has_a_signal_out() -> None:
    text = draft_of(LADDER)
    assert "when 2 right and T1 reverse and T3 normal and Throat, Y2" in " ".join(text.split())
    assert "signal 2LC at Y3 | T3\n  Clear  when 2 left and T1, T3 reverse" in text
    assert "Throat, Lead clear and D1 non-derailing" in text
    assert is_subsequence(LADDER, text) and "T1-lever" not in text


def test_two_aspects_leave_out_the_next_signal() -> None:
    text = draft_of(SIDING, aspects=2)
    assert "proceeds" not in text and "Approach" in text
    assert load_text(text).signals["2R"].lines


FOUR_BLOCKS = """\
edge West entering only
edge East leaving only
block A, B, C, D
track West = A | B | C | D = East
"""


def test_the_fourth_aspect_tells_of_the_second_signal() -> None:
    text = draft_of(FOUR_BLOCKS, aspects=4, panel="automatic")
    assert "Clear             when B clear and 4R proceeds and not 4R shows Approach\n" in text
    assert text.count("Advance-Approach") == 2, "the aspect and 2R: from 4R only Clear can follow"
    assert proof_of(text).grade is Grade.OPERATION
    own = "aspect Caution  flashing yellow  proceed prepared to stop at second signal\n"
    again = draft_of(FOUR_BLOCKS + own, aspects=4, panel="automatic")
    assert "\naspect" not in again.removeprefix(FOUR_BLOCKS + own) and "  Caution" in again
    circle = "block A, B, C\ntrack A |(g1) B |(g2) C |(g3) A\ntrains start on A\n"
    assert load_text(draft_of(circle, aspects=4, panel="automatic")).signals
    assert "A |(g1) B" in draft_of(circle, aspects="route", panel="automatic"), "it comes to an end"


AHEAD = """\
edge West entering only
edge Yard, East leaving only
block Far, Near, Switch, Main, Spur
turnout T1 in Switch
track West = Far | Near | T1 normal | Main = East
track T1 reverse | Spur = Yard
"""


@pytest.mark.parametrize(
    ("aspects", "ahead", "over"),
    [
        ("route", "Approach-Diverging", "Diverging-Clear"),
        ("speed", "Approach-Medium", "Medium-Clear"),
    ],
)
def test_a_signal_tells_of_the_route_or_the_speed_at_the_next_one(
    aspects: Aspects, ahead: str, over: str
) -> None:
    text = draft_of(AHEAD, aspects=aspects)
    first = load_text(text).signals["2R"]
    assert [line.shows for line in first.lines] == ["Clear", ahead, "Approach", "Stop"]
    assert len(first.heads) == 2, "its colors take two heads"
    assert f"4R proceeds and not 4R shows {over}\n" in text
    assert proof_of(text).grade is Grade.OPERATION
    # An aspect of the file is used under its own name, and with its colors.
    if aspects == "speed":
        meaning = "proceed prepared to pass next signal at medium speed"
        again = draft_of(f"{AHEAD}aspect Caution flashing green over red {meaning}\n", "speed")
        assert "  Caution " in again and again.count("aspect ") == 2


def test_speed_signaling_beside_a_signal_that_tells_of_routes_is_refused() -> None:
    with pytest.raises(InputError) as refused:
        draft_of(JUNCTION, aspects="speed")
    [found] = refused.value.diagnostics
    assert found.code == "CP908" and found.span.text.startswith("Diverging-Clear ")


@pytest.mark.parametrize("seed", range(12))
def test_drafts_of_generated_plans_read_and_are_formatted(seed: int) -> None:
    plan = format_text(random_plan(seed, 2 + seed % 7))
    try:
        text = draft_of(plan)
    except InputError as error:
        assert {d.code for d in error.diagnostics} == {"CP901"}
        return
    assert is_subsequence(plan, text) and format_text(text) == text
    drafted = load_text(text)
    for route in drafted.routes:
        assert len(drafted.signals[route.signal].lines) > 1, "all at Stop is no draft"


@pytest.mark.parametrize("seed", range(10))
def test_drafts_of_shapes_read_and_are_formatted(seed: int) -> None:
    """Ovals, wyes, balloon loops, terminals, double track; under a dispatcher and by themselves."""
    plan = format_text(shaped_plan(seed, 1 + seed % 3))
    for panel in PANELS:
        text = draft_of(plan, panel=panel)
        assert is_subsequence(plan, text) and format_text(text) == text
        drafted = load_text(text)
        for route in drafted.routes:
            end = drafted.track.pieces.get(route.exit)
            only_in = end is not None and end.direction == "entering"
            assert only_in or len(drafted.signals[route.signal].lines) > 1


def test_a_balloon_loop_is_proved_and_a_brief_proof_decides_the_same() -> None:
    """No signal says that the next one proceeds where it never can: the way out of the loop lies
    over the points that let the train in."""
    text = draft_of(shaped_plan(2), panel="automatic")
    assert "proceeds" not in text
    brief = proof_of(text)
    plan, world = checked(text, "draft", None)
    whole = prove(plan, world=world, repairs=False)
    assert brief.grade is whole.grade is Grade.OPERATION
    asked = {v.obligation.key: v.status for v in whole.verdicts if not v.obligation.advice}
    assert {v.obligation.key: v.status for v in brief.verdicts} == asked


@pytest.mark.parametrize("seed", [12, 32])
def test_drafts_of_generated_plans_are_proved_in_operation(seed: int) -> None:
    report = proof_of(draft_of(random_plan(seed, 1 + seed % 4)))
    assert report.grade is Grade.OPERATION
    useless = {"never-shown", "route-never-clears", "route-never-set", "train-cannot-leave"}
    assert not [
        v.obligation.key
        for v in report.verdicts
        if v.obligation.property in useless and v.status != "proved"
    ]


def test_it_never_writes_over_a_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan, out = tmp_path / "plan.ixl", tmp_path / "out.ixl"
    plan.write_text(DIAMOND, "utf-8")
    out.write_text("mine", "utf-8")
    assert main(["draft", str(plan), "-o", str(out)]) == 2
    assert main(["draft", str(plan), "-o", str(plan)]) == 2
    assert out.read_text("utf-8") == "mine" and plan.read_text("utf-8") == DIAMOND
    assert "exists already" in capsys.readouterr().err
    assert main(["draft", str(plan), "-o", str(tmp_path / "new.ixl")]) == 0
    assert (tmp_path / "new.ixl").read_text("utf-8").startswith(DIAMOND)
    assert main(["draft", str(plan)]) == 0
    assert capsys.readouterr().out.endswith((tmp_path / "new.ixl").read_text("utf-8"))


def test_what_does_not_prove_is_not_shown(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The user's own signal lets trains over points that lie wrong: no draft makes up for that."""
    text = JUNCTION.replace("T1 reverse and Switch, Spur", "Switch, Spur")
    (tmp_path / "plan.ixl").write_text(text, "utf-8")
    assert main(["draft", str(tmp_path / "plan.ixl")]) == 1
    said = capsys.readouterr()
    assert said.out == "" and "No draft" in said.err and "proceed-over-open-points" in said.err


def test_the_locking_sheet_needs_no_signals(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "plan.ixl").write_text(SIDING, "utf-8")
    assert main(["sheet", str(tmp_path / "plan.ixl"), "locking"]) == 0
    before = capsys.readouterr().out
    assert "these are drafted" in before
    (tmp_path / "plan.ixl").write_text(draft_of(SIDING), "utf-8")
    assert main(["sheet", str(tmp_path / "plan.ixl"), "locking"]) == 0
    after = capsys.readouterr().out
    for heading in ("Routes:", "Conflicting routes:"):
        assert _table(before, heading) == _table(after, heading)


def _table(text: str, heading: str) -> str:
    return text.split(heading, 1)[1].split("\n\n", 1)[0]


def test_a_line_of_sidings_is_one_module_turned_round(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "line.ixl"
    assert main(["new", "line", str(path), "--sidings", "10"]) == 0
    text = path.read_text("utf-8")
    assert text.count("use End") == 20 and text.count("turned round") == 10
    assert format_text(text) == text
    assert len(load_text(text).signals) == 60
    assert main(["new", "line", str(path), "--sidings", "1"]) == 2, "never over a file"
    assert main(["new", "spur", str(tmp_path / "spur.ixl"), "--sidings", "1"]) == 2
    assert "--sidings is for the pattern line" in capsys.readouterr().err


def test_a_line_of_one_siding_is_proved() -> None:
    assert proof_of(format_text(line_text(1))).grade is Grade.OPERATION


def test_switches_thrown_by_hand_are_kept_safe_by_promises() -> None:
    text = draft_of(FACING, by_hand=True)
    assert "locked" not in text and "thrown by hand" in text
    assert proof_of(text).grade is Grade.OPERATION
    for promise in ("under a train", "under clear signals"):
        line = f"crew promises not to throw points {promise}\n"
        assert line in text
        assert is_broken(text.replace(line, ""))


def test_signals_without_a_panel_work_by_themselves_and_crews_promise_the_least(
    tmp_path: Path,
) -> None:
    """A home signal gives way to a train that waits at the other end of the siding, unless one
    waits at it; the spur's derail is thrown by hand too."""
    (tmp_path / "siding.ixl").write_text(SIDING, "utf-8")
    text, report = draft_file(tmp_path / "siding.ixl", panel="automatic")
    assert report.grade is Grade.OPERATION
    assert "lever T1-key, T3-key positions normal, reverse\n" in text
    assert is_subsequence(SIDING, text) and format_text(text) == text
    assert "and (West-Single occupied or East-Single clear)" in text
    assert "and (2R at stop or T1 reverse)" in text
    proved = {v.obligation.key for v in report.verdicts if v.status == "proved"}
    assert any(key.startswith("cannot-pass") for key in proved)
    promised = {f"your crew promises {promise.text}" for promise in report.plan.locking.promises}
    used = {title for verdict in report.verdicts for title in verdict.rests_on}
    assert promised <= used and len(promised) == 2


def test_derails_without_a_panel_are_promised_too() -> None:
    text = draft_of(LADDER.replace("T1, T3 in Throat", "T1 in Throat\nturnout T3 in Throat"), 2,
                    panel="automatic")  # fmt: skip
    assert "derail D1 on Y3 toward T3\n  thrown by hand\n" in text and text.count("lever ") == 1
    assert "crew promises not to throw D1 ahead of a train\n" in text
    assert not is_broken(text)
    own = "crew promises not to throw points under a train\n"
    again = draft_of(FACING + own, panel="automatic")
    assert again.count(own) == 1 and again.count("crew promises") == 2


def test_levers_of_a_frame_lock_each_other() -> None:
    """A lock in place of a condition where signals meet however points lie; it is needed."""
    text = draft_of(DIAMOND, panel="levers")
    assert "lever 2 reverse locks 4 normal, 6 normal, 8 normal\n" in text
    assert "  Clear  when 2 reverse and Diamond, E clear\n" in text
    assert proof_of(text).grade is Grade.OPERATION
    assert is_broken(text.replace("lever 2 reverse locks 4 normal, 6 normal, 8 normal\n", ""))
    siding = draft_of(SIDING, panel="levers")
    assert "    and (not 8 reverse or T3 reverse)\n" in siding, (
        "where points decide, a condition does"
    )


def test_entrance_exit_buttons_set_routes_and_throw_points() -> None:
    """The relays of routes that meet exclude each other, also when picked at once; both checks
    are needed."""
    text = draft_of(FACING, panel="buttons")
    assert is_subsequence(FACING, text) and format_text(text) == text
    assert "lever" not in text
    assert "button 2RA-entrance, 2RB-entrance, 2L-entrance\n" in text
    assert "  thrown reverse when any of 2RB-to-Single-route, 2L-to-Spur-route up\n" in text
    report = proof_of(text)
    assert report.grade is Grade.OPERATION
    proved = {v.obligation.key for v in report.verdicts if v.status == "proved"}
    assert {"route-never-clears: 2L to Mill", "route-never-clears: 2RB to East"} <= proved
    for check in (r"\n      and not any of .* pressed", r"\n      and .* down"):
        dropped = re.sub(check, "", text)
        assert dropped.count("\n") == text.count("\n") - 4 and is_broken(dropped)


def test_a_press_sets_a_route_for_one_train() -> None:
    """A button that stays pressed clears nothing again: the relay of its entrance sees to that."""
    text = draft_of(
        "edge West entering only\nedge East leaving only\nblock A, B\ntrack West = A | B = East\n",
        panel="buttons",
    )
    asks = "and 2R-ready up"
    assert asks in text
    for wanted, made in (("proved", text), ("broken", text.replace(asks, ""))):
        plan, world = checked(made, "draft", None)
        found = prove(plan, world=world, repairs=False, only=["clears-again"]).verdicts
        assert [v.status for v in found] == [wanted, wanted], "of the entrance, and of the exit"


def test_a_cross_over_and_a_derail_are_thrown_by_buttons_too() -> None:
    plan = """\
edge W1, E1, W2, E2
block A1, B1, A2, B2, In-1, In-2
turnout T1 in In-1
turnout T2 in In-2
crossover K1 is T1, T2
derail D1 on A2 toward T2
track W1 = A1 | T1 normal | B1 = E1
track W2 = A2 | normal T2 | B2 = E2
track T1 reverse | reverse T2
"""
    text = draft_of(plan, panel="buttons")
    assert text.count("  thrown reverse when any of 2R-to-B2-route, 4L-to-A1-route up\n") == 2
    assert "  thrown non-derailing when any of 4R-to-B2-route, 4L-to-A2-route up\n" in text
    held = "  locked while any of In-2, In-1 occupied or not all of 2R, 4R, 4L at stop\n"
    assert held in text, "a train from 2R that has not reached T2 counts on the derail"
    straight = text.split("relay 4R-to-B2-route\n", 1)[1].split("sticks", 1)[0]
    assert "2R-to-B1-route" not in straight, "two tracks are used at once"


LINE = """\
edge West, East
block West-Yard, M1, S1, Line, M2, S2, East-Yard
block A, B, C, D
turnout T1 in A
turnout T3 in B
turnout T5 in C
turnout T7 in D

track West = West-Yard | T1 normal | M1 | normal T3 | Line
track T1 reverse | S1 | reverse T3
track Line | T5 normal | M2 | normal T7 | East-Yard = East
track T5 reverse | S2 | reverse T7
"""


def test_single_track_has_one_lever_and_parallel_track_has_none() -> None:
    plan = format_text(LINE)
    text = draft_of(plan, single_track="lever")
    assert is_subsequence(plan, text) and format_text(text) == text
    assert "lever Line-traffic positions left, right\n" in text and text.count("traffic pos") == 1
    assert text.count(" and Line-traffic right\n") == text.count(" and Line-traffic left\n") == 2
    assert not is_broken(text)
    assert is_broken(text.replace(" and Line-traffic right\n", "\n"))


@pytest.mark.parametrize("panel", [panel for panel in PANELS if panel != "automatic"])
def test_a_direction_of_traffic_goes_with_each_panel(panel: Panel) -> None:
    text = draft_of(LINE, panel=panel, single_track="traffic")
    assert text.count(" and Line-way rightward") == text.count(" and Line-way leftward") == 2
    way = load_text(text).locking.traffic["Line-way"]
    assert way.blocks == ("Line",) and way.locked is not None
    held = {fact.what.name for fact in facts_in(way.locked)}
    assert held > {"B", "Line", "C"} and len(held) == 7, "the four signals that lead there"
    assert (panel == "buttons") == ("built as one program" in text) and "of relays" not in text


def test_no_direction_turns_as_the_relay_of_a_route_drops() -> None:
    """One program reads all in order; of relays, both could happen within one step."""
    text = draft_of(LINE, panel="buttons", single_track="traffic")
    of_relays = text.replace("built as one program", "built of relays")
    at_once, in_order = (
        proof_of(one, ["traffic-locking"]).verdicts[0].status for one in (of_relays, text)
    )
    assert (at_once, in_order) == ("broken", "proved")


def test_a_draft_that_ran_out_of_time_asks_for_more(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "plan.ixl").write_text(FACING, "utf-8")
    assert main(["draft", str(tmp_path / "plan.ixl"), "--within", "0.001"]) == 3
    assert "Give it more than 0.001 s, or leave out --within." in capsys.readouterr().err


def test_an_oval_has_single_track_too_and_a_junction_has_none() -> None:
    oval = """\
block Ring, Main, Siding, A, B
turnout T1 in A
turnout T2 in B
track Ring | T1 normal | Main | normal T2 | Ring
track T1 reverse | Siding | reverse T2
trains start on Main
"""
    assert "lever Ring-traffic positions left, right\n" in draft_of(oval, single_track="lever")
    with pytest.raises(InputError) as refused:
        draft_of(FACING, single_track="traffic")
    assert [d.code for d in refused.value.diagnostics] == ["CP907"]


@pytest.mark.parametrize("text", ["", 'layout "Bare"\n'])
def test_a_file_without_track_needs_no_signals(text: str) -> None:
    with pytest.raises(InputError) as refused:
        draft_of(text)
    assert [d.code for d in refused.value.diagnostics] == ["CP902"]


def test_time_locking_holds_points_and_signals_for_a_train_that_cannot_stop() -> None:
    """The lock is needed, and its time counts: a train may need up to 20 s. (No signal here lets
    a train out while one stands before the other signal: its check of the time only matters where
    two signals face each other across a siding.)"""
    text = draft_of(FACING, release="time")
    assert text.count(" 30 s runs while ") == 3 and "trains need 20 s to stop\n" in text
    assert " and 2L-time done\n" in text
    assert proof_of(text).grade is Grade.OPERATION
    lock = "      or not all of 2RA-time, 2RB-time, 2L-time done\n"
    assert is_broken(text.replace(lock, ""), LATE)
    assert is_broken(text.replace(" 30 s runs", " 15 s runs"), LATE)
    siding = " ".join(draft_of(SIDING, release="time").split())
    assert "and (4L-time done or T3 normal)" in siding
    own = draft_of(f"{FACING}trains need 8 s to stop\n", release="time")
    assert own.count(" 12 s runs while ") == 3 and own.count("trains need") == 1


def test_a_route_is_released_as_a_whole_or_switch_by_switch() -> None:
    """Of a train into track 2 the first switch is free behind it, or held until it is in."""
    throat = LADDER.replace("T1, T3 in Throat", "T1 in Throat\nturnout T3 in Throat-2")
    throat = throat.replace("Throat, Y1", "Throat, Throat-2, Y1").replace(
        "T1 reverse =", "T1 reverse |"
    )
    by_switch, whole = draft_of(throat), draft_of(throat, release="route")
    first = "  locked while Throat occupied or", "  locked while any of Throat, Throat-2 occupied"
    assert first[0] not in whole and first[1] in whole
    assert whole.count("locked while") == by_switch.count("locked while")


@pytest.mark.parametrize(
    "options",
    [
        ("--panel", "automatic", "--switches", "lever"),
        ("--panel", "automatic", "--single-track", "lever"),
        ("--panel", "buttons", "--switches", "hand"),
        ("--panel", "automatic", "--release", "route"),
        ("--panel", "buttons", "--release", "time"),
        ("--switches", "hand", "--release", "time"),
    ],
)
def test_options_that_contradict_each_other_are_named(
    options: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "plan.ixl").write_text(FACING, "utf-8")
    assert main(["draft", str(tmp_path / "plan.ixl"), *options]) == 2
    assert (
        f"{' '.join(options[:2])} and {' '.join(options[2:])} contradict" in capsys.readouterr().err
    )


UNSAFE = (
    "crossing-proceeds", "opposing-proceeds", "proceed-into-occupied", "proceed-over-open-points",
    "points-move-under-train", "points-move-under-signal",
)  # fmt: skip


LATE = ("approach-locking",)


def is_broken(text: str, only: Iterable[str] = UNSAFE) -> bool:
    return any(verdict.status == "broken" for verdict in proof_of(text, only).verdicts)


@pytest.mark.parametrize(
    ("plan", "dropped"),
    [
        (DIAMOND, ["Diamond, "]),
        (FACING, ["T1 normal and "]),
        (FACING, ["Switch occupied or "]),
        (FACING, [" or not all of 2RA, 2RB, 2L at stop"]),
        (DIAMOND, [" and 4 normal", " and 2 normal"]),
    ],
)
def test_a_draft_without_one_condition_or_lock_is_unsafe(plan: str, dropped: list[str]) -> None:
    """Two signals that exclude each other both check the lever of the other one: either check
    alone is enough, as is usual when one side of a conflict is dropped."""
    _is_unsafe_without(draft_of(plan), dropped)


@pytest.mark.parametrize(
    ("plan", "dropped"),
    [
        (DIAMOND, ["Diamond, "]),
        (DIAMOND, [" and 2R at stop"]),
        (FACING, ["T1 normal and "]),
        (FACING, ["crew promises not to throw points under a train\n"]),
    ],
)
def test_an_automatic_draft_without_one_condition_is_unsafe(plan: str, dropped: list[str]) -> None:
    _is_unsafe_without(draft_of(plan, panel="automatic"), dropped)


def _is_unsafe_without(text: str, dropped: list[str]) -> None:
    for words in dropped:
        assert not is_broken(text)
        assert words in text
        text = text.replace(words, "")
    assert is_broken(text)


def _mutants(text: str) -> Iterator[tuple[str, str]]:
    """The text without one thing that a signal or a lock asks for: which, and the text."""
    for line in text.splitlines():
        word, join = (" when ", " and ") if " when " in line else ("locked while ", " or ")
        head, found, asked = line.partition(word)
        parts = asked.split(join) if found and not line.startswith("#") else []
        for i, part in enumerate(parts):
            names, _, state = part.rpartition(" ")
            for name in names.split(", ") if state == "clear" else [part]:
                left = [n for n in names.split(", ") if n != name]
                kept = [f"{', '.join(left)} clear"] if left and name != part else []
                mutant = head + found + join.join([*parts[:i], *kept, *parts[i + 1 :]])
                yield f"{head.strip()}: {name}", text.replace(line, mutant)


def test_each_condition_and_each_lock_of_a_draft_is_needed() -> None:
    """Dropped one by one, each is found unsafe; none is equivalent on this plan."""
    mutants = [*_mutants(draft_of(FACING))]
    assert len(mutants) == 18
    assert [what for what, text in mutants if not is_broken(text)] == []


def test_where_it_refuses_no_gap_is_found_by_another_search() -> None:
    """By networkx, over the joints alone: from each edge named, no way to points or to another
    edge has a gap with plain track on both sides, or beside the edge."""
    refused = 0
    for seed in range(24):
        text = random_plan(seed, 2)
        try:
            draft_of(text)
        except InputError as error:
            refused += 1
            track = load_text(text).track
            joined: networkx.Graph[str] = networkx.Graph()
            for joint in track.joints:
                ends = [track.pieces[port.piece] for port in (joint.a, joint.b)]
                if joint.kind == "=" or any(p.kind == "bumper" for p in ends):
                    joined.add_edge(ends[0].name, ends[1].name)
            for found in error.diagnostics:
                [(other, _)] = found.others
                assert networkx.has_path(joined, found.span.text, other.text)
    assert refused > 1
