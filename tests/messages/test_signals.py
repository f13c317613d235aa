"""Signals whose rules do not hold together: CP4xx."""

import re

from tests.messages.expecting import TRACK, errors, expect


def test_nothing_says_when() -> None:
    expect(
        TRACK + "signal 2 at Main | T1\n",
        code="CP401",
        underlined="2",
        message="nothing says when signal `2` shows what",
        hint="Add lines such as `Clear when …` and `Stop otherwise`.",
    )
    expect(
        TRACK + ("signal 2 at Main | T1\n  heads upper, lower\n"),
        code="CP401",
        underlined="2",
        message="nothing says when signal `2` shows what",
        hint="Add lines such as `Clear when …` and `Stop otherwise`.",
    )
    expect(
        TRACK + ("signal 2 at Main | T1\n  heads upper, lower\nhead 2.upper\n  red otherwise\n"),
        code="CP401",
        underlined="2",
        message="head `2.lower` has no list of its own, though `2.upper` has one",
        hint="Write a `head 2.lower` statement: `green when …`, `red otherwise`.",
    )


def test_otherwise() -> None:
    expect(
        TRACK + ("signal 2 at Main | T1\n  Clear when Single clear\n"),
        code="CP402",
        underlined="2",
        message="signal `2` has no `otherwise`",
        hint="Say what it shows when no other line holds: `Stop otherwise`.",
    )
    expect(
        TRACK + ("signal 2 at Main | T1\n  Stop otherwise\n  Clear when Single clear\n"),
        code="CP402",
        underlined="Stop otherwise",
        message="signal `2` has lines after `otherwise`, which are never read",
        hint="The first line that holds is shown, and `otherwise` always holds: put it last.",
    )
    expect(
        TRACK + ("signal 2 at Main | T1\nhead 2\n  green when Single clear\n"),
        code="CP402",
        underlined="2",
        message="head `2` has no `otherwise`",
        hint="Say what it shows when no other line holds: `red otherwise`.",
    )


def test_the_most_restrictive() -> None:
    expect(
        TRACK + ("signal 2 at Main | T1\n  Stop when Single occupied\n  Clear otherwise\n"),
        code="CP403",
        underlined="Clear otherwise",
        message="`otherwise` shows Clear, though Stop is more restrictive",
        hint=(
            "What is shown when nothing else holds must be the most restrictive "
            "aspect of the signal: `Stop otherwise`."
        ),
    )
    expect(
        TRACK + ("signal 2 at Main | T1\nhead 2\n  green when Single clear\n  yellow otherwise\n"),
        code="CP403",
        underlined="yellow otherwise",
        message="`otherwise` shows yellow, though red is more restrictive",
        hint=(
            "What a head shows when nothing else holds must be its most restrictive "
            "color: `red otherwise`."
        ),
    )


def test_aspects() -> None:
    expect(
        TRACK + ("signal 2 at Main | T1\n  Cleer when Single clear\n  Stop otherwise\n"),
        code="CP404",
        underlined="Cleer",
        message="no aspect is called `Cleer`",
        hint="Did you mean `Clear`?",
    )
    expect(
        TRACK
        + (
            "aspect Highball green proceed\n"
            "signal 2 at Main | T1\n"
            "  Clear when Single clear\n"
            "  Stop otherwise\n"
        ),
        code="CP404",
        underlined="Clear",
        message="no aspect is called `Clear`",
        hint="The aspect `Highball` of this file has taken its place: both mean `proceed`.",
    )
    expect(
        TRACK + ("signal 2 at Main | T1\n  green when Single clear\n  Stop otherwise\n"),
        code="CP404",
        underlined="green",
        message="no aspect is called `green`",
        hint=(
            "To set one head's color write a `head` statement. The chart has: "
            "Clear, Approach, Diverging-Clear, Diverging-Approach, Restricting, Stop."
        ),
    )
    expect(
        TRACK + ("signal 2 at Main | T1\n  flashing Clear when Single clear\n  Stop otherwise\n"),
        code="CP404",
        underlined="Clear",
        message="no aspect is called `flashing Clear`",
        hint="Leave out `flashing`: it is said of a color, in a `head` statement.",
    )
    expect(
        TRACK + ("signal 2 at Main | T1\n  Diverging-Clear when Single clear\n  Stop otherwise\n"),
        code="CP405",
        underlined="Diverging-Clear",
        message="the chart has no colors for Diverging-Clear on a signal with 1 head",
        hint=(
            "Diverging-Clear takes 2 or 3 heads: give signal `2` as many (`heads "
            "upper, lower`), or list colors for 1 in an `aspect Diverging-Clear` "
            "statement."
        ),
    )
    expect(
        TRACK
        + (
            "signal 2 at Main | T1\n"
            "  heads a, b, c\n"
            "  Slow when Single clear\n"
            "  Stop otherwise\n"
            "aspect Slow yellow over yellow proceed at slow speed\n"
        ),
        code="CP405",
        underlined="Slow",
        message="the chart has no colors for Slow on a signal with 3 heads",
        hint=(
            "Slow takes 2 heads: give signal `2` as many (`heads upper, lower`), or "
            "list colors for 3 in an `aspect Slow` statement."
        ),
        more=("its colors are listed here",),
    )


def test_colors() -> None:
    expect(
        TRACK + ("signal 2 at Main | T1\nhead 2\n  Clear when Single clear\n  red otherwise\n"),
        code="CP410",
        underlined="Clear",
        message="`Clear` is not a color a head can show",
        hint="A head shows green, yellow, red, lunar, white or dark, flashing or steady.",
    )
    expect(
        TRACK + ("signal 2 at Main | T1\nhead 2\n  grean when Single clear\n  red otherwise\n"),
        code="CP410",
        underlined="grean",
        message="`grean` is not a color a head can show",
        hint="Did you mean `green`?",
    )
    expect(
        TRACK + ("signal 2 at Main | T1\nhead 2\n  amber when Single clear\n  red otherwise\n"),
        code="CP410",
        underlined="amber",
        message="`amber` is not a color a head can show",
        hint="A head shows green, yellow, red, lunar, white or dark, flashing or steady.",
    )


def test_heads() -> None:
    expect(
        TRACK + ("signal 2 at Main | T1\n  heads upper, upper\n  Stop otherwise\n"),
        code="CP202",
        underlined="upper",
        message="two heads of signal `2` are called `upper`",
        hint="Give each a name of its own, such as `upper` and `lower`.",
    )
    expect(
        TRACK + ("signal 2 at Main | T1\n  heads a, b, c, d\n  Stop otherwise\n"),
        code="CP408",
        underlined="d",
        message="a signal has at most 3 heads",
        hint="Put the further heads on a signal of their own.",
    )
    expect(
        TRACK
        + (
            "signal 2 at Main | T1\n"
            "  heads upper, lower\n"
            "  Stop otherwise\n"
            "head 2.upper\n"
            "  red otherwise\n"
        ),
        code="CP406",
        underlined="2",
        message="signal `2` has lines of its own and head `2.upper` has lines too",
        hint=(
            "Write either one list of aspects for the signal, or a `head` statement "
            "for each of its heads."
        ),
    )
    expect(
        TRACK
        + (
            "signal 2 at Main | T1\n"
            "  heads upper, lower\n"
            "  Stop otherwise\n"
            "head 2.middle\n"
            "  red otherwise\n"
        ),
        code="CP407",
        underlined="2.middle",
        message="no head is called `2.middle`",
        hint="The heads of signal `2` are `2.upper` and `2.lower`.",
    )
    expect(
        TRACK + ("signal 2 at Main | T1\n  Stop otherwise\nhead 2.upper\n  red otherwise\n"),
        code="CP407",
        underlined="2.upper",
        message="no head is called `2.upper`",
        hint="Signal `2` has one head, which is called `2`.",
    )
    expect(
        TRACK + ("signal 2 at Main | T1\nhead 2\n  red otherwise\nhead 2\n  red otherwise\n"),
        code="CP202",
        underlined="2",
        message="head `2` has two lists of lines",
        hint="Put all its lines into one list; the first one that holds is shown.",
        more=("the first one is here",),
    )
    expect(
        TRACK + ("head Main\n  red otherwise\n"),
        code="CP407",
        underlined="Main",
        message="no head is called `Main`",
        hint="A head goes by its signal's name, a dot, and its own: `4L.upper`.",
    )


def test_aspect_statements() -> None:
    expect(
        TRACK + "aspect Parade green over green over green over green proceed\n",
        code="CP408",
        underlined="green",
        message="a signal has at most 3 heads",
        hint="Leave out the colors below the third head.",
    )


def test_a_circle_of_signals() -> None:
    (found,) = errors(
        TRACK
        + "signal 2 at Main | T1\n  Clear when 4 at stop\n  Stop otherwise\n"
        + "signal 4 at Single | T1\n  Clear when 2 at stop\n  Stop otherwise\n"
    )
    assert found.code == "CP409"
    assert found.span.text.startswith("signal 2 at Main")
    assert found.message == "a circle: 2 needs 4 needs 2"
    assert [words for _, words in found.others] == ["4 stands here"]
    assert re.fullmatch(
        r"What each shows waits for the other: 2 \w+ → 4 \w+ → 2 \w+. Let one of them do without "
        r"the other, or let a lever of the dispatcher's choose between them.",
        found.hint,
    )


def test_circles_of_conditions() -> None:
    expect(
        TRACK + ("condition Ready is Held\ncondition Held is not Ready\n"),
        code="CP409",
        underlined="condition Ready is Held",
        message="a circle: Ready needs Held needs Ready",
        hint="A condition cannot be written in terms of itself.",
        more=("and this one needs the next",),
    )
    expect(
        TRACK + "condition Ready is Ready\n",
        code="CP409",
        underlined="condition Ready is Ready",
        message="a circle: Ready needs Ready",
        hint="A condition cannot be written in terms of itself.",
    )
