"""The wiring list and the colors of its wires."""

from collections.abc import Sequence
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

import verifier
from tests.sheets.wired_files import TEXTS
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.source import Source
from verifier.plan.wiring.wiring_model import NO_WIRING, Wiring
from verifier.sheets.conductors import Conductor, WireFunction, conductors
from verifier.sheets.ends import open_end
from verifier.sheets.options import USUAL_OPTIONS, SheetOptions
from verifier.sheets.sheet import Sheet
from verifier.sheets.wire_colors import USUAL, assign_colors, available_colors, color_conflicts
from verifier.sheets.wiring import wiring_sheet

END_OF_SIDING = TEXTS["wired-end-of-siding.ixl"]
SOURCE = Source("wired.ixl", "")


def sheet(text: str, colors: str = "") -> Sheet:
    given_ = available_colors(Source("--wire-colors", colors)) if colors else None
    return wiring_sheet(verifier.load_text(text), SheetOptions(colors=given_))


def lines(found: Sheet, title: str) -> list[tuple[str, ...]]:
    return [row for table in found.tables if table.title == title for row in table.rows]


def test_a_district_in_the_order_of_working_through_it() -> None:
    rows = lines(sheet(END_OF_SIDING), "District East-End")
    ways = [(row[2], row[3], row[8]) for row in rows]
    assert ways[:4] == [
        ("fuse of Track-A", "bus East-End cut", "-"),
        ("Track-A through-rail output", "bus East-End through", "-"),
        ("bus East-End cut", "Main cut rail, m1", "D-Main, 2 turns"),
        ("bus East-End through", "Main through rail, m1", "-"),
    ]
    assert [row[1] for row in rows] == [str(n) for n in range(3, len(rows) + 3)]
    (bus, _, feeder, *_) = rows
    assert bus[6:8] == ("14 AWG", "20 ft") and feeder[6:8] == ("22 AWG", "1 ft")
    to_b1 = {row[2] for row in rows if row[3].startswith("B1 input")}
    assert to_b1 == {"D-Main output", "D-Siding output", "D-Switch output", "T1 normal contact",
                     "T1 reverse contact"}  # fmt: skip


def test_what_is_not_in_the_file_is_said() -> None:
    text = " ".join(sheet(END_OF_SIDING).notes)
    assert "36 of 66 wires" in text and "lever 4 (B1, B2)" in text
    assert "nothing of its wiring" in sheet("edge A\nblock B\nbumper C\ntrack A = B = C\n").notes[0]


PARTLY = """
edge West, East
bumper End
block Main feeders m1
block Switch, Single, Spur
turnout T1 in Switch
derail D1 on Spur toward T1
gate G1 on Single
lever 4 positions left, normal, right
track West = Main | normal T1 | Single = East
track End = Spur | reverse T1
detector D-Main current-sensing through m1
signal 2R at Main | T1
  Clear when 4 right and T1 normal and Single clear and G1 seated
  Stop  otherwise
signal 2L at Single | T1
  Clear when 4 left and T1 normal and Main clear and D1 derailing and 2R at stop
  Stop  otherwise
"""


def test_what_the_rules_ask_for_and_no_wire_brings_is_said() -> None:
    """Nothing that a driver needs is left out without a word."""
    two = " ".join(sheet(PARTLY + "driver B1 drives 2R\ndriver B2 drives 2L\n").notes)
    assert (
        "Not listed, since the file does not say how they reach the drivers whose rules test "
        "them: lever 4 (B1, B2); what tells how T1 lies (B1, B2); what tells that Single is clear "
        "(B1); what G1 reports (B1); what D1 reports (B2); what 2R shows (B2)."
    ) in two
    one = " ".join(sheet(PARTLY + "driver B1 drives 2R, 2L\n").notes)
    assert "what 2R shows" not in one and "lever 4 (B1)" in one


def test_wires_between_the_spots_of_one_detector_are_said_not_to_be_listed() -> None:
    spots = PARTLY.replace("Main feeders", "Main 4 ft feeders")
    spots = spots.replace("current-sensing through m1", "spot on Main at {}")
    two, one = (sheet(spots.format(at)) for at in ("1 ft, 2 ft", "1 ft"))
    assert any("between the spots of D-Main." in note for note in two.notes)
    assert not any("spots" in note for note in one.notes)


def test_a_feeder_that_misses_its_detector_is_told_before_it_is_soldered() -> None:
    found = sheet(TEXTS["missed-feeder-broken.ixl"])
    assert any("feeder-undetected" in note for note in found.notes)
    assert not any("feeder-undetected" in note for note in sheet(END_OF_SIDING).notes)


def test_a_feeder_that_the_file_lets_past_its_detector_is_not_called_wrong() -> None:
    text = TEXTS["feeder-beyond-points-mended.ixl"]
    reason = 'Set aside by the file (feeder-undetected), because "the coil still sees enough": '
    notes = sheet(text).notes
    assert [note.startswith(reason) for note in notes].count(True) == 1
    assert not any("Repair first" in note for note in notes)
    bare = sheet(text[: text.index("waive ")]).notes
    assert [note.startswith("Repair first (feeder-undetected): ") for note in bare].count(True) == 1


def test_feeders_whose_places_are_given_are_listed_with_them() -> None:
    def places(text: str) -> list[tuple[str, ...]]:
        return [row[1:] for table in sheet(text).tables if "feeders are" in table.title
                for row in table.rows]  # fmt: skip

    assert places(TEXTS["feeder-beyond-points-mended.ixl"]) == [
        ("t1", "Throat", "600 mm before T1"), ("t2", "Throat", "900 mm beyond normal T1"),
        ("t3", "Throat", "400 mm beyond reverse T1"), ("t4", "Throat", "600 mm beyond reverse T3"),
    ]  # fmt: skip
    plain = PARTLY.replace("Main feeders m1", "Main 4 ft feeders m1 at 1 ft")
    assert places(plain) == [("m1", "Main", "1 ft from the left end of Main")]
    assert places(PARTLY) == []


def test_contacts_at_arms_and_leads_that_stay_open_are_said() -> None:
    arms = "driver B1 drives 2R, 2L\n  semaphore 2R, 2L"
    contacts = "the contacts at the arms of 2R and 2L, by which their boards notice"
    watched = " ".join(sheet(f"{PARTLY}{arms}\n  when lamp out shows red\n").notes)
    assert contacts in watched and "lead" not in watched
    assert "at the arm" not in " ".join(sheet(f"{PARTLY}{arms}\n").notes)
    one = " ".join(sheet(
        f"{PARTLY}driver B1 drives 2R, 2L\n  semaphore 2R two-color 2L\n  when lamp out shows red\n"
    ).notes)  # fmt: skip
    assert "the contact at the arm of 2R, by which its board notices" in one
    text = f"{PARTLY}driver B1 drives 2R, 2L\n  three-color 2R\n  two-color 2L\n"
    assert "Leave the blue lead of 2R open." in sheet(text).notes
    red = text.replace(
        "  Clear when 4 left and T1 normal and Main clear and D1 derailing",
        "  Stop when D1 derailing",
    )
    assert "Leave the green lead of 2L open." in sheet(red).notes
    # Lunar is red, green and blue.
    lunar = text.replace("  Clear when 4 right", "  Restricting when 4 right")
    assert not any("blue" in note for note in sheet(lunar).notes)


def test_a_wire_of_a_row_or_an_arm_has_the_name_of_the_failure_table_too() -> None:
    rows = (
        f"{PARTLY}driver B1 drives 2R\n  position-light 2R\ndriver B2 drives 2L\n  semaphore 2L\n"
    )
    found = sheet(rows)
    ends = [row[3] for table in found.tables for row in table.rows if "lamp" in row[4:5]]
    assert ends == [
        "2R vertical (green)",
        "2R center",
        "2R horizontal (red)",
        "2L vertical (green)",
    ]


def test_a_wire_that_joins_two_supplies_is_not_called_kept_apart() -> None:
    found = sheet(TEXTS["two-supplies-broken.ixl"])
    (colors,) = [table for table in found.tables if table.title == "Colors"]
    assert any(note.startswith("NOT KEPT APART") for note in colors.notes)
    mended = sheet(TEXTS["two-supplies-mended.ixl"])
    (colors,) = [table for table in mended.tables if table.title == "Colors"]
    assert [note[:8] for note in colors.notes] == ["Checked:"]


# ------------------------------------------------------------------ colors


def functions(count: int) -> list[WireFunction]:
    return [WireFunction("power", (f"Bus-{i}",)) for i in range(count)]


@given(
    st.integers(min_value=0, max_value=60),
    st.none() | st.lists(st.sampled_from([*USUAL, "pink", "sky blue"]), unique=True, min_size=1),
)
def test_every_function_has_a_color_of_its_own_or_it_is_said_that_they_run_out(
    count: int, colors: list[str] | None
) -> None:
    at = available_colors(Source("--wire-colors", ",".join(colors))) if colors else None
    try:
        found = assign_colors(functions(count), at, SOURCE)
    except InputError as error:
        assert [d.code for d in error.diagnostics] == ["CP802"]
        assert count > len(colors or USUAL)
        return
    assert list(found) == functions(count)
    assert len(set(found.values())) == count
    plain = set(colors or USUAL)
    for color in found.values():
        base, _, stripe = color.partition("/")
        assert base in plain and (not stripe or stripe in plain)
        assert {base, stripe} != {"green", "yellow"}  # the protective conductor
    pairs = [frozenset(c.split("/")) for c in found.values() if "/" in c]
    assert len(set(pairs)) == len(pairs)  # never red/white beside white/red


@pytest.mark.parametrize(
    ("text", "code", "where"),
    [
        ("red, black, red", "CP801", "red"),
        ("grey, gray", "CP801", "gray"),
        (" , ", "CP801", " , "),
        ("red\nblack\n\nred\n", "CP801", "red"),
        ("red/white; red; White / Red", "CP801", "White / Red"),
        ("red, =HYPERLINK(1)", "CP801", "=HYPERLINK(1)"),
        ("red, x1", "CP801", "x1"),
        ("yellow / green, red", "CP801", "yellow / green"),
    ],
)
def test_lists_of_colors_that_are_none(text: str, code: str, where: str) -> None:
    with pytest.raises(InputError) as caught:
        available_colors(Source("colors.txt", text))
    (found,) = caught.value.diagnostics
    assert (found.code, found.span.text) == (code, where)


def test_striped_wire_at_hand_is_not_made_up_once_more() -> None:
    at = available_colors(Source("--wire-colors", "red, white, white/red, black"))
    found = list(assign_colors(functions(6), at, SOURCE).values())
    assert sorted(found) == ["black", "red", "red/black", "white", "white/black", "white/red"]


def test_colors_run_out_in_words_of_the_trade() -> None:
    with pytest.raises(InputError) as caught:
        sheet(END_OF_SIDING, "red, black, white")
    (found,) = caught.value.diagnostics
    assert found.code == "CP802" and found.span.text == "red, black, white"
    assert found.message == "9 functions need a color each, but only 6 can be told apart"
    assert sheet(END_OF_SIDING, "red, black, white, blue, green").tables


SUPPLIED = verifier.load_text(
    "edge A\nbumper C\nblock B\ntrack A = B = C\nsupply S1\nsupply S2\nsupply S3\n"
    "common return S1, S2\n"
).wiring


def wires(*joins: Sequence[str]) -> list[Conductor]:
    ends = open_end("a"), open_end("b")
    return [
        Conductor(f"w{i}", *ends, WireFunction("lamp", (str(i),)), "x", "y", frozenset(some))
        for i, some in enumerate(joins)
    ]


@pytest.mark.parametrize(
    ("one", "other", "colors", "wrong"),
    [
        (("S1",), ("S3",), ("red", "red"), 2),  # two functions, and two supplies
        (("S1",), ("S2",), ("red", "red"), 1),  # a common return: two functions only
        (("S1",), ("S3",), ("red", "blue"), 0),
        (("S1", "S3"), ("S1",), ("red", "blue"), 1),  # one wire from supply to supply
    ],
)
def test_the_check_finds_what_is_mixed(
    one: Sequence[str], other: Sequence[str], colors: Sequence[str], wrong: int
) -> None:
    two = wires(one, other)
    by_function = {wire.function: c for wire, c in zip(two, colors, strict=True)}
    assert len(color_conflicts(two, by_function, SUPPLIED)) == wrong


@given(st.lists(st.tuples(st.sets(st.sampled_from(["S1", "S2", "S3"]), max_size=2),
                          st.sampled_from(["red", "blue"])), max_size=6))  # fmt: skip
def test_the_check_agrees_with_looking_at_every_two_wires(
    some: list[tuple[set[str], str]],
) -> None:
    made = wires(*(sorted(joins) for joins, _ in some))
    colors = {wire.function: c for wire, (_, c) in zip(made, some, strict=True)}
    pairs = list(combinations(made, 2))
    apart = {"S1": 0, "S2": 0, "S3": 1}
    bad = any(len({apart[s] for s in wire.joins}) > 1 for wire in made)
    for one, other in pairs:
        if colors[one.function] == colors[other.function]:
            bad = True  # two functions
    assert bool(color_conflicts(made, colors, SUPPLIED)) is bad


def test_no_wires_without_wiring() -> None:
    assert isinstance(NO_WIRING, Wiring)
    plan = verifier.load_text("edge A\nblock B\nbumper C\ntrack A = B = C\n")
    assert conductors(plan) == () and wiring_sheet(plan, USUAL_OPTIONS).tables == ()
