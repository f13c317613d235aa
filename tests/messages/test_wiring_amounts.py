"""Numbers and units that cannot be, or are written otherwise."""

import pytest

from tests.messages.expecting import Change, expect, wired


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
