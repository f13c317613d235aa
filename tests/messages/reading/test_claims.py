"""Ways of writing levers, buttons and what is to be proved wrong, and what is said."""

from tests.messages.expecting import expect


def test_lever() -> None:
    expect(
        "lever",
        code="CP105",
        underlined="lever",
        message="this `lever` statement stops short after `lever`",
        hint="Expected a name. A lever is written `lever 4 positions left, normal, right`.",
    )
    expect(
        "lever 4",
        code="CP105",
        underlined="4",
        message="this `lever` statement stops short after `4`",
        hint=(
            "Expected a comma, `positions`, or the name of a position. A lever is written "
            "`lever 4 positions left, normal, right`."
        ),
    )
    expect(
        "lever 4 left, right",
        code="CP104",
        underlined="left",
        message="`left` was not expected here",
        hint="Expected `positions`. A lever is written `lever 4 positions left, normal, right`.",
    )
    expect(
        "lever 3 reverse lock 5 normal",
        code="CP104",
        underlined="lock",
        message="`lock` was not expected here",
        hint="Did you mean `locks`? A lever is written `lever 4 positions left, normal, right`.",
    )
    expect(
        "lever 4 positions",
        code="CP105",
        underlined="positions",
        message="this `lever` statement stops short after `positions`",
        hint=(
            "Expected the name of a position. A lever is written `lever 4 positions "
            "left, normal, right`."
        ),
    )
    expect(
        "lever 4 positions left right",
        code="CP104",
        underlined="right",
        message="`right` was not expected here",
        hint=(
            "Expected a comma, `contact`, `contacts`, `powered`, or the next statement. A lever is "
            "written `lever 4 positions left, normal, right`."
        ),
    )
    expect(
        "lever 4 positions left and right",
        code="CP104",
        underlined="and",
        message="`and` was not expected here",
        hint="In a list of names, write a comma.",
    )
    expect(
        "lever 4 positions left, stop",
        code="CP106",
        underlined="stop",
        message="`stop` is a word of the language, so it cannot be a name",
        hint=(
            "Use another spelling, such as `Stop`. A lever is written `lever 4 positions "
            "left, normal, right`."
        ),
    )
    expect(
        "lever 4 position left, right",
        code="CP104",
        underlined="position",
        message="`position` was not expected here",
        hint=(
            "Did you mean `positions`? A lever is written `lever 4 positions left, normal, right`."
        ),
    )


def test_button() -> None:
    expect(
        "button",
        code="CP105",
        underlined="button",
        message="this `button` statement stops short after `button`",
        hint="Expected a name. A button is written `button Clear-4L`.",
    )
    expect(
        "button B1 on Panel",
        code="CP104",
        underlined="on",
        message="`on` was not expected here",
        hint=(
            "Expected a comma, `contact`, `powered`, or the next statement. A button is written "
            "`button Clear-4L`."
        ),
    )
    expect(
        "button clear",
        code="CP106",
        underlined="clear",
        message="`clear` is a word of the language, so it cannot be a name",
        hint=("Use another spelling, such as `Clear`. A button is written `button Clear-4L`."),
    )


def test_prove() -> None:
    expect(
        "prove",
        code="CP105",
        underlined="prove",
        message="this `prove` statement stops short after `prove`",
        hint=(
            'Expected a text in "quotes". A property is written `prove "the yard '
            'lead stays red" never 6L proceeds and T1 lies normal`.'
        ),
    )
    expect(
        "prove never 4L proceeds",
        code="CP104",
        underlined="never",
        message="`never` was not expected here",
        hint=(
            'Expected a text in "quotes". A property is written `prove "the yard '
            'lead stays red" never 6L proceeds and T1 lies normal`.'
        ),
    )
    expect(
        'prove "the main" 4L proceeds',
        code="CP104",
        underlined="4L",
        message="`4L` was not expected here",
        hint=(
            "Expected `never`, `always` or `possible`. A property is written `prove "
            '"the yard lead stays red" never 6L proceeds and T1 lies normal`.'
        ),
    )
    expect(
        'prove "the main" never',
        code="CP105",
        underlined="never",
        message="this `prove` statement stops short after `never`",
        hint=(
            "Expected a condition, such as `Main clear` or `T1 normal`. A property "
            'is written `prove "the yard lead stays red" never 6L proceeds and T1 '
            "lies normal`."
        ),
    )
    expect(
        "prove main never 4L proceeds",
        code="CP104",
        underlined="main",
        message="`main` was not expected here",
        hint=(
            'Expected a text in "quotes". A property is written `prove "the yard '
            'lead stays red" never 6L proceeds and T1 lies normal`.'
        ),
    )
    expect(
        'prove "the main" Never 4L proceeds',
        code="CP104",
        underlined="Never",
        message="`Never` was not expected here",
        hint="Write `never`: the words of the language are in small letters.",
    )
    expect(
        'prove "the main" never that 4L proceeds',
        code="CP104",
        underlined="proceeds",
        message="`proceeds` was not expected here",
        hint=(
            "Expected `and`, `or`, or the next statement. A property is written "
            '`prove "the yard lead stays red" never 6L proceeds and T1 lies normal`.'
        ),
    )


def test_assume() -> None:
    expect(
        'assume "at night" possible T1 normal',
        code="CP104",
        underlined="possible",
        message="`possible` was not expected here",
        hint=(
            'Expected `never` or `always`. An assumption is written `assume "nobody '
            'throws T3" always T3 lies normal`.'
        ),
    )
    expect(
        'assume "at night" T1 normal',
        code="CP104",
        underlined="T1",
        message="`T1` was not expected here",
        hint=(
            'Expected `never` or `always`. An assumption is written `assume "nobody '
            'throws T3" always T3 lies normal`.'
        ),
    )
    expect(
        "assume at night always T1 normal",
        code="CP104",
        underlined="at",
        message="`at` was not expected here",
        hint=(
            'Expected a text in "quotes". An assumption is written `assume "nobody '
            'throws T3" always T3 lies normal`.'
        ),
    )


def test_waive() -> None:
    expect(
        "waive",
        code="CP105",
        underlined="waive",
        message="this `waive` statement stops short after `waive`",
        hint=(
            'Expected a name or a text in "quotes". A waiver is written `waive '
            'opposing-proceeds for 4L, 8R because "train orders"`.'
        ),
    )
    expect(
        "waive opposing-proceeds",
        code="CP105",
        underlined="opposing-proceeds",
        message="this `waive` statement stops short after `opposing-proceeds`",
        hint=(
            "Expected `because` or `for`. A waiver is written `waive "
            'opposing-proceeds for 4L, 8R because "train orders"`.'
        ),
    )
    expect(
        'waive opposing-proceeds for 4L and 4R because "orders"',
        code="CP104",
        underlined="and",
        message="`and` was not expected here",
        hint="In a list of names, write a comma.",
    )
    expect(
        'waive opposing-proceeds 4L because "orders"',
        code="CP104",
        underlined="4L",
        message="`4L` was not expected here",
        hint=(
            "Expected `because` or `for`. A waiver is written `waive "
            'opposing-proceeds for 4L, 8R because "train orders"`.'
        ),
    )
    expect(
        "waive opposing-proceeds because the dispatcher says so",
        code="CP104",
        underlined="the",
        message="`the` was not expected here",
        hint=(
            'Expected a text in "quotes". A waiver is written `waive '
            'opposing-proceeds for 4L, 8R because "train orders"`.'
        ),
    )
    expect(
        "waive opposing-proceeds for 4L because",
        code="CP105",
        underlined="because",
        message="this `waive` statement stops short after `because`",
        hint=(
            'Expected a text in "quotes". A waiver is written `waive '
            'opposing-proceeds for 4L, 8R because "train orders"`.'
        ),
    )
    expect(
        'waive for 4L because "orders"',
        code="CP104",
        underlined="for",
        message="`for` was not expected here",
        hint=(
            'Expected a name or a text in "quotes". A waiver is written `waive '
            'opposing-proceeds for 4L, 8R because "train orders"`.'
        ),
    )


def test_expect() -> None:
    expect(
        "expect",
        code="CP105",
        underlined="expect",
        message="this `expect` statement stops short after `expect`",
        hint=(
            "Expected `broken`. An expectation is written `expect broken "
            "opposing-proceeds for 4L, 4RA`."
        ),
    )
    expect(
        "expect opposing-proceeds",
        code="CP104",
        underlined="opposing-proceeds",
        message="`opposing-proceeds` was not expected here",
        hint=(
            "Expected `broken`. An expectation is written `expect broken "
            "opposing-proceeds for 4L, 4RA`."
        ),
    )
    expect(
        "expect broken",
        code="CP105",
        underlined="broken",
        message="this `expect` statement stops short after `broken`",
        hint=(
            'Expected a name or a text in "quotes". An expectation is written '
            "`expect broken opposing-proceeds for 4L, 4RA`."
        ),
    )
    expect(
        "expect broken opposing-proceeds 4L",
        code="CP104",
        underlined="4L",
        message="`4L` was not expected here",
        hint=(
            "Expected `for` or the next statement. An expectation is written `expect "
            "broken opposing-proceeds for 4L, 4RA`."
        ),
    )
    expect(
        "expect proved opposing-proceeds",
        code="CP104",
        underlined="proved",
        message="`proved` was not expected here",
        hint=(
            "Expected `broken`. An expectation is written `expect broken "
            "opposing-proceeds for 4L, 4RA`."
        ),
    )
    expect(
        "expect broken opposing-proceeds for",
        code="CP105",
        underlined="for",
        message="this `expect` statement stops short after `for`",
        hint=(
            'Expected a name or a text in "quotes". An expectation is written '
            "`expect broken opposing-proceeds for 4L, 4RA`."
        ),
    )
