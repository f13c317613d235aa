"""What a reader sees: points, stock, aspects, signals at their gaps, ends, derails, gates."""

import pytest

from tests.drawing.checks import at, row_text, words
from tests.drawing.samples import (
    BALLOON,
    CROSSOVER,
    DIAMOND,
    DOUBLE_JUNCTION,
    END_OF_SIDING,
    LIFT_GATE,
    OVAL,
    PASSING_SIDING,
    SAMPLES,
    SLIP,
    SPUR,
    THROAT,
    WYE,
    YARD,
    draw,
    load,
    seen,
)
from verifier.drawing.terminal.charset import KINDS, legend
from verifier.drawing.terminal.panel import Panel
from verifier.drawing.terminal.picture import picture
from verifier.drawing.view import letter
from verifier.plan import observables
from verifier.plan.model import Plan, Port
from verifier.reference.evaluator import Seen


def panel_of(plan: Plan, sight: Seen | None = None, ascii_only: bool = False) -> Panel:
    (panel,) = picture(plan, sight, ascii_only=ascii_only).panels
    return panel


def leg_starts(panel: Panel, turnout: str) -> str:
    """The first character of a turnout's reverse leg."""
    slant = panel.layout.slants[Port(turnout, "reverse")]
    return at(panel, slant.x + slant.side, slant.y + slant.down)


def straight_starts(panel: Panel, turnout: str) -> str:
    """The first two characters of its normal leg, from the frog outward."""
    cell = panel.layout.cells[turnout]
    outward = 1 if cell.node.right == Port(turnout, "normal") else -1
    return "".join(at(panel, cell.hub + outward * step, cell.y) for step in (1, 2))


# ------------------------------------------------------------------ points


@pytest.mark.parametrize(
    ("lies", "straight", "leg"),
    [("normal", "──", " "), ("reverse", "  ", "╱"), ("open", "  ", " ")],
)
def test_the_leg_not_lined_is_broken(lies: str, straight: str, leg: str) -> None:
    plan = load(END_OF_SIDING)
    panel = panel_of(plan, seen(plan, T1=lies))
    assert straight_starts(panel, "T1") == straight
    assert leg_starts(panel, "T1") == leg
    assert f"T1 {lies}" in "\n".join(panel.lines)


def test_open_points_have_a_mark_of_their_own() -> None:
    plan = load(END_OF_SIDING)
    cell = panel_of(plan, seen(plan)).layout.cells["T1"]
    marks = {
        lies: at(panel_of(plan, seen(plan, T1=lies)), cell.hub, cell.y)
        for lies in ("normal", "reverse", "open")
    }
    assert len(set(marks.values())) == 3


def test_a_bare_plan_breaks_no_leg_and_says_no_states() -> None:
    plan = load(PASSING_SIDING)
    panel = panel_of(plan)
    for turnout in ("T1", "T3"):
        assert straight_starts(panel, turnout) == "──"
        assert leg_starts(panel, turnout) in "╱╲"
    assert not words(panel.lines).keys() & {"normal", "reverse", "open", "Stop", "Clear"}


def test_both_ends_of_a_crossover_break_where_not_lined() -> None:
    plan = load(CROSSOVER)
    panel = panel_of(plan, seen(plan, T1="reverse"))
    assert leg_starts(panel, "T1") != " "
    assert leg_starts(panel, "T2") == " "
    assert "‖" in "\n".join(panel.lines), "the gap between its ends is drawn"


def test_a_slip_lined_to_turn_is_not_drawn_as_a_crossing() -> None:
    plan = load(SLIP)
    hub = panel_of(plan, seen(plan)).layout.cells["P1"]
    straight, turned = (panel_of(plan, seen(plan, P1=lies)) for lies in ("normal", "reverse"))
    assert at(straight, hub.hub, hub.y) == "╳"
    assert at(turned, hub.hub, hub.y) in "╱╲"
    assert "P1 reverse" in "\n".join(turned.lines)


def test_tracks_cross_only_at_the_crossing() -> None:
    plan = load(DIAMOND)
    panel = panel_of(plan, seen(plan))
    assert "\n".join(panel.lines).count("╳") == 1
    left, right = (panel.layout.slants[Port("X1", end)] for end in ("across-left", "across-right"))
    assert left.side == -right.side
    assert left.down == -right.down, "the track across comes from one side, leaves by the other"


# ------------------------------------------------------------------ names


@pytest.mark.parametrize("name", SAMPLES)
def test_each_block_turnout_and_end_is_named_at_its_place(name: str) -> None:
    plan = load(SAMPLES[name])
    panel = panel_of(plan, seen(plan))
    labels = {put.label.name: put for put in panel.placement.put}
    for piece in plan.track.pieces.values():
        cell = panel.layout.cells[piece.name]
        if piece.kind in ("turnout", "crossing", "slip"):
            assert labels[piece.name].text.startswith(piece.name)
        else:
            assert piece.title in row_text(panel, piece.name)
            inside = row_text(panel, piece.name).find(piece.title)
            assert 0 <= inside <= cell.right - cell.left - len(piece.title)


@pytest.mark.parametrize("name", sorted(SAMPLES.keys() - {"oval"}))
def test_no_name_is_drawn_twice(name: str) -> None:
    plan = load(SAMPLES[name])
    times = words(panel_of(plan, seen(plan)).lines)
    for piece in plan.track.pieces.values():
        assert times[piece.title] == 1
    for block in plan.blocks:
        assert times[block] == 1, "blocks of nothing but trackwork are named beside it"
    for signal in plan.signals:
        assert times[signal] == 1


def test_a_block_of_trackwork_only_is_named_with_its_first_turnout() -> None:
    lines = panel_of(load(THROAT)).lines
    assert sum("(Throat)" in line for line in lines) == 1
    assert "T5 (Throat)" in "\n".join(lines)


# ------------------------------------------------------------------ stock


@pytest.mark.parametrize("mark", ["▐██▌", "[##]"])
@pytest.mark.parametrize("block", ["Main", "Siding", "Switch", "Single"])
def test_stock_stands_on_its_block_and_nowhere_else(block: str, mark: str) -> None:
    plan = load(END_OF_SIDING)
    panel = panel_of(plan, seen(plan, **{block: "occupied"}), ascii_only=mark.isascii())
    assert "\n".join(panel.lines).count(mark) == 1
    for piece in plan.track.pieces.values():
        assert (mark in row_text(panel, piece.name)) == (piece.block == block)


def test_stock_stands_between_the_gaps_of_its_block() -> None:
    plan = load(PASSING_SIDING)
    panel = panel_of(plan, seen(plan, Siding="occupied"))
    (line,) = (line for line in panel.lines if "▐██▌" in line)
    before, after = line.split("▐██▌")
    assert before.rindex("|") < len(before) and "Siding" in after[: after.index("|")]
    assert abs(row_text(panel, "Siding").index("▐") - 2 - 3) <= 8


def test_a_block_with_several_tracks_has_one_mark_and_heavy_rail_on_all_of_them() -> None:
    plan = load(YARD)
    panel = panel_of(plan, seen(plan, Ladder="occupied"))
    assert "\n".join(panel.lines).count("▐██▌") == 1
    for turnout in ("T1", "T2", "T3", "T4", "T5"):
        assert "━" in row_text(panel, turnout)
    assert "━" not in row_text(panel, "Lead")


def test_track_without_detector_is_drawn_dotted() -> None:
    plan = load(YARD)
    panel = panel_of(plan, seen(plan))
    dotted = [p.name for p in plan.track.pieces.values() if "┄" in row_text(panel, p.name)]
    assert dotted == ["Y5"]


# ------------------------------------------------------------------ signals


def signal_places(panel: Panel) -> dict[str, tuple[str, int, int, int]]:
    """Text, its column and line, and the line of its track, of each signal."""
    return {p.label.name: (p.text, p.x, p.y, p.label.anchor[1]) for p in panel.placement.put}


@pytest.mark.parametrize("name", ["end of siding", "passing siding", "crossover", "diamond"])
def test_a_signal_stands_at_its_gap_to_the_right_of_the_train(name: str) -> None:
    plan = load(SAMPLES[name])
    panel = panel_of(plan, seen(plan))
    places = signal_places(panel)
    for signal in plan.signals.values():
        (mark,) = (m for m in panel.layout.marks if m.joint is signal.joint)
        text, x, y, row = places[signal.name]
        eastward = signal.enters == mark.right
        assert row == mark.y
        assert (y > row) == eastward
        arrow = text.index("▸" if eastward else "◂")
        assert x + arrow == mark.x
        assert at(panel, mark.x, mark.y) == "|"


def test_aspects_are_told_by_name_and_colors_by_letter() -> None:
    plan = load(END_OF_SIDING)
    assert "◂ 4L Clear G/R" in "\n".join(draw(plan, seen(plan)))
    assert "◂ 4L Diverging-Clear R/G" in "\n".join(draw(plan, seen(plan, T1="reverse")))
    assert "4RA Stop R ▸" in "\n".join(draw(plan, seen(plan, Single="occupied")))
    assert "< 4L Stop R/R" in "\n".join(draw(plan, seen(plan, Switch="occupied"), ascii_only=True))


def test_letters_of_colors() -> None:
    colors = ["green", "yellow", "red", "lunar", "white", "dark", "flashing yellow"]
    assert [letter(color) for color in colors] == ["G", "Y", "R", "L", "W", "-", "*Y"]


def test_colors_that_no_aspect_lists_are_called_unlisted() -> None:
    plan = load(
        "edge W, E\nblock A, B\ntrack W = A | B = E\nsignal 2R at A | B heads upper, lower\n"
        "head 2R.upper\n green when B clear\n red otherwise\n"
        "head 2R.lower\n green when B clear\n red otherwise\n"
    )
    assert "2R unlisted G/G ▸" in "\n".join(draw(plan, seen(plan)))


# ------------------------------------------------------------------ ends, derails, gates


def test_edges_bumpers_and_one_way_edges() -> None:
    plan = load(
        "edge In entering only\nedge Out leaving only\nedge Both\nbumper End\n"
        "block A, B, C, P\nturnout T1 in P\n"
        "track In = A | T1 normal | B = Out\ntrack T1 reverse = End\n"
        "track Both = C = T9 normal\nturnout T9 in C\nbumper Stub, Stub-2\n"
        "track T9 normal = Stub\ntrack T9 reverse = Stub-2\n"
    )
    text = "\n".join(draw(plan))
    assert "In (in only) ►─" in text
    assert "─► Out (out only)" in text
    assert "Both ◄─" in text
    assert "─╢ End" in text
    ascii_text = "\n".join(draw(plan, ascii_only=True))
    assert "In (in only) >-" in ascii_text
    assert "-] End" in ascii_text


@pytest.mark.parametrize(
    ("lies", "mark"), [("derailing", "▼"), ("non-derailing", "▽"), ("open", "◊")]
)
def test_a_derail_stands_at_its_end_of_the_spur(lies: str, mark: str) -> None:
    plan = load(SPUR)
    panel = panel_of(plan, seen(plan, D1=lies))
    spur = row_text(panel, "Spur")
    assert spur.count(mark) == 1
    assert spur.index(mark) > spur.index("Spur"), "toward T1, that is to the right"
    assert f"D1 {lies}" in "\n".join(panel.lines)
    assert "╟" in row_text(panel, "End-of-Spur")


@pytest.mark.parametrize(("lies", "mark"), [("seated", "┤══├"), ("open", "┤  ├")])
def test_a_gate_is_drawn_in_its_block(lies: str, mark: str) -> None:
    plan = load(LIFT_GATE)
    panel = panel_of(plan, seen(plan, G1=lies, Bridge="occupied"))
    assert mark in row_text(panel, "Bridge")
    assert "▐██▌" in row_text(panel, "Bridge")
    assert f"G1 {lies}" in "\n".join(panel.lines)


def test_gaps_in_one_rail_and_in_both() -> None:
    plan = load("edge W, E\nblock A, B, C\ntrack W = A | B || C = E\n")
    (line,) = draw(plan)
    assert line.count("|") == 1 and line.count("‖") == 1
    assert line.index("A") < line.index("|") < line.index("B") < line.index("‖") < line.index("C")
    (ascii_line,) = draw(plan, ascii_only=True)
    assert ascii_line.count("||") == 1 and ascii_line.count("|") == 3


# ------------------------------------------------------------------ shapes


def test_an_oval_is_drawn_round() -> None:
    plan = load(OVAL)
    panel = panel_of(plan, seen(plan))
    (row,) = (line for line in panel.lines if "B2" in line)
    assert row.strip().startswith("╭─") and row.strip().endswith("─╮")
    (row,) = (line for line in panel.lines if "B3" in line)
    assert row.strip().startswith("╰") and row.strip().endswith("╯")
    assert "\n".join(panel.lines).count("(g3)") == 1
    assert "\n".join(panel.lines).count("1E ") == 1


def test_a_wye_turns_one_leg_back() -> None:
    panel = panel_of(load(WYE))
    assert sum(slant.turns for slant in panel.layout.slants.values()) == 1
    assert len(panel.layout.cells) == 12, "and nothing is torn apart"


def test_a_balloon_loop_comes_round_to_its_turnout() -> None:
    panel = panel_of(load(BALLOON))
    (bend,) = panel.layout.bends
    assert at(panel, bend.x, bend.top) == "╮"
    assert at(panel, bend.x, bend.bottom) == "╯"


def test_rows_lie_as_the_file_reads() -> None:
    cells = panel_of(load(DOUBLE_JUNCTION)).layout.cells
    assert cells["W1"].y == cells["E1"].y < cells["W2"].y == cells["E2"].y < cells["Q1"].y
    order = ["W1", "T1", "E1"], ["W2", "T3", "X1", "E2"], ["T1", "X1", "Q1"]
    for row in order:
        places = [cells[name].left for name in row]
        assert places == sorted(places)


def test_a_yard_has_one_row_for_each_track() -> None:
    for text, tracks in ((YARD, ["Main", "Y1", "Y2", "Y3", "Y4", "Y5"]),
                         (THROAT, ["Y1", "Y2", "Y3", "Y4", "Y5", "Y6"])):  # fmt: skip
        cells = panel_of(load(text)).layout.cells
        assert len({cells[name].y for name in tracks}) == 6


def test_drawings_of_two_situations_lie_over_each_other() -> None:
    plan = load(END_OF_SIDING)
    one, other = (
        panel_of(plan, seen(plan)),
        panel_of(plan, seen(plan, T1="reverse", Main="occupied")),
    )
    places = [{m.joint.a: (m.x, m.y) for m in panel.layout.marks} for panel in (one, other)]
    assert places[0] == places[1]


# ------------------------------------------------------------------ what matters


def test_what_does_not_matter_is_drawn_as_in_a_bare_plan() -> None:
    plan = load(END_OF_SIDING)
    sight = seen(plan, Main="occupied", Siding="occupied", T1="reverse")
    four = plan.signals["4L"]
    text = "\n".join(draw(plan, sight, relevant={observables.stock("Main"), four.aspect}))
    assert text.count("▐██▌") == 1 and "▐██▌ Main" in text
    assert "4L Stop R/R" in text
    assert "4RA ▸" in text and "T1 (Switch)" in text
    assert "T1 reverse" not in text
    assert "T1 reverse" in "\n".join(draw(plan, sight, relevant={observables.points("T1")}))
    text = "\n".join(draw(plan, sight, relevant=()))
    assert "▐██▌" not in text and "Stop" not in text and "reverse" not in text


def test_a_derail_and_a_gate_that_do_not_matter_claim_nothing() -> None:
    spur, gate = load(SPUR), load(LIFT_GATE)
    text = "\n".join(draw(spur, seen(spur), relevant=()))
    assert "derailing" not in text and "▼" not in text and "D1" in text
    text = "\n".join(draw(gate, seen(gate, G1="open"), relevant=()))
    assert "open" not in text and "┤  ├" not in text and "G1" in text


def test_what_is_reported_of_a_thing_is_about_that_thing() -> None:
    plan = load(END_OF_SIDING)
    text = draw(plan, seen(plan, Main="occupied"), relevant={observables.block_report("Main")})
    assert "▐██▌" in "\n".join(text)


# ------------------------------------------------------------------ the legend


def test_the_legend_tells_only_of_marks_that_are_there() -> None:
    plan = load(END_OF_SIDING)
    line = legend(used=picture(plan, seen(plan, Main="occupied")).used)
    assert "▐██▌ stock" in line and "| gap" in line
    for absent in ("‖", "bumper", "gate", "derail", "crossing", "no detector", "open"):
        assert absent not in line
    assert "stock" not in legend(used=picture(plan, seen(plan)).used)


@pytest.mark.parametrize("ascii_only", [False, True])
def test_the_whole_legend_explains_every_kind(ascii_only: bool) -> None:
    line = legend(ascii_only)
    assert "\n" not in line
    assert line.isascii() == ascii_only
    assert len(line.split("  ")) >= len(KINDS)
