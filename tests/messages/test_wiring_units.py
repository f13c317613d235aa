"""Units that are left out, or of another kind."""

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
