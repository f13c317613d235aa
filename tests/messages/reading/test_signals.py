"""Ways of writing signals wrong, and what is said about them."""

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
