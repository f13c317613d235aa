"""Misspelt words, capital letters and strange characters, and what is said about them."""

import pytest

from tests.messages.expecting import expect


@pytest.mark.parametrize(("word", "here"), [("switch", "turnout"), ("board", "driver")])
def test_other_words_of_the_trade(word: str, here: str) -> None:
    expect(
        f"block Main\n{word} T1 in Main",
        code="CP103",
        underlined=word,
        message=f"`{word}` does not start a statement",
        hint=f"The word for it here is `{here}`.",
    )


def test_misspelt_statement_words() -> None:
    expect(
        "singal 4L at Main | T1\n  Stop otherwise",
        code="CP103",
        underlined="singal",
        message="`singal` does not start a statement",
        hint="Did you mean `signal`?",
    )
    expect(
        "block Main\nsingal 4L at Main | T1\n  Stop otherwise",
        code="CP103",
        underlined="singal",
        message="`singal` does not start a statement",
        hint="Did you mean `signal`?",
    )
    expect(
        "condition Ready is Held\nsingal 4L at Main | T1",
        code="CP103",
        underlined="singal",
        message="`singal` does not start a statement",
        hint="Did you mean `signal`?",
    )
    expect(
        "signal 4L at Main | T1\n  Stop otherwise\nturnot T1 in Switch",
        code="CP103",
        underlined="turnot",
        message="`turnot` does not start a statement",
        hint="Did you mean `turnout`?",
    )
    expect(
        "turn out T1 in Switch",
        code="CP103",
        underlined="turn",
        message="`turn` does not start a statement",
        hint="Did you mean `turnout`?",
    )
    expect(
        "signal4L at Main | T1",
        code="CP103",
        underlined="signal4L",
        message="`signal4L` does not start a statement",
        hint="Did you mean `signal`?",
    )
    expect(
        "blocks Main, Siding",
        code="CP103",
        underlined="blocks",
        message="`blocks` does not start a statement",
        hint="Did you mean `block`?",
    )
    expect(
        "block Main\nBlocks Siding",
        code="CP103",
        underlined="Blocks",
        message="`Blocks` does not start a statement",
        hint="Did you mean `block`?",
    )


def test_capital_letters() -> None:
    expect(
        "block Switch\nTurnout T1 in Switch",
        code="CP103",
        underlined="Turnout",
        message="`Turnout` does not start a statement",
        hint="Write `turnout`: the words of the language are in small letters.",
    )
    expect(
        'LAYOUT "Heron Falls"',
        code="CP103",
        underlined="LAYOUT",
        message="`LAYOUT` does not start a statement",
        hint="Write `layout`: the words of the language are in small letters.",
    )
    expect(
        "Block Main",
        code="CP103",
        underlined="Block",
        message="`Block` does not start a statement",
        hint="Write `block`: the words of the language are in small letters.",
    )
    expect(
        "block Main\nSignal 4L at Main | T1\n  Stop otherwise",
        code="CP103",
        underlined="Signal",
        message="`Signal` does not start a statement",
        hint="Write `signal`: the words of the language are in small letters.",
    )
    expect(
        "turnout T1 In Switch",
        code="CP104",
        underlined="In",
        message="`In` was not expected here",
        hint="Write `in`: the words of the language are in small letters.",
    )
    expect(
        "condition Ready Is Main clear",
        code="CP104",
        underlined="Is",
        message="`Is` was not expected here",
        hint="Write `is`: the words of the language are in small letters.",
    )
    expect(
        "condition Ready is Not Main clear",
        code="CP104",
        underlined="clear",
        message="`clear` was not expected here",
        hint=(
            "Expected `and`, `or`, or the next statement. A named condition is "
            "written `condition Ready is T1 normal and Switch, Main clear`."
        ),
    )


def test_statements_that_do_not_exist() -> None:
    expect(
        "hello world",
        code="CP103",
        underlined="hello",
        message="`hello` does not start a statement",
        hint="Start a statement with a word such as `layout`, `block`, `track` or `signal`.",
    )
    expect(
        "block Main\nhello world",
        code="CP103",
        underlined="hello",
        message="`hello` does not start a statement",
        hint="Start a statement with a word such as `layout`, `block`, `track` or `signal`.",
    )
    expect(
        "block Main\nwire 1 from 4L to West",
        code="CP104",
        underlined="from",
        message="`from` was not expected here",
        hint=(
            "Expected `carries`, a number, or a unit, such as `mm`, `in`, `V` or `A`. "
            "What a size of wire may carry is written `wire 22 AWG carries 3 A`."
        ),
    )
    expect(
        '"Heron Falls"',
        code="CP103",
        underlined='"Heron Falls"',
        message='`"Heron Falls"` does not start a statement',
        hint="Start a statement with a word such as `layout`, `block`, `track` or `signal`.",
    )
    expect(
        "= Main",
        code="CP103",
        underlined="=",
        message="`=` does not start a statement",
        hint="Start a statement with a word such as `layout`, `block`, `track` or `signal`.",
    )
    expect(
        "12",
        code="CP103",
        underlined="12",
        message="`12` does not start a statement",
        hint="Start a statement with a word such as `layout`, `block`, `track` or `signal`.",
    )


def test_strange_characters() -> None:
    expect(
        "block Main;",
        code="CP101",
        underlined=";",
        message="the character `;` has no meaning here",
        hint="Remove it: statements need no sign at their end.",
    )
    expect(
        "block “Main”",
        code="CP101",
        underlined="“",
        message="the character `“` has no meaning here",
        hint='Write straight quotes, "like this".',
    )
    expect(
        "layout 'Heron Falls'",
        code="CP101",
        underlined="'",
        message="the character `'` has no meaning here",
        hint='Put text in double quotes, "like this".',
    )
    expect(
        "track West–Main = Main",
        code="CP101",
        underlined="–",
        message="the character `–` has no meaning here",
        hint="Write a plain hyphen, `-`.",
    )
    expect(
        "block Ma\u200bin",
        code="CP101",
        underlined="·",
        message="the character U+200B has no meaning here",
        hint="It is invisible. Delete it, or type the line again.",
    )
    expect(
        "block Mäin",
        code="CP101",
        underlined="̈",
        message="the character U+0308 has no meaning here",
        hint="It is an accent by itself. Type the letter with its accent again.",
    )
    expect(
        "block Main\x00",
        code="CP101",
        underlined="·",
        message="the character U+0000 has no meaning here",
        hint="It is invisible. Delete it, or type the line again.",
    )
    expect(
        "block 😀",
        code="CP101",
        underlined="😀",
        message="the character `😀` has no meaning here",
        hint="Expected a name.",
    )
    expect(
        "block _main",
        code="CP101",
        underlined="_",
        message="the character `_` has no meaning here",
        hint="Start a name with a letter or a digit.",
    )
    expect(
        "block Main.",
        code="CP101",
        underlined=".",
        message="the character `.` has no meaning here",
        hint="Write a dot inside the name of a head, without spaces: `4L.upper`.",
    )
    expect(
        "block Main-.",
        code="CP101",
        underlined=".",
        message="the character `.` has no meaning here",
        hint="Write a dot inside the name of a head, without spaces: `4L.upper`.",
    )
    expect(
        "// the main line\nblock Main",
        code="CP101",
        underlined="/",
        message="the character `/` has no meaning here",
        hint="Start a comment with `#`.",
    )
    expect(
        "block [Main]",
        code="CP101",
        underlined="[",
        message="the character `[` has no meaning here",
        hint="Use `(` and `)`, the only brackets.",
    )
    expect(
        'block Main: "the main"',
        code="CP101",
        underlined=":",
        message="the character `:` has no meaning here",
        hint="Remove it: statements need no sign at their end.",
    )
    expect(
        'layout "Heron\x1b[31m Falls"',
        code="CP101",
        underlined="·",
        message="text in quotes cannot contain the character U+001B",
        hint="It is invisible. Delete it, or type the text again.",
    )
    expect(
        'layout "Heron \u202eFalls"',
        code="CP101",
        underlined="·",
        message="text in quotes cannot contain the character U+202E",
        hint="It is invisible. Delete it, or type the text again.",
    )
    expect(
        "edge West ¦ East",
        code="CP101",
        underlined="¦",
        message="the character `¦` has no meaning here",
        hint="Write a gap as `|`.",
    )


def test_sizes() -> None:
    expect(
        "block "
        "xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx\n",
        code="CP109",
        underlined="xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx",
        message="this name has 101 letters",
        hint="Shorten it to at most 100 letters.",
    )


@pytest.mark.parametrize(
    ("text", "underlined"),
    [
        ("at most 1 train on Main\n", "on"),
        ("at most 2 trains, 3 cars\n", ","),
        ("at most 2 trains Single\n", "Single"),
        ('assume "one train" always at most 1 train\n', "at most"),
        ("trains at most 1\n", "at most"),
    ],
)
def test_at_most_takes_a_number_of_trains_and_no_place(text: str, underlined: str) -> None:
    expect(
        text,
        code="CP104",
        underlined=underlined,
        message=f"`{underlined}` was not expected here",
        hint="`at most` is a statement of its own. It takes a number of trains, for the whole "
        "plan: `at most 2 trains`.",
    )


def test_train_misspelt() -> None:
    expect(
        'prove "stored" never 4L proceeds and trian on Main\n',
        code="CP104",
        underlined="on",
        message="`on` was not expected here",
        hint="Did you mean `train on`? Write `train on Main`.",
    )
