"""The three-aspect chain of automatic block signals: section 4.1 of the sources, check (i).

Read in a secondary source [S], the page "7.2 Train on line" of a private web site on railways:
"Red: train in the next block; yellow: train in the block after next; green: next two blocks
empty". The table of five rows is ours [C].
"""

import pytest

from tests.published.junctions import (
    AUTOMATIC_BLOCKS,
    aspects,
    assert_broken,
    assert_proved,
    broken,
)

NORMAL_ABS = {
    "S1": "Clear when b1 clear and S2 proceeds\nApproach when b1 clear",
    "S2": "Clear when b2 clear and S3 proceeds\nApproach when b2 clear",
    "S3": "Clear when b3 clear",
}
COLOR = {"Clear": "G", "Approach": "Y", "Stop": "R"}


@pytest.mark.parametrize(
    ("trains", "expected"),
    [
        ((), "G G G"),
        (("b3",), "G Y R"),
        (("b2",), "Y R G"),
        (("b1",), "R G G"),
        (("b1", "b3"), "R Y R"),
    ],
    ids=lambda value: "+".join(value) or "none" if isinstance(value, tuple) else value,
)
def test_three_aspect_abs_chain_S_C_table(trains: tuple[str, ...], expected: str) -> None:
    """Three-aspect ABS: red for a train in the next block, yellow for one in the block after
    next, green otherwise ("7.2 Train on line" [S]); the five
    rows of section 4.1 check (i) of the sources file [C]."""
    plan = AUTOMATIC_BLOCKS.plan(NORMAL_ABS)
    shown = aspects(plan, dict.fromkeys(trains, "occupied"), "S1", "S2", "S3")
    assert " ".join(COLOR[shown[name]] for name in ("S1", "S2", "S3")) == expected


def test_three_aspect_abs_chain_S_C_safe() -> None:
    """The same rules, proved (section 4.1 check (i) [C])."""
    assert_proved(AUTOMATIC_BLOCKS.prove(NORMAL_ABS))


def test_three_aspect_abs_chain_S_C_green_with_b2_occupied_unsafe() -> None:
    """ "Any rule set whose S1 shows G with b2 occupied = UNSAFE (no braking block)", section
    4.1 check (i) [C]."""
    report = AUTOMATIC_BLOCKS.prove(NORMAL_ABS | {"S1": "Clear when b1 clear"})
    assert broken(report) == {"approach-untruthful: S1, S2"}
    assert_broken(
        report,
        "approach-untruthful: S1, S2",
        {"b2": "occupied"},
        {"S1": "Clear", "S2": "Stop", "S3": "Clear"},
        {"b1", "b2"},
    )
