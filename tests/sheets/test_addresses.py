"""Addresses and numbers: what a file says, what goes without saying, what is proved of them."""

import pytest

import verifier
from tests.drawing.samples import END_OF_SIDING
from verifier.sheets.addresses import address_sheet
from verifier.verdicts.report import Report

GIVEN = "address 12 is 4L\naddress 13 is 4RA\naddress 1 is 4RB\n"


def report(text: str) -> Report:
    return verifier.prove(
        verifier.load_text(END_OF_SIDING + text, "a.ixl"), only=["stop-number", "address-shared"]
    )


def broken(text: str) -> set[tuple[str, tuple[str, ...]]]:
    return {
        (v.obligation.property, v.obligation.subjects)
        for v in report(text).verdicts
        if v.status == "broken"
    }


def test_numbers_go_from_stop_upward_of_their_own_accord() -> None:
    [table] = address_sheet(verifier.load_text(END_OF_SIDING + GIVEN, "a.ixl")).tables
    assert [row[:4] for row in table.rows] == [
        ("1", "4RB", "Stop", "0"), ("1", "4RB", "Clear", "5"),
        ("12", "4L", "Stop", "0"), ("12", "4L", "Diverging-Clear", "3"), ("12", "4L", "Clear", "5"),
        ("13", "4RA", "Stop", "0"), ("13", "4RA", "Clear", "5"),
    ]  # fmt: skip
    assert table.rows[0][4:] == ("81 71 00", "F0")
    assert broken(GIVEN) == set()


def test_heads_send_their_colors() -> None:
    text = "address 20 is 4L.upper\naddress 21 is 4L.lower\nnumber 7 is green\n"
    [table] = address_sheet(verifier.load_text(END_OF_SIDING + text, "a.ixl")).tables
    assert [row[1:4] for row in table.rows] == [
        ("4L.upper", "red", "0"), ("4L.upper", "green", "7"),
        ("4L.lower", "red", "0"), ("4L.lower", "green", "7"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("number 0 is Clear\nnumber 1 is Stop\nnumber 2 is Diverging-Clear\n",
         {("stop-number", ("Clear",))}),
        ("number 3 is Stop\nnumber 1 is Clear\nnumber 2 is Diverging-Clear\n", set()),
    ],
)  # fmt: skip
def test_0_is_for_absolute_stop(text: str, found: set[tuple[str, tuple[str, ...]]]) -> None:
    assert broken(GIVEN + text) == found


def test_an_address_for_two_is_proved_only_where_both_always_show_the_same() -> None:
    both = "address 13 is 4RA\naddress 13 is 4RB\n"
    assert broken(both) == {("address-shared", ("4RA", "4RB"))}
    assert broken("address 13 is 4RA\naddress 14 is 4RB\n") == set()
    same = (
        'prove "x" possible T1 lies normal\nassume "one lies" always 4RA at stop and 4RB at stop\n'
    )
    assert broken(both + same) == set()
    [shown] = [v for v in report(both).verdicts if v.obligation.property == "address-shared"]
    assert shown.finding is not None and "share address 13" in shown.obligation.trouble
