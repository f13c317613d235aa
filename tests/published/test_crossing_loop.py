"""A single-track crossing loop: item W7.7 of the notes on published interlockings.

Marked [M-hi] there: the shape is from memory, with high confidence, and of no named source.
West line, west point 1, loop tracks A and B, east point 2, east line; a home signal at each
end, and starters from A and B each way.
"""

from itertools import combinations

from tests.published.junctions import (
    CROSSING_LOOP,
    assert_broken,
    assert_proved,
    broken,
    conflict_pairs,
)

HOME_W_A, HOME_W_B = "Home-W to AE", "Home-W to BE"
HOME_E_A, HOME_E_B = "Home-E to AW", "Home-E to BW"
WEST_END = (HOME_W_A, HOME_W_B, "AW to West", "BW to West")
EAST_END = (HOME_E_A, HOME_E_B, "AE to East", "BE to East")


def test_w7_7_M_hi_routes_and_points() -> None:
    """W7.7 [M-hi]: "home west (to A: 1 N; to B: 1 R), home east (to A: 2 N; to B: 2 R)"."""
    needs = {
        route.name: [(need.points, need.position) for need in route.needs]
        for route in CROSSING_LOOP.plan().routes
    }
    assert needs == {
        HOME_W_A: [("P1", "normal")], HOME_W_B: [("P1", "reverse")],
        HOME_E_A: [("P2", "normal")], HOME_E_B: [("P2", "reverse")],
        "AW to West": [("P1", "normal")], "BW to West": [("P1", "reverse")],
        "AE to East": [("P2", "normal")], "BE to East": [("P2", "reverse")],
    }  # fmt: skip


def test_w7_7_M_hi_conflicts_from_geometry() -> None:
    """W7.7 [M-hi]: "each home conflicts with the other home to the same track"; at each end
    every two routes conflict; nothing else does. Homes to different tracks do not meet: that
    they may need an overlap is no matter of the track."""
    pairs = conflict_pairs(CROSSING_LOOP.plan())
    ends = {frozenset(pair) for end in (WEST_END, EAST_END) for pair in combinations(end, 2)}
    homes = {frozenset((HOME_W_A, HOME_E_A)), frozenset((HOME_W_B, HOME_E_B))}
    assert set(pairs) == ends | homes
    assert {name for pair in homes for name in pairs[pair]} == {"opposing"}
    for home_a, home_b, from_a, from_b in (WEST_END, EAST_END):
        assert pairs[frozenset((home_a, home_b))] == {"diverging"}
        assert pairs[frozenset((from_a, from_b))] == {"converging"}
        for home in (home_a, home_b):
            for starter in (from_a, from_b):
                assert pairs[frozenset((home, starter))] == {"opposing"}


LEVERS = """
lever West-Token, East-Token positions inward, normal, outward
lever A-For, B-For positions westward, normal, eastward
"""
LOOP_RULES = {
    "Home-W": "Approach when West-Token inward and A-For eastward and P1 normal and One, A clear\n"
    "Diverging-Approach when West-Token inward and B-For eastward and P1 reverse and One, B clear",
    "Home-E": "Approach when East-Token inward and A-For westward and P2 normal and Two, A clear\n"
    "Diverging-Approach when East-Token inward and B-For westward and P2 reverse and Two, B clear",
    "AW": "Clear when West-Token outward and P1 normal and One, W clear",
    "BW": "Clear when West-Token outward and P1 reverse and One, W clear",
    "AE": "Clear when East-Token outward and P2 normal and Two, E clear",
    "BE": "Clear when East-Token outward and P2 reverse and Two, E clear",
}


def test_w7_7_M_hi_token_and_homes_exclusive_safe() -> None:
    """W7.7 [M-hi], expected safe with: "one direction token per line, homes to one track
    mutually exclusive, starters against opposing homes to the same line"."""
    assert_proved(CROSSING_LOOP.prove(LOOP_RULES, LEVERS))


def test_w7_7_M_hi_token_dropped_from_a_starter_unsafe() -> None:
    """W7.7 [M-hi], mutant: "drop the token from one starter: head-on on the line"."""
    mutant = LOOP_RULES | {"AW": LOOP_RULES["AW"].replace("West-Token outward and", "")}
    report = CROSSING_LOOP.prove(mutant, LEVERS)
    assert broken(report) == {"opposing-proceeds: Home-W, AW"}
    assert_broken(
        report,
        "opposing-proceeds: Home-W, AW",
        {"West-Token": "inward", "A-For": "eastward"},
        {"Home-W": "Approach", "AW": "Clear"},
    )


def test_w7_7_M_hi_homes_to_one_track_not_exclusive_unsafe() -> None:
    """W7.7 [M-hi], rule: "each home conflicts with the other home to the same track"."""
    mutant = LOOP_RULES | {"Home-E": LOOP_RULES["Home-E"].replace("A-For westward and", "")}
    report = CROSSING_LOOP.prove(mutant, LEVERS)
    assert broken(report) == {"opposing-proceeds: Home-W, Home-E"}
    assert_broken(
        report,
        "opposing-proceeds: Home-W, Home-E",
        {"West-Token": "inward", "East-Token": "inward", "A-For": "eastward"},
        {"Home-W": "Approach", "Home-E": "Approach"},
    )


def test_w7_7_M_hi_point_dropped_from_a_home_unsafe() -> None:
    """W7.7 [M-hi], mutant: "drop '1 N' from home to A: derail or wrong track"."""
    mutant = LOOP_RULES | {"Home-W": LOOP_RULES["Home-W"].replace("P1 normal and", "")}
    report = CROSSING_LOOP.prove(mutant, LEVERS)
    assert {"proceed-over-open-points: Home-W, P1", "aspect-against-route: Home-W"} <= broken(
        report
    )
    facts = {"West-Token": "inward", "A-For": "eastward"}
    shows = {"Home-W": "Approach"}
    assert_broken(report, "proceed-over-open-points: Home-W, P1", facts | {"P1": "open"}, shows)
    assert_broken(report, "aspect-against-route: Home-W", facts | {"P1": "reverse"}, shows)
