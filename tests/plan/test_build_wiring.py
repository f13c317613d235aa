"""What is read from wiring statements, exactly; and input made to stall."""

from fractions import Fraction
from itertools import permutations

import pytest

from tests.junction_files import ROOT
from tests.messages.expecting import TRACK, WIRED, wired
from verifier.api import load, load_text
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.source import Source
from verifier.language.syntax.parse import parse
from verifier.plan.build import build
from verifier.plan.wiring.wiring_model import NO_WIRING, Run, SpotPlace, Wiring


def read(text: str) -> Wiring:
    return load_text(text).wiring


def test_a_file_without_wiring_has_none() -> None:
    assert read(TRACK) == NO_WIRING
    assert not read(TRACK).given


def test_units_are_exact_and_may_be_mixed() -> None:
    for written, meters in (
        ("2400 mm", "2.4"), ("240 cm", "2.4"), ("2.4 m", "2.4"), ("96 in", "2.4384"),
        ("8 ft", "2.4384"), ("8 ft 6 in", "2.5908"), ("0.1 in", "0.00254"), ("1 mm", "0.001"),
    ):  # fmt: skip
        assert read(WIRED + f"  fouling point 1 m\nstopping distance {written}").stopping == (
            Fraction(meters)
        )


def test_supplies_and_what_they_feed() -> None:
    found = read(
        WIRED
        + "supply Bench\nsupply Bus-2 fuse 500 mA 9 V 1.5 A\n"
        + "booster Boost-1 15 V fed by Track-A\n"
        + "district South fed by Boost-1 over 30 ft of 16 AWG\n"
        + "common return Bus-1, Bus-2\n"
    )
    bench, bus, boost = (found.supplies[name] for name in ("Bench", "Bus-2", "Boost-1"))
    assert (bench.volts, bench.amps, bench.fuse, bench.track_power) == (None, None, None, False)
    assert (bus.volts, bus.amps, bus.fuse) == (Fraction(9), Fraction(3, 2), Fraction(1, 2))
    assert (boost.fed_by, boost.track_power, boost.volts) == ("Track-A", True, Fraction(15))
    assert found.districts["South"].run == Run(Fraction("9.144"), 16)
    assert found.districts["North"].run is None
    assert found.common_returns == (("Bus-1", "Bus-2"),)
    assert found.district_of == {"Main": "North", "Siding": "North"}
    assert found.lengths == {"Main": Fraction("2.4"), "Siding": Fraction("2.4384")}
    assert {f.name: f.block for f in found.feeders.values()} == {
        "m1": "Main", "m2": "Main", "s1": "Siding",
    }  # fmt: skip


def test_feeders_with_runs_of_wire_of_their_own() -> None:
    found = read(
        wired(("feeders m1, m2", "feeders m1 over 1 ft of 22 AWG\n  feeders m2 over 1 m of 0 AWG"))
    )
    assert found.feeders["m1"].run == Run(Fraction("0.3048"), 22)
    assert found.feeders["m2"].run == Run(Fraction(1), 0)


CLAUSES = [
    "on Siding", "through s1, m1", "turns 2", "sensitivity 2 mA", "hold 1500 ms",
    "powered by Bus-1", "output closed when occupied", "isolated output",
    "without track power reads occupied",
]  # fmt: skip


def test_a_current_sensing_detector_with_its_clauses_in_any_order() -> None:
    found = {
        detector
        for shift in range(len(CLAUSES))
        for order in (CLAUSES[shift:] + CLAUSES[:shift], CLAUSES[shift::-1] + CLAUSES[:shift:-1])
        for detector in [without_place("detector D9 current-sensing " + "\n  ".join(order))]
    }
    assert found == {
        ("D9", "current-sensing", "Siding", ("s1", "m1"), 2, Fraction("0.002"), (),
         Fraction(3, 2), "Bus-1", "occupied", True, True)
    }  # fmt: skip


def without_place(statement: str) -> tuple[object, ...]:
    d = read(WIRED + statement).detectors["D9"]
    return (d.name, d.kind, d.block, d.through, d.turns, d.sensitivity, d.spots, d.hold,
            d.supply, d.closed_when, d.isolated, d.without_power)  # fmt: skip


def test_a_detector_that_says_little() -> None:
    found = read(WIRED).detectors["D-Main"]
    assert (found.block, found.through, found.turns) == ("Main", ("m1", "m2"), 1)
    assert [found.supply, found.hold, found.sensitivity, found.closed_when] == [None] * 4
    assert not (found.isolated or found.without_power)


def test_a_detector_speaks_for_the_block_of_its_first_feeder() -> None:
    assert without_place("detector D9 current-sensing through s1, m1")[2] == "Siding"
    assert without_place("detector D9 current-sensing through m1, s1")[2] == "Main"


def test_a_spot_detector_at_both_ends_of_its_block() -> None:
    found = without_place("detector D9 spot on Main at 2400 mm, 0 mm, 1.2 m, 47.244094 in")
    places = (0, Fraction("1.1999999876"), Fraction("1.2"), Fraction("2.4"))
    assert found[6] == tuple(SpotPlace(Fraction(at)) for at in places)


DRIVER = [
    "outputs 6", "powered by Bus-1 over 10 ft of 22 AWG", "reads D-Main, T1 contacts",
    "when input missing shows flashing red", "when lamp out shows dark", "lamps 15 mA",
    "needs 11 V",
]  # fmt: skip


def test_a_driver_with_its_clauses_in_any_order() -> None:
    seen = set()
    for order in list(permutations(DRIVER))[:: 5040 // 24]:
        d = read(WIRED + "driver B9 drives 4L.lower, 4R " + " ".join(order)).drivers["B9"]
        assert d.reads is not None
        reads = tuple((r.name, r.contacts) for r in d.reads)
        seen.add((d.heads, d.outputs, d.supply, d.run, reads, d.when_missing, d.when_out, d.lamp,
                  d.needs))  # fmt: skip
    assert seen == {
        (("4L.lower", "4R"), 6, "Bus-1", Run(Fraction("3.048"), 22),
         (("D-Main", False), ("T1", True)), "flashing red", "dark", Fraction("0.015"), Fraction(11))
    }  # fmt: skip


def test_a_driver_that_says_nothing_is_taken_to_read_all() -> None:
    found = read(WIRED)
    driver = found.drivers["B1"]
    assert [driver.reads, driver.supply, driver.outputs] == [None] * 3
    assert found.driver_of("4L.upper") is driver
    assert found.driver_of("4L.lower") is None


def test_a_board_that_does_not_say_so_reads_what_its_own_heads_go_by() -> None:
    """By hand. 1 shows Clear when B is clear: on both boards; 1.upper is lit for a train on A,
    1.lower is an arm. 3.upper goes by C, 3.lower by B."""
    layout = ROOT / "tests" / "census" / "layouts" / "heads-on-two-boards.ixl"
    assert load(layout).equipment.detector_readers == {
        "D-A": ("B1",), "D-B": ("B1", "B2"), "D-C": ("B1",),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("clause", "contacts"),
    [
        ("  motor snap", None),
        ("  no contacts", ()),
        ("  contact normal", ("normal",)),
        ("  contacts reverse", ("reverse",)),
        ("  contacts reverse, normal", ("normal", "reverse")),
    ],
)
def test_contacts(clause: str, contacts: tuple[str, ...] | None) -> None:
    assert read(WIRED + clause).machines["T1"].contacts == contacts


def test_a_turnout_with_everything() -> None:
    found = read(
        WIRED + "  gap reverse 15 cm, normal 8 in\n  motor slow 3 s\n  powered by Bus-1\n"
        "  thrown by T1-lever\n  fouling point 180 mm\n"
    ).machines["T1"]
    assert (found.motor, found.seconds, found.supply, found.lever) == (
        "slow", Fraction(3), "Bus-1", "T1-lever",
    )  # fmt: skip
    assert found.gaps == {"normal": Fraction("0.2032"), "reverse": Fraction("0.15")}
    assert found.fouling == Fraction("0.18")


def test_a_turnout_of_which_nothing_is_said_has_no_machine() -> None:
    assert read(WIRED).machines == {}


def test_trains_scale_and_where_signals_stand() -> None:
    found = read(
        wired(("signal 4R at Main | T1", "signal 4R at Main | T1 stands 2 in before gap"))
        + "trains 600 mm to 2200 mm, wheelsets 10 kohm, detectable at both ends\nscale 1:48.5\n"
    )
    assert found.trains and (found.trains.shortest, found.trains.longest) == (
        Fraction("0.6"), Fraction("2.2"),
    )  # fmt: skip
    assert (found.trains.detectable, found.trains.wheelsets) == ("ends", Fraction(10_000))
    assert found.scale == Fraction("48.5")
    assert found.set_back == {"4R": Fraction("0.0508")}
    for said, meant in (("throughout", "throughout"), ("at the locomotive only", "locomotive")):
        trains = read(WIRED + f"trains 1 m to 1 m, detectable {said}").trains
        assert trains and trains.detectable == meant
    assert read(WIRED + "scale HO").scale == Fraction("87.1")


def test_blocks_may_be_joined_without_a_gap_once_feeders_or_detectors_are_given() -> None:
    joined = "edge West, East\nblock Main, Single\ntrack West = Main = Single = East\n"
    with pytest.raises(InputError) as caught:
        load_text(joined)
    assert [d.code for d in caught.value.diagnostics] == ["CP305"]
    with pytest.raises(InputError):
        load_text(joined + "supply Bus-1 12 V\n")
    assert load_text(joined.replace("Main, Single", "Main feeders m1\nblock Single")).wiring.feeders
    assert load_text(
        joined.replace("Main, Single", "Main 1 m\nblock Single") + "detector D spot on Main at 0 m"
    )


def test_a_detector_through_the_feeder_of_another_block_is_read() -> None:
    assert without_place("detector D9 current-sensing on Main through s1")[2] == "Main"


def test_a_driver_with_more_heads_than_outputs_is_read() -> None:
    assert read(WIRED + "driver B9 drives 4L.lower, 4R outputs 1").drivers["B9"].outputs == 1


# ------------------------------------------------------------------ made to stall


@pytest.mark.parametrize(
    "number",
    [
        "9" * 5_000,
        "0." + "0" * 5_000 + "1",
        "9" * 200_000,
        "1." * 5_000,
        "9" * 16,
        "1_000",
        "٣",
        "1e9",
    ],
    ids=lambda number: f"{number[:4]}{len(number)}",
)
def test_no_number_is_too_strange_to_be_answered(number: str) -> None:
    for text in (
        f"stopping distance {number} mm", f"stopping distance {number}mm", f"scale 1:{number}",
        f"block {number} {number} m", f"supply {number} {number} V fuse {number} A",
        f"driver B9 drives {number} outputs {number}", f"trains {number} {number} to {number}",
    ):  # fmt: skip
        with pytest.raises(InputError):
            load_text(WIRED + text)


def test_thousands_of_everything_are_read() -> None:
    count = 3_000
    many = ", ".join(f"f{n}" for n in range(count))
    source = Source(
        "many.ixl",
        wired(("feeders m1, m2", f"feeders m1, m2, {many}"))
        + f"detector D9 current-sensing through {many}\n"
        + "".join(f"supply P{n} 12 V\n" for n in range(count))
        + "".join(f"booster Q{n} fed by {'Track-A' if n == 0 else f'Q{n - 1}'}\n"
                  for n in range(count))
        + "common return " + ", ".join(f"P{n}" for n in range(count))
    )  # fmt: skip
    found = build(source, parse(source)).wiring
    assert len(found.detectors["D9"].through) == count
    assert found.supplies[f"Q{count - 1}"].fed_by == f"Q{count - 2}"


def test_thousands_of_errors_are_answered() -> None:
    count = 2_000
    many = ", ".join(f"f{n}" for n in range(count))
    circle = "".join(f"booster Q{n} fed by Q{(n + 1) % count}\n" for n in range(count))
    with pytest.raises(InputError) as caught:
        load_text(WIRED + f"detector D9 current-sensing through {many}\n" + circle)
    codes = [d.code for d in caught.value.diagnostics]
    assert codes.count("CP201") == count and codes.count("CP616") == 1
