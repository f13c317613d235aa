"""The electrical sheet, worked out by hand beside it.

Resistances of wire are those of the published table (hyperphysics wire table [V], ohms for 1000
ft at 20 °C); all else is the law of Ohm on paper.
"""

from fractions import Fraction
from itertools import product
from pathlib import Path

import pytest

import verifier
from verifier.cli import main
from verifier.language.source import Source
from verifier.plan.model import Plan
from verifier.plan.situation import Situation
from verifier.plan.wiring.electrical_constants import FUSES, PREFERRED
from verifier.reference.evaluator import Evaluator
from verifier.sheets.buying.prices import prices_in
from verifier.sheets.electrical import electrical_sheet
from verifier.sheets.options import USUAL_OPTIONS, SheetOptions
from verifier.sheets.test_card import coin_tests

OHMS_PER_KILOFOOT = {14: 2.525, 18: 6.385, 22: 16.14}

# The two heads of 4L are never both lit, and 4R is dark while 4L is not at stop.
FILE = """
edge West, East
block Main 10 ft in North
  feeders m1 over 2 ft of 22 AWG
block Single
track West = Main | Single = East
lever 4 positions left, normal, right
supply Track-A track power 15 V 5 A fuse 5 A
supply Bus-1 12 V 2 A fuse 1 A
district North fed by Track-A over 30 ft of 14 AWG
detector D-Main current-sensing through m1 powered by Bus-1
signal 4L at Single | Main
  heads upper, lower
head 4L.upper
  green when 4 left and Main clear
  dark  otherwise
head 4L.lower
  dark when 4 left and Main clear
  red  otherwise
signal 4R at Main | Single
head 4R
  dark when 4 left and Main clear
  red  otherwise
driver B1 drives 4L.upper, 4L.lower
  powered by Bus-1 over 30 ft of 18 AWG lamps 300 mA needs 11.8 V
driver B2 drives 4R powered by Bus-1 over 10 ft of 22 AWG lamps 200 mA needs 10 V
"""


def rows(text: str, title: str, asked: SheetOptions = USUAL_OPTIONS) -> dict[str, tuple[str, ...]]:
    found = electrical_sheet(verifier.load_text(text), asked)
    return {row[0]: row[1:] for table in found.tables if table.title == title for row in table.rows}


def said(text: str, asked: SheetOptions = USUAL_OPTIONS) -> str:
    found = electrical_sheet(verifier.load_text(text), asked)
    return " ".join((*found.notes, *(note for table in found.tables for note in table.notes)))


def amps_in(text: str) -> float:
    """`1.5 A`, `300 mA`."""
    number, unit = text.split()
    return float(number) / {"A": 1, "mA": 1000}[unit]


# ------------------------------------------------------------------ loads


def most_lit(plan: Plan) -> Fraction:
    """By looking at every situation there is."""
    evaluator, most = Evaluator(plan), Fraction(0)
    for values in product(*(what.values for what in plan.inputs)):
        seen = evaluator.see(Situation.of(zip(plan.inputs, values, strict=True)))
        lit = [
            plan.wiring.driver_of(head.name)
            for signal in plan.signals.values()
            for head in signal.heads
            if seen.states[head.lens] != "dark"
        ]
        most = max(most, sum((d.lamp for d in lit if d and d.lamp), Fraction(0)))
    return most


def test_the_load_is_the_most_that_can_be_lit_together_not_the_sum() -> None:
    (load,) = rows(FILE, "Load").values()
    # All three: 800 mA. Together: a head of 4L and 4R, 500 mA.
    assert load == ("2 A", "3", "800 mA", "500 mA", "proved", "0 mA", "1.5 A")
    assert most_lit(verifier.load_text(FILE)) == Fraction("0.5")


def test_a_supply_that_is_too_small_is_told() -> None:
    (load,) = rows(FILE.replace("12 V 2 A", "12 V 400 mA"), "Load").values()
    assert load[-1] == "TOO MUCH"


# ------------------------------------------------------------------ voltages


def test_voltage_at_the_end_of_each_run() -> None:
    ends = rows(FILE, "Voltage at the end of each run")
    for name, volts, (feet, gauge), amps in (
        ("B1", 12, (30, 18), 0.3),  # one of its two heads
        ("B2", 12, (10, 22), 0.2),
        ("North", 15, (30, 14), 5),
    ):
        lost = 2 * feet * OHMS_PER_KILOFOOT[gauge] / 1000 * amps
        assert float(ends[name][3].split()[0]) == pytest.approx(lost, abs=0.0101)
        assert float(ends[name][4].split()[0]) == pytest.approx(volts - lost, abs=0.0101)
    at_rails = 15 - 5 * 2 * (30 * OHMS_PER_KILOFOOT[14] + 2 * OHMS_PER_KILOFOOT[22]) / 1000
    assert float(ends["m1"][4].split()[0]) == pytest.approx(at_rails, abs=0.0101)
    # 12 V less 0.115 V are 11.885 V.
    assert ends["B1"][-2:] == ("11.8 V", "yes") and ends["B2"][-1] == "yes"
    ends = rows(FILE.replace("needs 11.8 V", "needs 11.9 V"), "Voltage at the end of each run")
    assert ends["B1"][-1] == "TOO LOW"


# ------------------------------------------------------------------ fuses

RATED = "kind,price,currency,rating\nwire-14AWG,,,10 A\nwire-18AWG,,,3 A\nwire-22AWG,,,800 mA\n"


def rated(text: str = RATED) -> SheetOptions:
    return SheetOptions(prices=prices_in(Source("parts.csv", text)))


def test_a_fuse_carries_the_lamps_and_is_no_larger_than_the_wire_is_rated_for() -> None:
    fuse = rows(FILE, "Fuses", rated())["Bus-1"]
    # 500 mA are three quarters of 666.67 mA; on sale are 750 and 800 mA.
    assert fuse[:5] == ("1 A", "500 mA", "666.67 mA", "800 mA",
                        "the 22 AWG wire to B2 is rated for that")  # fmt: skip
    assert fuse[5].startswith("NOT the one in the file: 750 mA to 800 mA")
    fuse = rows(FILE.replace("fuse 1 A", "fuse 750 mA"), "Fuses", rated())["Bus-1"]
    assert fuse[5].startswith("the one in the file (750 mA to 800 mA)")


def test_no_fuse_fits_where_the_wire_is_too_thin() -> None:
    thin = rated(RATED.replace("800 mA", "600 mA"))
    assert rows(FILE, "Fuses", thin)["Bus-1"][5].startswith("none fits")


def test_a_short_far_away_blows_it_or_it_is_too_large() -> None:
    text = FILE.replace("over 10 ft of 22 AWG", "over 2000 ft of 22 AWG").replace(
        "12 V 2 A", "12 V 5 A"
    )
    fuse = rows(text, "Fuses")["Bus-1"]
    flows = 12 / (2 * 2000 * OHMS_PER_KILOFOOT[22] / 1000)
    # A fuse of a kind that is not known opens for sure at 2.1 times its rating.
    assert amps_in(fuse[3]) == pytest.approx(flows / 2.1, rel=0.01) and "short at B2" in fuse[4]


@pytest.mark.parametrize("prices", [None, RATED])
def test_wire_of_which_nothing_is_known_is_never_taken_to_bear_the_fuse(
    prices: str | None,
) -> None:
    """The detector's wires have no size in the file, so what the fuse must suit is not known."""
    asked = rated(prices) if prices else USUAL_OPTIONS
    assert rows(FILE, "Fuses", asked)["Bus-1"][5].endswith(", if the wire is rated for it")
    assert "the size of 2 wires behind the fuse of Bus-1" in said(FILE, asked)
    assert ("14 AWG, 18 AWG and 22 AWG is rated for is not known" in said(FILE, asked)) == (
        prices is None
    )
    every = FILE.replace(" powered by Bus-1\nsignal", "\nsignal")
    fuse = rows(every, "Fuses", rated())["Bus-1"]
    assert fuse[5] == "NOT the one in the file: 750 mA to 800 mA"


def test_no_fuse_is_said_to_be_small_enough_where_the_file_does_not_say_what_is_given() -> None:
    """A short draws more than 10 A here, which is no reason to take a fuse of 10 A."""
    text = FILE.replace("supply Bus-1 12 V 2 A fuse 1 A", "supply Bus-1 12 V")
    take = rows(text, "Fuses")["Bus-1"][5]
    assert take == "750 mA or more, but no more than it gives, if the wire is rated for it"
    text = FILE.replace("15 V 5 A fuse 5 A", "15 V fuse 5 A")
    assert rows(text, "Fuses")["Track-A"][5] == "what it gives is not in the file"


def test_fuses_on_sale_are_in_order() -> None:
    assert list(FUSES) == sorted(set(FUSES))


# ------------------------------------------------------------------ resistors

LAMPS = FILE.replace("lamps 300 mA", "lamps 15 mA").replace("lamps 200 mA", "lamps 8 mA")


def test_resistors_by_hand() -> None:
    found = electrical_sheet(verifier.load_text(LAMPS), USUAL_OPTIONS)
    (table,) = [t for t in found.tables if t.title == "Resistors for LEDs"]
    assert table.rows == (
        # (12 - 2.2) / 0.015 = 653.33; next in E24 and E12: 680; 0.147 W, twice that 0.294 W
        ("B1", "green", "2.2 V", "12 V", "15 mA", "653.33 ohm", "680 ohm", "680 ohm", "1/2 W"),
        ("B1", "red", "2 V", "12 V", "15 mA", "666.67 ohm", "680 ohm", "680 ohm", "1/2 W"),
        # (12 - 2) / 0.008 = 1250; next in E24 1300, in E12 1500; 0.08 W, twice that 0.16 W
        ("B2", "red", "2 V", "12 V", "8 mA", "1.25 kohm", "1.3 kohm", "1.5 kohm", "1/4 W"),
    )


def test_resistors_alike_stand_together() -> None:
    both = FILE.replace("lamps 300 mA", "lamps 8 mA").replace("lamps 200 mA", "lamps 8 mA")
    found = rows(both, "Resistors for LEDs")
    assert {drivers: row[0] for drivers, row in found.items()} == {"B1": "green", "B1, B2": "red"}


def test_volts_across_an_led_of_ones_own() -> None:
    own = SheetOptions(forward={"red": Fraction("1.8"), "green": Fraction("3.0")})
    found = electrical_sheet(verifier.load_text(LAMPS.replace("12 V", "3 V")), own)
    (table,) = [t for t in found.tables if t.title == "Resistors for LEDs"]
    assert [row[2:9] for row in table.rows] == [
        ("3 V", "3 V", "15 mA", "too few volts", "-", "-", "-"),
        ("1.8 V", "3 V", "15 mA", "80 ohm", "82 ohm", "82 ohm", "1/8 W"),
        ("1.8 V", "3 V", "8 mA", "150 ohm", "150 ohm", "150 ohm", "1/8 W"),
    ]
    assert all(82 in values for values in PREFERRED.values())


# ------------------------------------------------------------------ the command


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--led", "red"], "write red=1.8"),
        (["--led", "red=1,8"], "write red=1.8"),
        (["--led", "red=NaN"], "write red=1.8"),
        (["--led", "red=٣"], "write red=1.8"),
        (["--led", "purple=2"], "colors: red, yellow, green, blue, lunar, white"),
        (["--led", "red=0"], "1 to 5 V"),
        (["--led", "red=100"], "1 to 5 V"),
        (["--led", "red=1.8", "--led", "RED=2"], "--led has red twice"),
        (["--spares", "5"], "--spares is for the sheet parts"),
        (["--first", "4L"], "--first is for the sheet parts"),
        (["--compare", "b.ixl"], "--compare is for the sheet parts"),
        (["--wire-colors", "red"], "--wire-colors is for the sheet wiring"),
    ],
)
def test_options_that_cannot_be(
    options: list[str], message: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "a.ixl"
    path.write_text(FILE, "utf-8")
    try:
        code: object = main(["sheet", str(path), "electrical", *options])
    except SystemExit as stop:
        code = stop.code
    assert code == 2 and message in capsys.readouterr().err


def test_the_command_prints_the_sheet_with_ones_own_leds(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "a.ixl"
    path.write_text(LAMPS, "utf-8")
    assert main(["sheet", str(path), "electrical", "--csv", "--led", "Red = 1.9 V"]) == 0
    assert "B1,red,1.9 V,12 V,15 mA,673.33 ohm,680 ohm,680 ohm,1/2 W\r\n" in (
        capsys.readouterr().out
    )


COINS = """
edge West, East
supply T track power DCC 15 V 5 A fuse 5 A electronic
booster B fed by T 15 V 3 A fuse 3 A resettable trips at 3 A
supply F track power DCC 15 V 5 A fuse 2 A UL
reverser R fed by T
district One fed by T
district Two fed by B
district Three fed by F
district Four fed by R
block A, A2 in One
block B1 in Two
block C in Three
block D in Four
track West = A | A2 || B1 || C || D = East
"""


def test_a_coin_on_the_rails_opens_the_nearest_limit_and_leaves_the_rest_live() -> None:
    """Common practice, no source: the coin, or quarter, test. An ordinary fuse would be spent."""
    rows = {row[0]: row[2] for row in coin_tests(verifier.load_text(COINS)).rows}
    assert list(rows) == ["One", "Two", "Four"]
    assert "T cuts off at once (5 A): A, A2, B1 and D dead; C stays live" in rows["One"]
    assert "B opens, within the time on its sheet (3 A): B1 dead; A, A2, C and D" in rows["Two"]
    assert "T cuts off at once (5 A): A, A2, B1 and D dead" in rows["Four"]
