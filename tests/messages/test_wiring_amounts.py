"""Numbers and units that cannot be, or are written otherwise."""

import pytest

from tests.messages.expecting import Change, expect, wired


@pytest.mark.parametrize(
    ("change", "code", "underlined", "message", "hint", "more"),
    [
        (
            "stopping distance 3000",
            "CP601",
            "3000",
            "the number `3000` has no unit",
            ("Write the stopping distance in `mm`, `cm`, `m`, `in` or `ft`, like `3000 mm`."),
            (),
        ),
        (
            ("block Main 2400 mm in North", "block Main 2400 in North"),
            "CP601",
            "2400",
            "the number `2400` has no unit",
            ("Write `2400 mm in North`. In inches, write `in` twice: `block … 2400 in in North`."),
            (),
        ),
        (
            ("block Main 2400 mm in North", "block Main 8 ft 6 in North"),
            "CP601",
            "6",
            "the number `6` has no unit",
            "In inches, write `in` twice: `block … 8 ft 6 in in North`.",
            (),
        ),
        (
            "supply X 12 3 A",
            "CP601",
            "12",
            "the number `12` has no unit",
            "Write `12 V` for a voltage, `12 A` for a current.",
            (),
        ),
        (
            "  motor snap 3",
            "CP601",
            "3",
            "the number `3` has no unit",
            "Write the time a motor takes in `s` or `ms`, like `3 s`.",
            (),
        ),
        (
            "detector D1 spot on Main at 0 mm, 1200",
            "CP601",
            "1200",
            "the number `1200` has no unit",
            ("Write the place of a spot in `mm`, `cm`, `m`, `in` or `ft`, like `1200 mm`."),
            (),
        ),
        (
            "detector D1 current-sensing through s1 sensitivity 2",
            "CP601",
            "2",
            "the number `2` has no unit",
            "Write the sensitivity of a detector in `A` or `mA`, like `2 mA`.",
            (),
        ),
        (
            "driver B2 drives 4R powered by Bus-1 over 10 ft of 22",
            "CP601",
            "22",
            "the number `22` has no unit",
            "Write the size of a wire in `AWG`, like `16 AWG`.",
            (),
        ),
        (
            "trains 600 to 2200 mm",
            "CP601",
            "600",
            "the number `600` has no unit",
            ("Write the length of a train in `mm`, `cm`, `m`, `in` or `ft`, like `600 mm`."),
            (),
        ),
        (
            "detector D1 current-sensing through s1 turns 2 sensitivity 5",
            "CP601",
            "5",
            "the number `5` has no unit",
            "Write the sensitivity of a detector in `A` or `mA`, like `2 mA`.",
            (),
        ),
    ],
)
def test_units_left_out(
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
            "stopping distance 3000 V",
            "CP602",
            "3000 V",
            "`V` is a unit of voltage, but this must be the stopping distance",
            "Write the stopping distance in `mm`, `cm`, `m`, `in` or `ft`, like `3000 mm`.",
            (),
        ),
        (
            "stopping distance 120 inches",
            "CP602",
            "120 inches",
            "the unit `inches` is spelled `in` here",
            "Write `120 in`.",
            (),
        ),
        (
            "stopping distance 3 km",
            "CP602",
            "3 km",
            "`km` is not a unit that the language knows",
            "Write the stopping distance in `mm`, `cm`, `m`, `in` or `ft`, like `3000 mm`.",
            (),
        ),
        (
            "supply X 12 mm",
            "CP602",
            "12 mm",
            "`mm` does not say what a supply gives",
            "Write volts and amperes, like `12 V 3 A`.",
            (),
        ),
        (
            "supply X 12 W",
            "CP602",
            "12 W",
            "`W` does not say what a supply gives",
            "Write volts and amperes, like `12 V 3 A`.",
            (),
        ),
        (
            "supply X 12 volts",
            "CP602",
            "12 volts",
            "`volts` does not say what a supply gives",
            "Write volts and amperes, like `12 V`.",
            (),
        ),
        (
            "supply X fuse 2 V",
            "CP602",
            "2 V",
            "`V` is a unit of voltage, but this must be the rating of a fuse",
            "Write the rating of a fuse in `A` or `mA`, like `2 A`.",
            (),
        ),
        (
            "  motor snap 3 m",
            "CP602",
            "3 m",
            "`m` is a unit of length, but this must be the time a motor takes",
            "Write the time a motor takes in `s` or `ms`, like `3 s`.",
            (),
        ),
        (
            "detector D1 spot on Main at 0 mm hold 4 ft",
            "CP602",
            "4 ft",
            "`ft` is a unit of length, but this must be the hold time",
            "Write the hold time in `s` or `ms`, like `4 s`.",
            (),
        ),
        (
            "driver B2 drives 4R outputs 6 A",
            "CP602",
            "6 A",
            "the number of outputs has no unit",
            "Write the number alone, like `6`.",
            (),
        ),
        (
            "driver B2 drives 4R lamps 15 mm",
            "CP602",
            "15 mm",
            "`mm` is a unit of length, but this must be the current of a lamp",
            "Write the current of a lamp in `A` or `mA`, like `15 mA`.",
            (),
        ),
        (
            "driver B2 drives 4R needs 11 A",
            "CP602",
            "11 A",
            "`A` is a unit of current, but this must be the voltage a driver needs",
            "Write the voltage a driver needs in `V` or `mV`, like `11 V`.",
            (),
        ),
        (
            "driver B2 drives 4R powered by Bus-1 over 10 ft of 22 mm",
            "CP602",
            "22 mm",
            "`mm` is a unit of length, but this must be the size of a wire",
            "Write the size of a wire in `AWG`, like `16 AWG`.",
            (),
        ),
        (
            "trains 600 mm to 2200 mm, detectable throughout, wheelsets 10 k",
            "CP602",
            "10 k",
            "the unit `k` is spelled `kohm` here",
            "Write `10 kohm`.",
            (),
        ),
        (
            "stopping distance 3 m 20 cm",
            "CP602",
            "3 m 20 cm",
            "`3 m` and `20 cm` are two amounts",
            "Write one of them. Only feet and inches go together: `8 ft 6 in`.",
            (),
        ),
        (
            "stopping distance 6 in 8 ft",
            "CP602",
            "6 in 8 ft",
            "`6 in` and `8 ft` are two amounts",
            "Write one of them. Only feet and inches go together: `8 ft 6 in`.",
            (),
        ),
        (
            "detector D1 current-sensing through s1 sensitivity 2 mA 3 mA",
            "CP602",
            "2 mA 3 mA",
            "`2 mA` and `3 mA` are two amounts",
            "Write one of them. Only feet and inches go together: `8 ft 6 in`.",
            (),
        ),
    ],
)
def test_units_of_another_kind(
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
            "stopping distance -3000 mm",
            "CP603",
            "-3000",
            "`-3000` is below zero",
            "Measure lengths, voltages, currents and times from 0 upward.",
            (),
        ),
        (
            "stopping distance 0 mm",
            "CP603",
            "0 mm",
            "the stopping distance cannot be 0",
            ("Write what you measure, or leave it out: the report then says what it assumes."),
            (),
        ),
        (
            "trains 0 mm to 2200 mm",
            "CP603",
            "0 mm",
            "the length of a train cannot be 0",
            ("Write what you measure, or leave it out: the report then says what it assumes."),
            (),
        ),
        (
            "supply X 0 V",
            "CP603",
            "0 V",
            "the voltage of a supply cannot be 0",
            ("Write what you measure, or leave it out: the report then says what it assumes."),
            (),
        ),
        (
            "detector D1 current-sensing through s1 turns 0",
            "CP603",
            "0",
            "the number of turns cannot be 0",
            ("Write what you measure, or leave it out: the report then says what it assumes."),
            (),
        ),
        (
            "detector D1 current-sensing through s1 turns 1.5",
            "CP603",
            "1.5",
            "the number of turns is a whole number, not `1.5`",
            "Write it like `2`.",
            (),
        ),
        (
            "driver B2 drives 4R outputs 2.5",
            "CP603",
            "2.5",
            "the number of outputs is a whole number, not `2.5`",
            "Write it like `6`.",
            (),
        ),
        (
            "driver B2 drives 4R powered by Bus-1 over 10 ft of 22.5 AWG",
            "CP603",
            "22.5 AWG",
            "the size of a wire is a whole number, not `22.5`",
            "Write it like `16 AWG`.",
            (),
        ),
        (
            "  fouling point 0 mm",
            "CP603",
            "0 mm",
            "the distance to the fouling point cannot be 0",
            ("Write what you measure, or leave it out: the report then says what it assumes."),
            (),
        ),
        (
            "  gap normal 0 in",
            "CP603",
            "0 in",
            "the distance to a gap cannot be 0",
            ("Write what you measure, or leave it out: the report then says what it assumes."),
            (),
        ),
        (
            "  motor slow 0 s",
            "CP603",
            "0 s",
            "the time a motor takes cannot be 0",
            ("Write what you measure, or leave it out: the report then says what it assumes."),
            (),
        ),
        (
            "district South fed by Track-A over 0 ft of 16 AWG",
            "CP603",
            "0 ft",
            "the length of a wire cannot be 0",
            ("Write what you measure, or leave it out: the report then says what it assumes."),
            (),
        ),
    ],
)
def test_numbers_that_cannot_be(
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
            "stopping distance 3,000 mm",
            "CP104",
            ",",
            "`,` was not expected here",
            "Write numbers without commas: `2400`, and `2.5` for two and a half.",
            (),
        ),
        (
            "stopping distance 8' 6\" ",
            "CP101",
            "'",
            "the character `'` has no meaning here",
            "Write `ft` for feet: `8 ft`.",
            (),
        ),
        (
            "stopping distance 8 1/2 in",
            "CP101",
            "/",
            "the character `/` has no meaning here",
            "Write fractions as decimals: `0.5`, `8.25`.",
            (),
        ),
        (
            "stopping distance .5 m",
            "CP101",
            ".",
            "the character `.` has no meaning here",
            "Write `0.5`.",
            (),
        ),
        (
            "trains 600 mm - 2200 mm",
            "CP101",
            "-",
            "the character `-` has no meaning here",
            "Write `to`.",
            (),
        ),
        (
            "scale 1/87.1",
            "CP101",
            "/",
            "the character `/` has no meaning here",
            "Write a ratio with a colon: `scale 1:87.1`.",
            (),
        ),
        (
            "stopping distance 3000 miless",
            "CP104",
            "miless",
            "`miless` was not expected here",
            (
                "Expected a number, a unit, such as `mm`, `in`, `V` or `A`, or the next "
                "statement. The stopping distance is written `stopping distance 3000 mm`."
            ),
            (),
        ),
    ],
)
def test_numbers_written_otherwise(
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
            ("2400 mm", "5 km"),
            "CP602",
            "5 km",
            "`km` is not a unit that the language knows",
            "Write the length of a block in `mm`, `cm`, `m`, `in` or `ft`, like `2400 mm`.",
            (),
        ),
        (
            ("2400 mm", "5000 m"),
            "CP604",
            "5000 m",
            "`5000 m` is too large for the length of a block on a layout",
            "Check the number and its unit. The limit is 1,000 m.",
            (),
        ),
        (
            "trains 600 mm to 101 m",
            "CP604",
            "101 m",
            "`101 m` is too large for the length of a train on a layout",
            "Check the number and its unit. The limit is 100 m.",
            (),
        ),
        (
            "supply X 31 A 60 V",
            "CP605",
            "60 V",
            "`60 V` is too much: the voltage of a supply is at most 30 V on a layout",
            (
                "Correct the voltage. More can hurt people or start a fire, and belongs "
                "to the maker's instructions, the local code and licensed practice."
            ),
            (),
        ),
        (
            "supply X 120 V",
            "CP605",
            "120 V",
            "`120 V` is too much: the voltage of a supply is at most 30 V on a layout",
            (
                "Correct the voltage. More can hurt people or start a fire, and belongs "
                "to the maker's instructions, the local code and licensed practice."
            ),
            (),
        ),
        (
            "driver B2 drives 4R needs 48 V",
            "CP605",
            "48 V",
            "`48 V` is too much: the voltage a driver needs is at most 30 V on a layout",
            (
                "Correct the voltage. More can hurt people or start a fire, and belongs "
                "to the maker's instructions, the local code and licensed practice."
            ),
            (),
        ),
        (
            "supply X 60 A",
            "CP604",
            "60 A",
            "`60 A` is too large for the current of a supply on a layout",
            "Check the number and its unit. The limit is 50 A.",
            (),
        ),
        (
            "supply X fuse 100 A",
            "CP604",
            "100 A",
            "`100 A` is too large for the rating of a fuse on a layout",
            "Check the number and its unit. The limit is 50 A.",
            (),
        ),
        (
            "stopping distance 2000 m",
            "CP604",
            "2000 m",
            "`2000 m` is too large for the stopping distance on a layout",
            "Check the number and its unit. The limit is 1,000 m.",
            (),
        ),
        (
            "detector D1 current-sensing through s1 turns 101",
            "CP604",
            "101",
            "`101` is too large for the number of turns on a layout",
            "Check the number and its unit. The limit is 100.",
            (),
        ),
        (
            "detector D1 current-sensing through s1 sensitivity 20 A",
            "CP604",
            "20 A",
            "`20 A` is too large for the sensitivity of a detector on a layout",
            "Check the number and its unit. The limit is 1 A.",
            (),
        ),
        (
            "district South fed by Track-A over 5000 ft of 16 AWG",
            "CP604",
            "5000 ft",
            "`5000 ft` is too large for the length of a wire on a layout",
            "Check the number and its unit. The limit is 1,000 m.",
            (),
        ),
        (
            "district South fed by Track-A over 30 ft of 50 AWG",
            "CP604",
            "50 AWG",
            "`50 AWG` is too large for the size of a wire on a layout",
            "Check the number and its unit. The limit is 40 AWG.",
            (),
        ),
        (
            "  motor slow 300 s",
            "CP604",
            "300 s",
            "`300 s` is too large for the time a motor takes on a layout",
            "Check the number and its unit. The limit is 60 s.",
            (),
        ),
        (
            "detector D1 spot on Main at 0 mm hold 1000 s",
            "CP604",
            "1000 s",
            "`1000 s` is too large for the hold time on a layout",
            "Check the number and its unit. The limit is 600 s.",
            (),
        ),
        (
            "driver B2 drives 4R lamps 15 A",
            "CP604",
            "15 A",
            "`15 A` is too large for the current of a lamp on a layout",
            "Check the number and its unit. The limit is 5 A.",
            (),
        ),
        (
            "trains 1 m to 2 m, wheelsets 11000 kohm",
            "CP604",
            "11000 kohm",
            "`11000 kohm` is too large for the resistance of a wheelset on a layout",
            "Check the number and its unit. The limit is 10,000,000 ohm.",
            (),
        ),
        (
            "scale 1:4000",
            "CP604",
            "4000",
            "`4000` is too large for the ratio of a scale on a layout",
            "Check the number and its unit. The limit is 1,000.",
            (),
        ),
        (
            "  gap normal 30 m",
            "CP604",
            "30 m",
            "`30 m` is too large for the distance to a gap on a layout",
            "Check the number and its unit. The limit is 20 m.",
            (),
        ),
        (
            "  fouling point 30 m",
            "CP604",
            "30 m",
            "`30 m` is too large for the distance to the fouling point on a layout",
            "Check the number and its unit. The limit is 20 m.",
            (),
        ),
        (
            "driver B2 drives 4R outputs 5000",
            "CP604",
            "5000",
            "`5000` is too large for the number of outputs on a layout",
            "Check the number and its unit. The limit is 1,000.",
            (),
        ),
        (
            ("signal 4R at Main | T1", "signal 4R at Main | T1 stands 60 m before gap"),
            "CP604",
            "60 m",
            "`60 m` is too large for the distance from a signal to its gap on a layout",
            "Check the number and its unit. The limit is 20 m.",
            (),
        ),
    ],
)
def test_numbers_beyond_any_layout(
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
