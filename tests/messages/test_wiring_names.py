"""Names in wiring statements: unknown, of another kind, used twice."""

import pytest

from tests.messages.expecting import Change, expect, wired


@pytest.mark.parametrize(
    ("change", "code", "underlined", "message", "hint", "more"),
    [
        (
            "district South fed by Track-B",
            "CP201",
            "Track-B",
            "no supply is called `Track-B`",
            "Did you mean `Track-A`?",
            (),
        ),
        (
            "district South fed by Boost-9",
            "CP201",
            "Boost-9",
            "no supply is called `Boost-9`",
            "If the name is right, declare it with a `supply` statement.",
            (),
        ),
        (
            "booster X fed by Trck-A",
            "CP201",
            "Trck-A",
            "no supply is called `Trck-A`",
            "Did you mean `Track-A`?",
            (),
        ),
        (
            "common return Bus-1, Bus-2",
            "CP201",
            "Bus-2",
            "no supply is called `Bus-2`",
            "Did you mean `Bus-1`?",
            (),
        ),
        (
            ("in North\n  feeders m1", "in Norht\n  feeders m1"),
            "CP201",
            "Norht",
            "no district is called `Norht`",
            "Did you mean `North`?",
            (),
        ),
        (
            "detector D1 current-sensing through s2",
            "CP201",
            "s2",
            "no feeder is called `s2`",
            "If the name is right, add it to the `feeders` of its block.",
            (),
        ),
        (
            "detector D1 current-sensing through q77",
            "CP201",
            "q77",
            "no feeder is called `q77`",
            "If the name is right, add it to the `feeders` of its block.",
            (),
        ),
        (
            "detector D1 spot on Mian at 0 mm",
            "CP201",
            "Mian",
            "no block is called `Mian`",
            "Did you mean `Main`?",
            (),
        ),
        (
            "detector D1 current-sensing through s1 powered by Bus-9",
            "CP201",
            "Bus-9",
            "no supply is called `Bus-9`",
            "Did you mean `Bus-1`?",
            (),
        ),
        (
            "driver B2 drives 4R powered by Buss-1",
            "CP201",
            "Buss-1",
            "no supply is called `Buss-1`",
            "Did you mean `Bus-1`?",
            (),
        ),
        (
            "driver B2 drives 4R reads D-Mian",
            "CP201",
            "D-Mian",
            "nothing is called `D-Mian`",
            "Did you mean `D-Main`?",
            (),
        ),
        (
            "button Hold driver B2 drives 4R reads Hold contacts",
            "CP203",
            "Hold",
            "`Hold` is a button, whose contacts a board reads by its name alone",
            "Write `Hold` without `contacts`.",
            ("it is declared here",),
        ),
        (
            "driver B2 drives 4R two-color 4R, 4R",
            "CP606",
            "4R",
            "head `4R` is listed twice",
            "Remove one of them.",
            ("the first one is here",),
        ),
        (
            "  motor slow\ndriver B2 drives 4R throws T1, T1",
            "CP606",
            "T1",
            "machine `T1` is listed twice",
            "Remove one of them.",
            ("the first one is here",),
        ),
        (
            "driver B2 drives 4R reads T2 contacts",
            "CP201",
            "T2",
            "no turnout is called `T2`",
            "If the name is right, declare it with a `turnout` statement.",
            (),
        ),
        (
            "driver B2 drives 4X",
            "CP201",
            "4X",
            "no signal is called `4X`",
            "If the name is right, declare it with a `signal` statement.",
            (),
        ),
        (
            "driver B2 drives 4L.uper",
            "CP407",
            "4L.uper",
            "no head is called `4L.uper`",
            "Did you mean `4L.upper`?",
            (),
        ),
        (
            "driver B2 drives 4L",
            "CP407",
            "4L",
            "no head is called `4L`",
            "The heads of signal `4L` are `4L.upper` and `4L.lower`.",
            (),
        ),
        (
            "driver B2 drives 4R.upper",
            "CP407",
            "4R.upper",
            "no head is called `4R.upper`",
            "Signal `4R` has one head, called `4R`.",
            (),
        ),
        (
            "  thrown by T2-lever",
            "CP201",
            "T2-lever",
            "no lever is called `T2-lever`",
            "Did you mean `T1-lever`?",
            (),
        ),
        (
            "  powered by Bus-7",
            "CP201",
            "Bus-7",
            "no supply is called `Bus-7`",
            "Did you mean `Bus-1`?",
            (),
        ),
    ],
)
def test_names_unknown(
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
            "district South fed by North",
            "CP203",
            "North",
            "`North` is a district, but this must be a supply",
            "",
            ("it is declared here",),
        ),
        (
            "detector D1 current-sensing through Main",
            "CP203",
            "Main",
            "`Main` is a block, but this must be a feeder",
            "",
            ("it is declared here",),
        ),
        (
            "detector D1 spot on T1 at 0 mm",
            "CP203",
            "T1",
            "`T1` is a turnout, but this must be a block",
            "It is in block `Switch`.",
            ("it is declared here",),
        ),
        (
            "driver B2 drives Main",
            "CP203",
            "Main",
            "`Main` is a block, but this must be a signal",
            "",
            ("it is declared here",),
        ),
        (
            "driver B2 drives 4R reads Main",
            "CP203",
            "Main",
            "a driver cannot read block `Main` itself",
            "Name what the input is wired to: the block's detector.",
            ("it is declared here",),
        ),
        (
            "driver B2 drives 4R reads T1",
            "CP203",
            "T1",
            "a driver cannot read turnout `T1` itself",
            "Name what the input is wired to: `T1 contacts`.",
            ("it is declared here",),
        ),
        (
            "driver B2 drives 4R reads D-Main contacts",
            "CP203",
            "D-Main",
            "`D-Main` is a detector, but this must be a turnout",
            "",
            ("it is declared here",),
        ),
        (
            "driver B2 drives 4R reads m1",
            "CP203",
            "m1",
            "`m1` is a feeder, but this must be a detector",
            "",
            ("it is declared here",),
        ),
        (
            "  thrown by Main",
            "CP203",
            "Main",
            "`Main` is a block, but this must be a lever",
            "",
            ("it is declared here",),
        ),
        (
            "common return North, Bus-1",
            "CP203",
            "North",
            "`North` is a district, but this must be a supply",
            "",
            ("it is declared here",),
        ),
        (
            "driver B2 drives 4R powered by B1",
            "CP203",
            "B1",
            "`B1` is a driver, but this must be a supply",
            "",
            ("it is declared here",),
        ),
    ],
)
def test_names_of_another_kind(
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
            "supply Bus-1",
            "CP202",
            "Bus-1",
            "`Bus-1` is declared twice",
            "Give each thing a name of its own, even where the kinds differ.",
            ("it is already a supply here",),
        ),
        (
            "detector North current-sensing through s1",
            "CP202",
            "North",
            "`North` is declared twice",
            "Give each thing a name of its own, even where the kinds differ.",
            ("it is already a district here",),
        ),
        (
            "driver D-Main drives 4R",
            "CP202",
            "D-Main",
            "`D-Main` is declared twice",
            "Give each thing a name of its own, even where the kinds differ.",
            ("it is already a detector here",),
        ),
        (
            "supply m1",
            "CP202",
            "m1",
            "`m1` is declared twice",
            "Give each thing a name of its own, even where the kinds differ.",
            ("it is already a feeder here",),
        ),
        (
            ("feeders s1", "feeders Main"),
            "CP202",
            "Main",
            "`Main` is declared twice",
            "Give each thing a name of its own, even where the kinds differ.",
            ("it is already a block here",),
        ),
        (
            "detector D.1 spot on Main at 0 mm",
            "CP208",
            "D.1",
            "the name `D.1` has a dot in it",
            "Write a hyphen. Only heads have a dot, between the signal's name and their "
            "own: `4L.upper`.",
            (),
        ),
    ],
)
def test_names_used_twice(
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
            "condition X is D-Main clear",
            "CP204",
            "D-Main clear",
            "`D-Main` is a detector, and a detector is never `clear`",
            "Use the block that it watches: `Main clear`.",
            (),
        ),
        (
            "condition X is m1",
            "CP204",
            "m1",
            "`m1` is a feeder, but its state is missing",
            "A condition cannot use a feeder. Use its block: `Main clear`.",
            (),
        ),
        (
            "condition X is B1 occupied",
            "CP204",
            "B1 occupied",
            "`B1` is a driver, and a driver is never `occupied`",
            "A condition cannot use a driver. Use its signals and heads.",
            (),
        ),
    ],
)
def test_what_may_be_asked(
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
