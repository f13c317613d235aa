"""Routes and conflicts once more, worked out apart from the program with networkx.

Source of the rule: 49 CFR 236.796 [V], "Two or more routes, opposing, converging or
intersecting, over which movements cannot be made simultaneously without possibility of
collision", and 236.753 and .806 [V] for where a route begins and ends.

Only the pieces, the joints and the places of the signals are taken from the plan. The line
graph of the track (its points are the ways over a piece of track in one direction) gives
the routes as its simple paths; routes that use one piece of track conflict.
"""

from collections.abc import Iterator
from itertools import combinations, product
from pathlib import Path
from typing import NamedTuple

import networkx as nx
import pytest

import verifier
from tests.junction_files import SPEC_FILES
from tests.published.junctions import ALL
from tests.published.test_vienna_1873 import JUNCTION as VIENNA
from verifier.plan.model import Piece, Plan, Port, Route, Track

# ------------------------------------------------------------------ written afresh


class Way(NamedTuple):
    """A point of the line graph: from the end where a piece of track is entered to where the
    train then stands before the next piece (or before a signal, or at the end of the plan)."""

    enter: Port
    stands: tuple[str, Port]


def rails(piece: Piece) -> dict[frozenset[str], str | None]:
    """Which ends of a piece a train can run between, and how its points then lie."""
    match piece.kind:
        case "plain":
            return {frozenset(("left", "right")): None}
        case "turnout":
            return {frozenset(("points", leg)): leg for leg in ("normal", "reverse")}
        case "crossing" | "slip":
            position = "normal" if piece.kind == "slip" else None
            straight: dict[frozenset[str], str | None] = {
                frozenset((f"{track}-left", f"{track}-right")): position
                for track in ("along", "across")
            }
            return straight | {frozenset(pair): "reverse" for pair in piece.slips}
        case _:
            return {}


class LineGraph:
    """The line graph of a plan's track, cut at its signals."""

    def __init__(self, plan: Plan):
        track: Track = plan.track
        facing = {signal.enters for signal in plan.signals.values()}
        beyond: dict[Port, Port] = {}
        for joint in track.joints:
            beyond[joint.a], beyond[joint.b] = joint.b, joint.a
        self.pieces = track.pieces
        directed: nx.DiGraph[tuple[str, Port]] = nx.DiGraph()
        # (enter, leave, position) of every way; the ends of a piece name it.
        self.over: dict[Way, tuple[Port, Port, str | None]] = {}
        for piece in track.pieces.values():
            for ends, position in rails(piece).items():
                one, two = sorted(ends)
                for enter, leave in ((one, two), (two, one)):
                    begins, ends_at = Port(piece.name, enter), Port(piece.name, leave)
                    onto = beyond[ends_at]
                    stops = onto in facing or track.pieces[onto.piece].kind in ("edge", "bumper")
                    stands = ("stop" if stops else "go", onto)
                    directed.add_edge(("go", begins), stands)
                    self.over[Way(begins, stands)] = begins, ends_at, position
        line = nx.line_graph(directed)
        self.graph = nx.relabel_nodes(line, {node: Way(node[0][1], node[1]) for node in line})

    def routes_from(self, enters: Port) -> Iterator[list[Way]]:
        stops = {way for way in self.graph if way.stands[0] == "stop"}
        for first in [way for way in self.graph if way.enter == enters]:
            if first in stops:
                yield [first]
            else:
                yield from nx.all_simple_paths(self.graph, first, stops)

    def choices(self, enter: Port) -> int:
        return sum(1 for way in self.over if way.enter == enter)


class Found(NamedTuple):
    """A route as both sides describe it."""

    signal: str
    ways: tuple[tuple[Port, Port], ...]
    lies: tuple[tuple[str, str, bool], ...]  # points, position, met facing
    blocks: tuple[str, ...]
    ends_at: tuple[str, Port | str]


def found_here(plan: Plan) -> set[Found]:
    graph = LineGraph(plan)
    found = set()
    for signal in plan.signals.values():
        for path in graph.routes_from(signal.enters):
            over = [graph.over[way] for way in path]
            blocks = [graph.pieces[enter.piece].block for enter, _, _ in over]
            stands = path[-1].stands[1]
            at_end = graph.pieces[stands.piece].kind in ("edge", "bumper")
            found.add(
                Found(
                    signal.name,
                    tuple((enter, leave) for enter, leave, _ in over),
                    tuple(
                        (enter.piece, position, graph.choices(enter) > 1)
                        for enter, _, position in over
                        if position
                    ),
                    tuple(dict.fromkeys(b for b in blocks if b)),
                    ("end", stands.piece) if at_end else ("signal", stands),
                )
            )
    return found


def found_by_the_program(plan: Plan) -> dict[Found, Route]:
    found = {}
    for route in plan.routes:
        ends_at: tuple[str, Port | str] = ("end", route.exit)
        if route.exit_kind == "signal":
            ends_at = ("signal", plan.signals[route.exit].enters)
        found[
            Found(
                route.signal,
                tuple((Port(m.piece, m.enter), Port(m.piece, m.leave)) for m in route.moves),
                tuple((need.points, need.position, need.facing) for need in route.needs),
                route.blocks,
                ends_at,
            )
        ] = route
    assert len(found) == len(plan.routes)
    return found


def ways_of_conflict(one: Found, two: Found) -> set[str]:
    """236.796: how two routes conflict; nothing when they use no piece in common."""
    kinds = set()
    for (in_one, out_one), (in_two, out_two) in product(one.ways, two.ways):
        if in_one.piece != in_two.piece:
            continue
        common = {in_one, out_one} & {in_two, out_two}
        if not common:
            kinds.add("crossing")
        elif all((end == in_one) == (end == in_two) for end in common):
            kinds.add("diverging" if in_one in common else "converging")
        else:
            kinds.add("opposing")
    # Routes that begin together share track until they part: that is one conflict.
    return kinds - {"diverging"} or kinds


# ------------------------------------------------------------------ the comparison


def assert_same(plan: Plan) -> None:
    theirs, ours = found_by_the_program(plan), found_here(plan)
    assert set(theirs) == ours
    assert ours, "a plan without a route compares nothing"
    conflicts: dict[frozenset[str], set[str]] = {}
    for conflict in plan.conflicts:
        pair = frozenset((conflict.first.name, conflict.second.name))
        conflicts.setdefault(pair, set()).add(conflict.kind)
    expected = {
        frozenset((theirs[one].name, theirs[two].name)): kinds
        for one, two in combinations(theirs, 2)
        if (kinds := ways_of_conflict(one, two))
    }
    assert conflicts == expected


@pytest.mark.parametrize("junction", ALL)
def test_49_cfr_236_796_V_line_graph_of_the_test_junctions(junction: str) -> None:
    """236.796 [V]: the junctions of these tests, section 4.3 [C] and W7.7 [M-hi] included."""
    assert_same(ALL[junction].plan())


def test_49_cfr_236_796_V_line_graph_of_vienna_1873() -> None:
    """236.796 [V]: the junction of Vienna 1873, pp. 494-495."""
    assert_same(verifier.load_text(VIENNA))


@pytest.mark.parametrize("path", SPEC_FILES, ids=lambda path: path.stem)
def test_49_cfr_236_796_V_line_graph_of_specs(path: Path) -> None:
    """236.796 [V]: every junction that comes with the program."""
    assert_same(verifier.load(path))


# Trackwork the junctions above have none of: slips, two tracks of one crossing used one
# after the other, a circle of track.
ODD_TRACK = {
    "double-slip": """
        edge A, B, C, D
        block WA, WB, EC, ED, Throat
        slip P1 in Throat
        track A = WA | along P1 | EC = C
        track B = WB | across P1 | ED = D
        signal 1 at WA | P1 Stop otherwise
        signal 2 at WB | P1 Stop otherwise
        signal 3 at EC | P1 Stop otherwise
        signal 4 at ED | P1 Stop otherwise
        """,
    "single-slip": """
        edge A, B, C, D
        block WA, WB, EC, ED, Throat
        slip P1 in Throat single along to across
        track A = WA | along P1 | EC = C
        track B = WB | across P1 | ED = D
        signal 1 at WA | P1 Stop otherwise
        signal 2 at WB | P1 Stop otherwise
        signal 3 at EC | P1 Stop otherwise
        signal 4 at ED | P1 Stop otherwise
        """,
    "figure-eight": """
        block North, South, Diamond
        crossing X in Diamond
        track South | along X | North |(g1) across X |(g2) South
        signal 1 at South | along X Stop otherwise
        signal 2 at North |(g1) X Stop otherwise
        """,
    "double-loop-over-one-diamond": """
        edge In, Out
        block West, Loop, East, Diamond
        crossing X in Diamond
        track In = West | along X | Loop | across X | East = Out
        signal 1 at West | X Stop otherwise
        signal 2 at East | X Stop otherwise
        """,
}


@pytest.mark.parametrize("name", ODD_TRACK)
def test_49_cfr_236_796_V_line_graph_of_odd_trackwork(name: str) -> None:
    """236.796 [V]: slips and crossings met twice."""
    assert_same(verifier.load_text(ODD_TRACK[name]))
