"""The track as a networkx graph says what the ways onward say."""

from pathlib import Path

import networkx as nx
import pytest

import verifier
from tests.junction_files import SPEC_FILES


@pytest.mark.parametrize("path", SPEC_FILES, ids=lambda path: path.stem)
def test_the_graph_has_every_way_onward_and_no_other(path: Path) -> None:
    track = verifier.load(path).track
    graph = track.graph
    ways = {
        (entered, way.leads_to): (way.move, way.joint)
        for entered, onward in track.onward.items()
        for way in onward
    }
    assert {(a, b): (data["move"], data["joint"]) for a, b, data in graph.edges(data=True)} == ways
    assert set(graph) == {(p.name, end) for p in track.pieces.values() for end in p.ends}


@pytest.mark.parametrize("path", SPEC_FILES, ids=lambda path: path.stem)
def test_every_route_is_a_path_of_the_graph(path: Path) -> None:
    plan = verifier.load(path)
    graph = plan.track.graph
    for route in plan.routes:
        ports = [(move.piece, move.enter) for move in route.moves]
        assert nx.is_path(graph, ports)
        assert ports[0] == plan.signals[route.signal].enters


def test_a_signal_refers_to_the_gap_it_stands_at() -> None:
    """The track declares the gap; signals of both directions may stand at it."""
    plan = verifier.load_text(
        "edge West, East\nblock A, B\ntrack West = A |(g1) B = East\n"
        "signal 1R at A |(g1) B  Stop otherwise\nsignal 1L at B |(g1) A  Stop otherwise\n"
    )
    assert list(plan.signals) == ["1R", "1L"]
