"""Strokes on a text: what is written, and that nothing else of the text changes."""

import re
from collections import Counter
from typing import Literal, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.drawing.samples import END_OF_SIDING
from tests.sweep import examples
from verifier.drafting.draft import drafted
from verifier.drafting.wanted import Wanted
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.format.formatter import format_text
from verifier.language.modules.expand import read
from verifier.language.source import Source
from verifier.plan.build import build
from verifier.plan.model import Port
from verifier.sketching.bare_signals import with_bare_signals
from verifier.sketching.drawing_hand import drawn
from verifier.sketching.edits import Edit, applied, difference
from verifier.sketching.geometry import Spot
from verifier.sketching.hand import Refused
from verifier.sketching.reading import Drawing, drawing_of
from verifier.sketching.strokes import (
    Add,
    AddedKind,
    Copy,
    Cut,
    Flip,
    Join,
    Move,
    Part,
    Remove,
    Rename,
    SetGap,
    SetSignal,
    Stretch,
    Stroke,
    Turn,
)

SIDING = """\
edge West, East, East-2
block B1, T1-track, B2, B3
turnout T1 in T1-track

track West = B1 | T1 normal | B2 = East
track T1 reverse | B3 = East-2

# Where the drawing has each piece, in squares to the right and down; may be left out.
place West at 2, 4
place B1 from 2, 4 to 8, 4
place T1 from 8, 4 to 12, 6
place B2 from 12, 4 to 18, 4
place East at 18, 4
place B3 from 12, 6 to 18, 6
place East-2 at 18, 6
"""


def after(text: str, *strokes: Stroke) -> str:
    for stroke in strokes:
        text = drawn(text, stroke).text
    return text


def lines(text: str, word: str) -> list[str]:
    return [line for line in text.splitlines() if line.startswith(word)]


def test_an_end_of_siding_is_drawn_end_by_end() -> None:
    text = drawn("", Add("edge", Spot(2, 4)))
    for kind in ("block", "turnout", "block", "edge", "block", "edge"):
        assert text.focus, text.text
        text = drawn(text.text, Add(kind, onto=text.focus))
    assert text.text == SIDING and text.focus is None
    assert not [*text.drawing.open_ends]


def test_track_drawn_from_track_makes_points() -> None:
    text = after(
        "",
        Add("block", Spot(2, 4), to=Spot(30, 4)),
        Add("block", Spot(8, 4), to=Spot(24, 6)),
    )
    drawing = drawing_of(text)
    assert sorted(p.kind for p in drawing.pieces.values()) == ["plain", "plain", "plain", "turnout"]
    text = drawn(text, Add("block", Spot(20, 6), to=Spot(24, 8))).text  # from the siding
    assert lines(text, "track") == [
        "track B1 | T1 normal | B2",
        "track T1 reverse | B3 | T2 normal | B4",
        "track T2 reverse | B5",
    ]


def test_a_siding_is_closed_at_both_its_ends() -> None:
    text = after("", Add("block", Spot(2, 4), to=Spot(30, 4)))
    text = after(text, Add("turnout", Spot(8, 4)))
    text = after(text, Add("block", Spot(10, 6), to=Spot(24, 4)))
    assert lines(text, "track") == ["track B1 | T1 normal | B2 | normal T2 | B3",
                                    "track T1 reverse | B4 | reverse T2"]  # fmt: skip
    assert {str(p) for p in drawing_of(text).open_ends} == {
        str(Port("B1", "left")), str(Port("B3", "right")),
    }  # fmt: skip


COMMENTED = """\
# My town
layout "Otter Valley"   # a title

edge   West,East   # west and east
block Main  "the main track"
block  Single
block Spur , Switch  # two more

turnout T1 in Switch  # hand-thrown
    thrown by hand
bumper End

track West =  Main | T1 normal | Single = East   # the main line
track T1 reverse |(g9) Spur = End                # the spur

signal 2 at Main | T1   # home
  Clear  when T1 normal and Switch, Single clear
  Stop   otherwise
"""


def test_comments_and_layout_stay() -> None:
    split = drawn(COMMENTED, Add("turnout", Spot(*_middle(COMMENTED, "Single")))).text
    assert "track West =  Main | T1 normal | Single | T2 normal | B1 = East" in split
    assert _comments(split)[:-1] == _comments(COMMENTED)
    named = drawn(split, Rename("Single", "East-Line")).text
    assert "Clear  when T1 normal and Switch, East-Line clear" in named
    turned = drawn(COMMENTED, Turn(("T1",))).text
    assert "track West =  Main | normal T1 | Single = East" in turned
    moved = drawn(COMMENTED, Move(("T1",), Spot(1, 2))).text
    assert moved.startswith(COMMENTED), "and one place is added"
    assert len(lines(moved, "place")) == 1


def test_signals_go_with_the_gap_that_they_stand_at() -> None:
    text = COMMENTED.replace("track West =  Main |", "track West =  Main | ")
    text = drawn(text, Cut("Main", Spot(*_middle(text, "Main")))).text
    assert "signal 2 at B1 | T1   # home" in text and "Main | B1 | T1" in text
    gone = drawn(text, Remove(pieces=("T1",))).text
    assert "signal 2" not in gone and "turnout" not in gone and "# a title" in gone
    assert {"Main", "B1", "Single", "Spur"} <= drawing_of(gone).pieces.keys()


def test_a_signal_is_set_where_pieces_meet_twice() -> None:
    oval = "block North, South\ntrack North | South | North\n"
    text = drawn(oval, SetSignal(Port("South", "left"))).text
    assert "track North |(g1) South | North" in text
    assert re.search(r"signal 2[LR] at North \|\(g1\) South\n  Stop otherwise", text)
    text = drawn(text, SetSignal(Port("North", "left"))).text
    build(Source("x", text), read(Source("x", text), None))


def test_only_what_can_be_is_drawn() -> None:
    refused: list[tuple[Stroke, str]] = [
        (Join(Port("B1", "left"), Port("B2", "right")), "not both open"),
        (Join(Port("Gone", "left"), Port("B2", "right")), "no such end"),
        (Rename("B1", "track"), "cannot be a name"),
        (Rename("B1", "B2"), "called `B2` already"),
        (SetSignal(Port("B1", "left")), "at a gap"),
        (Part(Port("T9", "points")), "no such end"),
    ]
    for stroke, words in refused:
        with pytest.raises(Refused, match=words):
            drawn(SIDING, stroke)
    with pytest.raises(Refused, match="Line 2 of the text"):
        drawn("block A\ntrack A || \nblock C\n", Add("block", Spot(1, 1)))
    with pytest.raises(Refused, match="cannot meet itself"):
        drawn("block A\nplace A from 1, 1 to 5, 1\n", Join(Port("A", "left"), Port("A", "right")))


def test_a_module_is_not_drawn_over() -> None:
    text = (
        "edge E\nblock M\nmodule Spur (main)\nbumper End\nblock Track\n"
        "track main | Track = End\nend\n"
        "use Spur as North with main = M\ntrack E = M\n"
    )
    assert "North.Track" in drawing_of(text).pieces
    with pytest.raises(Refused, match="part of a module"):
        drawn(text, Move(("North.Track",), Spot(1, 1)))
    assert "turnout T1" in drawn(text, Add("turnout", Spot(40, 40))).text


def test_a_place_means_nothing_else() -> None:
    plans = [build(s := Source("x", t), read(s, None)) for t in (
        END_OF_SIDING, f"{END_OF_SIDING}place Single from 1, 1 to 3, 2\n")]  # fmt: skip
    assert plans[0].track.pieces.keys() == plans[1].track.pieces.keys()
    assert [str(r.name) for r in plans[0].routes] == [str(r.name) for r in plans[1].routes]
    text = "place  Main from 2,4 to 9.5 , 4 and   from 3,3 to 4,3\n"
    assert format_text(text) == "place Main from 2, 4 to 9.5, 4 and from 3, 3 to 4, 3\n"


# ------------------------------------------------------------------ any strokes

BY: tuple[Literal["points", "normal", "reverse"], ...] = ("points", "normal", "reverse")
SIGNS: tuple[Literal["=", "|", "||"], ...] = ("=", "|", "||")
spots = st.builds(Spot, st.integers(0, 24), st.integers(0, 12))


def _stroke(data: st.DataObject, drawing: Drawing) -> Stroke:
    pieces = list(drawing.pieces)
    opened = [*drawing.open_ends]
    joined = [*drawing.joint_at]
    kinds = ["add", "track"]
    kinds += ["onto", "onto", "onto", "join", "stretch"] if len(opened) > 1 else []
    kinds += ["move", "turn", "flip", "copy", "remove", "cut", "name"] if pieces else []
    kinds += ["part", "gap", "signal", "signal"] if joined else []
    some = st.sampled_from(pieces or [""])
    kind = st.sampled_from(get_args(AddedKind))
    match data.draw(st.sampled_from(kinds)):
        case "add":
            return Add(data.draw(kind), data.draw(spots))
        case "track":
            return Add("block", data.draw(spots), to=data.draw(spots))
        case "onto":
            by = data.draw(st.sampled_from(BY))
            return Add(data.draw(kind), onto=data.draw(st.sampled_from(opened)), by=by)
        case "join":
            return Join(*data.draw(st.permutations(opened))[:2])
        case "stretch":
            return Stretch(data.draw(st.sampled_from(opened)), data.draw(spots))
        case "move":
            return Move((data.draw(some),), Spot(data.draw(st.integers(-3, 3)), 1))
        case "turn":
            return Turn((data.draw(some),))
        case "flip":
            return Flip((data.draw(some),))
        case "copy":
            return Copy(tuple(dict.fromkeys(data.draw(st.lists(some, min_size=1)))), Spot(0, 9))
        case "remove":
            return Remove(pieces=(data.draw(some),))
        case "cut":
            return Cut(data.draw(some), data.draw(spots))
        case "name":
            return Rename(
                drawing.pieces[data.draw(some)].title, data.draw(st.sampled_from(["Q1", "Q2"]))
            )
        case "part":
            return Part(data.draw(st.sampled_from(joined)))
        case "gap":
            sign = data.draw(st.sampled_from(SIGNS))
            return SetGap(data.draw(st.sampled_from(joined)), sign)
        case _:
            return SetSignal(data.draw(st.sampled_from(joined)))


@settings(max_examples=examples(25), deadline=None)
@given(st.data())
def test_any_strokes_are_read_back_as_they_were_meant(data: st.DataObject) -> None:
    text = data.draw(st.sampled_from(["", SIDING, COMMENTED]))
    for _ in range(7):
        before = drawing_of(text)
        stroke = _stroke(data, before)
        try:
            now = drawn(text, stroke)
        except Refused:
            continue
        _check(before, stroke, now.drawing, now.chosen)
        edit = difference(text, now.text)
        assert (applied(text, [edit]) if edit else text) == now.text
        text = now.text
        assert drawing_of(format_text(text)).joint_at.keys() == now.drawing.joint_at.keys()


def _check(before: Drawing, stroke: Stroke, now: Drawing, chosen: tuple[str, ...]) -> None:
    """What a stroke may change is changed, and nothing else."""
    assert not now.broken
    kept = before.pieces.keys() & now.pieces.keys()
    removed = set(stroke.pieces) if isinstance(stroke, Remove) else set()
    renamed = {stroke.old} if isinstance(stroke, Rename) else set()
    titles = {p.title for p in before.pieces.values()} - renamed
    gone = {before.pieces[n].title for n in removed}
    assert titles - gone <= {p.title for p in now.pieces.values()}, "no piece is lost"
    joints, were = Counter(_joints(now)), Counter(_joints(before))
    match stroke:
        case Join():
            assert sum(joints.values()) == sum(were.values()) + 1
        case Part():
            assert sum(joints.values()) == sum(were.values()) - 1
        case Move() | Stretch() | Flip() | SetSignal() | SetGap():
            assert not Counter(_joints(before, how=False)) - Counter(_joints(now, how=False))
    still = {n for n in kept if n in before.written and n in now.written} - set(chosen) - removed
    if isinstance(stroke, Join | Part | SetGap | SetSignal | Copy):
        for name in still:
            assert {*before.ends[name].values()} == {*now.ends[name].values()}, name
    if not isinstance(stroke, Remove):  # what stands inside a statement goes with it
        assert Counter(_comments(before.source.text)) <= Counter(_comments(now.source.text))


def _joints(drawing: Drawing, *, how: bool = True) -> list[tuple[object, ...]]:
    def word(port: Port) -> str:
        piece = drawing.pieces[port.piece]
        return piece.title if piece.kind == "plain" else str(port)

    return [(*sorted((word(j.a), word(j.b))), j.kind if how else "") for j in drawing.joints]


def _comments(text: str) -> list[str]:
    return re.findall(r"#.*", text)


def _middle(text: str, block: str) -> Spot:
    ends = drawing_of(text).ends[block]
    return Spot((ends["left"].x + ends["right"].x) / 2, ends["left"].y)


def test_edits_are_as_short_as_can_be() -> None:
    assert difference("abc", "abc") is None
    assert difference("aXc", "aYYc") == Edit(1, 2, "YY")
    assert difference("aa", "aaa") == Edit(2, 2, "a")


def test_signals_that_were_drawn_have_their_rules_drafted() -> None:
    text = after(SIDING, SetSignal(Port("T1", "points")), SetSignal(Port("T1", "reverse")))
    text = after(text, Rename("2R", "Home"))
    made = with_bare_signals(text, "x", None, _draft)
    signals = drawing_of(made).signals
    assert {"Home", "2L"} <= signals.keys() and len(signals) == 3
    assert "Stop otherwise" not in made, "each has its rules, in columns"
    assert signals["Home"].enters == Port("T1", "points")
    remarked = text.replace("signal 2L at B3 | T1", "signal 2L at B3 | T1  # mine")
    made = with_bare_signals(remarked, "x", None, _draft)
    assert "signal 2L at B3 | T1  # mine\n  Stop otherwise" in made, "no line with a remark goes"
    with pytest.raises(InputError):
        with_bare_signals(f"{text}track B1 | B1\n", "x", None, _draft)


def _draft(source: Source) -> str:
    return drafted(source, read(source, None), Wanted())
