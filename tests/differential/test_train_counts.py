"""`at most 2 trains` on generated junctions: logic and solver against the evaluator in single
moments and over time, and both against groups counted with networkx; and what it cannot say."""

from collections import Counter
from collections.abc import Mapping
from random import Random

import networkx as nx
import pytest

import verifier
from tests.differential.junctions import built, write_junction
from tests.differential.locked import write_locked
from tests.differential.small_lines import write_line
from tests.differential.steps import any_start
from tests.differential.test_explicit_states import agree
from tests.differential.test_generated import check
from tests.differential.test_histories import loaded, steps_agree
from verifier.plan import observables
from verifier.plan.model import Assumption, Plan
from verifier.plan.observables import Observable
from verifier.reference.condition_eval import true_in
from verifier.reference.step import Stepper
from verifier.workbench.document import Document
from verifier.workbench.situation_play import Play
from verifier.workbench.temporal_play import TemporalPlay
from verifier.world.world import World


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


# ------------------------------------------------------------------ over time


@pytest.mark.parametrize("seed", range(8))
def test_every_step_is_the_same(seed: int) -> None:
    """The system and the stepper allow the same moments, those that no history has included."""
    r = Random(240 + seed)
    plan = loaded(f"{write_locked(r, 800)}\nat most {r.choice((1, 2))} trains\n")
    if plan is not None:
        steps_agree(plan, r, lossy=False)


def test_the_engines_agree_with_the_search_over_the_stepper() -> None:
    answers: Counter[str] = Counter()
    for seed in range(6):
        plan = loaded(f"{write_line(Random(seed))}\nat most {1 + seed % 2} trains\n")
        if plan is not None:
            answers.update(agree(plan))
    assert answers["never"] and answers["proved"] and answers["reached late"], answers


def standing(plan: Plan, moment: Mapping[Observable, str]) -> int:
    """How many groups of occupied pieces hang together by joints that trains span."""
    graph: nx.Graph[str] = nx.Graph()
    on = (w.name for w, state in moment.items() if w.kind == "train" and state == "occupied")
    graph.add_nodes_from(on)
    for joint in plan.track.joints:
        spans = moment.get(observables.across(joint.name)) == "spanned"
        if spans and joint.a.piece in graph and joint.b.piece in graph:
            graph.add_edge(joint.a.piece, joint.b.piece)
    return nx.number_connected_components(graph)


def test_trains_are_counted_one_by_one() -> None:
    """In histories at random, a step is kept from happening just where more trains than allowed are
    on the plan with those that come in; so there never are more, and often as many."""
    most, seen = 2, Counter[int]()
    for seed in range(12):
        r = Random(250 + seed)
        plan = loaded(f"{write_locked(r, 400)}\nat most {most} trains\n")
        if plan is None:
            continue
        stepper = Stepper(plan)
        state = any_start(stepper, r)
        for _ in range(60):
            made = {w: r.choice(w.values) for w in stepper.choices}
            step = stepper.step({**state, **made})
            there, then = standing(plan, state), standing(plan, step.successor)
            refused = any(isinstance(broken, Assumption) for broken in step.broken)
            assert there <= most and (refused or then <= most)
            assert not refused or there == most or then > most
            seen[then] += not refused
            state = state if refused else dict(step.successor)
    assert seen[1] > 50 and seen[2] > 50 and not seen[3], seen


LINE = """
edge West, East
block A, B, C
track West = A | B | C = East
signal 2R at A | B
  Clear when C clear
  Stop otherwise
signal 2L at C | B
  Clear when A clear
  Stop otherwise
trains obey signals
"""
# One more edge, over which trains come in just while another is there.
TWO_WAYS_IN = """
turnout T1 in T
edge North entering when T occupied
track North = reverse T1
""" + LINE.replace("block A", "block T, A").replace("West = A", "West = normal T1 | A")


def test_a_second_train_is_what_a_collision_takes() -> None:
    """One train cannot meet another, nor come in while it is there, onto taken track included."""
    for line, more in (("", True), ("at most 2 trains", True), ("at most 1 train", False)):
        for text in (LINE, TWO_WAYS_IN):
            report = verifier.prove(verifier.load_text(f"{text}\n{line}"), only=["collision"])
            assert ("broken" in {v.status for v in report.verdicts}) == more, (line, text)


def test_one_train_can_always_leave_and_come_again() -> None:
    report = verifier.prove(verifier.load_text(f"{LINE}\nat most 1 train"))
    again = [v.status for v in report.verdicts if v.obligation.over == "for good"]
    assert again and set(again) == {"proved"}
    assert not report.kept_out


def test_more_trains_at_the_start_than_there_may_be_are_no_start() -> None:
    """Two trains that face each other there never leave; one that is alone always can."""
    text = f"{LINE}\ntrains never reverse\ntrains start on A, C\n"
    for line, status in (("", "broken"), ("at most 1 train", "proved")):
        plan = verifier.load_text(f"{text}{line}")
        report = verifier.prove(plan, only=["train-cannot-leave"])
        found = {v.status for v in report.verdicts}
        assert status in found and (line == "" or found == {status}), line


def test_the_page_says_that_there_are_too_many() -> None:
    plan = verifier.load_text(f"{LINE}\nat most 1 train\n")
    for there, says in ((["A"], 0), (["A", "C"], 1)):
        trains = {("train", moment): "occupied" for moment in stood_on(plan, there)}
        play = TemporalPlay(Document(plan, World(plan)), Play(trains, over_time=True))
        assert len(list(play.ruled_out())) == says


def stood_on(plan: Plan, blocks: list[str]) -> list[str]:
    return [name for name, piece in plan.track.pieces.items() if piece.block in blocks]


TRACK = "edge West, East\nblock Main, Single\ntrack West = Main | Single = East\n"


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ("at most 0 trains", "with no train there is nothing to prove"),
        ("at most 1.5 trains", "`1.5` is no number of trains"),
        ("at most 2 trains\nat most 3 trains", "how many trains there are at most is said twice"),
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
