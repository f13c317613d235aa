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
            "`3000` has no unit",
            ("Write the stopping distance in `mm`, `cm`, `m`, `in`, or `ft`, like `3000 mm`."),
            (),
        ),
        (
            ("block Main 2400 mm in North", "block Main 2400 in North"),
            "CP601",
            "2400",
            "`2400` has no unit",
            (
                "Write it like `2400 mm in North`. In inches, `in` is written twice: `block … "
                "2400 in in North`."
            ),
            (),
        ),
        (
            ("block Main 2400 mm in North", "block Main 8 ft 6 in North"),
            "CP601",
            "6",
            "`6` has no unit",
            "In inches, `in` is written twice: `block … 8 ft 6 in in North`.",
            (),
        ),
        (
            "supply X 12 3 A",
            "CP601",
            "12",
            "`12` has no unit",
            "Write `12 V` for a voltage, `12 A` for a current.",
            (),
        ),
        (
            "  motor snap 3",
            "CP601",
            "3",
            "`3` has no unit",
            "Write the time a motor takes in `s` or `ms`, like `3 s`.",
            (),
        ),
        (
            "detector D1 spot on Main at 0 mm, 1200",
            "CP601",
            "1200",
            "`1200` has no unit",
            ("Write the place of a spot in `mm`, `cm`, `m`, `in`, or `ft`, like `1200 mm`."),
            (),
        ),
        (
            "detector D1 current-sensing through s1 sensitivity 2",
            "CP601",
            "2",
            "`2` has no unit",
            "Write the sensitivity of a detector in `A` or `mA`, like `2 mA`.",
            (),
        ),
        (
            "driver B2 drives 4R powered by Bus-1 over 10 ft of 22",
            "CP601",
            "22",
            "`22` has no unit",
            "Write the size of a wire in `AWG`, like `16 AWG`.",
            (),
        ),
        (
            "trains 600 to 2200 mm",
            "CP601",
            "600",
            "`600` has no unit",
            ("Write the length of a train in `mm`, `cm`, `m`, `in`, or `ft`, like `600 mm`."),
            (),
        ),
        (
            "detector D1 current-sensing through s1 turns 2 sensitivity 5",
            "CP601",
            "5",
            "`5` has no unit",
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
            "`V` is a unit of voltage, and here must stand the stopping distance",
            "Write it like `3000 mm`, in `mm`, `cm`, `m`, `in`, or `ft`.",
            (),
        ),
        (
            "stopping distance 120 inches",
            "CP602",
            "120 inches",
            "the unit `inches` is written `in` here",
            "Write `120 in`.",
            (),
        ),
        (
            "stopping distance 3 km",
            "CP602",
            "3 km",
            "`km` is no unit of the language, and here must stand the stopping distance",
            "Write it like `3000 mm`, in `mm`, `cm`, `m`, `in`, or `ft`.",
            (),
        ),
        (
            "supply X 12 mm",
            "CP602",
            "12 mm",
            "`mm` is no unit for what a supply gives",
            "A supply is given in volts and amperes: write it like `12 V 3 A`.",
            (),
        ),
        (
            "supply X 12 W",
            "CP602",
            "12 W",
            "`W` is no unit for what a supply gives",
            "A supply is given in volts and amperes: write it like `12 V 3 A`.",
            (),
        ),
        (
            "supply X 12 volts",
            "CP602",
            "12 volts",
            "`volts` is no unit for what a supply gives",
            "A supply is given in volts and amperes: write it like `12 V`.",
            (),
        ),
        (
            "supply X fuse 2 V",
            "CP602",
            "2 V",
            "`V` is a unit of voltage, and here must stand the rating of a fuse",
            "Write it like `2 A`, in `A` or `mA`.",
            (),
        ),
        (
            "  motor snap 3 m",
            "CP602",
            "3 m",
            "`m` is a unit of length, and here must stand the time a motor takes",
            "Write it like `3 s`, in `s` or `ms`.",
            (),
        ),
        (
            "detector D1 spot on Main at 0 mm hold 4 ft",
            "CP602",
            "4 ft",
            "`ft` is a unit of length, and here must stand the hold time",
            "Write it like `4 s`, in `s` or `ms`.",
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
            "`mm` is a unit of length, and here must stand the current of a lamp",
            "Write it like `15 mA`, in `A` or `mA`.",
            (),
        ),
        (
            "driver B2 drives 4R needs 11 A",
            "CP602",
            "11 A",
            "`A` is a unit of current, and here must stand the voltage a driver needs",
            "Write it like `11 V`, in `V` or `mV`.",
            (),
        ),
        (
            "driver B2 drives 4R powered by Bus-1 over 10 ft of 22 mm",
            "CP602",
            "22 mm",
            "`mm` is a unit of length, and here must stand the size of a wire",
            "Write it like `16 AWG`, in `AWG`.",
            (),
        ),
        (
            "trains 600 mm to 2200 mm, detectable throughout, wheelsets 10 k",
            "CP602",
            "10 k",
            "the unit `k` is written `kohm` here",
            "Write `10 kohm`.",
            (),
        ),
        (
            "stopping distance 3 m 20 cm",
            "CP602",
            "3 m 20 cm",
            "`3 m` and `20 cm` are two amounts",
            "Only feet and inches stand together: `8 ft 6 in`.",
            (),
        ),
        (
            "stopping distance 6 in 8 ft",
            "CP602",
            "6 in 8 ft",
            "`6 in` and `8 ft` are two amounts",
            "Only feet and inches stand together: `8 ft 6 in`.",
            (),
        ),
        (
            "detector D1 current-sensing through s1 sensitivity 2 mA 3 mA",
            "CP602",
            "2 mA 3 mA",
            "`2 mA` and `3 mA` are two amounts",
            "Only feet and inches stand together: `8 ft 6 in`.",
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
            "`-3000` is less than nothing",
            "Lengths, voltages, currents and times are measured from 0 upward.",
            (),
        ),
        (
            "stopping distance 0 mm",
            "CP603",
            "0 mm",
            "the stopping distance cannot be 0",
            (
                "Write what you measure, or leave it out: then the report says what is taken for "
                "granted."
            ),
            (),
        ),
        (
            "trains 0 mm to 2200 mm",
            "CP603",
            "0 mm",
            "the length of a train cannot be 0",
            (
                "Write what you measure, or leave it out: then the report says what is taken for "
                "granted."
            ),
            (),
        ),
        (
            "supply X 0 V",
            "CP603",
            "0 V",
            "the voltage of a supply cannot be 0",
            (
                "Write what you measure, or leave it out: then the report says what is taken for "
                "granted."
            ),
            (),
        ),
        (
            "detector D1 current-sensing through s1 turns 0",
            "CP603",
            "0",
            "the number of turns cannot be 0",
            (
                "Write what you measure, or leave it out: then the report says what is taken for "
                "granted."
            ),
            (),
        ),
        (
            "detector D1 current-sensing through s1 turns 1.5",
            "CP603",
            "1.5",
            "the number of turns is a whole number, not 1.5",
            "Write it like `2`.",
            (),
        ),
        (
            "driver B2 drives 4R outputs 2.5",
            "CP603",
            "2.5",
            "the number of outputs is a whole number, not 2.5",
            "Write it like `6`.",
            (),
        ),
        (
            "driver B2 drives 4R powered by Bus-1 over 10 ft of 22.5 AWG",
            "CP603",
            "22.5 AWG",
            "the size of a wire is a whole number, not 22.5",
            "Write it like `16 AWG`.",
            (),
        ),
        (
            "  fouling point 0 mm",
            "CP603",
            "0 mm",
            "the distance to the fouling point cannot be 0",
            (
                "Write what you measure, or leave it out: then the report says what is taken for "
                "granted."
            ),
            (),
        ),
        (
            "  gap normal 0 in",
            "CP603",
            "0 in",
            "the distance to a gap cannot be 0",
            (
                "Write what you measure, or leave it out: then the report says what is taken for "
                "granted."
            ),
            (),
        ),
        (
            "  motor slow 0 s",
            "CP603",
            "0 s",
            "the time a motor takes cannot be 0",
            (
                "Write what you measure, or leave it out: then the report says what is taken for "
                "granted."
            ),
            (),
        ),
        (
            "district South fed by Track-A over 0 ft of 16 AWG",
            "CP603",
            "0 ft",
            "the length of a wire cannot be 0",
            (
                "Write what you measure, or leave it out: then the report says what is taken for "
                "granted."
            ),
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
            "No comma stands in a number: write `2400`, and `2.5` for two and a half.",
            (),
        ),
        (
            "stopping distance 8' 6\" ",
            "CP101",
            "'",
            "the character `'` has no meaning here",
            "Feet are written `ft`: `8 ft`.",
            (),
        ),
        (
            "stopping distance 8 1/2 in",
            "CP101",
            "/",
            "the character `/` has no meaning here",
            "Write parts of one as a decimal: `0.5`, `8.25`.",
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
            "A ratio is written with a colon: `scale 1:87.1`.",
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
            "`km` is no unit of the language, and here must stand the length of a block",
            "Write it like `2400 mm`, in `mm`, `cm`, `m`, `in`, or `ft`.",
            (),
        ),
        (
            ("2400 mm", "5000 m"),
            "CP604",
            "5000 m",
            "the length of a block of `5000 m` is beyond any layout",
            "More than 1,000 m is not to be expected: check the number and its unit.",
            (),
        ),
        (
            "trains 600 mm to 101 m",
            "CP604",
            "101 m",
            "the length of a train of `101 m` is beyond any layout",
            "More than 100 m is not to be expected: check the number and its unit.",
            (),
        ),
        (
            "supply X 31 A 60 V",
            "CP605",
            "60 V",
            "the voltage of a supply of `60 V` is beyond any layout",
            (
                "The wiring of a layout stays at 30 V or less. What carries more can hurt people "
                "or start a fire, and belongs to the maker's instructions, the local code and "
                "licensed practice."
            ),
            (),
        ),
        (
            "supply X 120 V",
            "CP605",
            "120 V",
            "the voltage of a supply of `120 V` is beyond any layout",
            (
                "The wiring of a layout stays at 30 V or less. What carries more can hurt people "
                "or start a fire, and belongs to the maker's instructions, the local code and "
                "licensed practice."
            ),
            (),
        ),
        (
            "driver B2 drives 4R needs 48 V",
            "CP605",
            "48 V",
            "the voltage a driver needs of `48 V` is beyond any layout",
            (
                "The wiring of a layout stays at 30 V or less. What carries more can hurt people "
                "or start a fire, and belongs to the maker's instructions, the local code and "
                "licensed practice."
            ),
            (),
        ),
        (
            "supply X 60 A",
            "CP604",
            "60 A",
            "the current of a supply of `60 A` is beyond any layout",
            "More than 50 A is not to be expected: check the number and its unit.",
            (),
        ),
        (
            "supply X fuse 100 A",
            "CP604",
            "100 A",
            "the rating of a fuse of `100 A` is beyond any layout",
            "More than 50 A is not to be expected: check the number and its unit.",
            (),
        ),
        (
            "stopping distance 2000 m",
            "CP604",
            "2000 m",
            "the stopping distance of `2000 m` is beyond any layout",
            "More than 1,000 m is not to be expected: check the number and its unit.",
            (),
        ),
        (
            "detector D1 current-sensing through s1 turns 101",
            "CP604",
            "101",
            "the number of turns of `101` is beyond any layout",
            "More than 100 is not to be expected: check the number and its unit.",
            (),
        ),
        (
            "detector D1 current-sensing through s1 sensitivity 20 A",
            "CP604",
            "20 A",
            "the sensitivity of a detector of `20 A` is beyond any layout",
            "More than 10 A is not to be expected: check the number and its unit.",
            (),
        ),
        (
            "district South fed by Track-A over 5000 ft of 16 AWG",
            "CP604",
            "5000 ft",
            "the length of a wire of `5000 ft` is beyond any layout",
            "More than 1,000 m is not to be expected: check the number and its unit.",
            (),
        ),
        (
            "district South fed by Track-A over 30 ft of 50 AWG",
            "CP604",
            "50 AWG",
            "the size of a wire of `50 AWG` is beyond any layout",
            "More than 40 AWG is not to be expected: check the number and its unit.",
            (),
        ),
        (
            "  motor slow 300 s",
            "CP604",
            "300 s",
            "the time a motor takes of `300 s` is beyond any layout",
            "More than 60 s is not to be expected: check the number and its unit.",
            (),
        ),
        (
            "detector D1 spot on Main at 0 mm hold 1000 s",
            "CP604",
            "1000 s",
            "the hold time of `1000 s` is beyond any layout",
            "More than 600 s is not to be expected: check the number and its unit.",
            (),
        ),
        (
            "driver B2 drives 4R lamps 15 A",
            "CP604",
            "15 A",
            "the current of a lamp of `15 A` is beyond any layout",
            "More than 5 A is not to be expected: check the number and its unit.",
            (),
        ),
        (
            "trains 1 m to 2 m, wheelsets 11000 kohm",
            "CP604",
            "11000 kohm",
            "the resistance of a wheelset of `11000 kohm` is beyond any layout",
            "More than 10,000,000 ohm is not to be expected: check the number and its unit.",
            (),
        ),
        (
            "scale 1:4000",
            "CP604",
            "4000",
            "the ratio of a scale of `4000` is beyond any layout",
            "More than 1,000 is not to be expected: check the number and its unit.",
            (),
        ),
        (
            "  gap normal 30 m",
            "CP604",
            "30 m",
            "the distance to a gap of `30 m` is beyond any layout",
            "More than 20 m is not to be expected: check the number and its unit.",
            (),
        ),
        (
            "  fouling point 30 m",
            "CP604",
            "30 m",
            "the distance to the fouling point of `30 m` is beyond any layout",
            "More than 20 m is not to be expected: check the number and its unit.",
            (),
        ),
        (
            "driver B2 drives 4R outputs 5000",
            "CP604",
            "5000",
            "the number of outputs of `5000` is beyond any layout",
            "More than 1,000 is not to be expected: check the number and its unit.",
            (),
        ),
        (
            ("signal 4R at Main | T1", "signal 4R at Main | T1 stands 60 m before gap"),
            "CP604",
            "60 m",
            "the distance from a signal to its gap of `60 m` is beyond any layout",
            "More than 20 m is not to be expected: check the number and its unit.",
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
