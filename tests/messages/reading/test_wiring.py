"""Ways of writing wiring statements wrong, and what is said about them."""

import pytest

from tests.messages.expecting import Change, expect, wired


@pytest.mark.parametrize(
    ("change", "code", "underlined", "message", "hint", "more"),
    [
        (
            "block X feeders x1 2400 mm",
            "CP104",
            "2400",
            "`2400` was not expected here",
            "Put the length right after the name: `block X 2400 mm …`.",
            (),
        ),
        (
            "block X undetected 2400 mm",
            "CP104",
            "2400",
            "`2400` was not expected here",
            "Put the length right after the name: `block X 2400 mm …`.",
            (),
        ),
        (
            'block X "note" in North',
            "CP104",
            "in",
            "`in` was not expected here",
            "Put the district before that: `block X 2400 mm in North …`.",
            (),
        ),
        (
            "supply X trackpower",
            "CP104",
            "trackpower",
            "`trackpower` was not expected here",
            (
                "Did you mean `track power`? A supply is written `supply Bus-1 12 V 5 A fuse 2 A`"
                " or `supply Track-A track power 15 V`."
            ),
            (),
        ),
        (
            "supply X Track power",
            "CP104",
            "Track",
            "`Track` was not expected here",
            (
                "Expected `fuse`, a number, `track power`, a kind of current (`DC`, `AC` or "
                "`DCC`), or the next statement. A supply is "
                "written `supply Bus-1 12 V 5 A fuse 2 A` or `supply Track-A track power 15 V`."
            ),
            (),
        ),
        (
            "track West = Main feeders m3",
            "CP104",
            "feeders",
            "`feeders` was not expected here",
            (
                "Expected a join (`=`, `|` or `||`), a leg (normal, reverse, along or across), or"
                " the next statement. Track is written `track West-Main = Main | normal T1 | "
                "Single = Quarry`."
            ),
            (),
        ),
        (
            "  motor slow-motion 3 s",
            "CP104",
            "slow-motion",
            "`slow-motion` was not expected here",
            "Expected `slow` or `snap`. A turnout is written `turnout T1 in Switch`.",
            (),
        ),
        (
            "  motor fast",
            "CP104",
            "fast",
            "`fast` was not expected here",
            "Expected `slow` or `snap`. A turnout is written `turnout T1 in Switch`.",
            (),
        ),
        (
            "  motor",
            "CP105",
            "motor",
            "this `turnout` statement stops short after `motor`",
            "Expected `slow` or `snap`. A turnout is written `turnout T1 in Switch`.",
            (),
        ),
        (
            "  contacts",
            "CP105",
            "contacts",
            "this `turnout` statement stops short after `contacts`",
            "Expected a position (normal, reverse, open, derailing, non-derailing or seated). A "
            "turnout is written `turnout T1 in Switch`.",
            (),
        ),
        (
            "  contacts normal and reverse",
            "CP104",
            "and",
            "`and` was not expected here",
            "In a list, write a comma.",
            (),
        ),
        (
            "  contacts both",
            "CP104",
            "both",
            "`both` was not expected here",
            "Expected a position (normal, reverse, open, derailing, non-derailing or seated). A "
            "turnout is written `turnout T1 in Switch`.",
            (),
        ),
        (
            "  no motor",
            "CP104",
            "motor",
            "`motor` was not expected here",
            "Expected `contacts`. A turnout is written `turnout T1 in Switch`.",
            (),
        ),
        (
            "  throwm by T1-lever",
            "CP104",
            "throwm",
            "`throwm` was not expected here",
            "Did you mean `thrown`? A turnout is written `turnout T1 in Switch`.",
            (),
        ),
        (
            "detector D1 through s1",
            "CP104",
            "through",
            "`through` was not expected here",
            (
                "Expected `current-sensing` or `spot`. A detector is written `detector D-Main "
                "current-sensing through m1, m2` or `detector D-Stage spot on Main at 0 mm`."
            ),
            (),
        ),
        (
            "detector D1 currentsensing through s1",
            "CP104",
            "currentsensing",
            "`currentsensing` was not expected here",
            (
                "Did you mean `current-sensing`? A detector is written `detector D-Main "
                "current-sensing through m1, m2` or `detector D-Stage spot on Main at 0 mm`."
            ),
            (),
        ),
        (
            "detector D1, D2 spot on Main at 0 mm",
            "CP104",
            ",",
            "`,` was not expected here",
            (
                "Expected `current-sensing` or `spot`. A detector is written `detector D-Main "
                "current-sensing through m1, m2` or `detector D-Stage spot on Main at 0 mm`."
            ),
            (),
        ),
        (
            "detector D1 spot on Main at 0 mm and 40 mm",
            "CP104",
            "and",
            "`and` was not expected here",
            "In a list, write a comma.",
            (),
        ),
        (
            "detector D1 spot on Main at 0 mm output closed when open",
            "CP104",
            "open",
            "`open` was not expected here",
            (
                "Expected `clear` or `occupied`. A detector is written `detector D-Main "
                "current-sensing through m1, m2` or `detector D-Stage spot on Main at 0 mm`."
            ),
            (),
        ),
        (
            "detector D1 spot on Main at 0 mm output",
            "CP105",
            "output",
            "this `detector` statement stops short after `output`",
            (
                "Expected `closed`. A detector is written `detector D-Main current-sensing "
                "through m1, m2` or `detector D-Stage spot on Main at 0 mm`."
            ),
            (),
        ),
        (
            "detector D1 spot on Main at 0 mm\n  powerd by Bus-1",
            "CP104",
            "powerd",
            "`powerd` was not expected here",
            (
                "Did you mean `powered`? A detector is written `detector D-Main current-sensing "
                "through m1, m2` or `detector D-Stage spot on Main at 0 mm`."
            ),
            (),
        ),
        (
            "detector D1 current-sensing through supply",
            "CP106",
            "supply",
            "`supply` is a word of the language, so it cannot be a name",
            (
                "Use another spelling, such as `Supply`. A detector is written `detector "
                "D-Main current-sensing through m1, m2` or `detector D-Stage spot on "
                "Main at 0 mm`."
            ),
            (),
        ),
        (
            "driver B2 reads D-Main",
            "CP670",
            "B2",
            "board `B2` drives nothing",
            (
                "Write `drives` with the heads it lights, `throws` with the points it moves, or "
                "`built as one program on B2`."
            ),
            (),
        ),
        (
            "driver B2 drives 4R when input missing shows amber",
            "CP104",
            "amber",
            "`amber` was not expected here",
            (
                "Expected a color (green, yellow, red, lunar, white or dark). A driver is "
                "written `driver B1 drives 4L.upper, 4L.lower reads D-Main, T1 contacts`."
            ),
            (),
        ),
        (
            "driver B2 drives 4R when input mising shows red",
            "CP104",
            "mising",
            "`mising` was not expected here",
            (
                "Did you mean `missing`? A driver is written `driver B1 drives 4L.upper, 4L.lower"
                " reads D-Main, T1 contacts`."
            ),
            (),
        ),
        (
            "driver B2 drives 4R when Main clear",
            "CP104",
            "Main",
            "`Main` was not expected here",
            (
                "Expected `input` or `lamp`. A driver is written `driver B1 drives 4L.upper, "
                "4L.lower reads D-Main, T1 contacts`."
            ),
            (),
        ),
        (
            "trains 1 m to 2 m, detectable",
            "CP105",
            "detectable",
            "this `trains` statement stops short after `detectable`",
            (
                "Expected `at` or `throughout`. What runs is written `trains 600 mm to 2200 mm, "
                "detectable throughout` or `trains obey signals`."
            ),
            (),
        ),
        (
            "trains 1 m",
            "CP105",
            "m",
            "this `trains` statement stops short after `m`",
            (
                "Expected a number or `to`. What runs is written `trains 600 mm to 2200 mm, "
                "detectable throughout` or `trains obey signals`."
            ),
            (),
        ),
        (
            "trains 1 m to 2 m, detectable at the ends",
            "CP104",
            "ends",
            "`ends` was not expected here",
            (
                "Expected `locomotive`. What runs is written `trains 600 mm to 2200 mm, "
                "detectable throughout` or `trains obey signals`."
            ),
            (),
        ),
        (
            "scale",
            "CP105",
            "scale",
            "this `scale` statement stops short after `scale`",
            "Expected a name or a number. The scale is written `scale HO` or `scale 1:87.1`.",
            (),
        ),
        (
            "stopping 3 m",
            "CP104",
            "3",
            "`3` was not expected here",
            "Expected `distance`. The stopping distance is written `stopping distance 3000 mm`.",
            (),
        ),
        (
            "common Bus-1, Bus-2",
            "CP104",
            "Bus-1",
            "`Bus-1` was not expected here",
            "Expected `return`. A common return is written `common return Bus-1, Bus-2`.",
            (),
        ),
        (
            "common return Bus-1 and Track-A",
            "CP104",
            "and",
            "`and` was not expected here",
            "In a list of names, write a comma.",
            (),
        ),
        (
            "district South of Track-A",
            "CP104",
            "of",
            "`of` was not expected here",
            (
                "Expected `fed` or `on`. A district is written `district North fed by Track-A over "
                "30 ft of 16 AWG`."
            ),
            (),
        ),
        (
            "district South",
            "CP105",
            "South",
            "this `district` statement stops short after `South`",
            (
                "Expected `fed` or `on`. A district is written `district North fed by Track-A over "
                "30 ft of 16 AWG`."
            ),
            (),
        ),
        (
            "wire R1",
            "CP104",
            "R1",
            "`R1` was not expected here",
            "Expected a number. What a size of wire may carry is written `wire 22 AWG carries "
            "3 A`.",
            (),
        ),
        (
            ("signal 4R at Main | T1", "signal 4R at Main | T1 stands 50 mm heads a, b"),
            "CP104",
            "heads",
            "`heads` was not expected here",
            "Expected `before` or a number. A signal is written `signal 4L at Single | T1`.",
            (),
        ),
        (
            ("signal 4R at Main | T1", "signal 4R at Main | T1 heads a, b stands 50 mm before gap"),
            "CP104",
            "stands",
            "`stands` has no `when` or `otherwise` after it",
            "Write `stands … before gap` before `heads` and the lines.",
            (),
        ),
        (
            "feeders m3",
            "CP103",
            "feeders",
            "`feeders` does not start a statement",
            "Put `feeders` in a `block` statement, below its first line.",
            (),
        ),
        (
            "supply",
            "CP105",
            "supply",
            "this `supply` statement stops short after `supply`",
            (
                "Expected a name. A supply is written `supply Bus-1 12 V 5 A fuse 2 A` or `supply"
                " Track-A track power 15 V`."
            ),
            (),
        ),
        (
            "booster",
            "CP105",
            "booster",
            "this `booster` statement stops short after `booster`",
            "Expected a name. A booster is written `booster Boost-1 fed by Track-A 15 V 5 A`.",
            (),
        ),
        (
            "detector D1",
            "CP105",
            "D1",
            "this `detector` statement stops short after `D1`",
            (
                "Expected `current-sensing` or `spot`. A detector is written `detector D-Main "
                "current-sensing through m1, m2` or `detector D-Stage spot on Main at 0 mm`."
            ),
            (),
        ),
        (
            "driver B2",
            "CP670",
            "B2",
            "board `B2` drives nothing",
            (
                "Write `drives` with the heads it lights, `throws` with the points it moves, or "
                "`built as one program on B2`."
            ),
            (),
        ),
    ],
)
def test_clauses_astray(
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
