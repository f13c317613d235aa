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
            "Keep one: it holds for the whole layout.",
            ("the first one is here",),
        ),
        (
            "scale HO\nscale 1:87.1",
            "CP606",
            "scale 1:87.1",
            "the scale is given twice",
            "Keep one: it holds for the whole layout.",
            ("the first one is here",),
        ),
        (
            "supply X 12 V 15 V",
            "CP606",
            "15 V",
            "supply `X` has two voltages",
            "Remove one of them.",
            ("the first one is here",),
        ),
        (
            "supply X 12 V 3 A fuse 1 A resettable",
            "CP607",
            "fuse 1 A resettable",
            "the file does not say when this resettable fuse trips",
            "Take it from its maker's sheet: `fuse 1 A resettable trips at 4 A`.",
            (),
        ),
        (
            "supply X 12 V 3 A fuse 2 A resettable trips at 1 A",
            "CP652",
            "fuse 2 A resettable trips at 1 A",
            "this fuse would open at less than its rating",
            "Write the current that it carries first, and the larger one at which it trips: "
            "`fuse 2 A resettable trips at 4 A`.",
            (),
        ),
        (
            "  pulse 50 ms",
            "CP619",
            "pulse 50 ms",
            "`pulse` belongs to a twin-coil machine",
            "Write `motor snap` above it, or remove `pulse …`.",
            (),
        ),
        (
            "wire 22 AWG carries 3 A\nwire 22 AWG carries 2 A",
            "CP606",
            "wire 22 AWG carries 2 A",
            "what 22 AWG carries is given twice",
            "Keep one: it holds for the whole layout.",
            ("the first one is here",),
        ),
        (
            "supply X DC 12 V AC",
            "CP606",
            "AC",
            "`kind of current` is given twice",
            "Keep one, with everything in it.",
            ("the first one is here",),
        ),
        (
            "supply X fuse 2 A fuse 3 A",
            "CP606",
            "fuse 3 A",
            "`fuse` is given twice",
            "Keep one, with everything in it.",
            ("the first one is here",),
        ),
        (
            "booster X fed by Track-A fed by Track-A",
            "CP606",
            "fed by Track-A",
            "`fed by` is given twice",
            "Keep one, with everything in it.",
            ("the first one is here",),
        ),
        (
            "  contact normal\n  contact reverse",
            "CP606",
            "contact reverse",
            "`contacts` is given twice",
            "Write `contacts normal, reverse` for both.",
            ("the first one is here",),
        ),
        (
            "  contacts normal, normal",
            "CP606",
            "normal",
            "leg `normal` is listed twice",
            "Remove one of them.",
            ("the first one is here",),
        ),
        (
            "  gap normal 200 mm, normal 300 mm",
            "CP606",
            "normal",
            "leg `normal` is listed twice",
            "Remove one of them.",
            ("the first one is here",),
        ),
        (
            "detector D1 current-sensing through s1 through s1",
            "CP606",
            "through s1",
            "`through` is given twice",
            "Keep one, with everything in it.",
            ("the first one is here",),
        ),
        (
            "detector D1 current-sensing through s1, s1",
            "CP606",
            "s1",
            "feeder `s1` is listed twice",
            "Write `turns 2` for a feeder that passes through more than once.",
            ("the first one is here",),
        ),
        (
            "driver B2 drives 4R reads D-Main, D-Main",
            "CP606",
            "D-Main",
            "input `D-Main` is listed twice",
            "Remove one of them.",
            ("the first one is here",),
        ),
        (
            "driver B2 drives 4R when input missing shows red when input missing shows dark",
            "CP606",
            "when input missing shows dark",
            "`when input missing` is given twice",
            "Keep one, with everything in it.",
            ("the first one is here",),
        ),
        (
            "trains 1 m to 2 m, detectable throughout, detectable at both ends",
            "CP606",
            "detectable at both ends",
            "`detectable` is given twice",
            "Keep one, with everything in it.",
            ("the first one is here",),
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
            "current-sensing detector `D1` has no feeders",
            "Write it like `detector D1 current-sensing through m1, m2`.",
            (),
        ),
        (
            "detector D1 spot at 0 mm",
            "CP607",
            "D1",
            "spot detector `D1` has no block",
            "Write it like `detector D1 spot on Main at 0 mm, 1200 mm`.",
            (),
        ),
        (
            "detector D1 spot on Main",
            "CP607",
            "D1",
            "spot detector `D1` has no spots",
            "Write it like `detector D1 spot on Main at 0 mm, 1200 mm`.",
            (),
        ),
        (
            "booster X 15 V",
            "CP607",
            "X",
            "booster `X` has no supply",
            "Name its supply: `booster X fed by Track-A`. If nothing feeds it, it is a `supply`.",
            (),
        ),
        (
            "common return Bus-1",
            "CP607",
            "common return Bus-1",
            "a common return needs at least two supplies",
            "Name the other supplies too: `common return Bus-1, Bus-2`.",
            (),
        ),
        (
            "common return Bus-1, Bus-1",
            "CP607",
            "common return Bus-1, Bus-1",
            "a common return needs at least two supplies",
            "Name the other supplies too: `common return Bus-1, Bus-2`.",
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
            "driver B2 drives 4L.upper",
            "CP611",
            "4L.upper",
            "head `4L.upper` has two drivers",
            "Keep one: two boards on the same lamps work against each other.",
            ("the first one is here",),
        ),
        (
            "driver B2 drives 4R, 4R",
            "CP611",
            "4R",
            "head `4R` has two drivers",
            "Keep one: two boards on the same lamps work against each other.",
            ("the first one is here",),
        ),
        (
            "  no contacts\ndriver B2 drives 4R reads T1 contacts",
            "CP612",
            "T1",
            "`T1` has no contacts to read",
            "Give it contacts, `contacts normal, reverse`, or remove it here.",
            ("`no contacts` is here",),
        ),
        (
            "  thrown by 4",
            "CP613",
            "4",
            "lever `4` cannot throw a turnout: its positions are left, normal, right",
            "Use a lever with just the positions `normal` and `reverse`.",
            ("the lever is declared here",),
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
            "Write the shorter length first: `trains 600 mm to 2200 mm`.",
            (),
        ),
        (
            "scale Q",
            "CP618",
            "Q",
            "no scale is called `Q`",
            "Use O, S, HO, TT, N or Z, or the ratio: `scale 1:87.1`.",
            (),
        ),
        ("scale ho", "CP618", "ho", "no scale is called `ho`", "Did you mean `HO`?", ()),
        (
            "scale 2:87",
            "CP618",
            "scale 2:87",
            "`scale 2:87` is not a scale",
            "Begin the ratio with 1: `scale 1:87.1`.",
            (),
        ),
        (
            "scale 0:87",
            "CP603",
            "0",
            "the ratio of a scale cannot be 0",
            ("Write what you measure, or leave it out: the report then says what it assumes."),
            (),
        ),
        (
            "scale 1:0",
            "CP603",
            "0",
            "the ratio of a scale cannot be 0",
            ("Write what you measure, or leave it out: the report then says what it assumes."),
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
            "Remove it: it means nothing for a current-sensing detector.",
            ("this one is current-sensing",),
        ),
        (
            "detector D1 spot on Main at 0 mm turns 2",
            "CP619",
            "turns 2",
            "`turns` belongs to a current-sensing detector",
            "Remove it: it means nothing for a spot detector.",
            ("this one is spot",),
        ),
        (
            "detector D1 spot on Main at 0 mm by coil",
            "CP619",
            "by coil",
            "`by` belongs to a current-sensing detector",
            "Remove it: it means nothing for a spot detector.",
            ("this one is spot",),
        ),
        (
            "detector D1 current-sensing by biased diodes through s1 turns 2",
            "CP619",
            "turns 2",
            "`turns` belongs to a coil, and this detector senses by biased diodes",
            "Remove `turns …`: current flows through diodes as it is. Or write `by coil`.",
            ("it says so here",),
        ),
        (
            "detector D1 spot on Main at 0 mm through m1",
            "CP619",
            "through m1",
            "`through` belongs to a current-sensing detector",
            "Remove it: it means nothing for a spot detector.",
            ("this one is spot",),
        ),
        (
            "detector D1 spot on Main at 0 mm sensitivity 2 mA",
            "CP619",
            "sensitivity 2 mA",
            "`sensitivity` belongs to a current-sensing detector",
            "Remove it: it means nothing for a spot detector.",
            ("this one is spot",),
        ),
        (
            "detector D1 spot on Main at 0 mm without track power reads occupied",
            "CP619",
            "without track power reads occupied",
            "`without track power` belongs to a current-sensing detector",
            "Remove it: it means nothing for a spot detector.",
            ("this one is spot",),
        ),
        (
            "detector D1 spot on Main at 0 mm powered by Bus-1 over 3 ft of 22 AWG",
            "CP619",
            "over 3 ft of 22 AWG",
            "the length of this wire is not used",
            (
                "Remove `over …`. It belongs to districts, feeders and drivers, where it "
                "gives the voltage drop."
            ),
            (),
        ),
        (
            "  powered by Bus-1 over 3 ft of 22 AWG",
            "CP619",
            "over 3 ft of 22 AWG",
            "the length of this wire is not used",
            (
                "Remove `over …`. It belongs to districts, feeders and drivers, where it "
                "gives the voltage drop."
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
