"""The choice of rows: what clashes is seen to clash, and rows are chosen so that it does not."""

from itertools import pairwise

from tests.drawing.samples import END_OF_SIDING, PASSING_SIDING, WYE, load
from verifier.drawing.label_placer import grown
from verifier.drawing.layout import choose_rows, first_heights, lay_out, to_blame
from verifier.drawing.sketch import Sketch, sketch
from verifier.drawing.spacing import Clash, Size, Sizes, inner_bounds, order, space
from verifier.plan.model import Plan, Port

TWO_BRANCHES = """
edge West, East, North, South
block W, M, E, A, B, P1, P2
turnout T1 in P1
turnout T2 in P2
track West = W | T1 normal | M | normal T2 | E = East
track North = A | reverse T2
track T1 reverse | B = South
"""


def outline(plan: Plan) -> tuple[Sketch, Sizes]:
    """All of a plan, every node ten wide with its hub in the middle."""
    whole = sketch(plan.track, list(plan.track.pieces))
    return whole, Sizes(tuple(Size(10, 5) for _ in whole.nodes), 1)


def strip_with(whole: Sketch, piece: str) -> int:
    (found,) = (
        n
        for n, strip in enumerate(whole.strips)
        if any(whole.nodes[node].name == piece for node in strip.nodes)
    )
    return found


def test_strips_are_what_lies_straight() -> None:
    whole, _ = outline(load(WYE))
    names = [[whole.nodes[n].name for n in strip.nodes] for strip in whole.strips]
    assert names == [
        ["West", "W", "T1", "Main-Leg", "T2", "E", "East"],
        ["West-Leg", "T3", "S", "South"],
        ["East-Leg"],
    ]
    assert [link.turns for link in whole.links].count(True) == 1


def test_legs_that_cross_between_two_rows_are_seen_to_clash() -> None:
    whole, sizes = outline(load(TWO_BRANCHES))
    main, a, b = (strip_with(whole, name) for name in ("M", "A", "B"))
    inner = inner_bounds(whole, sizes)
    crossing = space(whole, sizes, {main: 0, a: 24, b: 24}, inner)
    apart = space(whole, sizes, {main: 24, a: 0, b: 48}, inner)
    assert crossing is not None and apart is not None
    links = {n for n, link in enumerate(whole.links)}
    assert any({c.link, c.other} == links for c in crossing.clashes)
    assert not apart.clashes


def test_a_track_with_a_free_end_makes_way_for_a_leg() -> None:
    """The leg to B passes the row of A, so A begins to the right of it."""
    whole, sizes = outline(load(TWO_BRANCHES))
    y = {strip_with(whole, name): height for name, height in (("M", 0), ("A", 4), ("B", 8))}
    spaced = space(whole, sizes, y, inner_bounds(whole, sizes))
    assert spaced is not None and not spaced.clashes
    leg = next(k for k in whole.links if k.leg and k.leg.port == Port("T1", "reverse"))
    passes_at = spaced.x[leg.a] + 5 + 4
    assert passes_at < spaced.reach[strip_with(whole, "A")][0]


def test_legs_run_one_aside_for_one_down_and_neighbors_do_not_overlap() -> None:
    whole, sizes = outline(load(PASSING_SIDING))
    rows, spaced = choose_rows(whole, sizes, 200)
    assert spaced is not None and not spaced.clashes
    layout = lay_out(whole, sizes, rows, first_heights(whole, rows))
    assert not isinstance(layout, tuple)
    for slant in layout.slants.values():
        assert abs(slant.to_x - slant.x) == abs(slant.to_y - slant.y)
    cells = sorted(layout.cells.values(), key=lambda cell: (cell.y, cell.left))
    for one, other in pairwise(cells):
        assert one.y != other.y or one.right < other.left


def test_plain_track_takes_the_room_to_spare() -> None:
    """The siding is as long as the main track beside it needs, gap to gap."""
    whole, sizes = outline(load(PASSING_SIDING))
    rows, _ = choose_rows(whole, sizes, 200)
    layout = lay_out(whole, sizes, rows, first_heights(whole, rows))
    assert not isinstance(layout, tuple)
    siding = layout.cells["Siding"]
    gaps = sorted(mark.x for mark in layout.marks if mark.y == siding.y)
    assert gaps == [siding.left - 1, siding.right]


def test_left_to_right_as_the_lines_read() -> None:
    whole, sizes = outline(load(END_OF_SIDING))
    places = dict(zip((node.name for node in whole.nodes), order(whole, sizes), strict=True))
    assert places["Main"] < places["T1"] < places["Single"] < places["Quarry"]
    assert places["Siding"] < places["T1"]


def test_torn_joints_become_two_loose_ends() -> None:
    plan = load(PASSING_SIDING)
    joint = plan.track.joint_at[Port("T1", "reverse")]
    whole = sketch(plan.track, list(plan.track.pieces), torn={joint.a})
    loose = [node for node in whole.nodes if node.kind == "torn"]
    assert {node.left or node.right for node in loose} == {joint.a, joint.b}


def test_a_leg_left_out_is_remembered_with_where_it_leads() -> None:
    plan = load(PASSING_SIDING)
    leg = Port("T1", "reverse")
    joint = plan.track.joint_at[leg]
    whole = sketch(plan.track, list(plan.track.pieces), torn={joint.a}, undrawn={leg})
    assert whole.undrawn == {leg: Port("Siding", "left")}


def test_as_few_links_as_possible_are_to_blame() -> None:
    clashes = [Clash(1, 0), Clash(2, None, 1), Clash(1, None, 3)]
    assert to_blame(clashes) == (1,)
    assert to_blame([Clash(-1, 4)]) == ()


def test_rows_below_a_band_that_grows_move_down() -> None:
    assert grown((0, 3, 6), {0}) == (0, 4, 7)
    assert grown((0, 3, 6), {1}) == (0, 3, 7)
    assert grown((0, 3, 6), {-1, 2}) == (0, 3, 6)
