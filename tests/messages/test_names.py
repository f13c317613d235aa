"""Names that clash, are unknown, or stand for something else: CP2xx."""

from tests.messages.expecting import STATION, expect


def test_layout() -> None:
    expect(
        STATION + ('layout "Heron Falls"\nlayout "Quarry"'),
        code="CP202",
        underlined='layout "Quarry"',
        message="the layout has two titles",
        hint="Keep one: a file describes one layout.",
        more=("the first one is here",),
    )


def test_names_used_twice() -> None:
    expect(
        STATION + "block Main",
        code="CP202",
        underlined="Main",
        message="`Main` is declared twice",
        hint="Give each thing a name of its own, even where the kinds differ.",
        more=("it is already a block here",),
    )
    expect(
        STATION + "turnout Main in Switch",
        code="CP202",
        underlined="Main",
        message="`Main` is declared twice",
        hint="Give each thing a name of its own, even where the kinds differ.",
        more=("it is already a block here",),
    )
    expect(
        STATION + ("signal 4L at Main | T1\n  Stop otherwise"),
        code="CP202",
        underlined="4L",
        message="`4L` is declared twice",
        hint="Give each thing a name of its own, even where the kinds differ.",
        more=("it is already a signal here",),
    )
    expect(
        STATION + "condition B1 is Main clear",
        code="CP202",
        underlined="B1",
        message="`B1` is declared twice",
        hint="Give each thing a name of its own, even where the kinds differ.",
        more=("it is already a button here",),
    )
    expect(
        STATION + "lever 6 positions left, left",
        code="CP202",
        underlined="left",
        message="this lever has two positions called `left`",
        hint="Rename one of them, or remove it.",
    )
    expect(
        STATION + ('prove "a question" never Main vacant\nprove "a question" never Siding vacant'),
        code="CP202",
        underlined='prove "a question" never Siding vacant',
        message='two properties are called "a question"',
        hint="Give each a title of its own: the report names properties by title.",
        more=("the first one is here",),
    )
    expect(
        STATION
        + (
            "aspect Slow yellow over green proceed at slow speed\n"
            "aspect Slow yellow over yellow proceed at slow speed"
        ),
        code="CP202",
        underlined="Slow",
        message="aspect `Slow` is declared twice",
        hint="Put all its color combinations in one statement, with `or` between them.",
        more=("the first one is here",),
    )


def test_dots() -> None:
    expect(
        STATION + "button Clear.4L",
        code="CP208",
        underlined="Clear.4L",
        message="the name `Clear.4L` has a dot in it",
        hint="Write a hyphen. Only heads have a dot, between the signal's name and their "
        "own: `4L.upper`.",
    )


def test_unknown_names() -> None:
    expect(
        STATION + "gate G2 on Mian",
        code="CP201",
        underlined="Mian",
        message="no block is called `Mian`",
        hint="Did you mean `Main`?",
    )
    expect(
        STATION + "gate G2 on Quarry",
        code="CP201",
        underlined="Quarry",
        message="no block is called `Quarry`",
        hint="If the name is right, declare it with a `block` statement.",
    )
    expect(
        STATION + "crossover K1 is T1, T2",
        code="CP201",
        underlined="T2",
        message="no turnout is called `T2`",
        hint="If the name is right, declare it with a `turnout` statement.",
    )
    expect(
        STATION + "interlocking limits North is 4L, 4RA",
        code="CP201",
        underlined="4RA",
        message="no signal is called `4RA`",
        hint="Did you mean `4R`?",
    )
    expect(
        STATION + "interlocking limits North is 8",
        code="CP201",
        underlined="8",
        message="no signal is called `8`",
        hint="If the name is right, declare it with a `signal` statement.",
    )
    expect(
        STATION + "derail D2 on Siding toward T2",
        code="CP201",
        underlined="T2",
        message="nothing is called `T2`",
        hint="If the name is right, declare it with a `block` or `turnout` statement.",
    )
    expect(
        STATION + ("head 6.upper\n  red otherwise"),
        code="CP201",
        underlined="6.upper",
        message="no signal is called `6`",
        hint="If the name is right, declare it with a `signal` statement.",
    )
    expect(
        STATION + "condition X is Held",
        code="CP201",
        underlined="Held",
        message="no condition is called `Held`",
        hint="If the name is right, declare it with a `condition` statement.",
    )
    expect(
        STATION + "condition X is Mian clear",
        code="CP201",
        underlined="Mian",
        message="nothing is called `Mian`",
        hint="Did you mean `Main`?",
    )
    expect(
        STATION + "condition X is T9 normal",
        code="CP201",
        underlined="T9",
        message="nothing is called `T9`",
        hint=(
            "If the name is right, declare it with a `turnout`, `slip`, `crossover` or "
            "`lever` statement."
        ),
    )
    expect(
        STATION + "condition X is Quarry proceeds",
        code="CP201",
        underlined="Quarry",
        message="nothing is called `Quarry`",
        hint="If the name is right, declare it with a `signal` statement.",
    )
    expect(
        STATION + "condition X is Quarry pressed",
        code="CP201",
        underlined="Quarry",
        message="nothing is called `Quarry`",
        hint="If the name is right, declare it with a `button` statement.",
    )
    expect(
        STATION + "condition X is 8 west",
        code="CP201",
        underlined="8",
        message="nothing is called `8`",
        hint="If the name is right, declare it with a `lever` statement.",
    )
    expect(
        STATION + "condition X is 8 green",
        code="CP201",
        underlined="8",
        message="nothing is called `8`",
        hint="If the name is right, declare it with a `signal` statement.",
    )
    expect(
        STATION + 'prove "a question" never train on Quarry',
        code="CP201",
        underlined="Quarry",
        message="nothing is called `Quarry`",
        hint="If the name is right, declare it with a `block` statement.",
    )


def test_names_of_another_kind() -> None:
    expect(
        STATION + "gate G2 on T1",
        code="CP203",
        underlined="T1",
        message="`T1` is a turnout, but this must be a block",
        hint="It is in block `Switch`.",
        more=("it is declared here",),
    )
    expect(
        STATION + "crossover K1 is T1, Main",
        code="CP203",
        underlined="Main",
        message="`Main` is a block, but this must be a turnout",
        hint="",
        more=("it is declared here",),
    )
    expect(
        STATION + "interlocking limits North is Main",
        code="CP203",
        underlined="Main",
        message="`Main` is a block, but this must be a signal",
        hint="",
        more=("it is declared here",),
    )
    expect(
        STATION + "derail D2 on T1 toward Main",
        code="CP203",
        underlined="T1",
        message="`T1` is a turnout, but this must be a block",
        hint="It is in block `Switch`.",
        more=("it is declared here",),
    )


def test_empty_texts() -> None:
    expect(
        STATION + 'prove "" never Main vacant',
        code="CP213",
        underlined='prove "" never Main vacant',
        message="the text in quotes is empty",
        hint="Say in a few words what it is about. Every report prints it.",
    )
    expect(
        STATION + 'assume "" never Main vacant',
        code="CP213",
        underlined='assume "" never Main vacant',
        message="the text in quotes is empty",
        hint="Say in a few words what it is about. Every report prints it.",
    )
    expect(
        STATION + 'waive proceed-into-occupied because ""',
        code="CP213",
        underlined='waive proceed-into-occupied because ""',
        message="the text in quotes is empty",
        hint="Say in a few words what it is about. Every report prints it.",
    )
