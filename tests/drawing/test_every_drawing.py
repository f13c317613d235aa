"""What holds for every drawing: nothing overlaps, nothing is lost, the track is the plan's."""

import random

import pytest

from tests.drawing.checks import check_lines, check_picture
from tests.drawing.samples import SAMPLES, draw, line_of_sidings, load
from tests.drawing.tangles import tangles
from verifier.drawing.terminal.picture import picture
from verifier.plan.situation import Situation
from verifier.reference.evaluator import evaluate


@pytest.mark.parametrize("ascii_only", [False, True])
@pytest.mark.parametrize("name", SAMPLES)
def test_samples_in_many_situations(name: str, ascii_only: bool) -> None:
    plan = load(SAMPLES[name])
    chance = random.Random(name)
    check_picture(picture(plan, ascii_only=ascii_only), plan, 100, ascii_only)
    for _ in range(12):
        situation = Situation.of((what, chance.choice(what.values)) for what in plan.inputs)
        seen = evaluate(plan, situation)
        drawn = picture(plan, seen, ascii_only=ascii_only)
        check_picture(drawn, plan, 100, ascii_only)
        assert len(drawn.panels) == 1, "each sample goes into one picture"
        assert not drawn.panels[0].placement.homeless, "and every label finds room"


@pytest.mark.parametrize("width", [24, 40, 60, 79, 200])
@pytest.mark.parametrize("name", SAMPLES)
def test_samples_in_many_widths(name: str, width: int) -> None:
    plan = load(SAMPLES[name])
    seen = evaluate(plan, Situation.of([]))
    check_picture(picture(plan, seen, width=width), plan, width, ascii_only=False)


@pytest.mark.parametrize("first", range(0, 200, 20))
def test_tangles(first: int) -> None:
    """Track joined at random: nothing a railroad would build, but whatever loads is drawn,
    and drawn right."""
    for plan, chance in tangles(first):
        seen = evaluate(plan, Situation.of((o, chance.choice(o.values)) for o in plan.inputs))
        ascii_only, width = chance.choice([False, True]), chance.choice([50, 100, 400])
        made = picture(plan, seen, ascii_only=ascii_only, width=width)
        check_picture(made, plan, width, ascii_only)


def test_a_plan_too_large_for_one_picture_is_drawn_in_parts() -> None:
    plan = load(line_of_sidings(6))
    drawn = picture(plan, evaluate(plan, Situation.of([])))
    assert len(drawn.panels) > 1
    check_picture(drawn, plan, 100, ascii_only=False)


def test_the_same_is_drawn_the_same_way() -> None:
    plan = load(SAMPLES["double-track junction"])
    seen = evaluate(plan, Situation.of([]))
    assert draw(plan, seen) == draw(plan, seen)


def test_long_names_are_shortened_and_stay_within_the_width() -> None:
    long = "A-Name-That-Goes-On-And-On-And-On"
    plan = load(
        f"edge W, E\nblock {long}, B, P\nturnout T1 in P\nbumper End\n"
        f"track W = {long} | T1 normal | B = E\ntrack T1 reverse = End\n"
    )
    drawn = picture(plan, evaluate(plan, Situation.of([])), width=60)
    check_lines(drawn, 60, ascii_only=False)
    assert long not in "\n".join(drawn.lines)
    assert "A-Name" in "\n".join(drawn.lines)


def test_two_crossovers_cross_only_where_the_plan_has_a_crossing() -> None:
    """Without the crossing between them, one of two crossovers has to go another way."""
    text = SAMPLES["scissors"]
    bare = text.replace("crossing X in Plant\n", "").replace("= along X ", "")
    plan = load(bare.replace("= across X ", ""))
    seen = evaluate(plan, Situation.of([]))
    check_picture(picture(plan, seen), plan, 100, ascii_only=False)


def test_labels_have_their_places_beside_the_track_where_a_tighter_drawing_has_room() -> None:
    """Drawn with ease this is too wide for its labels; drawn tighter it is not."""
    text = (
        SAMPLES["crossover"]
        .replace("West-1", "Heron-Falls-1").replace("West-2", "Heron-Falls-2")
        .replace("East-1", "Fernhook-1").replace("East-2", "Fernhook-2")
        .replace("P1", "Switch-1").replace("P2", "Switch-2")
    )  # fmt: skip
    plan = load(text)
    seen = evaluate(plan, Situation.of([]))
    for width in range(80, 120):
        drawn = picture(plan, seen, width=width)
        check_picture(drawn, plan, width, ascii_only=False)
        assert not any(panel.placement.homeless for panel in drawn.panels)
