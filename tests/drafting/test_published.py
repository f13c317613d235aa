"""Which routes a drafted panel lets be clear at once, beside published locking tables; where the
two differ, why.

Sources: those of :mod:`tests.published.test_vienna_1873`, :mod:`tests.published.tram` and
:mod:`tests.published.train_yard`. Of the tram and the yard, sections that no signal parts are one
block here, since a draft sets a signal at each gap where a train can wait.
"""

from collections.abc import Iterator, Mapping
from itertools import combinations

import pytest

from tests.drafting.trying import draft_of
from tests.published.junctions import aspects
from tests.published.test_vienna_1873 import JUNCTION
from tests.published.train_yard import ROUTES as YARD_ROUTES
from tests.published.tram import SETTING
from verifier import load_text
from verifier.plan.model import Plan, Route

YARD = """\
edge L, C, G, M, N
block LA, Sec-C, Sec-G, MH, Sec-N
block In-B, In-D, In-F, In-I, In-J, In-K
turnout B in In-B
turnout D in In-D
turnout F in In-F
turnout I in In-I
turnout J in In-J
crossing K in In-K
track L = LA | B normal | Sec-C = C
track B reverse | D normal | normal F | Sec-G = G
track D reverse | along K | reverse J
track M = MH | I normal | normal J | Sec-N = N
track I reverse | across K | reverse F
"""

TRAM = """\
edge V1 entering only
edge Q1, V2 leaving only
edge Q2, Q3
block S3, S5, S6, S10, S11, S4, S4-East, S7, S8, S9
turnout SW1 in S4
turnout SW3 in S4-East
turnout SW4 in S7
turnout SW2 in S8
turnout SW5 in S9
track V1 = S3 | normal SW1 | SW3 normal | S5 = Q1
track V2 = S6 | SW4 normal | normal SW2 | SW5 normal | S10 = Q2
track SW5 reverse | S11 = Q3
track SW3 reverse | reverse SW2
track SW4 reverse | reverse SW1
"""

Pairs = set[frozenset[str]]


def ways(plan: Plan, straight: frozenset[str] = frozenset()) -> Mapping[str, Route]:
    """The routes from edge to edge that have rules, by both ends; of those with other points, the
    ones over ``straight`` points that lie normal."""
    found = {}
    for route in plan.routes:
        thrown = any(n.points in straight and n.position == "reverse" for n in route.needs)
        if thrown or plan.track.pieces[route.exit].direction == "entering":
            continue
        port = plan.signals[route.signal].joint.other(plan.signals[route.signal].enters)
        inner = plan.track.joint_at[port.__class__(port.piece, _other(port.end))]
        outer = inner.other(port.__class__(port.piece, _other(port.end))).piece
        if plan.track.pieces[outer].kind == "edge":
            found[f"{outer}-{route.exit}"] = route
    return found


def _other(end: str) -> str:
    return "right" if end == "left" else "left"


def together(plan: Plan, routes: Mapping[str, Route]) -> Pairs:
    """The pairs of routes that clear at once, with points and levers thrown for both."""
    return {
        frozenset((one, two))
        for one, two in combinations(routes, 2)
        if _clear_both(plan, routes[one], routes[two])
    }


def _clear_both(plan: Plan, one: Route, two: Route) -> bool:
    facts: dict[str, str] = {}
    for what, state in (*_thrown(one), *_thrown(two)):
        if facts.setdefault(what, state) != state:
            return False
    if one.signal == two.signal:
        return False
    shown = aspects(plan, facts, one.signal, two.signal)
    return "Stop" not in shown.values()


def _thrown(route: Route) -> Iterator[tuple[str, str]]:
    """How points lie for a route, and its lever: of 2RA lever 2, to the right."""
    number = route.signal.rstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    yield number, "right" if route.signal[len(number)] == "R" else "left"
    yield from ((need.points, need.position) for need in route.needs)


def test_vienna_1873_pp494_495() -> None:
    """The home signals: those lowered at once are the published ones. MD and BD leave one signal
    here too, which the points tell apart; the machine of 1873 has a lever for each of its arms."""
    track = JUNCTION.split("interlocking limits", maxsplit=1)[0]
    plan = load_text(draft_of(track))
    named = {
        ("Switch-5", "Up-Out"): "MU", ("X", "Up-Out"): "BU",
        ("Switch-6", "Main-Down-Out"): "MD", ("Switch-6", "Branch-Down-Out"): "BD",
    }  # fmt: skip
    routes = {
        named[(route.pieces[0], route.exit)]: route
        for route in plan.routes
        if (route.pieces[0], route.exit) in named
    }
    assert set(routes) == {"MU", "MD", "BU", "BD"}
    assert together(plan, routes) == {
        frozenset(pair) for pair in (("MU", "MD"), ("MU", "BD"), ("BU", "BD"))
    }
    assert routes["MD"].signal == routes["BD"].signal


def test_abrials_train_yard() -> None:
    """Ten routes; two are used at once exactly where they have no block in common."""
    plan = load_text(draft_of(YARD))
    routes = ways(plan)
    ends = {f"{path[0]}-{path[-1]}": set(path) for path in YARD_ROUTES.values()}
    assert set(routes) == set(ends)
    apart = {frozenset((a, b)) for a, b in combinations(ends, 2) if ends[a].isdisjoint(ends[b])}
    assert together(plan, routes) == apart and len(apart) == 12


def test_the_tram_interlocking() -> None:
    """The relays that each route needs down, but for one thing: the tram never throws SW1 and SW4,
    and here the way from Q2 and Q3 over these has routes of its own."""
    plan = load_text(draft_of(TRAM))
    published = {
        "V1Q1": "V1-Q1", "V1Q2": "V1-Q2", "Q2V2": "Q2-V2", "V1Q3": "V1-Q3", "Q3V2": "Q3-V2",
    }  # fmt: skip
    straight = ways(plan, frozenset({"SW1", "SW4"}))
    assert set(straight) == {*published.values()}
    relay = {"r1": "V1Q1", "r2": "V1Q2", "r3": "Q2V2", "r4": "V1Q3", "r5": "Q3V2"}
    excluded = {
        frozenset((published[route], published[relay[test]]))
        for route, tests in SETTING.items()
        for test in tests.split()
        if test in relay
    }
    every = {frozenset(pair) for pair in combinations(straight, 2)}
    assert together(plan, straight) == every - excluded


@pytest.mark.parametrize("text", [YARD, TRAM])
def test_relays_of_buttons_exclude_the_same_routes(text: str) -> None:
    """What the levers keep apart, or points, the relays of an entrance-exit panel do."""
    levers, buttons = load_text(draft_of(text)), load_text(draft_of(text, panel="buttons"))
    assert {route.name for route in levers.routes} == {route.name for route in buttons.routes}
    into = [route for route in buttons.routes if route.exit != "V1"]  # where trains only come in
    routes = [name for name in buttons.locking.relays if not name.endswith("-ready")]
    assert len(routes) == len(into)
