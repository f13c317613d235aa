"""Alternatives side by side: one driver for each head or a shared one, spot or current sensing,
one supply or two; what each takes is counted, and what is proved of each is said."""

import re
from fractions import Fraction
from pathlib import Path

import pytest

import verifier
from tests.junction_files import spec
from verifier.cli import main
from verifier.properties.amounts import decimal
from verifier.sheets.buying.parts import parts_sheet
from verifier.sheets.options import SheetOptions
from verifier.sheets.sheet import Sheet, Table

FIRST = spec("wired-end-of-siding").read_text("utf-8")
LENGTHS = verifier.load_text(FIRST).wiring.lengths
TRACK = FIRST[: FIRST.index("driver B1")]


def board(name: str, heads: str, outputs: int, reads: str) -> str:
    return (
        f"driver {name} drives {heads}\n  outputs {outputs}\n"
        f"  powered by Bus-1 over 15 ft of 22 AWG\n  reads {reads}, D-Switch, T1 contacts\n"
        "  when input missing shows red\n  when lamp out shows red\n  lamps 15 mA\n  needs 11 V\n"
    )


SHARED = TRACK + board("B1", "4L.upper, 4L.lower, 4RA, 4RB", 8, "D-Main, D-Siding, D-Single")
EACH = TRACK + "".join(
    board(f"B{head}", head, 2, "D-Single" if "R" in head else "D-Main, D-Siding")
    for head in ("4L.upper", "4L.lower", "4RA", "4RB")
).replace("B4L.", "B4L-")


def spots(match: re.Match[str]) -> str:
    """A spot at both ends and between, closer than the shortest train, in place of a detector
    for current; over both legs of points."""
    name, block = match[1], match[1].removeprefix("D-")
    last = LENGTHS[block] * 1000
    places = [f"{decimal(Fraction(mm))} mm" for mm in range(0, int(last), 250)]
    legs = [" over normal T1", " over reverse T1"] if block == "Switch" else [""]
    every = [place + leg for place in places for leg in legs]
    at = ", ".join([*every, f"{decimal(Fraction(last))} mm"])
    return f"detector {name} spot on {block} at {at}\n  powered by Bus-1\n"


SPOTS = re.sub(r"detector (\S+) current-sensing\n(?:  through.*\n|  turns.*\n|  sens.*\n"
               r"|  powered.*\n|  output.*\n|  without.*\n)+",
               lambda m: spots(m) + "  output closed when clear\n", FIRST)  # fmt: skip
APART = FIRST.replace("Bus-1    12 V 5 A fuse 2 A", "Bus-1 12 V 3 A fuse 1 A\n"
                      "supply Bus-2 12 V 3 A fuse 1 A")  # fmt: skip
APART = APART[: APART.index("driver B2")] + APART[APART.index("driver B2") :].replace(
    "powered by Bus-1", "powered by Bus-2"
)
TOGETHER = APART.replace("district East", "common return Bus-1, Bus-2\ndistrict East")


def sheet(*others: tuple[str, str]) -> Sheet:
    plans = [verifier.load_text(text, name) for name, text in (("first.ixl", FIRST), *others)]
    return parts_sheet(plans[0], SheetOptions(spares=0, others=tuple(plans[1:])))


def tables(found: Sheet) -> tuple[dict[str, tuple[str, ...]], Table]:
    parts, proved = found.tables[-2:]
    return {row[0]: row[1:] for row in parts.rows}, proved


def test_a_driver_for_each_head_or_a_shared_one() -> None:
    """With a driver for each head the lower one is not told that the upper one is dark."""
    parts, proved = tables(sheet(("each.ixl", EACH), ("shared.ixl", SHARED)))
    assert {kind: count for kind, count in parts.items() if kind.startswith("driver")} == {
        "driver-2": ("0", "4", "0"), "driver-4": ("2", "0", "0"), "driver-8": ("0", "0", "1"),
    }  # fmt: skip
    assert parts["wire-22AWG"] == ("84 ft", "144 ft", "54 ft")
    assert proved.notes == (
        "each.ixl does NOT keep what is proved of first.ixl: lamp-out, wire-broken.",
        "shared.ixl keeps everything that is proved of first.ixl.",
        "`clearproof prove each.ixl` tells what it does not keep, and why.",
    )


def test_two_supplies_are_as_good_as_one_only_with_a_return_in_common() -> None:
    parts, proved = tables(sheet(("together.ixl", TOGETHER), ("apart.ixl", APART)))
    assert parts["supply-5A"] == ("2", "1", "1") and parts["supply-3A"] == ("0", "2", "2")
    broken = {row[0] for row in proved.rows if row[3] == "BROKEN"}
    assert broken == {"supply-mismatch", "never-shown", "route-never-clears"}
    assert all(row[2].startswith("proved") for row in proved.rows)
    assert proved.notes == (
        "together.ixl keeps everything that is proved of first.ixl.",
        "apart.ixl does NOT keep what is proved of first.ixl: supply-mismatch, never-shown, "
        "route-never-clears.",
        "apart.ixl does NOT do all that first.ixl does: without 4RA Clear, 4RB Clear, "
        "route 4RA to Quarry and route 4RB to Quarry.",
        "`clearproof prove apart.ixl` tells what it does not keep, and why.",
    )


def test_spots_in_place_of_current_sensing() -> None:
    parts, proved = tables(sheet(("spots.ixl", SPOTS)))
    lines = [line for line in SPOTS.splitlines() if line.startswith("detector ")]
    assert parts["current-detector"] == ("4", "0")
    assert parts["spot-detector"] == ("0", str(sum(line.count(" mm") for line in lines)))
    states = {row[0]: row[1:] for row in proved.rows}
    assert states["train-hidden"] == ("not checked", "proved")
    assert states["feeder-undetected"] == ("proved", "not checked")
    assert "Not checked there, so not compared: feeder-undetected" in proved.notes[0]


def test_a_junction_with_a_signal_less_is_not_called_as_good() -> None:
    less = FIRST.replace("signal 4RB", "signal 4RC")
    less = less.replace("drives 4RA, 4RB", "drives 4RA, 4RC")
    _, proved = tables(sheet(("less.ixl", less)))
    assert proved.notes[1] == (
        "less.ixl does NOT do all that first.ixl does: without route 4RB to Quarry."
    )


def test_an_aspect_less_is_told() -> None:
    less = FIRST.replace("  Diverging-Clear  when", "  Clear            when")
    _, proved = tables(sheet(("less.ixl", less)))
    assert "less.ixl does NOT do all that first.ixl does: without 4L Diverging-Clear." in (
        proved.notes
    )


def test_a_file_is_not_compared_with_itself(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.ixl").write_text(FIRST, "utf-8")
    (tmp_path / "b.ixl").write_text("block $", "utf-8")
    command = ["sheet", "a.ixl", "parts", "--compare", "./a.ixl", "--compare", "b.ixl"]
    assert main(command) == 2
    said = capsys.readouterr().err
    assert "--compare:1:1: CP811: `./a.ixl`" in said and "b.ixl:1:7: CP101" in said
