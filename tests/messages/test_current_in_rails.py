"""What is said of rails, feeders and distances between points that cannot be."""

import pytest

from tests.messages.expecting import expect
from verifier.api import load_text
from verifier.language.diagnostics.diagnostic import InputError


@pytest.mark.parametrize(
    ("change", "code", "underlined", "message", "hint", "more"),
    [
        (
            "block Yard feeders y1 at 3 m",
            "CP660",
            "3 m",
            "feeder `y1` has a place, but block `Yard` has no length",
            "Write `block Yard 2400 mm`.",
            ("the block is declared here",),
        ),
        (
            "block Yard 2 m feeders y1 at 3 m",
            "CP660",
            "3 m",
            "feeder `y1` would be beyond the end of block `Yard`",
            "Measure from the left end of the block, as the `track` line draws it.",
            ("the block is declared here",),
        ),
        (
            "block Yard 2 m feeders y1 at 1 m over 1 ft of 22 AWG, y2 at 2 m",
            "CP104",
            ",",
            "`,` was not expected here",
            "The wire, and its fuse, behind a list of feeders is that of each of them. Begin "
            "another list for other wire: `feeders m1 at 16 in over 1 ft of 22 AWG feeders m2 at "
            "7 ft over 2 ft of 22 AWG`.",
            (),
        ),
        (
            "rail code 55",
            "CP661",
            "55",
            "the resistance of rail code 55 is not known here",
            "Known are codes 100, 83 and 70. Give the resistance of one rail: `rail code 55 of 100 "
            "mohm to 200 mohm per m`.",
            (),
        ),
        (
            "rail code 55 of 200 mohm to 100 mohm per m",
            "CP661",
            "200 mohm to 100 mohm",
            "the least resistance of this rail is more than the greatest",
            "Write the smaller one first: `of 80 mohm to 120 mohm per m`.",
            (),
        ),
        (
            "rail code 55 of 100 mohm to 200 mohm per mm",
            "CP661",
            "rail code 55 of 100 mohm to 200 mohm per mm",
            "the resistance of this rail is for no length that is known here",
            "Write `per m`, `per ft` or `per in`.",
            (),
        ),
        (
            "rail code 83\nrail code 70",
            "CP606",
            "rail code 70",
            "the rail of all other blocks is given twice",
            "Keep one: it holds for the whole layout.",
            ("the first one is here",),
        ),
        (
            "trains 600 mm to 2200 mm, load 5 mA to 1 mA",
            "CP614",
            "load 5 mA to 1 mA",
            "the least load is more than the greatest",
            "Write the smaller current first: `load 10 mA to 800 mA`.",
            (),
        ),
    ],
)
def test_what_current_divides_by(
    change: str, code: str, underlined: str, message: str, hint: str, more: tuple[str, ...]
) -> None:
    track = (
        "track West = Yard | Main = East"
        if "Yard" in change
        else "track West = Main | Single = East"
    )
    yard = "" if "Yard" in change else "block Single"
    text = f"edge West, East\nblock Main\n{yard}\n{change}\n{track}\n"
    expect(text, code=code, underlined=underlined, message=message, hint=hint, more=more)


# A throat of three turnouts, with one more clause below T1, or a feeder.
THROAT = """\
edge West, A-East, B-East, C-East, D-East
block Single, A, B, C, D
block Throat 2 m {feeder}
turnout T7 in Throat
turnout T5 in Throat
turnout T1 in Throat {clause}
turnout T9 in A
track West = Single | T1 normal | T9 normal = A-East
track T1 reverse = T5 normal = T7 normal | B = B-East
track T5 reverse | C = C-East
track T7 reverse | D = D-East
bumper Stub
track T9 reverse = Stub
"""


@pytest.mark.parametrize(
    ("feeder", "clause", "code", "underlined", "message", "hint", "more"),
    [
        ("feeders f1 at 1 m before T9", "", "CP660", "before T9",
         "`T9` is not in block `Throat`, but in `A`", "Measure from points in block `Throat`.",
         "it is declared here"),
        ("feeders f1 at 1 m", "", "CP660", "1 m",
         "`at` is not one place in block `Throat`, which is more than one stretch of plain track",
         "Measure it from points: `at 300 mm before T7`, or `at 300 mm beyond normal T7`.",
         "the block is declared here"),
        ("feeders f1 at 1 m beyond along T1", "", "CP660", "beyond along T1",
         "a turnout has two legs",
         "Write `beyond normal T1`, `beyond reverse T1`, or `before T1`.", "it is declared here"),
        ("feeders f1 at 3 m beyond normal T1", "", "CP660", "3 m",
         "feeder `f1` would be beyond the end of block `Throat`",
         "Measure along the rail from the points, or give the block its whole length.",
         "the block is declared here"),
        ("feeders f1 at 9 in beyond reverse T1", "points at 200 mm before T5", "CP660", "9 in",
         "feeder `f1` would be beyond the points of `T5`",
         "Measure it from `T5`, on the leg that it is on.", "the feeder is here"),
        ("", "points at 200 mm before T7", "CP660", "200 mm before T7",
         "no rail of block `Throat` leads from there to `T1` without other points between",
         "Measure from the next points in the block: `beyond` them on the leg that leads to `T1`, "
         "or `before` them.", "`T1` is declared here"),
        ("", "bonded over 4 in of 22 AWG frog live by points", "CP663",
         "bonded over 4 in of 22 AWG",
         "no jumper joins the rails beyond a live frog to the stock rails",
         "They change with the frog. Take out `bonded …`, or write `frog dead` for a frog that "
         "is insulated.", "the frog is live by this"),
    ],
)  # fmt: skip
def test_rails_through_points(
    feeder: str, clause: str, code: str, underlined: str, message: str, hint: str, more: str
) -> None:
    text = THROAT.format(feeder=feeder, clause=clause)
    expect(text, code=code, underlined=underlined, message=message, hint=hint, more=(more,))


@pytest.mark.parametrize(
    ("below_t1", "below_t5", "underlined"),
    [
        ("before T5", "points at 20 in beyond reverse T1", "200 mm before T5"),
        ("before T5, 7 in before T5", "", "7 in before T5"),
        ("before T5", "points at 20 cm beyond reverse T1, 9 mm before T7", ""),
    ],
)
def test_two_distances_between_the_same_points(
    below_t1: str, below_t5: str, underlined: str
) -> None:
    text = THROAT.format(feeder="", clause=f"points at 200 mm {below_t1}")
    text = text.replace("turnout T5 in Throat", f"turnout T5 in Throat {below_t5}")
    if not underlined:
        assert "T5" in load_text(text).wiring.machines
        return
    said = "the points of `T5` and `T1` are given two distances that differ"
    hint = "Keep the one that is right: given below either turnout, it holds for both."
    more = ("the other distance is here",)
    expect(text, code="CP660", underlined=underlined, message=said, hint=hint, more=more)


@pytest.mark.parametrize(("length", "said"), [("190 mm", True), ("8 in", False)])
def test_points_no_farther_apart_than_their_block_is_long(length: str, said: bool) -> None:
    text = THROAT.format(feeder="", clause="points at 200 mm before T5")
    text = text.replace("block Throat 2 m", f"block Throat {length}")
    if not said:
        assert "T1" in load_text(text).wiring.machines
        return
    expect(
        text, code="CP660", underlined="200 mm before T5",
        message="the points of `T1` would be beyond the end of block `Throat`",
        hint="Measure along the rail from points to points, or give the block its whole length.",
        more=("`T1` is declared here",),
    )  # fmt: skip


def test_feeders_and_districts_name_the_blocks_they_are_for() -> None:
    text = """\
edge West, East
supply T track power
district North on Main, Single fed by T
block Main, Single
  feeders m1, m2 on Main
  feeders s1 on Single
block Spur
track West = Main | Single | Spur = East
"""
    wiring = load_text(text).wiring
    assert wiring.district_of == {"Main": "North", "Single": "North"}
    assert [f.name for f in wiring.feeders_of("Single")] == ["s1"]
    for old, new, code, said in (
        ("s1 on Single", "s1 on Spur", "CP608", "has a statement of its own"),
        ("s1 on Single", "s1", "CP608", "`feeders m1, m2 on Main`"),
        ("block Main, Single", "block Main, Single in North", "CP610", "in district `North` twice"),
    ):
        with pytest.raises(InputError) as wrong:
            load_text(text.replace(old, new))
        found = next(d for d in wrong.value.diagnostics if d.code == code)
        assert said in f"{found.message} {found.hint}"
