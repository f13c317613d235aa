"""The locking sheet says what the track says, against a sheet worked out by hand."""

import verifier
from verifier.sheets.locking import locking_sheet

PLAN = """
edge West-Main, West-Siding, Quarry
block Main, Siding, Switch, Single, Spur
turnout T1, T2 in Switch
bumper End
track West-Main = Main | normal T1 = T2 normal | Single = Quarry
track West-Siding = Siding | reverse T1
track T2 reverse | Spur = End
derail D1 on Spur toward T2
signal 4L at Single | T2
  heads upper, lower
  Clear           when T2, T1 normal and D1 derailing and Switch, Main clear
  Diverging-Clear when T2 normal and T1 reverse and D1 derailing and Switch, Siding clear
  Stop            otherwise
signal 4RA at Main | T1
  Clear when T2, T1 normal and D1 derailing and Switch, Single clear
  Stop  otherwise
"""


def rows(title: str) -> list[list[str]]:
    """The cells of the table with this title."""
    sheet = locking_sheet(verifier.load_text(PLAN, "sheet.ixl"))
    [table] = [table for table in sheet.tables if table.title == title]
    return [list(row) for row in table.rows]


def test_routes_with_points_blocks_and_devices() -> None:
    # Worked out by hand from the track: T1 faces trains from the east end, T2 those from the
    # west end, so each route meets one of them facing and the other trailing.
    assert rows("Routes") == [
        ["1", "4L", "West-Main", "T2 N(t) T1 N(f)", "Switch, Main", "D1 derailing", "2 3 4"],
        ["2", "4L", "West-Siding", "T2 N(t) T1 R(f)", "Switch, Siding", "D1 derailing", "1 3 4"],
        ["3", "4RA", "Quarry", "T1 N(t) T2 N(f)", "Switch, Single", "D1 derailing", "1 2 4"],
        ["4", "4RA", "End", "T1 N(t) T2 R(f)", "Switch, Spur", "D1 non-derailing", "1 2 3"],
    ]


def test_every_pair_of_routes_conflicts_and_how() -> None:
    assert [[row[0], row[2]] for row in rows("Conflicting routes")] == [
        ["1 and 2", "same start"],
        ["1 and 3", "opposing"],
        ["1 and 4", "opposing"],
        ["2 and 3", "opposing"],
        ["2 and 4", "opposing"],
        ["3 and 4", "same start"],
    ]


def test_fouling_lists_every_route_over_a_block() -> None:
    assert rows("Fouling") == [
        ["Main", "1"],
        ["Siding", "2"],
        ["Switch", "1 2 3 4"],
        ["Single", "3"],
        ["Spur", "4"],
    ]


def test_ways_in_without_a_signal_are_told() -> None:
    [[at, track, ways]] = rows("Interlocking limits")
    assert (at, track) == ("T1", "Siding, T1, T2")
    assert set(ways.split(", ")) == {"4L", "4RA", "West-Siding (no signal)", "End (derail D1)"}
