"""Ways of writing signals and conditions wrong, and what is said about them."""

from tests.messages.expecting import expect


def test_signal() -> None:
    expect(
        "signal",
        code="CP105",
        underlined="signal",
        message="this `signal` statement stops short after `signal`",
        hint="Expected a name. A signal is written `signal 4L at Single | T1`.",
    )
    expect(
        "signal 4L",
        code="CP105",
        underlined="4L",
        message="this `signal` statement stops short after `4L`",
        hint="Expected `at`. A signal is written `signal 4L at Single | T1`.",
    )
    expect(
        "signal at Main | T1",
        code="CP104",
        underlined="at",
        message="`at` was not expected here",
        hint="Expected a name. A signal is written `signal 4L at Single | T1`.",
    )
    expect(
        "signal 4L between Main and T1",
        code="CP104",
        underlined="between",
        message="`between` was not expected here",
        hint="Expected `at`. A signal is written `signal 4L at Single | T1`.",
    )
    expect(
        "signal 4L at Main",
        code="CP105",
        underlined="Main",
        message="this `signal` statement stops short after `Main`",
        hint=(
            "Expected a join (`=`, `|` or `||`) or a leg (normal, reverse, along or "
            "across). A signal is written `signal 4L at Single | T1`."
        ),
    )
    expect(
        "signal 4L at Main T1",
        code="CP104",
        underlined="T1",
        message="`T1` was not expected here",
        hint=(
            "Expected a join (`=`, `|` or `||`) or a leg (normal, reverse, along or "
            "across). A signal is written `signal 4L at Single | T1`."
        ),
    )
    expect(
        "signal 4L at Main | T1 | Single",
        code="CP104",
        underlined="|",
        message="`|` was not expected here",
        hint=(
            "Expected `heads`, `stands`, `with`, a leg (normal, reverse, along or across), "
            "a line such as `Clear when …` or `Stop otherwise`, or the next statement. "
            "A signal is written `signal 4L at Single | T1`."
        ),
    )
    expect(
        "signal 4L, 4R at Main | T1\n  Stop otherwise",
        code="CP104",
        underlined=",",
        message="`,` was not expected here",
        hint="Give each of them a statement of its own.",
    )


def test_plates() -> None:
    at = "signal 4L at Main | T1"
    for text, underlined, hint in (
        (f"{at} with plate\n  Stop otherwise", "plate",
         "Say which plate: `with number plate`, `with letter plate` or `with marker plate`."),
        (f"{at} number plate\n  Stop otherwise", "number plate", "Write `with number plate`."),
        (f"{at} heads a, b with number plate\n  Stop otherwise", "with",
         "Write `with number plate` before `heads` and the lines."),
        (f"{at} with number plate with letter plate\n  Stop otherwise", "with",
         "A signal has one plate at most."),
        ("aspect Grade red with number plate over dark stop and proceed", "over",
         "Write the plate after the colors of all heads: `red over dark with number plate`."),
        ("aspect Grade red marker plate stop and proceed", "marker plate",
         "Write `with marker plate`."),
    ):  # fmt: skip
        # The last word of that text is the one meant.
        expect(
            text, code="CP104", underlined=underlined, hint=hint,
            message=f"`{underlined}` was not expected here",
        )  # fmt: skip


def test_heads() -> None:
    expect(
        "signal 4L at Main | T1\n  heads\n  Stop otherwise",
        code="CP104",
        underlined="Stop",
        message="`Stop` was not expected here",
        hint="Expected a name. A signal is written `signal 4L at Single | T1`.",
    )
    expect(
        "signal 4L at Main | T1\n  heads upper lower\n  Stop otherwise",
        code="CP104",
        underlined="lower",
        message="`lower` was not expected here",
        hint=(
            "Expected a comma, a line such as `Clear when …` or `Stop otherwise`, or "
            "the next statement. A signal is written `signal 4L at Single | T1`."
        ),
    )
    expect(
        "signal 4L at Main | T1\n  head upper, lower\n  Stop otherwise",
        code="CP104",
        underlined=",",
        message="`,` was not expected here",
        hint="To name the heads of a signal, write `heads`.",
    )
    expect(
        "signal 4L at Main | T1\n  Stop otherwise\n  heads upper, lower",
        code="CP104",
        underlined="heads",
        message="`heads` was not expected here",
        hint=(
            "Expected a line such as `Clear when …` or `Stop otherwise` or the next "
            "statement. A line is written `Clear when T1 normal and Main clear`, or "
            "`Stop otherwise`."
        ),
    )


def test_line_of_a_signal() -> None:
    expect(
        "signal 4L at Main | T1\n  Clear",
        code="CP104",
        underlined="Clear",
        message="`Clear` has no `when` or `otherwise` after it",
        hint="A line is written `Clear when T1 normal and Main clear`, or `Stop otherwise`.",
    )
    expect(
        "signal 4L at Main | T1\n  Clear when T1 normal\n  Stop",
        code="CP104",
        underlined="Stop",
        message="`Stop` has no `when` or `otherwise` after it",
        hint="A line is written `Clear when T1 normal and Main clear`, or `Stop otherwise`.",
    )
    expect(
        "signal 4L at Main | T1\n  Clear if T1 normal",
        code="CP104",
        underlined="if",
        message="`if` was not expected here",
        hint="Write `when` after `Clear`.",
    )
    expect(
        "signal 4L at Main | T1\n  Clear When T1 normal",
        code="CP104",
        underlined="When",
        message="`When` was not expected here",
        hint="Write `when` after `Clear`.",
    )
    expect(
        "signal 4L at Main | T1\n  Clear wen T1 normal",
        code="CP104",
        underlined="wen",
        message="`wen` was not expected here",
        hint="Write `when` after `Clear`.",
    )
    expect(
        "signal 4L at Main | T1\n  Clear when T1 normal\n  Stop else",
        code="CP104",
        underlined="else",
        message="`else` was not expected here",
        hint="Write `otherwise` after `Stop`.",
    )
    expect(
        "signal 4L at Main | T1\n  Clear when T1 normal\n  Stop Otherwise",
        code="CP104",
        underlined="Otherwise",
        message="`Otherwise` was not expected here",
        hint="Write `otherwise` after `Stop`.",
    )
    expect(
        "signal 4L at Main | T1\n  Clear when\n  Stop otherwise",
        code="CP104",
        underlined="Stop",
        message="`Stop` was not expected here",
        hint=(
            "Expected a condition, such as `Main clear` or `T1 normal`. A line is "
            "written `Clear when T1 normal and Main clear`, or `Stop otherwise`."
        ),
    )
    expect(
        "signal 4L at Main | T1\n  Clear always",
        code="CP104",
        underlined="Clear",
        message="`Clear` has no `when` or `otherwise` after it",
        hint="A line is written `Clear when T1 normal and Main clear`, or `Stop otherwise`.",
    )
    expect(
        "signal 4L at Main | T1\n  stop if Main occupied",
        code="CP104",
        underlined="if",
        message="`if` was not expected here",
        hint="Write `when` after `stop`.",
    )


def test_head() -> None:
    expect(
        "head",
        code="CP105",
        underlined="head",
        message="this `head` statement stops short after `head`",
        hint="Expected a name. A head's list is written `head 4L.upper`.",
    )
    expect(
        "head 4L.upper",
        code="CP105",
        underlined="4L.upper",
        message="this `head` statement stops short after `4L.upper`",
        hint=(
            "Expected a line such as `Clear when …` or `Stop otherwise`. A head's "
            "list is written `head 4L.upper`."
        ),
    )
    expect(
        "head 4L.upper\n  green",
        code="CP104",
        underlined="green",
        message="`green` has no `when` or `otherwise` after it",
        hint="A line is written `Clear when T1 normal and Main clear`, or `Stop otherwise`.",
    )
    expect(
        "head\n  green when T1 normal",
        code="CP104",
        underlined="green",
        message="`green` was not expected here",
        hint="Expected a name. A head's list is written `head 4L.upper`.",
    )
    expect(
        "head 4L.upper\n  green T1 normal",
        code="CP104",
        underlined="green",
        message="`green` has no `when` or `otherwise` after it",
        hint="A line is written `Clear when T1 normal and Main clear`, or `Stop otherwise`.",
    )
    expect(
        "head 4L.upper, 4L.lower\n  red otherwise",
        code="CP104",
        underlined=",",
        message="`,` was not expected here",
        hint="Give each of them a statement of its own.",
    )
    expect(
        "head 4L .upper\n  red otherwise",
        code="CP101",
        underlined=".",
        message="the character `.` has no meaning here",
        hint="Write a dot inside the name of a head, without spaces: `4L.upper`.",
    )


def test_aspect() -> None:
    expect(
        "aspect",
        code="CP105",
        underlined="aspect",
        message="this `aspect` statement stops short after `aspect`",
        hint=(
            "Expected a name. An aspect is written `aspect Clear green or green over red proceed`."
        ),
    )
    expect(
        "aspect Clear",
        code="CP105",
        underlined="Clear",
        message="this `aspect` statement stops short after `Clear`",
        hint=(
            "Expected a color (green, yellow, red, lunar, white or dark). An aspect "
            "is written `aspect Clear green or green over red proceed`."
        ),
    )
    expect(
        "aspect Clear green",
        code="CP105",
        underlined="green",
        message="this `aspect` statement stops short after `green`",
        hint=(
            "Expected `or`, `over`, `with`, or an indication, such as `proceed` or `stop`. "
            "An aspect is written `aspect Clear green or green over red proceed`."
        ),
    )
    expect(
        "aspect Clear blue proceed",
        code="CP104",
        underlined="blue",
        message="`blue` was not expected here",
        hint=(
            "Expected a color (green, yellow, red, lunar, white or dark). An aspect "
            "is written `aspect Clear green or green over red proceed`."
        ),
    )
    expect(
        "aspect Clear green red proceed",
        code="CP104",
        underlined="red",
        message="`red` was not expected here",
        hint=(
            "Expected `or`, `over`, `with`, or an indication, such as `proceed` or `stop`. "
            "An aspect is written `aspect Clear green or green over red proceed`."
        ),
    )
    expect(
        "aspect Clear green, red proceed",
        code="CP104",
        underlined=",",
        message="`,` was not expected here",
        hint=("Write `over` between the heads of one signal, `or` between two ways to show it."),
    )
    expect(
        "aspect Clear green and red proceed",
        code="CP104",
        underlined="and",
        message="`and` was not expected here",
        hint=("Write `over` between the heads of one signal, `or` between two ways to show it."),
    )
    expect(
        "aspect Clear green under red proceed",
        code="CP104",
        underlined="under",
        message="`under` was not expected here",
        hint=(
            "Expected `or`, `over`, `with`, or an indication, such as `proceed` or `stop`. "
            "An aspect is written `aspect Clear green or green over red proceed`."
        ),
    )
    expect(
        "aspect Clear green proceed quickly",
        code="CP107",
        underlined="quickly",
        message="`quickly` is not part of an indication",
        hint=(
            "`clearproof explain indications` lists the indications. The common ones are "
            "`proceed`, `proceed prepared to stop at next signal` and `stop`."
        ),
    )
    expect(
        "aspect Clear green prepared to stop",
        code="CP107",
        underlined="prepared",
        message="`prepared` is not part of an indication",
        hint=(
            "`clearproof explain indications` lists the indications. The common ones are "
            "`proceed`, `proceed prepared to stop at next signal` and `stop`."
        ),
    )
    expect(
        "aspect Clear green proceed at slow",
        code="CP107",
        underlined="at",
        message="`at` is not part of an indication",
        hint=(
            "`clearproof explain indications` lists the indications. The common ones are "
            "`proceed`, `proceed prepared to stop at next signal` and `stop`."
        ),
    )
    expect(
        "aspect Clear green over proceed",
        code="CP104",
        underlined="proceed",
        message="`proceed` was not expected here",
        hint=(
            "Expected a color (green, yellow, red, lunar, white or dark). An aspect "
            "is written `aspect Clear green or green over red proceed`."
        ),
    )
    expect(
        "aspect proceed green proceed",
        code="CP106",
        underlined="proceed",
        message="`proceed` is a word of the language, so it cannot be a name",
        hint=(
            "Use another spelling, such as `Proceed`. An aspect is written `aspect Clear "
            "green or green over red proceed`."
        ),
    )
    expect(
        "aspect Clear green stop and wait",
        code="CP107",
        underlined="and",
        message="`and` is not part of an indication",
        hint=(
            "`clearproof explain indications` lists the indications. The common ones are "
            "`proceed`, `proceed prepared to stop at next signal` and `stop`."
        ),
    )


def test_condition_statement() -> None:
    expect(
        "condition",
        code="CP105",
        underlined="condition",
        message="this `condition` statement stops short after `condition`",
        hint=(
            "Expected a name. A named condition is written `condition Ready is T1 "
            "normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition Ready",
        code="CP105",
        underlined="Ready",
        message="this `condition` statement stops short after `Ready`",
        hint=(
            "Expected `is`. A named condition is written `condition Ready is T1 "
            "normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition is T1 normal",
        code="CP104",
        underlined="is",
        message="`is` was not expected here",
        hint=(
            "Expected a name. A named condition is written `condition Ready is T1 "
            "normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition Ready = T1 normal",
        code="CP104",
        underlined="=",
        message="`=` was not expected here",
        hint=(
            "Expected `is`. A named condition is written `condition Ready is T1 "
            "normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition Ready is",
        code="CP105",
        underlined="is",
        message="this `condition` statement stops short after `is`",
        hint=(
            "Expected a condition, such as `Main clear` or `T1 normal`. A named "
            "condition is written `condition Ready is T1 normal and Switch, Main "
            "clear`."
        ),
    )
    expect(
        "condition Ready T1 normal",
        code="CP104",
        underlined="T1",
        message="`T1` was not expected here",
        hint=(
            "Expected `is`. A named condition is written `condition Ready is T1 "
            "normal and Switch, Main clear`."
        ),
    )


def test_conditions() -> None:
    expect(
        "condition X is T1 is normal",
        code="CP104",
        underlined="is",
        message="`is` was not expected here",
        hint="Remove it: write `T1 normal`.",
    )
    expect(
        "condition X is T1 = normal",
        code="CP104",
        underlined="=",
        message="`=` was not expected here",
        hint="Remove it: write `T1 normal`.",
    )
    expect(
        "condition X is T1 not normal",
        code="CP104",
        underlined="not",
        message="`not` was not expected here",
        hint="Write `not` first: `not T1 normal`.",
    )
    expect(
        "condition X is normal T1",
        code="CP104",
        underlined="normal",
        message="`normal` was not expected here",
        hint="Write the name first: `T1 normal`.",
    )
    expect(
        "condition X is T1 normal, Main clear",
        code="CP104",
        underlined=",",
        message="`,` was not expected here",
        hint="Join two conditions with `and` or `or`.",
    )
    expect(
        "condition X is T1 normal Main clear",
        code="CP104",
        underlined="Main",
        message="`Main` was not expected here",
        hint="Put `and` or `or` between two conditions.",
    )
    expect(
        "condition X is T1 normal AND Main clear",
        code="CP104",
        underlined="AND",
        message="`AND` was not expected here",
        hint="Write `and`: the words of the language are in small letters.",
    )
    expect(
        "condition X is T1 normal an Main clear",
        code="CP104",
        underlined="an",
        message="`an` was not expected here",
        hint=(
            "Did you mean `and`? A named condition is written `condition Ready is T1 "
            "normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition X is T1 normal & Main clear",
        code="CP101",
        underlined="&",
        message="the character `&` has no meaning here",
        hint="Write `and`.",
    )
    expect(
        "condition X is !T1 normal",
        code="CP101",
        underlined="!",
        message="the character `!` has no meaning here",
        hint="Write `not`.",
    )
    expect(
        "condition X is T1 normal and",
        code="CP105",
        underlined="and",
        message="this `condition` statement stops short after `and`",
        hint=(
            "Expected a condition, such as `Main clear` or `T1 normal`. A named "
            "condition is written `condition Ready is T1 normal and Switch, Main "
            "clear`."
        ),
    )
    expect(
        "condition X is T1 normal and or Main clear",
        code="CP104",
        underlined="or",
        message="`or` was not expected here",
        hint=(
            "Expected a condition, such as `Main clear` or `T1 normal`. A named "
            "condition is written `condition Ready is T1 normal and Switch, Main "
            "clear`."
        ),
    )
    expect(
        "condition X is (T1 normal and Main clear",
        code="CP105",
        underlined="clear",
        message="this `condition` statement stops short after `clear`",
        hint=(
            "Expected `and`, the closing `)`, or `or`. A named condition is written "
            "`condition Ready is T1 normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition X is T1 normal) and Main clear",
        code="CP104",
        underlined=")",
        message="`)` was not expected here",
        hint="Remove it: no `(` before it is still open.",
    )
    expect(
        "condition X is ()",
        code="CP104",
        underlined=")",
        message="`)` was not expected here",
        hint=(
            "Expected a condition, such as `Main clear` or `T1 normal`. A named "
            "condition is written `condition Ready is T1 normal and Switch, Main "
            "clear`."
        ),
    )
    expect(
        "condition X is any Main, Siding clear",
        code="CP104",
        underlined="Main",
        message="`Main` was not expected here",
        hint=(
            "Expected `of`. A named condition is written `condition Ready is T1 "
            "normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition X is any of clear",
        code="CP106",
        underlined="clear",
        message="`clear` is a word of the language, so it cannot be a name",
        hint=(
            "Use another spelling, such as `Clear`. A named condition is written "
            "`condition Ready is T1 normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition X is 4L at red",
        code="CP104",
        underlined="red",
        message="`red` was not expected here",
        hint="For a color, leave out `at`: write `4L red`.",
    )
    expect(
        "condition X is 4L at",
        code="CP105",
        underlined="at",
        message="this `condition` statement stops short after `at`",
        hint=(
            "Expected `stop`. A named condition is written `condition Ready is T1 "
            "normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition X is 4L shows green",
        code="CP104",
        underlined="green",
        message="`green` was not expected here",
        hint="For a color, leave out `shows`: write `4L green`.",
    )
    expect(
        "condition X is 4L shows stop",
        code="CP104",
        underlined="stop",
        message="`stop` was not expected here",
        hint="After `shows`, write the name of an aspect, such as `Stop`.",
    )
    expect(
        "condition X is 4L shows",
        code="CP105",
        underlined="shows",
        message="this `condition` statement stops short after `shows`",
        hint=(
            "Expected a name. A named condition is written `condition Ready is T1 "
            "normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition X is T1 lies",
        code="CP105",
        underlined="lies",
        message="this `condition` statement stops short after `lies`",
        hint=(
            "Expected a position (normal, reverse, open, derailing, non-derailing or "
            "seated). A named condition is written `condition Ready is T1 normal and "
            "Switch, Main clear`."
        ),
    )
    expect(
        "condition X is T1 lies clear",
        code="CP104",
        underlined="clear",
        message="`clear` was not expected here",
        hint=(
            "Expected a position (normal, reverse, open, derailing, non-derailing or "
            "seated). A named condition is written `condition Ready is T1 normal and "
            "Switch, Main clear`."
        ),
    )
    expect(
        "condition X is train in Main",
        code="CP104",
        underlined="in",
        message="`in` was not expected here",
        hint=(
            "Expected `on`. A named condition is written `condition Ready is T1 "
            "normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition X is train on",
        code="CP105",
        underlined="on",
        message="this `condition` statement stops short after `on`",
        hint=(
            "Expected a name or `any of` or `all of`. A named condition is written "
            "`condition Ready is T1 normal and Switch, Main clear`."
        ),
    )
    expect(
        "condition X is track clear",
        code="CP106",
        underlined="track",
        message="`track` is a word of the language, so it cannot be a name",
        hint=(
            "Use another spelling, such as `Track`. A named condition is written "
            "`condition Ready is T1 normal and Switch, Main clear`."
        ),
    )
    expect(
        'condition X is "Main" clear',
        code="CP104",
        underlined='"Main"',
        message='`"Main"` was not expected here',
        hint="Write a name without quotes and without spaces: `Main`.",
    )
    expect(
        "condition X is always",
        code="CP104",
        underlined="always",
        message="`always` was not expected here",
        hint=(
            "Expected a condition, such as `Main clear` or `T1 normal`. A named "
            "condition is written `condition Ready is T1 normal and Switch, Main "
            "clear`."
        ),
    )
    expect(
        "condition X is Main Clear Siding",
        code="CP104",
        underlined="Siding",
        message="`Siding` was not expected here",
        hint="Put `and` or `or` between two conditions.",
    )
    expect(
        "condition X is not",
        code="CP105",
        underlined="not",
        message="this `condition` statement stops short after `not`",
        hint=(
            "Expected a condition, such as `Main clear` or `T1 normal`. A named "
            "condition is written `condition Ready is T1 normal and Switch, Main "
            "clear`."
        ),
    )
