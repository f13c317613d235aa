"""Trains that reach over two gaps, and over a gap between two supplies (common practice, no
source: a section is longer than the longest train; nothing may join DC and DCC)."""

import pytest

import verifier

SIGNALS = 'prove "something" never train on A and A vacant\n'
TRAIN = "trains 300 mm to 2 m\n"
LOOP = """
edge West
supply S track power DCC
reverser R fed by S
district Plain fed by S
district Around fed by R
block A, Switch in Plain
block Loop{} in Around
turnout T1 in Switch
track West = A | T1 normal || Loop || reverse T1
signal 2 at Loop || normal T1 Stop otherwise
signal 4 at Loop || reverse T1 Stop otherwise
"""
# The section has points in it: a siding beside the loop, so a train may run either way round.
TWO_WAYS = """
edge West
supply S track power DCC
reverser R fed by S
district Plain fed by S
district Around fed by R
block A, Switch in Plain
block In 400 mm in Around
block Out 400 mm in Around
block Long 3 m in Around
block Short{} in Around
turnout T1 in Switch
turnout T3 in In
turnout T5 in Out
track West = A | T1 normal || T3 normal | Long | normal T5 || reverse T1
track T3 reverse | Short | reverse T5
signal 2 at T3 || normal T1 Stop otherwise
signal 4 at T5 || reverse T1 Stop otherwise
"""
# The section is the points themselves: the loop beyond is fed as the line is, so that the one way
# round or the other comes back turned.
POINTS = """
edge West
supply S track power DCC
reverser R fed by S
district Plain fed by S
district Around fed by R
block A, Loop in Plain
block Switch{} in Around
turnout T1 in Switch
track West = A || T1 normal || Loop || reverse T1
signal 4 at Loop || normal T1 Stop otherwise
signal 6 at Loop || reverse T1 Stop otherwise
"""
# A section that no way round comes back turned through: only a straight piece of line.
STRAIGHT = """
edge West, East
supply S track power DCC
reverser R fed by S
district Around fed by R
block A, C
block B 500 mm in Around
track West = A || B || C = East
"""
MEET = """
edge West, East
supply S1 track power {}
supply S2 track power {}
{}
district One fed by {}
district Two fed by {}
block A in One
block B in Two
track West = A || B = East
"""
DEAD = """
edge West, East, Mill
supply S1 track power DC
supply S2 track power DCC
district One fed by S1
district Two fed by S2
block A in One
block Mid {}
block B, C in Two
turnout T1 in Mid
track West = A || T1 normal || B = East
track T1 reverse || C = Mill
"""


def status(name: str, text: str) -> dict[str, str]:
    """Proving compares the census too."""
    verdicts = verifier.prove(verifier.load_text(text + SIGNALS), only=[name]).verdicts
    return {", ".join(v.obligation.subjects): v.status for v in verdicts}


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (TRAIN + LOOP.format(" 1999 mm"), {"R": "broken"}),
        (TRAIN + LOOP.format(" 2 m"), {"R": "proved"}),
        (TRAIN + LOOP.format(""), {}),
        (LOOP.format(" 1999 mm"), {}),
        (TRAIN + TWO_WAYS.format(" 1199 mm"), {"R": "broken"}),
        # 400 + 1200 + 400 mm, of which the blocks with points may be shorter.
        (TRAIN + TWO_WAYS.format(" 1200 mm"), {}),
        (TRAIN + TWO_WAYS.format(" 2 m"), {"R": "proved"}),
        (TRAIN + STRAIGHT, {}),
        (TRAIN + POINTS.format(" 1999 mm"), {"R": "broken"}),
        # Only its longest way is surely so long.
        (TRAIN + POINTS.format(" 2 m"), {}),
    ],
)
def test_a_reversing_section_is_longer_than_the_longest_train(
    text: str, expected: dict[str, str]
) -> None:
    assert status("section-too-short", text) == expected


@pytest.mark.parametrize(
    ("one", "two", "more", "expected"),
    [
        ("DC", "DCC", "", "broken"),
        ("AC", "DCC", "", "broken"),
        ("DC", "AC", "common return S1, S2", "broken"),
        ("DC", "DC", "", "proved"),
        ("DCC", "DCC", "", "broken"),
        ("DCC", "DCC", "common return S1, S2", "broken"),
        ("AC", "AC", "", "broken"),
        ("AC", "AC", "common return S1, S2", "proved"),
        ("DCC", "", "", None),
    ],
)
def test_what_two_supplies_may_meet(one: str, two: str, more: str, expected: str | None) -> None:
    text = MEET.format(one, two, more, "S1", "S2")
    assert status("supplies-bridged", text) == ({"A, B": expected} if expected else {})


def test_boosters_of_one_source_may_meet_but_not_of_another_kind() -> None:
    for kind, expected in (("", "proved"), (" DC", "broken")):
        more = f"booster B1 fed by S1\nbooster B2 fed by B1{kind}"
        text = MEET.format("DCC", "DC", more, "B1", "B2")
        assert status("supplies-bridged", text) == {"A, B": expected}


@pytest.mark.parametrize("length", ["", "1 m", "5 m"])
def test_a_dead_block_with_points_may_be_short_one_way(length: str) -> None:
    """Only its longest way is as long as the file says."""
    found = status("supplies-bridged", TRAIN + DEAD.format(length))
    assert found == {"A, B": "broken", "A, C": "broken"}


def test_a_dead_block_of_one_way_keeps_apart_what_it_is_long_enough_for() -> None:
    for length, expected in (("1999 mm", "broken"), ("2 m", "proved")):
        text = DEAD.format(length).replace("turnout T1 in Mid\n", "")
        text = text.replace("T1 normal", "Mid").replace("track T1 reverse || C = Mill\n", "")
        text = text.replace(", Mill", "").replace("B, C", "B")
        assert status("supplies-bridged", TRAIN + text) == {"A, B": expected}


@pytest.mark.parametrize(("block", "expected"), [("3 m", "proved"), ("3 m feeders m1", "broken")])
def test_a_block_with_feeders_keeps_no_supplies_apart(block: str, expected: str) -> None:
    """Whatever feeds it, it goes together with one of the two at most."""
    text = DEAD.format(block).replace("turnout T1 in Mid\n", "")
    text = text.replace("T1 normal", "Mid").replace("track T1 reverse || C = Mill\n", "")
    text = text.replace(", Mill", "").replace("B, C", "B")
    assert status("supplies-bridged", TRAIN + text) == {"A, B": expected}


def test_without_lengths_it_is_said_what_is_taken() -> None:
    from verifier.explain.assumptions.texts import assumption_texts

    plan = verifier.load_text(TRAIN + LOOP.format(""))
    assert any("section of R" in said for said in assumption_texts(plan))
    plan = verifier.load_text(MEET.format("DCC", "", "", "S1", "S2"))
    assert any("Whether S2 is DC" in said for said in assumption_texts(plan))
