"""What holds for every SVG drawing: all of the plan is there once, nothing lies over anything
else, track crosses only where the plan has a crossing, and signals stand to the right."""

import random
from collections import Counter
from itertools import pairwise
from pathlib import Path

import pytest

import verifier
from tests.drawing.inked import Inked, crossed, crossings, overlap
from tests.drawing.samples import SAMPLES, line_of_sidings, load
from tests.drawing.tangles import tangles
from tests.junction_files import SPEC_FILES, spec
from verifier.drawing.overlay import NO_OVERLAY, Overlay
from verifier.drawing.svg.metrics import Reserved
from verifier.drawing.svg.picture import SvgPicture, frames, pages, picture
from verifier.drawing.svg.placed_layout import place_layout
from verifier.plan.model import Plan
from verifier.plan.situation import Situation
from verifier.reference.evaluator import Seen, evaluate

KINDS = {"turnout": "points", "crossing": "crossing", "slip": "slip", "edge": "edge",
         "bumper": "bumper"}  # fmt: skip


def some_situation(plan: Plan, chance: random.Random) -> Seen:
    return evaluate(plan, Situation.of((w, chance.choice(w.values)) for w in plan.inputs))


def check(made: SvgPicture, plan: Plan, overlay: Overlay = NO_OVERLAY) -> Inked:
    inked = Inked(made.svg)
    check_everything_once(inked, plan, overlay)
    check_nothing_overlaps(inked)
    return inked


def check_everything_once(inked: Inked, plan: Plan, overlay: Overlay) -> None:
    ids = [group.id for group in inked.groups]
    assert len(set(ids)) == len(ids)
    wanted = Counter(("block", name) for name in plan.blocks)
    wanted += Counter(("signal", name) for name in plan.signals)
    wanted += Counter(
        ("head", head.name) for signal in plan.signals.values() for head in signal.heads
    )
    wanted += Counter(("derail", name) for name in plan.derails)
    wanted += Counter(("gate", name) for name in plan.gates)
    wanted += Counter(
        (KINDS[piece.kind], piece.name)
        for piece in plan.track.pieces.values()
        if piece.kind in KINDS
    )
    if overlay.feeders:
        wanted += Counter(("feeder", name) for name in plan.wiring.feeders)
    if overlay.detectors:
        wanted += Counter(("detector", name) for name in plan.wiring.detectors)
    found = Counter((g.kind, g.name) for g in inked.groups if g.kind not in ("stock", "gap"))
    assert found == wanted
    assert len(inked.named("gap")) == sum(joint.kind != "=" for joint in plan.track.joints)


def check_nothing_overlaps(inked: Inked) -> None:
    texts = list(inked.texts())
    rails = [(a, b) for line in inked.rails() for a, b in pairwise(line)]
    for i, (words, box) in enumerate(texts):
        for other_words, other in texts[i + 1 :]:
            assert not overlap(box, other), f"{words} lies over {other_words}"
        assert not any(crossed(box, a, b) for a, b in rails), f"track runs through {words}"
        low, high = inked.frame[0], inked.frame[2]
        assert low <= box[0] and box[2] <= high, f"{words} is cut off"


@pytest.mark.parametrize("path", SPEC_FILES, ids=lambda path: path.stem)
def test_every_spec(path: Path) -> None:
    plan = verifier.load(path)
    overlay = Overlay(gaps=True, feeders=True, detectors=True)
    check(picture(plan), plan)
    check(picture(plan, evaluate(plan, Situation.of([])), overlay=overlay), plan, overlay)
    seen = some_situation(plan, random.Random(path.stem))
    one, other = picture(plan, seen), picture(plan, evaluate(plan, Situation.of([])))
    check(one, plan)
    assert (one.width, one.height) == (other.width, other.height)
    assert {g.id for g in Inked(other.svg).groups} <= {g.id for g in Inked(one.svg).groups}


@pytest.mark.parametrize("name", SAMPLES)
def test_track_crosses_only_at_crossings(name: str) -> None:
    plan = load(SAMPLES[name])
    inked = check(picture(plan), plan)
    found = crossings(inked.rails())
    diamonds = [p for p in plan.track.pieces.values() if p.kind in ("crossing", "slip")]
    assert len(found) <= len(diamonds)
    laid = place_layout(plan, list(plan.track.pieces), Reserved(False, False, False, False))
    hubs = [laid.ways.hub(piece.name) for piece in diamonds]
    assert all(min(abs(x - a) + abs(y - b) for a, b in hubs) < 2 for x, y in found)


@pytest.mark.parametrize("first", range(0, 120, 20))
def test_tangles(first: int) -> None:
    """Track joined at random: nothing a railroad would build, but drawn right all the same."""
    for plan, chance in tangles(first):
        inked = check(picture(plan, some_situation(plan, chance)), plan)
        assert len(crossings(inked.rails())) <= sum(
            piece.kind in ("crossing", "slip") for piece in plan.track.pieces.values()
        )


@pytest.mark.parametrize("name", SAMPLES)
def test_signals_stand_to_the_right_of_their_trains(name: str) -> None:
    """Worked out from where the pieces on both sides of the joint are drawn: a train that runs
    to the right has the bottom of the paper on its right hand, one to the left the top."""
    plan = load(SAMPLES[name])
    laid = place_layout(plan, list(plan.track.pieces), Reserved(False, False, False, False))
    looked_at = 0
    for signal in plan.signals.values():
        before, after = signal.joint.other(signal.enters).piece, signal.enters.piece
        (x, y), (to_x, to_y) = laid.ways.hub(before), laid.ways.hub(after)
        put = laid.put["signal", signal.name]
        if abs(to_y - y) > 1 or put.apart:
            continue  # round a bend, or over a leg: which way is right is not so simple
        looked_at += 1
        assert (put.box.middle[1] > y) == (to_x > x), signal.name
    assert looked_at or not plan.signals


def test_hostile_names_stay_text() -> None:
    plan = verifier.load_text(
        'layout "<script>alert(1)</script> & more"\n'
        "edge W, E\nblock A \"<b onload='x'>\"\nblock B\ntrack W = A | B = E\n"
        "signal 2 at A | B\n  Clear when B clear\n  Stop otherwise\n",
        "x.ixl",
    )
    made = picture(plan, evaluate(plan, Situation.of([])))
    inked = Inked(made.svg)
    assert not [node for node in inked.root.iter() if node.tag.endswith("script")]
    assert "<script>" in "".join(inked.root.itertext()), "and is told as it stands"


def test_a_long_line_goes_into_strips_that_name_each_other() -> None:
    plan = load(line_of_sidings(6))
    made = pages(plan, width=1000)
    assert len(made) > 1 and all(page.width <= 1000 for page in made)
    inked = [Inked(page.svg) for page in made]
    ids = [group.id for page in inked for group in page.groups]
    assert len(set(ids)) == len(ids)
    signals = Counter(name for page in inked for name in page.named("signal"))
    assert signals == Counter(plan.signals.keys())
    for page in inked:
        check_nothing_overlaps(page)
    assert "to " in "".join(inked[0].root.itertext()), "where it goes on"


def test_frames_lie_over_each_other_and_have_ids_of_their_own() -> None:
    plan = load(SAMPLES["end of siding"])
    chance = random.Random(7)
    made = frames(plan, [some_situation(plan, chance) for _ in range(4)], prefix="history-")
    assert len({(frame.width, frame.height) for frame in made}) == 1
    ids = [group.id for frame in made for group in Inked(frame.svg).groups]
    assert len(set(ids)) == len(ids) and all(i.startswith("history-") for i in ids)


def test_a_zoom_shows_the_place_and_not_the_whole() -> None:
    plan = load(line_of_sidings(6))
    some = list(plan.track.pieces)[4]
    near = Inked(picture(plan, around=[some]).svg)
    assert 0 < len(near.named("signal")) < len(plan.signals)


def test_a_strip_may_hold_a_block_whose_name_stands_on_another() -> None:
    plan = verifier.load(spec("yard-throat"))
    strips = pages(plan, width=600)
    assert len(strips) > 1
    for block in plan.blocks:
        assert any(f'data-kind="block" data-name="{block}"' in strip.svg for strip in strips)
