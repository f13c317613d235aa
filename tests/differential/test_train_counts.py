"""`at most 2 trains` on generated junctions: logic and solver against the evaluator in single
moments, and both against groups counted with networkx; and what it cannot say."""

from random import Random

import networkx as nx
import pytest

import verifier
from tests.differential.junctions import built, write_junction
from tests.differential.test_generated import check
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.reference.condition_eval import true_in


def groups(plan: Plan, occupied: set[str]) -> int:
    """How many groups of pieces hang together, all of occupied blocks or of none, that have any
    piece of an occupied block."""
    graph: nx.Graph[str] = nx.Graph()
    for piece in plan.track.pieces.values():
        if piece.kind not in ("edge", "bumper") and (
            piece.block is None or piece.block in occupied
        ):
            graph.add_node(piece.name)
    for joint in plan.track.joints:
        if joint.a.piece in graph and joint.b.piece in graph:
            graph.add_edge(joint.a.piece, joint.b.piece)
    for block in occupied:  # one block in two places counts as one
        pieces = [n for n in graph if plan.track.pieces[n].block == block]
        graph.add_edges_from((pieces[0], other) for other in pieces[1:])
    track = plan.track.pieces
    return sum(any(track[n].block for n in part) for part in nx.connected_components(graph))


@pytest.mark.parametrize("seed", range(12))
def test_nothing_is_left_out_that_so_many_trains_can_bring_about(seed: int) -> None:
    r, exact = Random(230 + seed), 0
    text = write_junction(r, 200)
    plans = [built(f"{text}\nat most {most} trains") for most in (1, 2, 3)]
    for _ in range(60):
        share = r.random()
        blocks = {p.block for p in plans[0].track.pieces.values()} - {None}
        occupied = {block for block in sorted(map(str, blocks)) if r.random() < share}
        states = {
            observables.stock(b): "occupied" if b in occupied else "vacant"
            for b in map(str, blocks)
        }
        there = groups(plans[0], occupied)
        for most, plan in enumerate(plans, 1):
            (counted,) = (a for a in plan.assumptions if a.trains)
            allowed = true_in(counted.condition, states, plan)
            assert allowed or there > most, (text, occupied)
            exact += allowed == (there <= most)
    assert exact > 150  # of 180: it is looser only about stock all around a ring


@pytest.mark.parametrize("seed", range(3))
def test_single_moments(seed: int) -> None:
    r = Random(231 + seed)
    check(f"{write_junction(r, 100)}\nat most {r.choice((1, 1, 2))} trains\n", r)


TRACK = "edge West, East\nblock Main, Single\ntrack West = Main | Single = East\n"


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ("at most 0 trains", "with no train there is nothing to prove"),
        ("at most 1.5 trains", "`1.5` is no number of trains"),
        ("at most 2 trains\nat most 3 trains", "how many trains there are at most is said twice"),
        (
            "at most 2 trains\ntrains obey signals",
            "`at most` cannot be used in a file that is proved over time",
        ),
    ],
)
def test_numbers_that_cannot_be(lines: str, says: str) -> None:
    with pytest.raises(verifier.InputError) as found:
        verifier.load_text(TRACK + lines)
    assert [(d.code, d.message) for d in found.value.diagnostics] == [("CP218", says)]


def test_what_needs_more_trains_contradicts_it() -> None:
    """One train lies over two blocks that adjoin, but not over two with a vacant one between."""
    lines = "edge West, East\nblock A, B, C\ntrack West = A | B | C = East\nat most 1 train\n"
    lines += "signal 2R at A | B\n  Clear when B clear\n  Stop otherwise\n"
    apart = verifier.load_text(
        f'{lines}assume "both" always train on A and train on C and B vacant'
    )
    with pytest.raises(verifier.InputError, match="with at most 1 train on the plan"):
        verifier.prove(apart)
    close = verifier.load_text(f'{lines}assume "both" always train on A and train on B')
    assert verifier.prove(close).verdicts
