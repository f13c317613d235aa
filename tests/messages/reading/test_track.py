"""Ways of writing edges, blocks, lines of track and limits wrong, and what is said about them."""

from tests.messages.expecting import expect


def test_layout() -> None:
    expect(
        "layout Heron Falls",
        code="CP104",
        underlined="Heron",
        message="`Heron` was not expected here",
        hint=(
            'Expected a text in "quotes". The title is written `layout "Heron Falls, east switch"`.'
        ),
    )
    expect(
        "layout",
        code="CP105",
        underlined="layout",
        message="this `layout` statement stops short after `layout`",
        hint=(
            'Expected a text in "quotes". The title is written `layout "Heron Falls, east switch"`.'
        ),
    )
    expect(
        'layout "Heron Falls',
        code="CP102",
        underlined='"Heron Falls',
        message="this text has no closing quote",
        hint='Close it with `"` on the same line.',
    )
    expect(
        'layout "Heron Falls" "east"',
        code="CP104",
        underlined='"east"',
        message='`"east"` was not expected here',
        hint=(
            'Expected the next statement. The title is written `layout "Heron Falls, east switch"`.'
        ),
    )
    expect(
        "layout ‘Heron Falls’",
        code="CP101",
        underlined="‘",
        message="the character `‘` has no meaning here",
        hint='Put text in double quotes, "like this".',
    )


def test_edge() -> None:
    expect(
        "edge",
        code="CP105",
        underlined="edge",
        message="this `edge` statement stops short after `edge`",
        hint="Expected a name. An edge of the plan is written `edge West-Main, Quarry`.",
    )
    expect(
        "edge West-Main Quarry",
        code="CP104",
        underlined="Quarry",
        message="`Quarry` was not expected here",
        hint=(
            "A name has no spaces: write `West-Main-Quarry`. Put a comma between two "
            "names. An edge of the plan is written `edge West-Main, Quarry`."
        ),
    )
    expect(
        "edge West, East and North",
        code="CP104",
        underlined="and",
        message="`and` was not expected here",
        hint="In a list of names, write a comma.",
    )
    expect(
        "edge West,\nblock Main",
        code="CP105",
        underlined=",",
        message="this `edge` statement stops short after `,`",
        hint="Expected a name. An edge of the plan is written `edge West-Main, Quarry`.",
    )
    expect(
        "edge West leaving",
        code="CP105",
        underlined="leaving",
        message="this `edge` statement stops short after `leaving`",
        hint="Expected `only`. An edge of the plan is written `edge West-Main, Quarry`.",
    )
    expect(
        "edge West only",
        code="CP104",
        underlined="only",
        message="`only` was not expected here",
        hint=(
            "Expected a comma, `entering only`, `leaving only`, or the next "
            "statement. An edge of the plan is written `edge West-Main, Quarry`."
        ),
    )
    expect(
        "edge West leaving only entering only",
        code="CP104",
        underlined="only",
        message="`only` was not expected here",
        hint="Expected `when`. An edge of the plan is written `edge West-Main, Quarry`.",
    )
    expect(
        "edge West on Main",
        code="CP104",
        underlined="on",
        message="`on` was not expected here",
        hint=(
            "Expected a comma, `entering only`, `leaving only`, or the next "
            "statement. An edge of the plan is written `edge West-Main, Quarry`."
        ),
    )


def test_bumper() -> None:
    expect(
        "bumper",
        code="CP105",
        underlined="bumper",
        message="this `bumper` statement stops short after `bumper`",
        hint="Expected a name. A bumper is written `bumper End-of-Spur`.",
    )
    expect(
        "bumper End on Main",
        code="CP104",
        underlined="on",
        message="`on` was not expected here",
        hint=("Expected a comma or the next statement. A bumper is written `bumper End-of-Spur`."),
    )
    expect(
        "bumper End-1 End-2",
        code="CP104",
        underlined="End-2",
        message="`End-2` was not expected here",
        hint=(
            "A name has no spaces: write `End-1-End-2`. Put a comma between two names. A "
            "bumper is written `bumper End-of-Spur`."
        ),
    )


def test_block() -> None:
    expect(
        "block",
        code="CP105",
        underlined="block",
        message="this `block` statement stops short after `block`",
        hint='Expected a name. A block is written `block Main "main track at the station"`.',
    )
    expect(
        "block Main main line",
        code="CP104",
        underlined="main",
        message="`main` was not expected here",
        hint=(
            "A name has no spaces: write `Main-main`. Put a comma between two names. A "
            'block is written `block Main "main track at the station"`.'
        ),
    )
    expect(
        'block Main "the main" undetected',
        code="CP104",
        underlined="undetected",
        message="`undetected` was not expected here",
        hint='Put the text last: `block Lead undetected … "the main"`.',
    )
    expect(
        "block Main undetectd",
        code="CP104",
        underlined="undetectd",
        message="`undetectd` was not expected here",
        hint=(
            'Did you mean `undetected`? A block is written `block Main "main track '
            'at the station"`.'
        ),
    )
    expect(
        "block Main occupied",
        code="CP104",
        underlined="occupied",
        message="`occupied` was not expected here",
        hint=(
            'Expected a comma, `feeders`, `in`, a number, a text in "quotes", '
            "`switching only`, `undetected`, or the next statement. A block is written "
            '`block Main "main track at the station"`.'
        ),
    )
    expect(
        "block Main switching",
        code="CP105",
        underlined="switching",
        message="this `block` statement stops short after `switching`",
        hint='Expected `only`. A block is written `block Main "main track at the station"`.',
    )
    expect(
        'block Main "a" "b"',
        code="CP104",
        underlined='"b"',
        message='`"b"` was not expected here',
        hint=(
            "Expected `feeders` or the next statement. A block is written "
            '`block Main "main track at the station"`.'
        ),
    )
    expect(
        "block track",
        code="CP106",
        underlined="track",
        message="`track` is a word of the language, so it cannot be a name",
        hint=(
            'Use another spelling, such as `Track`. A block is written `block Main "main '
            'track at the station"`.'
        ),
    )
    expect(
        "block Main, signal",
        code="CP106",
        underlined="signal",
        message="`signal` is a word of the language, so it cannot be a name",
        hint=(
            "Use another spelling, such as `Signal`. A block is written `block Main "
            '"main track at the station"`.'
        ),
    )
    expect(
        'block Main "the main',
        code="CP102",
        underlined='"the main',
        message="this text has no closing quote",
        hint='Close it with `"` on the same line.',
    )


def test_limits() -> None:
    expect(
        "interlocking North is 4L, 4R",
        code="CP104",
        underlined="North",
        message="`North` was not expected here",
        hint=(
            "Expected `limits`. A set of limits is written `interlocking limits "
            "North-Plant is 4L, 4RA, 4RB`."
        ),
    )
    expect(
        "limits North is 4L, 4R",
        code="CP103",
        underlined="limits",
        message="`limits` does not start a statement",
        hint="Write `interlocking limits`.",
    )
    expect(
        "block Main\nlimits North is 4L",
        code="CP103",
        underlined="limits",
        message="`limits` does not start a statement",
        hint="Write `interlocking limits`.",
    )
    expect(
        "interlocking limits North 4L",
        code="CP104",
        underlined="4L",
        message="`4L` was not expected here",
        hint=(
            "Expected `is`. A set of limits is written `interlocking limits "
            "North-Plant is 4L, 4RA, 4RB`."
        ),
    )
    expect(
        "interlocking limits is 4L",
        code="CP104",
        underlined="is",
        message="`is` was not expected here",
        hint=(
            "Expected a name. A set of limits is written `interlocking limits "
            "North-Plant is 4L, 4RA, 4RB`."
        ),
    )


def test_track() -> None:
    expect(
        "track",
        code="CP105",
        underlined="track",
        message="this `track` statement stops short after `track`",
        hint=(
            "Expected a name or a leg (normal, reverse, along or across). Track is "
            "written `track West-Main = Main | normal T1 | Single = Quarry`."
        ),
    )
    expect(
        "track West",
        code="CP105",
        underlined="West",
        message="this `track` statement stops short after `West`",
        hint=(
            "Expected a join (`=`, `|` or `||`) or a leg (normal, reverse, along or "
            "across). Track is written `track West-Main = Main | normal T1 | Single "
            "= Quarry`."
        ),
    )
    expect(
        "track West =",
        code="CP105",
        underlined="=",
        message="this `track` statement stops short after `=`",
        hint=(
            "Expected a name, `(`, or a leg (normal, reverse, along or across). "
            "Track is written `track West-Main = Main | normal T1 | Single = Quarry`."
        ),
    )
    expect(
        "track West Main",
        code="CP104",
        underlined="Main",
        message="`Main` was not expected here",
        hint=(
            "Expected a join (`=`, `|` or `||`) or a leg (normal, reverse, along or "
            "across). Track is written `track West-Main = Main | normal T1 | Single "
            "= Quarry`."
        ),
    )
    expect(
        "track West = = Main",
        code="CP104",
        underlined="=",
        message="`=` was not expected here",
        hint=(
            "Expected a name, `(`, or a leg (normal, reverse, along or across). "
            "Track is written `track West-Main = Main | normal T1 | Single = Quarry`."
        ),
    )
    expect(
        "track West - Main",
        code="CP101",
        underlined="-",
        message="the character `-` has no meaning here",
        hint="Join pieces of track with `=`, `|` or `||`.",
    )
    expect(
        "track West -> Main",
        code="CP101",
        underlined="-",
        message="the character `-` has no meaning here",
        hint="Join pieces of track with `=`, `|` or `||`.",
    )
    expect(
        "track West = Main | T1 diverging",
        code="CP104",
        underlined="diverging",
        message="`diverging` was not expected here",
        hint=(
            "Expected a join (`=`, `|` or `||`), a leg (normal, reverse, along or "
            "across), or the next statement. Track is written `track West-Main = "
            "Main | normal T1 | Single = Quarry`."
        ),
    )
    expect(
        "track West = Main normal T1",
        code="CP104",
        underlined="T1",
        message="`T1` was not expected here",
        hint=(
            "Expected a join (`=`, `|` or `||`) or the next statement. Track is "
            "written `track West-Main = Main | normal T1 | Single = Quarry`."
        ),
    )
    expect(
        "track West = normal",
        code="CP105",
        underlined="normal",
        message="this `track` statement stops short after `normal`",
        hint=(
            "Expected a name. Track is written `track West-Main = Main | normal T1 | "
            "Single = Quarry`."
        ),
    )
    expect(
        "track Main |(g1 South",
        code="CP104",
        underlined="South",
        message="`South` was not expected here",
        hint=(
            "Expected the closing `)`. Track is written `track West-Main = Main | "
            "normal T1 | Single = Quarry`."
        ),
    )
    expect(
        "track Main |() South",
        code="CP104",
        underlined=")",
        message="`)` was not expected here",
        hint=(
            "Expected a name. Track is written `track West-Main = Main | normal T1 | "
            "Single = Quarry`."
        ),
    )
    expect(
        "track West, Main",
        code="CP104",
        underlined=",",
        message="`,` was not expected here",
        hint=(
            "Expected a join (`=`, `|` or `||`) or a leg (normal, reverse, along or "
            "across). Track is written `track West-Main = Main | normal T1 | Single "
            "= Quarry`."
        ),
    )
