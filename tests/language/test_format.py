"""The formatter: same meaning, no comment lost, done once is done."""

import re
from collections import Counter
from dataclasses import fields, is_dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

from tests.junction_files import SPEC_FILES
from tests.language.statements import files
from tests.sweep import examples
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.format.formatter import format_text
from verifier.language.source import Source, Span
from verifier.language.syntax.parse import MAX_NESTING, lex, parse


def meaning(node: Any) -> Any:
    """A syntax tree without the places it was read from."""
    if is_dataclass(node):
        values = {f.name: getattr(node, f.name) for f in fields(node)}
        return type(node).__name__, {
            name: meaning(value) for name, value in values.items() if not isinstance(value, Span)
        }
    return [meaning(part) for part in node] if isinstance(node, tuple) else node


def read(text: str) -> Any:
    return meaning(parse(Source("file", text)))


def comments(text: str) -> Counter[str]:
    """Every comment of a file: what stands between its words and is no space."""
    tokens = [(0, 0), *((t.start_pos, t.end_pos) for t in lex(Source("file", text)))]
    between = [text[end:start] for (_, end), (start, _) in pairwise([*tokens, (len(text), 0)])]
    found = (c.rstrip() for gap in between for c in re.findall(r"#[^\r\n]*", gap))
    return Counter(found)


@settings(max_examples=examples(400), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(files())
def test_any_file_keeps_its_meaning_and_its_comments_and_formats_once(text: str) -> None:
    formatted = format_text(text)
    assert read(formatted) == read(text)
    assert comments(formatted) == comments(text)
    assert format_text(formatted) == formatted
    assert "\r" not in formatted
    assert "\n\n\n" not in formatted
    assert not formatted or formatted.endswith("\n")
    assert not formatted.startswith("\n")
    assert not re.search(r"[ \t]+$", formatted, re.MULTILINE)


CUT = [
    "turnout T1 in B frog live by lever 4 thrown by hand",
    "turnout T1 in B frog live by lever 4 lever 4 positions left, normal lever 4 left locks 6 left",
    "turnout T1 in B frog live by contacts of T3 motor slow 3 s contacts normal, reverse",
    "turnout T1 in B frog live by lever 4 frog live by lever 6",
    "supply Bus track power DCC fuse 3 A trips at 4 A",
]


@pytest.mark.parametrize("text", CUT)
def test_a_statement_may_go_on_in_the_next_line_after_every_word(text: str) -> None:
    for found in re.finditer(r" (?=[^\"]*(?:\"[^\"]*\"[^\"]*)*$)", text):
        for end in ("\n", "  # why\n   "):
            cut = f"{text[: found.start()]}{end}{text[found.end() :]}"
            assert read(cut) == read(text)
            assert read(format_text(cut)) == read(text)


def test_a_frog_without_its_lever_is_not_given_that_of_the_next_statement() -> None:
    for after in ("4 positions left, normal", "4 left locks 6 left"):
        with pytest.raises(InputError) as wrong:
            format_text(f"turnout T1 in B\n  frog live by\nlever {after}\n")
        assert wrong.value.diagnostics[0].message == (
            "this `turnout` statement stops short after `by`"
        )


@pytest.mark.parametrize("path", SPEC_FILES, ids=lambda path: path.name)
def test_the_junctions_of_specs_keep_their_meaning(path: Path) -> None:
    text = path.read_text("utf-8")
    formatted = format_text(text)
    assert read(formatted) == read(text)
    assert comments(formatted) == comments(text)
    assert format_text(formatted) == formatted


CROWDED = """\


# The east switch.


layout   "Heron Falls, east switch"


edge West-Main,West-Siding,   Quarry # where this plan stops
block Main "main track at the station"
block Siding
block Team-Track undetected "no detector"
turnout T1 in Switch # hand thrown
track West-Main = Main | normal T1 | Single = Quarry
track West-Siding = Siding | reverse T1
track Siding |(g1) Team-Track = End


signal 4L at Single | T1   # two heads
    heads upper,lower
  # the main line first
  Clear when T1 normal and Switch,Main clear
  Diverging-Clear when T1 reverse and(Switch,Siding clear)   # slowly

  Stop otherwise
  # so much for 4L
head 6.upper green when Ready flashing   red otherwise
aspect Clear green or green over red proceed
aspect Slow-Approach yellow proceed   at slow speed prepared to stop
prove "never both" never 4L proceeds and 4R proceeds
prove "the yard lead never shows green with the main lined" never 6L shows Clear and T1 lies normal
waive "own question" because "a reason"
# the end
"""


def test_a_crowded_file_becomes_a_neat_one() -> None:
    assert (
        format_text(CROWDED)
        == """\
# The east switch.

layout "Heron Falls, east switch"

edge West-Main, West-Siding, Quarry  # where this plan stops
block Main        "main track at the station"
block Siding
block Team-Track  undetected "no detector"
turnout T1 in Switch  # hand thrown
track West-Main   = Main   |     normal T1  | Single = Quarry
track West-Siding = Siding |     reverse T1
track               Siding |(g1) Team-Track = End

signal 4L at Single | T1  # two heads
  heads upper, lower
  # the main line first
  Clear            when T1 normal and Switch, Main clear
  Diverging-Clear  when T1 reverse and Switch, Siding clear  # slowly
  Stop             otherwise
  # so much for 4L
head 6.upper
  green         when Ready
  flashing red  otherwise
aspect Clear          green or green over red  proceed
aspect Slow-Approach  yellow                   proceed at slow speed prepared to stop
prove "never both" never 4L proceeds and 4R proceeds
prove "the yard lead never shows green with the main lined"
  never 6L shows Clear and T1 lies normal
waive "own question" because "a reason"
# the end
"""
    )


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", ""),
        ("\n\n", ""),
        ("# nothing yet", "# nothing yet\n"),
        ("\n\n# a\n\n\n\n# b\n\n", "# a\n\n# b\n"),
        ("block   Main", "block Main\n"),
        ("edge A,B edge C # both", "edge A, B\nedge C  # both\n"),
        ("\ufeffblock Main\r\n\r\n\r\nblock Siding\r\n", "block Main\n\nblock Siding\n"),
        ("block Main # old\rblock Siding", "block Main  # old\nblock Siding\n"),
        ('block Main ""', "block Main\n"),
        ("slip P1 in T single across   to along", "slip P1 in T single across to along\n"),
        ("edge A leaving\nonly", "edge A leaving only\n"),
        ("lever 4 positions left ,normal", "lever 4 positions left, normal\n"),
        ('waive "opposing-proceeds" because "x"', 'waive opposing-proceeds because "x"\n'),
        ('expect broken "clear" for 4L', 'expect broken "clear" for 4L\n'),
        ("aspect A green proceed   prepared\n to stop at next\tsignal",
         "aspect A  green  proceed prepared to stop at next signal\n"),
        ("track A |( g1 )B", "track A |(g1) B\n"),
    ],
)  # fmt: skip
def test_small_files(text: str, expected: str) -> None:
    assert format_text(text) == expected


@pytest.mark.parametrize(
    ("written", "formatted"),
    [
        ("A clear", "A clear"),
        ("((A clear))", "A clear"),
        ("not (A clear)", "not A clear"),
        ("not not A clear", "not not A clear"),
        ("not (A clear and B clear)", "not (A clear and B clear)"),
        ("A clear and (B clear)", "A clear and B clear"),
        ("A clear and (B clear and C clear)", "A clear and (B clear and C clear)"),
        ("A clear and B clear or C clear", "(A clear and B clear) or C clear"),
        ("(A clear or B clear) and C clear", "(A clear or B clear) and C clear"),
        ("A,B clear", "A, B clear"),
        ("any of A,B proceed", "any of A, B proceeds"),
        ("all of A,B proceeds", "all of A, B proceed"),
        ("A lie normal", "A lies normal"),
        ("A,B lies normal", "A, B lie normal"),
        ("train on any of A,B", "train on any of A, B"),
        ("A flashing   green", "A flashing green"),
        ("Ready", "Ready"),
        ("4 left", "4 left"),
    ],
)
def test_conditions(written: str, formatted: str) -> None:
    assert format_text(f"condition X is {written}") == f"condition X is {formatted}\n"


def test_parentheses_that_only_people_need_are_not_put_where_they_would_be_too_many() -> None:
    inner = "A clear"
    for _ in range(MAX_NESTING):
        inner = f"(B clear and {inner} or C clear)"
    text = f"condition X is {inner}"
    formatted = format_text(text)
    assert read(formatted) == read(text)
    assert format_text(formatted) == formatted


LONG = (
    "Heron-Falls-Main clear and Fernhook-Siding clear and Millrace-Switch clear and Loon-Cove clear"
)


def test_a_long_condition_has_a_line_for_each_part() -> None:
    assert (
        format_text(f"signal 2 at A | B\nClear when {LONG} Stop otherwise")
        == """\
signal 2 at A | B
  Clear  when Heron-Falls-Main clear
          and Fernhook-Siding clear
          and Millrace-Switch clear
          and Loon-Cove clear
  Stop   otherwise
"""
    )
    assert (
        format_text(f"condition Ready is ({LONG}) or T1 reverse")
        == """\
condition Ready is (Heron-Falls-Main clear and Fernhook-Siding clear and Millrace-Switch clear \
and Loon-Cove clear)
    or T1 reverse
"""
    )
    assert (
        format_text(f'assume "at night" never {LONG}')
        == """\
assume "at night"
  never Heron-Falls-Main clear
      and Fernhook-Siding clear
      and Millrace-Switch clear
      and Loon-Cove clear
"""
    )


def test_long_lists_and_track_lines_go_on_below() -> None:
    names = ", ".join(f"Birch-Landing-{n}" for n in range(10))
    lines = format_text(f"edge {names}").splitlines()
    assert [len(line) <= 100 for line in lines] == [True, True]
    assert lines[1].startswith("    Birch-Landing-5, ")
    track = format_text("track A = " + " = ".join(f"normal Turnout-{n}" for n in range(8)))
    assert [line[:8] for line in track.splitlines()] == ["track A ", "    = no"]


def test_comments_in_the_middle_of_a_condition_stay_beside_their_parts() -> None:
    text = """\
signal 2 at A | B
  Clear when T1 normal   # lined for the main
     and Switch clear    # nobody in the switch
     # and the far end
     and Single clear
  Stop otherwise         # of course
"""
    assert (
        format_text(text)
        == """\
signal 2 at A | B
  Clear  when T1 normal     # lined for the main
          and Switch clear  # nobody in the switch
          # and the far end
          and Single clear
  Stop   otherwise  # of course
"""
    )


def test_comments_of_a_list_stay_beside_their_names() -> None:
    text = "edge A,   # west\n  B,# east\n  # and one more\n  C"
    assert format_text(text) == "edge A,  # west\n    B,   # east\n    # and one more\n    C\n"


def test_a_comment_that_closes_a_signal_stays_with_it() -> None:
    text = "signal 2 at A | B\n  Stop  otherwise\n  # end of 2\n# now 4\nsignal 4 at B | A\n"
    assert format_text(text) == text


def test_track_lines_that_name_the_same_piece_have_it_in_one_column() -> None:
    text = """\
track Quarry = Single | T1 normal | Main = East-Main
track Single | T1 reverse | Siding | Beyond = East-Siding
track Elsewhere | Far-Away
"""
    assert (
        format_text(text)
        == """\
track Quarry = Single | T1 normal  | Main   = East-Main
track          Single | T1 reverse | Siding | Beyond    = East-Siding
track Elsewhere | Far-Away
"""
    )


def test_track_lines_without_a_common_place_are_left_alone() -> None:
    text = "track A | B | C\ntrack C | A\ntrack North |(g1) South |(g2) North\n"
    assert format_text(text) == text


def test_legs_stand_below_legs() -> None:
    text = "track W = A | normal T1 | B = E\ntrack V = C | T3 normal | D = F\n"
    assert format_text(text) == (
        "track W = A | normal T1        | B = E\ntrack V = C |        T3 normal | D = F\n"
    )
