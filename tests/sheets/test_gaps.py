"""The gap list: where and why, and the gaps that are asked for."""

import pytest

import verifier
from tests.junction_files import spec
from verifier.plan.model import Plan
from verifier.sheets.gaps import gap_sheet, wanted_gaps
from verifier.sheets.reversing_loops import reversing_section_joints, round_trip, uncut_loops


def rows(plan: Plan) -> list[tuple[str, ...]]:
    return list(gap_sheet(plan).tables[0].rows)


def test_each_gap_with_place_and_reason() -> None:
    plan = verifier.load(spec("wired-end-of-siding"))
    assert rows(plan) == [
        ("[ ]", "gap 1", "one rail", "Main and Switch", "the normal leg of T1",
         "11 in from the points of T1",
         "block boundary; signal 4RA stands 1 in before it; fouling point of T1 at 10 in"),
        ("[ ]", "gap 2", "one rail", "Switch and Single", "the points end of T1",
         "10 ft from the right end of Single",
         "block boundary; signal 4L stands 1 in before it"),
        ("[ ]", "gap 3", "one rail", "Siding and Switch", "the reverse leg of T1",
         "11 in from the points of T1",
         "block boundary; signal 4RB stands 1 in before it; fouling point of T1 at 10 in"),
    ]  # fmt: skip
    assert not list(wanted_gaps(plan))


def test_what_is_not_in_the_file_is_said_not_to_be() -> None:
    plan = verifier.load(spec("balloon-loop"))
    assert {row[5] for row in rows(plan)} == {"not given"}
    assert all("end of a section for turning trains" in row[6] for row in rows(plan)[1:])


def test_a_named_gap_keeps_its_name_and_numbers_pass_it_over() -> None:
    plan = verifier.load_text(
        "edge West, East\nblock A, B, C\ntrack West = A |(g1) B | C || East\n"
        "signal 2 at A |(g1) B\n  Clear when B clear\n  Stop otherwise\n"
    )
    assert [row[1:3] for row in rows(plan)] == [
        ("g1", "one rail"), ("gap 1", "one rail"), ("gap 2", "both rails"),
    ]  # fmt: skip
    assert rows(plan)[2][6] == "end of the plan"


@pytest.mark.parametrize(
    ("file", "asked"),
    [
        ("missed-feeder-broken", set()),
        ("gap-inside-broken", {"fouling-undetected"}),
        ("gap-inside-mended", set()),
        ("wired-passing-siding", {"supplies-joined"}),
        ("wye", {"rail-meets-rail"}),
        ("balloon-loop", set()),
    ],
)
def test_gaps_that_are_asked_for(file: str, asked: set[str]) -> None:
    plan = verifier.load(spec(file))
    assert {wanted.by for wanted in wanted_gaps(plan)} == asked


def test_a_gap_that_is_not_there_is_asked_for() -> None:
    plan = verifier.load_text(
        "edge West, East\nblock A feeders a1\nblock B feeders b1\ntrack West = A = B = East\n"
        "detector D1 current-sensing through a1\n"
    )
    (wanted,) = wanted_gaps(plan)
    assert (wanted.where, wanted.by) == ("A and B", "blocks-joined")


def test_two_supplies_with_a_common_return_may_meet_at_a_gap_in_one_rail() -> None:
    text = spec("wired-passing-siding").read_text("utf-8")
    joined = text.replace("district West", "common return Track-A, Boost-East\ndistrict West")
    assert not list(wanted_gaps(verifier.load_text(joined)))


# ------------------------------------------------------------------ track that turns around


def loop(one: str, other: str) -> Plan:
    """A balloon loop, with its joints to the turnout as given."""
    return verifier.load_text(f"""
    edge Landing
    block Single, Switch, Loop
    turnout T1 in Switch
    track Landing = Single | T1 normal {one}(g1) Loop {other}(g2) reverse T1
    signal 2R at Single | T1
      Stop otherwise
    signal 2L at Loop {one}(g1) normal T1
      Stop otherwise
    signal 2X at Loop {other}(g2) reverse T1
      Stop otherwise
    """)


@pytest.mark.parametrize(
    ("one", "other", "found"),
    [("|", "|", [False]), ("||", "|", [True]), ("|", "||", [True]), ("||", "||", [])],
)
def test_practice_balloon_loop_is_cut_in_both_rails_at_both_ends(
    one: str, other: str, found: list[bool]
) -> None:
    """Common practice, no source: a section for turning trains is cut in both rails at both
    ends, since one rail runs into the other."""
    track = loop(one, other).track
    assert [turn.cut for turn in uncut_loops(track)] == found
    ends = 0 if found == [False] else 1 if found else 2
    assert len(reversing_section_joints(track)) == ends


def test_a_gap_in_both_rails_elsewhere_is_no_end_of_a_section_for_turning() -> None:
    text = spec("balloon-loop").read_text("utf-8")
    apart = text.replace("Single | T1", "Single || T1")
    assert apart != text
    plan = verifier.load_text(apart)
    names = [row[1] for row in rows(plan) if "turning trains" in row[6]]
    assert names == ["gap 2", "gap 3"]


def test_the_way_round_is_named() -> None:
    plan = verifier.load(spec("wye"))
    (turn,) = uncut_loops(plan.track)
    assert set(round_trip(turn.joint, plan.track)) == {
        "T1", "T3", "T5", "Main-Leg", "West-Leg", "East-Leg",
    }  # fmt: skip


def test_practice_wye_with_one_leg_cut_off_at_both_ends() -> None:
    """Common practice, no source."""
    text = spec("wye").read_text("utf-8")
    cut = text.replace("| West-Leg |", "|| West-Leg ||")
    assert cut != text
    plan = verifier.load_text(cut)
    assert not uncut_loops(plan.track) and len(reversing_section_joints(plan.track)) == 2
    once = verifier.load_text(text.replace("| West-Leg |", "|| West-Leg |"))
    assert [turn.cut for turn in uncut_loops(once.track)] == [True]


def test_practice_what_never_turns_around_needs_one_rail_only() -> None:
    """Common practice, no source ("gap one rail only"): an oval, a passing siding, a crossover,
    a diamond and a double slip bring no track back turned around."""
    names = ("oval-five-blocks", "passing-siding", "crossover-mended", "diamond-mended",
             "double-slip", "yard-throat", "figure-eight")  # fmt: skip
    for name in names:
        assert not uncut_loops(verifier.load(spec(name)).track), name
