"""The constructed reference tables: section 4.3 of the sources, marked ours [C].

Built only from 49 CFR 236.303, .308, .403 and .796 ([V]), the counts by brute force over
sets of routes. Nothing here reads a rule: every signal stands at stop.
"""

from itertools import combinations

import pytest

from tests.published.junctions import CROSSOVER, DIAMOND, END_OF_SIDING, admissible, conflict_pairs
from verifier.plan.model import Plan, Route


def by_name(plan: Plan) -> dict[str, Route]:
    return {route.name: route for route in plan.routes}


def conflicting(routes: dict[str, str], plan: Plan) -> dict[str, set[str]]:
    """For each route (by our short name) those it conflicts with: a row of the matrix."""
    pairs = conflict_pairs(plan)
    return {
        one: {two for two in routes if frozenset((routes[one], routes[two])) in pairs}
        for one in routes
    }


# ------------------------------------------------------------------ end of siding

SIDING_ROUTES = {
    "R1": "2E to Main-East",
    "R2": "2E to Siding-East",
    "R3": "4W-M to Quarry",
    "R4": "4W-S to Quarry",
}


@pytest.mark.parametrize(
    ("row", "signal", "turnout", "must_be_clear", "conflicts"),
    [
        ("R1", "2E", "normal", {"OS", "M"}, {"R2", "R3", "R4"}),
        ("R2", "2E", "reverse", {"OS", "S"}, {"R1", "R3", "R4"}),
        ("R3", "4W-M", "normal", {"OS", "Single"}, {"R1", "R2", "R4"}),
        ("R4", "4W-S", "reverse", {"OS", "Single"}, {"R1", "R2", "R3"}),
    ],
    ids=lambda value: value if isinstance(value, str) and value.startswith("R") else "",
)
def test_section_4_3_C_end_of_siding_row(
    row: str, signal: str, turnout: str, must_be_clear: set[str], conflicts: set[str]
) -> None:
    """Section 4.3 [C], end of siding, one row: signal, turnout, track, conflicts."""
    plan = END_OF_SIDING.plan()
    route = by_name(plan)[SIDING_ROUTES[row]]
    assert route.signal == signal
    assert [(need.points, need.position) for need in route.needs] == [("T", turnout)]
    assert set(route.blocks) == must_be_clear
    assert conflicting(SIDING_ROUTES, plan)[row] == conflicts


def test_section_4_3_C_end_of_siding_ways_of_conflict() -> None:
    """Section 4.3 [C] with 236.796 [V]: how each pair conflicts."""
    r1, r2, r3, r4 = SIDING_ROUTES.values()
    assert conflict_pairs(END_OF_SIDING.plan()) == {
        frozenset((r1, r2)): {"diverging"},
        frozenset((r3, r4)): {"converging"},
        **{frozenset(pair): {"opposing"} for pair in ((r1, r3), (r1, r4), (r2, r3), (r2, r4))},
    }


def test_section_4_3_C_end_of_siding_five_of_sixteen_sets() -> None:
    """Section 4.3 [C]: 5 admissible sets of 16, the empty one and the four single routes."""
    plan = END_OF_SIDING.plan()
    assert {route.name for route in plan.routes} == set(SIDING_ROUTES.values())
    sets = admissible(SIDING_ROUTES, plan)
    assert sets == {frozenset(), *(frozenset({route}) for route in SIDING_ROUTES)}
    assert len(sets) == 5


# ------------------------------------------------------------------ crossover

CROSSOVER_ROUTES = {
    "1E": "1E to One-East",
    "1W": "1W to One-West",
    "2E": "2E to Two-East",
    "2W": "2W to Two-West",
    "XE": "1E to Two-East",
    "XW": "2W to One-West",
}
STRAIGHT = {"1E", "1W", "2E", "2W"}


def test_section_4_3_C_crossover_conflicts() -> None:
    """Section 4.3 [C]: 1E-1W, 2E-2W, XE-XW, and each of XE, XW with all four straight ones."""
    plan = CROSSOVER.plan()
    assert {route.name for route in plan.routes} == set(CROSSOVER_ROUTES.values())
    assert conflicting(CROSSOVER_ROUTES, plan) == {
        "1E": {"1W", "XE", "XW"},
        "1W": {"1E", "XE", "XW"},
        "2E": {"2W", "XE", "XW"},
        "2W": {"2E", "XE", "XW"},
        "XE": {"XW", *STRAIGHT},
        "XW": {"XE", *STRAIGHT},
    }


def test_section_4_3_C_crossover_positions() -> None:
    """Section 4.3 [C]: the straight routes with X normal, the others with both ends reverse."""
    routes = by_name(CROSSOVER.plan())
    lies = {
        short: {need.points: need.position for need in routes[name].needs}
        for short, name in CROSSOVER_ROUTES.items()
    }
    assert lies == {
        "1E": {"X1": "normal"}, "1W": {"X1": "normal"},
        "2E": {"X2": "normal"}, "2W": {"X2": "normal"},
        "XE": {"X1": "reverse", "X2": "reverse"}, "XW": {"X1": "reverse", "X2": "reverse"},
    }  # fmt: skip


def test_section_4_3_C_crossover_eleven_of_sixty_four_sets() -> None:
    """Section 4.3 [C]: 11 admissible sets of 64."""
    sets = admissible(CROSSOVER_ROUTES, CROSSOVER.plan())
    assert len(sets) == 11
    pairs = {frozenset((a, b)) for a in ("1E", "1W") for b in ("2E", "2W")}
    singles = {frozenset({route}) for route in CROSSOVER_ROUTES}
    assert sets == {frozenset()} | singles | pairs


# ------------------------------------------------------------------ diamond

DIAMOND_ROUTES = {
    "PE": "PE to P-East",
    "PW": "PW to P-West",
    "QN": "QN to Q-North",
    "QS": "QS to Q-South",
}


def test_section_4_3_C_diamond_all_pairs_conflict_without_a_turnout() -> None:
    """Section 4.3 [C] with 236.796 [V]: opposing on one track, intersecting on the two, "although
    no turnout exists"."""
    plan = DIAMOND.plan()
    assert all(route.needs == () for route in plan.routes)
    names = DIAMOND_ROUTES
    assert conflict_pairs(plan) == {
        frozenset((names[a], names[b])): {"opposing" if a[0] == b[0] else "crossing"}
        for a, b in combinations(names, 2)
    }


def test_section_4_3_C_diamond_five_of_sixteen_sets() -> None:
    """Section 4.3 [C]: 5 admissible sets of 16."""
    plan = DIAMOND.plan()
    assert {route.name for route in plan.routes} == set(DIAMOND_ROUTES.values())
    sets = admissible(DIAMOND_ROUTES, plan)
    assert sets == {frozenset(), *(frozenset({route}) for route in DIAMOND_ROUTES)}
    assert len(sets) == 5
