"""How messages are printed: the line as the person wrote it, and marks where they belong."""

import pytest

from tests.messages.expecting import errors, underlined
from verifier.language.diagnostics.diagnostic import Diagnostic, InputError, render
from verifier.language.source import Source, Span


def shown(text: str) -> list[str]:
    (found,) = errors(text)
    return render(found).split("\n")


def test_a_message_in_full() -> None:
    assert shown("edge West, East\nturnout T1 Switch\n") == [
        "station.ixl:2:12: CP104: `Switch` was not expected here",
        "  2 | turnout T1 Switch",
        "    |            ^^^^^^",
        "  = Expected a comma or `in`. A turnout is written `turnout T1 in Switch`.",
    ]


def test_a_message_with_a_second_place() -> None:
    text = "edge A, B\nblock Main\n\n\n\n\n\n\n\nblock Main\ntrack A = Main = B\n"
    assert shown(text) == [
        "station.ixl:10:7: CP202: `Main` is declared twice",
        "  10 | block Main",
        "     |       ^^^^",
        "  it is already a block here (station.ixl:2):",
        "  2 | block Main",
        "    |       ^^^^",
        "  = Give each thing a name of its own, even where the kinds differ.",
    ]


def test_tabs_keep_their_width_in_the_line_of_marks() -> None:
    lines = shown("turnout\tT1\tSwitch\n")
    assert lines[1] == "  1 | turnout\tT1\tSwitch"
    assert lines[2] == "    |        \t  \t^^^^^^"


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_any_line_end_counts_as_one(end: str) -> None:
    lines = shown(end.join(["edge West, East", "# a note", "turnout T1 Switch", "block Main", ""]))
    assert lines[0].startswith("station.ixl:3:12: ")
    assert lines[1] == "  3 | turnout T1 Switch"


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_a_comment_ends_with_its_line(end: str) -> None:
    (found,) = errors(end.join(["# everything below counts", "block Main =", ""]))
    assert (found.code, found.span.line) == ("CP104", 2)


@pytest.mark.parametrize(
    ("text", "marks"),
    [
        ("block Mäin Süd\n", "    |            ^^^"),
        ("block 東京 Süd\n", "    |            ^^^"),
        ('layout "Bahnhof 🚂" Süd\n', "    |                     ^^^"),
        ('layout "Ma\u0308in" Süd\n', "    |               ^^^"),
        ('layout "\u200b" Süd\n', "    |            ^^^"),
    ],
)
def test_marks_stand_below_what_they_mark_in_any_script(text: str, marks: str) -> None:
    assert shown(text)[2] == marks


def test_what_cannot_be_seen_is_shown_as_a_dot() -> None:
    lines = shown("block Ma\u200bin\n")
    assert lines[1:3] == ["  1 | block Ma·in", "    |         ^"]
    assert shown("block Main\x00\n")[1] == "  1 | block Main·"
    assert shown('layout "\x1b[2J"\n')[1] == '  1 | layout "·[2J"'


def test_a_byte_order_mark_is_no_error_and_does_not_hide_the_first_word() -> None:
    (found,) = errors("\ufeffTurnout T1 in Switch\n")
    assert found.code == "CP103"
    assert found.hint.startswith("Write `turnout`")


def test_of_a_very_long_line_only_the_place_is_shown() -> None:
    text = "edge West, East block " + "Main, " * 170_000 + "; block Single\n"
    assert len(text) > 1_000_000
    lines = shown(text)
    assert max(map(len, lines)) < 250
    assert underlined("\n".join(lines)) == ";"
    assert lines[0].startswith("station.ixl:1:1020023: CP101: ")


def test_a_statement_over_several_lines_is_marked_on_its_first() -> None:
    lines = shown(
        "edge A, B\nblock Main\ntrack A = Main = B\n"
        'prove "x" never\n  Main vacant\nprove "x" never\n  Main vacant\n'
    )
    assert lines[1:3] == ['  6 | prove "x" never', "    | ^^^^^^^^^^^^^^^"]


def test_a_long_word_is_cut_in_the_message() -> None:
    (found,) = errors('block Main Single "' + "so " * 1000 + '"\n')
    assert found.message == "`Single` was not expected here"
    (found,) = errors('block Main "' + "so " * 1000 + '" "' + "and " * 1000 + '"\n')
    assert len(found.message) < 80
    assert found.message.endswith("…` was not expected here")


def test_a_mark_at_the_end_of_a_file_has_a_place() -> None:
    source = Source("f.ixl", "block Main")
    text = render(Diagnostic("CP105", "more must come", Span(source, 10, 10)))
    assert text.split("\n")[1:] == ["  1 | block Main", "    |           ^"]


def test_a_file_without_text_is_named_without_a_line() -> None:
    source = Source("f.ixl", "")
    assert render(Diagnostic("CP100", "this file does not exist", Span(source, 0, 0))) == (
        "f.ixl: CP100: this file does not exist"
    )


def test_errors_are_sorted_by_place_and_speak_for_themselves() -> None:
    source = Source("f.ixl", "block Main\n")
    one = Diagnostic("CP202", "second", Span(source, 6, 10))
    two = Diagnostic("CP104", "first", Span(source, 0, 5))
    error = InputError([one, two])
    assert error.diagnostics == (two, one)
    assert str(error) == "first; second"


def test_what_cannot_be_seen_is_never_printed() -> None:
    for text in ('"\x00', "block \x1b[31m", '"\x07 \x08'):
        for found in errors(text):
            assert all(c.isprintable() or c in "\n\t" for c in render(found))
