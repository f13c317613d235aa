"""Drawing part of a large plan: what is in the window, and where it says the track goes on."""

import pytest

from tests.drawing.checks import check_labels, check_lines, check_no_track_touches
from tests.drawing.samples import END_OF_SIDING, draw, line_of_sidings, load, seen
from verifier.drawing.terminal.picture import MANY, picture
from verifier.drawing.window import around

LINE = line_of_sidings(50)


@pytest.mark.parametrize(
    "focus", [["S20"], ["W20", "M20"], ["S20", "E20", "W21"], ["D7"], ["W1"], ["West"], ["E50"]]
)
@pytest.mark.parametrize("ascii_only", [False, True])
def test_the_window_holds_the_focus_and_stays_small(focus: list[str], ascii_only: bool) -> None:
    plan = load(LINE)
    drawn = picture(plan, seen(plan), focus=focus, ascii_only=ascii_only)
    check_lines(drawn, 100, ascii_only)
    (panel,) = drawn.panels
    check_labels(panel, 100)
    check_no_track_touches(panel.layout)
    shown = panel.layout.cells.keys() & plan.track.pieces.keys()
    assert set(focus) <= shown
    assert len(shown) <= MANY
    assert ("..." if ascii_only else "…") in "\n".join(drawn.lines)


def test_the_window_reaches_to_about_the_next_signals() -> None:
    plan = load(LINE)
    (panel,) = picture(plan, seen(plan), focus=["S20"]).panels
    assert {"E20", "S20", "W21"} <= panel.layout.cells.keys()
    assert not panel.layout.cells.keys() & {"W20", "E21", "S19", "S21"}
    assert {put.label.name for put in panel.placement.put} >= {"20EA", "21WA"}


def test_around_lists_the_nearest_first() -> None:
    plan = load(LINE)
    near = around(plan.track, ["S20"], {signal.joint.a for signal in plan.signals.values()})
    assert near[0] == "S20" and set(near[1:3]) == {"E20", "W21"}


def test_every_end_of_the_window_is_marked() -> None:
    plan = load(LINE)
    (panel,) = picture(plan, seen(plan), focus=["S20"]).panels
    shown = panel.layout.cells.keys() & plan.track.pieces.keys()
    going_out = sum(
        (joint.a.piece in shown) != (joint.b.piece in shown) for joint in plan.track.joints
    )
    assert "\n".join(panel.lines).count("…") == going_out


def test_two_places_far_apart_are_drawn_apart() -> None:
    plan = load(LINE)
    drawn = picture(plan, seen(plan), focus=["S3", "S40"])
    shown = {name for panel in drawn.panels for name in panel.layout.cells}
    assert {"S3", "S40"} <= shown
    assert "S20" not in shown


def test_stock_shows_in_the_window_only_where_it_stands() -> None:
    plan = load(LINE)
    sight = seen(plan, S20="occupied", S40="occupied")
    lines = draw(plan, sight, focus=["S20"])
    assert "\n".join(lines).count("▐██▌") == 1
    assert "▐██▌ S20" in "\n".join(lines)


def test_a_plan_that_fits_is_drawn_whole_whatever_the_focus() -> None:
    plan = load(END_OF_SIDING)
    assert draw(plan, seen(plan), focus=["Main"]) == draw(plan, seen(plan))


def test_a_focus_the_plan_does_not_know_is_left_out() -> None:
    plan = load(LINE)
    assert draw(plan, focus=["S20", "nowhere"]) == draw(plan, focus=["S20"])


def test_parts_of_one_picture_name_each_other() -> None:
    plan = load(line_of_sidings(4))
    drawn = picture(plan, seen(plan))
    assert len(drawn.panels) > 1
    for panel in drawn.panels:
        cut = [cell.node for cell in panel.layout.cells.values() if cell.node.kind == "cut"]
        assert cut
        for node in cut:
            port = node.left or node.right
            assert port is not None
            name = plan.track.pieces[port.piece].title
            assert any(f"… {name}" in line or f"{name}" in line.split(" …")[0]
                       for line in panel.lines if "…" in line)  # fmt: skip
