"""What wiring statements say of rails that cannot be, and what is said about it: CP6xx."""

import pytest

from tests.messages.expecting import Change, expect, wired


@pytest.mark.parametrize(
    ("change", "code", "underlined", "message", "hint", "more"),
    [
        (
            ("feeders s1", "feeders m1"),
            "CP608",
            "m1",
            "feeder `m1` goes to two blocks",
            (
                "Give each block its own feeder: a wire that feeds two blocks bridges "
                "the gap between them."
            ),
            ("it goes to another block here",),
        ),
        (
            ("block Switch, Single", "block Switch, Single feeders w1"),
            "CP608",
            "feeders w1",
            "these feeders would go to 2 blocks at once",
            "Say which they feed, `feeders m1, m2 on Switch`, or give each block a statement.",
            (),
        ),
    ],
)
def test_feeders_of_two_blocks(
    change: Change, code: str, underlined: str, message: str, hint: str, more: tuple[str, ...]
) -> None:
    expect(
        wired(change),
        code=code,
        underlined=underlined,
        message=message,
        hint=hint,
        more=more,
    )


@pytest.mark.parametrize(
    ("change", "code", "underlined", "message", "hint", "more"),
    [
        (
            "detector D1 spot on Main at 0 mm, 2401 mm",
            "CP609",
            "2401 mm",
            "this spot is beyond the end of block `Main`",
            "Measure from the left end of the block, as the `track` line draws it.",
            ("its length is given here",),
        ),
        (
            "detector D1 spot on Main at 95 in",
            "CP609",
            "95 in",
            "this spot is beyond the end of block `Main`",
            "Measure from the left end of the block, as the `track` line draws it.",
            ("its length is given here",),
        ),
        (
            "detector D1 spot on Single at 0 mm",
            "CP609",
            "at 0 mm",
            "block `Single` has a spot detector but no length",
            (
                "Write `block Single 2400 mm`. Where trains can stand without covering a "
                "spot depends on it."
            ),
            ("the block is declared here",),
        ),
    ],
)
def test_spots(
    change: Change, code: str, underlined: str, message: str, hint: str, more: tuple[str, ...]
) -> None:
    expect(
        wired(change),
        code=code,
        underlined=underlined,
        message=message,
        hint=hint,
        more=more,
    )


@pytest.mark.parametrize(
    ("change", "code", "underlined", "message", "hint", "more"),
    [
        (
            ("block Main 2400 mm in North", "block Main 2400 mm in North, North"),
            "CP610",
            "North",
            "block `Main` is in district `North` twice",
            "Leave out one of the two.",
            ("the first one is here",),
        ),
        (
            "district South fed by Bus-1",
            "CP617",
            "Bus-1",
            "supply `Bus-1` is not track power",
            "Name the supply that feeds the rails. If this is the one, write `supply "
            "Bus-1 track power …`.",
            ("it is declared here",),
        ),
        (
            ("block Main 2400 mm in North", "block Main 2400 mm in North in South"),
            "CP104",
            "in",
            "`in` was not expected here",
            "Name one district: a block takes its track power from one.",
            (),
        ),
    ],
)
def test_districts(
    change: Change, code: str, underlined: str, message: str, hint: str, more: tuple[str, ...]
) -> None:
    expect(
        wired(change),
        code=code,
        underlined=underlined,
        message=message,
        hint=hint,
        more=more,
    )


@pytest.mark.parametrize(
    ("change", "code", "underlined", "message", "hint", "more"),
    [
        (
            "booster X fed by X",
            "CP616",
            "booster X fed by X",
            "booster `X` feeds itself",
            ("Name the `supply` that feeds the first of them."),
            (),
        ),
        (
            "booster X fed by Y\nbooster Y fed by Z\nbooster Z fed by X\nbooster W fed by X",
            "CP616",
            "booster X fed by Y",
            "booster `X` feeds itself, by way of `Y` and `Z`",
            ("Name the `supply` that feeds the first of them."),
            ("and on from here", "and on from here"),
        ),
    ],
)
def test_circles(
    change: Change, code: str, underlined: str, message: str, hint: str, more: tuple[str, ...]
) -> None:
    expect(
        wired(change),
        code=code,
        underlined=underlined,
        message=message,
        hint=hint,
        more=more,
    )


@pytest.mark.parametrize(
    ("change", "code", "underlined", "message", "hint", "more"),
    [
        (
            "detector D1 spot on Team at 0 mm",
            "CP615",
            "Team",
            "block `Team` is undetected but has this detector",
            "Remove the word `undetected` from the block, or the detector from the file.",
            ("the block is declared here",),
        ),
        (
            (
                "block Team undetected",
                "block Team undetected feeders t1\ndetector D1 current-sensing through t1",
            ),
            "CP615",
            "D1",
            "block `Team` is undetected but has this detector",
            "Remove the word `undetected` from the block, or the detector from the file.",
            ("the block is declared here",),
        ),
    ],
)
def test_undetected(
    change: Change, code: str, underlined: str, message: str, hint: str, more: tuple[str, ...]
) -> None:
    expect(
        wired(change),
        code=code,
        underlined=underlined,
        message=message,
        hint=hint,
        more=more,
    )
