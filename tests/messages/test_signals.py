"""Signals whose rules do not hold together: CP4xx."""

import re

from tests.messages.expecting import TRACK, errors, expect


def test_nothing_says_when() -> None:
    expect(
        TRACK + "signal 2 at Main | T1\n",
        code="CP401",
        underlined="2",
        message="signal `2` has no rules",
        hint="Add lines such as `Clear when …` and `Stop otherwise`.",
    )
    expect(
        TRACK + ("signal 2 at Main | T1\n  heads upper, lower\n"),
        code="CP401",
        underlined="2",
        message="signal `2` has no rules",
        hint="Add lines such as `Clear when …` and `Stop otherwise`.",
    )
    expect(
        TRACK + ("signal 2 at Main | T1\n  heads upper, lower\nhead 2.upper\n  red otherwise\n"),
        code="CP401",
        underlined="2",
        message="head `2.lower` has no rules, but head `2.upper` has",
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
        message="signal `2` has lines after `otherwise` that are never reached",
        hint="Put `otherwise` last: it always holds, and the first line that holds decides.",
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
        message="`otherwise` shows `Clear`, but `Stop` is more restrictive",
        hint=("Show the most restrictive aspect when nothing else holds: `Stop otherwise`."),
    )
    expect(
        TRACK + ("signal 2 at Main | T1\nhead 2\n  green when Single clear\n  yellow otherwise\n"),
        code="CP403",
        underlined="yellow otherwise",
        message="`otherwise` shows `yellow`, but `red` is more restrictive",
        hint=("Show the most restrictive color when nothing else holds: `red otherwise`."),
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
        hint="This file replaces it with its own aspect `Highball`: both mean `proceed`.",
    )
    expect(
        TRACK + ("signal 2 at Main | T1\n  green when Single clear\n  Stop otherwise\n"),
        code="CP404",
        underlined="green",
        message="no aspect is called `green`",
        hint=(
            "For the color of one head, write a `head` statement. The chart has Clear, "
            "Approach, Diverging-Clear, Diverging-Approach, Restricting, Stop."
        ),
    )
    expect(
        TRACK + ("signal 2 at Main | T1\n  flashing Clear when Single clear\n  Stop otherwise\n"),
        code="CP404",
        underlined="Clear",
        message="no aspect is called `flashing Clear`",
        hint="Remove `flashing`. It belongs to a color, in a `head` statement.",
    )
    expect(
        TRACK + ("signal 2 at Main | T1\n  Diverging-Clear when Single clear\n  Stop otherwise\n"),
        code="CP405",
        underlined="Diverging-Clear",
        message="the chart has no colors for `Diverging-Clear` on a signal with 1 head",
        hint=(
            "`Diverging-Clear` takes 2 or 3 heads. Give signal `2` as many (`heads "
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
        message="the chart has no colors for `Slow` on a signal with 3 heads",
        hint=(
            "`Slow` takes 2 heads. Give signal `2` as many (`heads upper, lower`), or "
            "list colors for 3 in an `aspect Slow` statement."
        ),
        more=("its colors are listed here",),
    )


def test_colors() -> None:
    expect(
        TRACK + ("signal 2 at Main | T1\nhead 2\n  Clear when Single clear\n  red otherwise\n"),
        code="CP410",
        underlined="Clear",
        message="`Clear` is not a color that a head can show",
        hint="A head shows green, yellow, red, lunar, white or dark, flashing or steady.",
    )
    expect(
        TRACK + ("signal 2 at Main | T1\nhead 2\n  grean when Single clear\n  red otherwise\n"),
        code="CP410",
        underlined="grean",
        message="`grean` is not a color that a head can show",
        hint="Did you mean `green`?",
    )
    expect(
        TRACK + ("signal 2 at Main | T1\nhead 2\n  amber when Single clear\n  red otherwise\n"),
        code="CP410",
        underlined="amber",
        message="`amber` is not a color that a head can show",
        hint="A head shows green, yellow, red, lunar, white or dark, flashing or steady.",
    )


def test_heads() -> None:
    expect(
        TRACK + ("signal 2 at Main | T1\n  heads upper, upper\n  Stop otherwise\n"),
        code="CP202",
        underlined="upper",
        message="two heads of signal `2` are called `upper`",
        hint="Give each head a name of its own, such as `upper` and `lower`.",
    )
    expect(
        TRACK + ("signal 2 at Main | T1\n  heads a, b, c, d\n  Stop otherwise\n"),
        code="CP408",
        underlined="d",
        message="a signal has at most 3 heads",
        hint="Put the other heads on a signal of their own.",
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
        message="signal `2` and its head `2.upper` both have rules",
        hint=(
            "Keep one list of aspects for the signal, or a `head` statement for each of its heads."
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
        hint="Signal `2` has one head, called `2`.",
    )
    expect(
        TRACK + ("signal 2 at Main | T1\nhead 2\n  red otherwise\nhead 2\n  red otherwise\n"),
        code="CP202",
        underlined="2",
        message="head `2` has two lists of lines",
        hint="Put all its lines in one list. The first line that holds decides.",
        more=("the first one is here",),
    )
    expect(
        TRACK + ("head Main\n  red otherwise\n"),
        code="CP407",
        underlined="Main",
        message="no head is called `Main`",
        hint="Name a head by its signal, a dot, and the head: `4L.upper`.",
    )


def test_aspect_statements() -> None:
    expect(
        TRACK + "aspect Parade green over green over green over green proceed\n",
        code="CP408",
        underlined="green",
        message="a signal has at most 3 heads",
        hint="Remove the colors below the third head.",
    )


def test_a_circle_of_signals() -> None:
    (found,) = errors(
        TRACK
        + "signal 2 at Main | T1\n  Clear when 4 at stop\n  Stop otherwise\n"
        + "signal 4 at Single | T1\n  Clear when 2 at stop\n  Stop otherwise\n"
    )
    assert found.code == "CP409"
    assert found.span.text.startswith("signal 2 at Main")
    assert found.message == "these signals wait for each other: 2 needs 4 needs 2"
    assert [words for _, words in found.others] == ["signal `4` is here"]
    assert re.fullmatch(
        r"What each shows depends on the other: 2 \w+ → 4 \w+ → 2 \w+. Write one of them without "
        r"the other, or let a lever of the dispatcher choose between them.",
        found.hint,
    )


def test_circles_of_conditions() -> None:
    expect(
        TRACK + ("condition Ready is Held\ncondition Held is not Ready\n"),
        code="CP409",
        underlined="condition Ready is Held",
        message="this condition depends on itself: Ready needs Held needs Ready",
        hint="Write one of them without the next.",
        more=("this one needs the next",),
    )
    expect(
        TRACK + "condition Ready is Ready\n",
        code="CP409",
        underlined="condition Ready is Ready",
        message="this condition depends on itself: Ready needs Ready",
        hint="Write one of them without the next.",
    )
