"""What wiring statements say that cannot be, and what is said about it: CP6xx."""

import pytest

from tests.messages.expecting import Change, expect, wired


@pytest.mark.parametrize(
    ("change", "code", "underlined", "message", "hint", "more"),
    [
        (
            "trains 1 m to 2 m\ntrains 1 m to 2 m",
            "CP606",
            "trains 1 m to 2 m",
            "`trains` is given twice",
            "It goes for the whole layout: leave one of them out.",
            ("the first time is here",),
        ),
        (
            "scale HO\nscale 1:87.1",
            "CP606",
            "scale 1:87.1",
            "the scale is given twice",
            "It goes for the whole layout: leave one of them out.",
            ("the first time is here",),
        ),
        (
            "supply X 12 V 15 V",
            "CP606",
            "15 V",
            "supply `X` has two voltages",
            "Leave one of them out.",
            ("the first one is here",),
        ),
        (
            "supply X fuse 2 A fuse 3 A",
            "CP606",
            "fuse 3 A",
            "`fuse` is given twice",
            "Leave one of them out, or put all of it into one.",
            ("the first time is here",),
        ),
        (
            "booster X fed by Track-A fed by Track-A",
            "CP606",
            "fed by Track-A",
            "`fed by` is given twice",
            "Leave one of them out, or put all of it into one.",
            ("the first time is here",),
        ),
        (
            "  contact normal\n  contact reverse",
            "CP606",
            "contact reverse",
            "`contacts` is given twice",
            "`contacts normal, reverse` says that there are both.",
            ("the first time is here",),
        ),
        (
            "  contacts normal, normal",
            "CP606",
            "normal",
            "leg `normal` is listed twice",
            "Leave one of them out.",
            ("the first time is here",),
        ),
        (
            "  gap normal 200 mm, normal 300 mm",
            "CP606",
            "normal",
            "leg `normal` is listed twice",
            "Leave one of them out.",
            ("the first time is here",),
        ),
        (
            "detector D1 current-sensing through s1 through s1",
            "CP606",
            "through s1",
            "`through` is given twice",
            "Leave one of them out, or put all of it into one.",
            ("the first time is here",),
        ),
        (
            "detector D1 current-sensing through s1, s1",
            "CP606",
            "s1",
            "feeder `s1` is listed twice",
            "A feeder that passes through more than once is given with `turns 2`.",
            ("the first time is here",),
        ),
        (
            "driver B2 drives 4R reads D-Main, D-Main",
            "CP606",
            "D-Main",
            "input `D-Main` is listed twice",
            "Leave one of them out.",
            ("the first time is here",),
        ),
        (
            "driver B2 drives 4R when input missing shows red when input missing shows dark",
            "CP606",
            "when input missing shows dark",
            "`when input missing` is given twice",
            "Leave one of them out, or put all of it into one.",
            ("the first time is here",),
        ),
        (
            "trains 1 m to 2 m, detectable throughout, detectable at both ends",
            "CP606",
            "detectable at both ends",
            "`detectable` is given twice",
            "Leave one of them out, or put all of it into one.",
            ("the first time is here",),
        ),
    ],
)
def test_said_twice(
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
            "detector D1 current-sensing",
            "CP607",
            "D1",
            "detector `D1` does not say through which feeders it looks",
            "Write it like `detector D1 current-sensing through m1, m2`.",
            (),
        ),
        (
            "detector D1 spot at 0 mm",
            "CP607",
            "D1",
            "detector `D1` does not say on which block it looks",
            "Write it like `detector D1 spot on Main at 0 mm, 1200 mm`.",
            (),
        ),
        (
            "detector D1 spot on Main",
            "CP607",
            "D1",
            "detector `D1` does not say where on its block it looks",
            "Write it like `detector D1 spot on Main at 0 mm, 1200 mm`.",
            (),
        ),
        (
            "booster X 15 V",
            "CP607",
            "X",
            "nothing says what feeds booster `X`",
            "Name the supply: `booster X fed by Track-A`. What is fed by no other is a `supply`.",
            (),
        ),
        (
            "common return Bus-1",
            "CP607",
            "common return Bus-1",
            "a common return joins at least two supplies",
            "Name the others too: `common return Bus-1, Bus-2`.",
            (),
        ),
        (
            "common return Bus-1, Bus-1",
            "CP607",
            "common return Bus-1, Bus-1",
            "a common return joins at least two supplies",
            "Name the others too: `common return Bus-1, Bus-2`.",
            (),
        ),
    ],
)
def test_left_out(
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
            ("feeders s1", "feeders m1"),
            "CP608",
            "m1",
            "feeder `m1` goes to two blocks",
            (
                "A wire that feeds two blocks joins them to one: give each block a feeder of its "
                "own, and each feeder a name of its own."
            ),
            ("it goes to another block here",),
        ),
        (
            ("block Switch, Single", "block Switch, Single feeders w1"),
            "CP608",
            "feeders w1",
            "these feeders would go to 2 blocks at once",
            "Give each block a statement and feeders of its own.",
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
            "Places are measured from the left end of the block, as the `track` line draws it.",
            ("its length is given here",),
        ),
        (
            "detector D1 spot on Main at 95 in",
            "CP609",
            "95 in",
            "this spot is beyond the end of block `Main`",
            "Places are measured from the left end of the block, as the `track` line draws it.",
            ("its length is given here",),
        ),
        (
            "detector D1 spot on Single at 0 mm",
            "CP609",
            "at 0 mm",
            "how long is block `Single`?",
            (
                "Where trains may stand without covering a spot depends on it: write `block "
                "Single 2400 mm`."
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
            "block `Main` is fed by two districts",
            (
                "Two supplies on one rail feed into each other. Cut a gap and make two blocks of "
                "it, or leave one of the districts out."
            ),
            ("the first one is here",),
        ),
        (
            "district South fed by Bus-1",
            "CP617",
            "Bus-1",
            "supply `Bus-1` gives no track power",
            "If it feeds the rails, say so: `supply Bus-1 track power …`.",
            ("it is declared here",),
        ),
        (
            ("block Main 2400 mm in North", "block Main 2400 mm in North in South"),
            "CP104",
            "in",
            "`in` was not expected here",
            "A block takes its track power from one district.",
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
            "booster `X` is fed by itself",
            (
                "Follow the power from the wall: the first of them is a `supply` and is fed by "
                "none of the others."
            ),
            (),
        ),
        (
            "booster X fed by Y\nbooster Y fed by Z\nbooster Z fed by X\nbooster W fed by X",
            "CP616",
            "booster X fed by Y",
            "booster `X` is fed by itself, by way of Y, Z",
            (
                "Follow the power from the wall: the first of them is a `supply` and is fed by "
                "none of the others."
            ),
            ("it goes round here", "it goes round here"),
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
            "driver B2 drives 4L.upper",
            "CP611",
            "4L.upper",
            "head `4L.upper` has two drivers",
            "Two boards on the same lamps work against each other: leave one of them out.",
            ("the first one is here",),
        ),
        (
            "driver B2 drives 4R, 4R",
            "CP611",
            "4R",
            "head `4R` has two drivers",
            "Two boards on the same lamps work against each other: leave one of them out.",
            ("the first one is here",),
        ),
        (
            "  no contacts\ndriver B2 drives 4R reads T1 contacts",
            "CP612",
            "T1",
            "turnout `T1` has no contacts to read",
            "Give it contacts, `contacts normal, reverse`, or leave it out here.",
            ("it is said here",),
        ),
        (
            "  thrown by 4",
            "CP613",
            "4",
            "lever `4` has the positions left, normal, right",
            "A lever that throws a turnout has just the positions `normal` and `reverse`.",
            ("it is declared here",),
        ),
    ],
)
def test_heads_and_contacts(
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
            "trains 2200 mm to 600 mm",
            "CP614",
            "trains 2200 mm to 600 mm",
            "the shortest train is longer than the longest",
            "The shortest comes first: `trains 600 mm to 2200 mm`.",
            (),
        ),
        (
            "scale Q",
            "CP618",
            "Q",
            "no scale is called `Q`",
            "Known by name are O, S, HO, TT, N, Z; any other is given as a ratio: `scale 1:87.1`.",
            (),
        ),
        ("scale ho", "CP618", "ho", "no scale is called `ho`", "Did you mean `HO`?", ()),
        (
            "scale 2:87",
            "CP618",
            "scale 2:87",
            "`scale 2:87` is no scale",
            "A ratio begins with 1: `scale 1:87.1`.",
            (),
        ),
        (
            "scale 0:87",
            "CP603",
            "0",
            "the ratio of a scale cannot be 0",
            (
                "Write what you measure, or leave it out: then the report says what is taken for "
                "granted."
            ),
            (),
        ),
        (
            "scale 1:0",
            "CP603",
            "0",
            "the ratio of a scale cannot be 0",
            (
                "Write what you measure, or leave it out: then the report says what is taken for "
                "granted."
            ),
            (),
        ),
    ],
)
def test_trains_and_scale(
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
            "detector D1 current-sensing through s1 at 0 mm",
            "CP619",
            "at 0 mm",
            "`at` belongs to a spot detector",
            "It means nothing for a current-sensing detector: leave it out.",
            ("this one is current-sensing",),
        ),
        (
            "detector D1 spot on Main at 0 mm turns 2",
            "CP619",
            "turns 2",
            "`turns` belongs to a current-sensing detector",
            "It means nothing for a spot detector: leave it out.",
            ("this one is spot",),
        ),
        (
            "detector D1 spot on Main at 0 mm through m1",
            "CP619",
            "through m1",
            "`through` belongs to a current-sensing detector",
            "It means nothing for a spot detector: leave it out.",
            ("this one is spot",),
        ),
        (
            "detector D1 spot on Main at 0 mm sensitivity 2 mA",
            "CP619",
            "sensitivity 2 mA",
            "`sensitivity` belongs to a current-sensing detector",
            "It means nothing for a spot detector: leave it out.",
            ("this one is spot",),
        ),
        (
            "detector D1 spot on Main at 0 mm without track power reads occupied",
            "CP619",
            "without track power reads occupied",
            "`without track power` belongs to a current-sensing detector",
            "It means nothing for a spot detector: leave it out.",
            ("this one is spot",),
        ),
        (
            "detector D1 spot on Main at 0 mm powered by Bus-1 over 3 ft of 22 AWG",
            "CP619",
            "over 3 ft of 22 AWG",
            "the wires to this are not looked at",
            (
                "`over …` belongs to districts, feeders and drivers, where the drop in voltage is"
                " worked out. Leave it out here."
            ),
            (),
        ),
        (
            "  powered by Bus-1 over 3 ft of 22 AWG",
            "CP619",
            "over 3 ft of 22 AWG",
            "the wires to this are not looked at",
            (
                "`over …` belongs to districts, feeders and drivers, where the drop in voltage is"
                " worked out. Leave it out here."
            ),
            (),
        ),
    ],
)
def test_clauses_of_the_other_kind(
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
            "block `Team` is undetected, and this is a detector on it",
            "Take the word `undetected` out of its statement, or the detector out of the file.",
            ("the block is declared here",),
        ),
        (
            (
                "block Team undetected",
                "block Team undetected feeders t1\ndetector D1 current-sensing through t1",
            ),
            "CP615",
            "D1",
            "block `Team` is undetected, and this is a detector on it",
            "Take the word `undetected` out of its statement, or the detector out of the file.",
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
